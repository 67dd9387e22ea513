/**
 * A join whose take a hand has begin elsewhere: recipe and render follow, later recipes keep it, an undo takes it back,
 * and a start from which the take ends too soon changes nothing. Performer and plate are drawn here, so its place is
 * known.
 */
import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { addTake } from '../../book/add-media.js';
import { madeProduction } from '../../book/made-production.js';
import { Book } from '../../book/book.js';
import { RandomStream } from '../../core/random.js';
import { rate } from '../../core/rational.js';
import { createPicture } from '../../image/picture.js';
import { VideoReader } from '../../media/video-reader.js';
import { VideoWriter } from '../../media/video-writer.js';
import { resolveCut } from '../resolve-cut.js';
import { doJob } from '../run-job.js';

const W = 320,
  H = 180,
  PLATE = 8,
  TAKE = 40,
  /** Take pixels that the performer goes each frame; where it is marked and where it goes. */
  STEP_PX = 2,
  MARKED_X = 110,
  STAND_X = 200;
let folder: string, book: Book;

async function clip(name: string, frames: number, colour: (x: number, y: number, f: number) => readonly number[]) {
  const w = await VideoWriter.open(join(folder, name), { widthPx: W, heightPx: H, rate: rate(24), codec: 'ffv1' });
  for (let f = 0; f < frames; f++) {
    const p = createPicture(W, H, 3),
      grain = new RandomStream(f, 7);
    for (let y = 0; y < H; y++)
      for (let x = 0; x < W; x++)
        colour(x, y, f).forEach((v, c) => {
          p.data[c * W * H + y * W + x] = v + 0.004 * grain.normal();
        });
    await w.writeCoded(p);
  }
  await w.close();
}

beforeAll(async () => {
  folder = mkdtempSync(join(tmpdir(), 'platewright-join-start-'));
  await clip('film.mkv', PLATE, (x, y) => [0, 1, 2].map((c) => 0.45 + 0.02 * c + 0.08 * (((x >> 4) + (y >> 4)) & 1)));
  await clip('take.mkv', TAKE, (x, y, f) =>
    Math.hypot((x - MARKED_X - STEP_PX * f) / 22, (y - 100) / 44) < 1 ? [0.62, 0.5, 0.38] : [0.2, 0.62, 0.25],
  );
  book = await madeProduction(folder, 'Start', join(folder, 'film.mkv'), {
    id: 'street',
    title: 'Street',
    in: 0,
    out: PLATE,
    marks: { frame: 0, marks: [{ kind: 'stand', ground: [STAND_X, 160], top: [STAND_X, 72] }] },
  });
  await addTake(book, join(folder, 'take.mkv'), { pick: 'street' });
  book.edit('marks', (e) =>
    e.put('take', {
      ...book.need('take', 'take'),
      marks: { frame: 0, marks: [{ kind: 'performer', ground: [MARKED_X, 144], top: [MARKED_X, 56] }] },
    }),
  );
});
afterAll(() => {
  book.close();
  rmSync(folder, { recursive: true, force: true });
});

const pace = () => {
  const step = book.need('join', 'street').recipe.steps.find((s) => s.step === 'pace');
  return step?.step === 'pace' ? step : undefined;
};
/** Middle of the performer in a frame of the rendered matte, px. */
async function middleX(frame = 0): Promise<number> {
  const reader = await VideoReader.open(book.mediaPath(book.need('join', 'street').render!.matte!));
  try {
    const [matte] = (await reader.frame(frame)).planes;
    let sum = 0,
      at = 0;
    for (let i = 0; i < W * H; i++) {
      const v = Number(matte![i]!);
      sum += v;
      at += v * (i % W);
    }
    return at / sum + 0.5;
  } finally {
    await reader.close();
  }
}

