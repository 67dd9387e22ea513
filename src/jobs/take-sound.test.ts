/**
 * What of a take's sound a cut plays: from the frame shown first, along the picture where that is paced, and the lender's
 * where a mouth was laid on. The mix is read back from sound files made here.
 */
import { mkdirSync, mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { Book } from '../book/book.js';
import { newProduction } from '../book/new-production.js';
import { rate } from '../core/rational.js';
import { writeEdl } from '../cut/edl.js';
import { makeLedger } from '../cut/ledger.js';
import { writeOtio } from '../cut/otio.js';
import { placeItems, type ItemSound } from '../cut/programme.js';
import { renderMix } from '../cut/sound-mix.js';
import { writeWav } from '../media/sound.js';
import { resolveCut } from './resolve-cut.js';

let folder: string, book: Book;
const FRAMES = 48;

beforeAll(() => {
  folder = mkdtempSync(join(tmpdir(), 'platewright-take-sound-'));
  book = Book.create(join(folder, 'production'));
  const info = (fps: number, frameCount: number) => ({
    video: { rate: rate(fps), widthPx: 320, heightPx: 180, frameCount },
    sound: { sampleRate: 48000 },
  });
  book.edit('start', (e) => {
    e.put('production', newProduction('Heard'));
    e.put('film', {
      id: 'film',
      title: 'Film',
      file: 'film.mkv',
      credit: '',
      licence: '',
      info: info(24, 96),
    } as never);
    e.put('pick', {
      id: 'street',
      film: 'film',
      title: 'Street',
      in: 10,
      out: 10 + FRAMES,
      order: 1,
      note: '',
      action: '',
      marks: { frame: 0, marks: [] },
    });
    for (const [id, fps] of [
      ['body', 24],
      ['mouth', 30],
    ] as const)
      e.put('take', {
        id,
        pick: 'street',
        kind: 'video',
        title: id,
        file: `takes/${id}.wav`,
        star: false,
        note: '',
        info: info(fps, 120),
        marks: { frame: 0, marks: [] },
      } as never);
  });
  for (const within of ['joins', 'takes']) mkdirSync(book.mediaPath(within), { recursive: true });
  writeFileSync(book.mediaPath('joins/street.mov'), '');
  // The body hums 220 Hz, the mouth 440 Hz, each in its first two seconds alone.
  for (const [id, hz] of [
    ['body', 220],
    ['mouth', 440],
  ] as const)
    writeWav(book.mediaPath(`takes/${id}.wav`), {
      sampleRate: 48000,
      channels: 1,
      samples: Float32Array.from({ length: 4 * 48000 }, (_, i) =>
        i < 96000 ? 0.4 * Math.sin((2 * Math.PI * hz * i) / 48000) : 0,
      ),
    });
});
afterAll(() => {
  book.close();
  rmSync(folder, { recursive: true, force: true });
});

/** The sound of the cut's one join, with its take's curve and the cut's choice; `patched`: the mouth is laid on. */
function sound(
  curve: readonly number[],
  soundFrom: 'take' | 'patch',
  options: { patched?: boolean; offsetFrames?: number; trimIn?: number; filmUnderDb?: number } = {},
): ItemSound | null {
  const span = { in: 0, out: 120, rate: '24/1', widthPx: 320, heightPx: 180 };
  book.edit('join and cut', (e) => {
    e.put('join', {
      id: 'street',
      take: 'body',
      recipe: {
        version: 1,
        plate: { ...span, file: 'plate.mkv', out: FRAMES },
        take: { ...span, file: 'takes/body.wav' },
        steps: [
          ...(options.patched === true
            ? [{ step: 'patch', on: true, source: 'takes/mouth.wav', offsetFrames: options.offsetFrames ?? 0, why: '' }]
            : []),
          { step: 'pace', on: true, method: 'flow', curve, why: '' },
        ],
      },
      by: 'test',
      render: {
        file: 'joins/street.mov',
        matte: null,
        frames: FRAMES,
        recipeHash: 'x',
        at: '2026-01-01',
        quality: 'fast',
      },
    } as never);
    e.put('cut', {
      id: 'cut',
      entries: [
        {
          kind: 'pick',
          pick: 'street',
          trimIn: options.trimIn ?? 0,
          trimOut: 0,
          soundLead: 0,
          soundTail: 0,
          soundFrom,
          ...(options.filmUnderDb === undefined ? {} : { filmUnderDb: options.filmUnderDb }),
        },
      ],
      music: null,
      captions: [],
      credits: [],
      thanks: [],
    });
  });
  return resolveCut(book).programme.items[0]!.sound;
}
const curveOf = (at: (n: number) => number): number[] => Array.from({ length: FRAMES }, (_, n) => at(n));
const name = (s: ItemSound | null): string | undefined => s?.file.split(/[\\/]/).pop();

/** Frequency of what the mix plays between two seconds, by its rising zeros, and its loudness. */
async function heard(from: number, to: number): Promise<{ hz: number; rms: number }> {
  const { programme } = resolveCut(book),
    mix = await renderMix(programme, placeItems(programme));
  let zeros = 0,
    sum = 0;
  const a = Math.round(from * 48000),
    b = Math.round(to * 48000);
  for (let i = a; i < b; i++) {
    if (mix.samples[2 * i - 2]! < 0 && mix.samples[2 * i]! >= 0) zeros++;
    sum += mix.samples[2 * i]! ** 2;
  }
  return { hz: zeros / (to - from), rms: Math.sqrt(sum / (b - a)) };
}

describe("a take's sound in the cut", () => {
  it('goes at its own speed where the picture does, from the frame shown first', () => {
    expect(
      sound(
        curveOf((n) => 12 + n),
        'take',
      ),
    ).toMatchObject({ in: 12, out: 120 });
    expect(
      sound(
        curveOf((n) => 12 + n),
        'take',
      )!.paced,
    ).toBeUndefined();
    expect(
      sound(
        curveOf((n) => 12 + n),
        'take',
        { trimIn: 6 },
      )!.in,
    ).toBe(18);
    // A plate of ten pictures a second: the performer goes in steps, its voice does not.
    expect(
      sound(
        curveOf((n) => 2.4 * Math.floor(n / 2.4)),
        'take',
      )!.paced,
    ).toBeUndefined();
  });

  it('follows a slowed picture, at the same pitch', async () => {
    const slow = sound(
      curveOf((n) => 12 + n / 2),
      'take',
    )!;
    expect(slow.paced).toHaveLength(FRAMES);
    expect(slow.paced![0]).toBeCloseTo(0.5, 6);
    expect(slow.paced![FRAMES - 1]).toBeCloseTo(0.5 + 47 / 48, 6);
    // The hum has an amplitude of .4; from one channel to two it is brought down by 3 dB.
    // All of its two seconds play the hum's .5 to 1.5 s; at its own speed it would end after 1.5 s.
    const late = await heard(1.6, 1.9);
    expect(late.rms).toBeGreaterThan(0.15);
    expect(Math.abs(late.hz - 220)).toBeLessThan(4);
    sound(
      curveOf((n) => 12 + n),
      'take',
    );
    expect((await heard(1.6, 1.9)).rms).toBeLessThan(0.01);
  });

  it('is the lender’s where a mouth was laid on and the cut asks for it, in step by frames', async () => {
    const lent = sound(
      curveOf((n) => 10 + n),
      'patch',
      { patched: true, offsetFrames: 5 },
    )!;
    expect(name(lent)).toBe('mouth.wav');
    // Frame 15 of a take of 30 frames a second; shown at 24, it goes at .8 of its speed.
    expect(lent.in).toBe(15);
    expect(lent.paced![0]).toBeCloseTo(0.5, 6);
    expect(lent.paced![24]).toBeCloseTo(0.5 + 24 / 30, 6);
    const { hz, rms } = await heard(0.5, 1);
    expect(rms).toBeGreaterThan(0.15);
    expect(Math.abs(hz - 440)).toBeLessThan(5);
    expect(
      name(
        sound(
          curveOf((n) => n),
          'take',
          { patched: true },
        ),
      ),
    ).toBe('body.wav');
    // Nothing is laid on: the film's own sound, as where a take has none.
    expect(
      name(
        sound(
          curveOf((n) => n),
          'patch',
        ),
      ),
    ).toBe('film.mkv');
  });
});

describe("the film's own sound under a take's", () => {
  const straight = curveOf((n) => n);

  it('is heard at its level, in step with the picture, and counts as borrowed', async () => {
    // 880 Hz, silent before the pick begins (10 frames of 24).
    writeWav(book.mediaPath('film.mkv'), {
      sampleRate: 48000,
      channels: 1,
      samples: Float32Array.from({ length: 4 * 48000 }, (_, i) =>
        i < 20000 ? 0 : 0.4 * Math.sin((2 * Math.PI * 880 * i) / 48000),
      ),
    });
    sound(straight, 'take');
    const alone = (await heard(0.5, 1.5)).rms;
    sound(straight, 'take', { filmUnderDb: -6 });
    const { programme } = resolveCut(book);
    expect(programme.items[0]!.under).toMatchObject({ sound: { in: 10, out: 10 + FRAMES }, gainDb: -6 });
    // Two tones of other pitch: their powers add up.
    const both = (await heard(0.5, 1.5)).rms;
    expect(both / alone).toBeCloseTo(Math.sqrt(1 + 10 ** (-6 / 10)), 2);
    const placed = placeItems(programme);
    const film = { id: 'film', title: 'Film', credit: '', licence: '', rate: rate(24), frames: 96 };
    const [use] = makeLedger(placed, programme.rate, [film], {}, []).uses;
    expect(use!.what).toBe('picture and sound');
    const otio = JSON.parse(writeOtio(programme, placed, (f) => f)) as {
      tracks: { children: { name: string; children: { metadata: { platewright?: { gainDb?: number } } }[] }[] };
    };
    const track = otio.tracks.children.find((t) => t.name === 'Under')!;
    expect(track.children[0]!.metadata.platewright!.gainDb).toBe(-6);
    expect(writeEdl(programme, placed)).toMatch(/ A2 .*\n.*\n\* THE FILM'S SOUND UNDER IT AT -6\.0 DB/);
  });

  it('is not there where nobody asked for it, nor under itself', () => {
    sound(straight, 'take');
    expect(resolveCut(book).programme.items[0]!.under).toBeUndefined();
    // The take is silent: the film's own is heard, and not twice.
    sound(straight, 'patch', { filmUnderDb: -6 });
    expect(resolveCut(book).programme.items[0]!.under).toBeUndefined();
  });
});
