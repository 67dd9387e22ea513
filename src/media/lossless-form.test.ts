/** Noise of several forms written and read back code for code, also by the ffmpeg program where there is one. */
import { spawnSync } from 'node:child_process';
import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { RandomStream } from '../core/random.js';
import { rate } from '../core/rational.js';
import { losslessForm } from './lossless-form.js';
import { copyFrame } from './planes.js';
import type { ColourTags, VideoFrame } from './types.js';
import { VideoReader } from './video-reader.js';
import { VideoWriter } from './video-writer.js';

const W = 96,
  H = 54,
  FRAMES = 7;
const BT709: ColourTags = {
  matrix: 'bt709',
  transfer: 'bt709',
  primaries: 'bt709',
  fullRange: false,
  assumed: false,
};
const PQ: ColourTags = { ...BT709, matrix: 'bt2020', transfer: 'pq', primaries: 'bt2020' };
let dir: string;
beforeAll(() => {
  dir = mkdtempSync(join(tmpdir(), 'pw-lossless-'));
});
afterAll(() => rmSync(dir, { recursive: true, force: true }));

type Form = Pick<VideoFrame, 'bitDepth' | 'chromaShift' | 'chromaSite' | 'colour'>;

/** A slope with noise over it, every tenth value anything at all: all codes of the depth come up. */
function noisy(index: number, form: Form): VideoFrame {
  const random = new RandomStream(100 + index),
    most = 2 ** form.bitDepth,
    [sx, sy] = form.chromaShift;
  const planes = [0, 1, 2].map((p) => {
    const w = p === 0 ? W : W >> sx,
      h = p === 0 ? H : H >> sy,
      out = form.bitDepth > 8 ? new Uint16Array(w * h) : new Uint8Array(w * h);
    for (let i = 0; i < w * h; i++)
      out[i] =
        i % 10 === 0
          ? Math.floor(most * random.uniform())
          : Math.min(most - 1, Math.max(0, most * (0.2 + (0.6 * (i % w)) / w) + 0.02 * most * random.normal()));
    return out;
  });
  return { index, widthPx: W, heightPx: H, planes, layout: 'yuv', hasAlpha: false, ...form };
}

const FORMS: readonly (readonly [string, Form])[] = [
  ['8 bits 4:2:0', { bitDepth: 8, chromaShift: [1, 1], chromaSite: [0, 0.5], colour: BT709 }],
  [
    '8 bits 4:2:0 of full range, chroma in the middle',
    { bitDepth: 8, chromaShift: [1, 1], chromaSite: [0.5, 0.5], colour: { ...BT709, fullRange: true } },
  ],
  ['10 bits 4:2:0, PQ, chroma at the top left', { bitDepth: 10, chromaShift: [1, 1], chromaSite: [0, 0], colour: PQ }],
  ['10 bits 4:2:2', { bitDepth: 10, chromaShift: [1, 0], chromaSite: [0, 0], colour: BT709 }],
  [
    '8 bits 4:2:2, chroma in the middle',
    { bitDepth: 8, chromaShift: [1, 0], chromaSite: [0.5, 0], colour: { ...BT709, fullRange: true } },
  ],
  ['12 bits 4:4:4', { bitDepth: 12, chromaShift: [0, 0], chromaSite: [0, 0], colour: BT709 }],
  ['16 bits 4:2:2', { bitDepth: 16, chromaShift: [1, 0], chromaSite: [0, 0], colour: BT709 }],
];

const hasFfmpeg = spawnSync('ffmpeg', ['-version']).status === 0;

async function written(name: string, form: Form): Promise<string> {
  const path = join(dir, `${name}.mkv`),
    options = losslessForm(noisy(0, form))!;
  const w = await VideoWriter.open(path, { widthPx: W, heightPx: H, rate: rate(24), ...options });
  for (let n = 0; n < FRAMES; n++) {
    const frame = noisy(n, form);
    expect(w.takes(frame)).toBe(true);
    await w.writeFrame(frame);
  }
  await w.close();
  return path;
}

describe('frames kept code for code', () => {
  it.each(FORMS)('%s, with tags and place of chroma, in order and by number', async (_, form) => {
    const reader = await VideoReader.open(await written('kept', form));
    try {
      expect(reader.info.frameCount).toBe(FRAMES);
      const check = (f: VideoFrame, n: number): void => {
        const { bitDepth, chromaShift, chromaSite, colour, planes } = copyFrame(f);
        expect({ bitDepth, chromaShift, chromaSite, colour }).toEqual(form);
        expect(planes).toEqual(noisy(n, form).planes);
      };
      for await (const f of reader.frames()) check(f, f.index);
      for (const n of [5, 2, 6]) check(await reader.frame(n), n);
    } finally {
      await reader.close();
    }
  });

  it.skipIf(!hasFfmpeg).each(FORMS)('%s, as the ffmpeg program of this machine reads it', async (_, form) => {
    const path = await written('outside', form),
      raw = spawnSync('ffmpeg', ['-v', 'error', '-i', path, '-f', 'rawvideo', '-'], { maxBuffer: 1 << 28 }).stdout;
    const wanted = Array.from({ length: FRAMES }, (_, n) => noisy(n, form).planes)
      .flat()
      .map((p) => Buffer.from(p.buffer, p.byteOffset, p.byteLength));
    expect(raw.equals(Buffer.concat(wanted))).toBe(true);
  });

  it('what has another form is not promised', () => {
    const form = FORMS[0]![1],
      frame = noisy(0, form);
    expect(losslessForm({ ...frame, widthPx: W - 1 })).toBeNull();
    expect(losslessForm({ ...frame, heightPx: H - 1 })).toBeNull();
    expect(losslessForm({ ...frame, hasAlpha: true })).toBeNull();
    expect(losslessForm({ ...frame, layout: 'rgb', chromaShift: [0, 0] })).toBeNull();
    expect(losslessForm({ ...frame, chromaShift: [2, 0] })).toBeNull();
    expect(losslessForm({ ...frame, bitDepth: 32, chromaShift: [0, 0] })).toBeNull();
  });

  it('a frame of another form is not taken for one of this', async () => {
    const form = FORMS[0]![1],
      w = await VideoWriter.open(join(dir, 'other.mkv'), {
        widthPx: W,
        heightPx: H,
        rate: rate(24),
        ...losslessForm(noisy(0, form))!,
      });
    expect(w.takes(noisy(0, { ...form, chromaSite: [0.5, 0.5] }))).toBe(false);
    expect(w.takes(noisy(0, { ...form, bitDepth: 10 }))).toBe(false);
    await w.abort();
    // Of a picture turned round by a quarter: the file could not tell where its chroma sits.
    const turned = noisy(0, { ...form, chromaSite: [0.5, 0] });
    const v = await VideoWriter.open(join(dir, 'turned.mkv'), {
      widthPx: W,
      heightPx: H,
      rate: rate(24),
      ...losslessForm(turned)!,
    });
    expect(v.takes(turned)).toBe(false);
    await v.abort();
  });
});