describe("a take's start chosen by hand", () => {
  it('is where the join begins, the performer on its mark though it has walked on meanwhile', async () => {
    await doJob(book, 'join', 'street', { take: 'take' });
    expect(pace()!.curve[0]).toBe(0);
    expect(pace()!.start).toBeUndefined();
    const proposed = await middleX();
    expect(Math.abs(proposed - STAND_X)).toBeLessThan(3);
    await doJob(book, 'join', 'street', { take: 'take', start: { frame: 25 } });
    expect(pace()!.curve).toEqual([25, 26, 27, 28, 29, 30, 31, 32]);
    // Of the 50 px that it has gone by then, none may be left.
    expect(Math.abs((await middleX()) - proposed)).toBeLessThan(4);
  });

  it('is kept by recipes proposed later, and an undo takes it back', async () => {
    await doJob(book, 'join', 'street', { take: 'take', quality: 'fine', recipeOnly: true });
    expect(pace()!.start).toEqual({ frame: 25 });
    await doJob(book, 'join', 'street', { take: 'take', start: { frame: 10, speed: 0.5 }, recipeOnly: true });
    expect(pace()!.curve.slice(0, 3)).toEqual([10, 10.5, 11]);
    book.undo();
    expect(pace()!.start).toEqual({ frame: 25 });
    book.redo();
    expect(pace()!.start).toEqual({ frame: 10, speed: 0.5 });
    await doJob(book, 'join', 'street', { take: 'take', start: null, recipeOnly: true });
    expect(pace()!.start).toBeUndefined();
  });

  it('goes as drawn by points, backwards where it may, and every frame is placed by the take frame shown', async () => {
    const through = [
      { at: 7, take: 16 },
      { at: 0, take: 30 },
    ];
    await expect(doJob(book, 'join', 'street', { take: 'take', start: { through } })).rejects.toThrow(
      /^PW-JOIN-PACE: from frame 0 to 7 of the join the take would run backwards/,
    );
    await doJob(book, 'join', 'street', { take: 'take', start: { through, backwards: true } });
    expect(pace()).toMatchObject({ curve: [30, 28, 26, 24, 22, 20, 18, 16], method: 'nearest' });
    const first = await middleX();
    expect(Math.abs(first - STAND_X)).toBeLessThan(4);
    // Fourteen take frames back it stood 28 px farther left.
    expect(Math.abs((await middleX(7)) - first + 14 * STEP_PX)).toBeLessThan(2);
    // Later recipes keep it; a frame to begin with takes its place; the program has it again when asked.
    await doJob(book, 'join', 'street', { take: 'take', quality: 'fine', recipeOnly: true });
    expect(pace()!.start).toEqual({ through: [...through].reverse(), backwards: true });
    await doJob(book, 'join', 'street', { take: 'take', start: { frame: 3 }, recipeOnly: true });
    expect(pace()!.start).toEqual({ frame: 3 });
    await doJob(book, 'join', 'street', { take: 'take', start: null, recipeOnly: true });
    expect(pace()!.start).toBeUndefined();
  });

  it('leaves the join as it was where the take ends too soon, and says how to go on', async () => {
    const before = book.need('join', 'street');
    await expect(doJob(book, 'join', 'street', { take: 'take', start: { frame: 37 } })).rejects.toThrow(
      /^PW-JOIN-START: .*5 frames are missing; begin at frame 32 or earlier/,
    );
    expect(book.need('join', 'street')).toEqual(before);
  });

  it('leaves the picture before it in the cut, which says so; one whose file is gone is told as lost', async () => {
    await doJob(book, 'join', 'street', { take: 'take', keep: true });
    expect(resolveCut(book)).toMatchObject({
      notes: [expect.stringMatching(/^the join of "street": it is rendered fast.*--fine.*; it was not inspected$/)],
      lost: [],
    });
    const { render, ...join } = book.need('join', 'street'),
      told = (passes: boolean, quality: 'fast' | 'fine'): readonly string[] => {
        const inspection = { passes, found: passes ? [] : ['edgeLightness', 'slip'], matters: [], frames: [] };
        book.edit('inspected', (e) => e.put('join', { ...join, render: { ...render!, quality }, inspection } as never));
        const { notes } = resolveCut(book);
        book.undo();
        return notes;
      };
    expect(told(true, 'fine')).toEqual([]);
    expect(told(false, 'fine')).toEqual([
      'the join of "street": its inspection finds that it shows: edge lightness, slip',
    ]);
    await doJob(book, 'join', 'street', { take: 'take', start: { frame: 12 }, recipeOnly: true });
    const shown = resolveCut(book);
    expect(shown.notes).toEqual([expect.stringMatching(/^the recipe of "street" was changed since its join was/)]);
    expect(shown.programme.items.map((i) => i.kind)).toContain('join');
    rmSync(book.mediaPath(book.need('join', 'street').render!.file));
    const { lost, programme } = resolveCut(book);
    expect(lost).toEqual([
      expect.objectContaining({
        name: 'street',
        words: expect.stringMatching(/is gone: .*join street --keep/) as string,
      }),
    ]);
    expect(programme.items.map((i) => i.kind)).toContain('stand-in');
  });
});
