/** A part of the plate taken from another moment of the same shot, through the marks, the proposal and the mender. */
import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join as path } from 'node:path';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { RandomStream } from '../../core/random.js';
import { gaussianPlane } from '../../image/gaussian.js';
import { createPicture } from '../../image/picture.js';
import { copyFrame } from '../../media/planes.js';
import { VideoReader } from '../../media/video-reader.js';
import { VideoWriter } from '../../media/video-writer.js';
import { parseMarks } from '../../plate/marks/marks.js';
import { proposePlatePatch } from '../patch/patch-take.js';
import { plateMender } from './plate-mender.js';
import type { Recipe } from '../types.js';

const W = 160,
  H = 96,
  N = W * H,
  FRAMES = 24,
  OPENS = 14;
let folder: string, file: string;
/** A face-like disc that drifts to the right a third of a pixel a frame; its mouth opens (a dark bar) from frame 14. */
const middle = (n: number): number => 70 + n / 3;
const mouthOf = (n: number): readonly [number, number, number, number] => [
  Math.round(middle(n)) - 9,
  54,
  Math.round(middle(n)) + 9,
  62,
];

beforeAll(async () => {
  folder = mkdtempSync(path(tmpdir(), 'plate-patch-'));
  file = path(folder, 'plate.mkv');
  const r = new RandomStream(5);
  const back = gaussianPlane(
      Float32Array.from({ length: N }, () => 0.45 + 0.5 * r.normal()),
      W,
      H,
      2,
    ),
    skin = gaussianPlane(
      Float32Array.from({ length: N }, () => 0.7 + 0.35 * r.normal()),
      W,
      H,
      1.5,
    );
  const w = await VideoWriter.open(file, {
    widthPx: W,
    heightPx: H,
    rate: { num: 24, den: 1 },
    codec: 'ffv1',
    bits: 10,
  });
  const p = createPicture(W, H, 3);
  for (let n = 0; n < FRAMES; n++) {
    const m = middle(n),
      [x0, y0, x1, y1] = mouthOf(n);
    for (let y = 0; y < H; y++)
      for (let x = 0; x < W; x++) {
        const u = x - n / 3,
          k = Math.floor(u),
          t = u - k,
          on = Math.hypot((x + 0.5 - m) / 30, (y + 0.5 - 46) / 36) < 1;
        let v = on
          ? skin[y * W + Math.max(0, k)]! * (1 - t) + skin[y * W + Math.min(W - 1, Math.max(0, k + 1))]! * t
          : back[y * W + x]!;
        if (n >= OPENS && x >= x0 && x < x1 && y >= y0 && y < y1) v = 0.08;
        for (let c = 0; c < 3; c++) p.data[c * N + y * W + x] = Math.min(1, Math.max(0, v));
      }
    await w.writeCoded(p);
  }
  await w.close();
});
afterAll(() => rmSync(folder, { recursive: true, force: true }));

function recipeWith(offsetFrames: number): Recipe {
  const [x0, y0, x1, y1] = mouthOf(4);
  const polygon = [
    [x0 - 6, y0 - 6],
    [x1 + 6, y0 - 6],
    [x1 + 6, y1 + 6],
    [x0 - 6, y1 + 6],
  ];
  const marks = parseMarks(JSON.stringify({ frame: 4, marks: [{ kind: 'patch', polygon, offsetFrames }] }), 'marks');
  const step = proposePlatePatch(marks);
  return {
    version: 1,
    plate: { file, in: 0, out: FRAMES, rate: '24/1', widthPx: W, heightPx: H },
    take: { file, in: 0, out: FRAMES, rate: '24/1', widthPx: W, heightPx: H },
    steps: step === null ? [] : [step],
  };
}

describe('a part of the plate from another moment of the shot', () => {
  it('opens the mouth twelve frames sooner, where the head is then, and changes nothing else', async () => {
    const mender = plateMender(recipeWith(12))!;
    const reader = await VideoReader.open(file);
    try {
      for (const n of [2, 5, 9]) {
        const plate = await reader.frame(n);
        const before = Uint16Array.from(plate.planes[1] as Uint16Array);
        const out = await mender.mend(n, plate, new Set(['patch']));
        const after = out.planes[1]!,
          top = 2 ** out.bitDepth - 1;
        const [x0, y0, x1, y1] = mouthOf(n);
        const mean = (p: ArrayLike<number>, a: number, b: number, c: number, d: number): number => {
          let s = 0;
          for (let y = b; y < d; y++) for (let x = a; x < c; x++) s += p[y * W + x]! / top;
          return s / ((c - a) * (d - b));
        };
        expect(mean(before, x0 + 3, y0 + 2, x1 - 3, y1 - 2)).toBeGreaterThan(0.4);
        // The bar is where the head is on this frame, dark as it will be.
        expect(mean(after, x0 + 3, y0 + 2, x1 - 3, y1 - 2), `frame ${n}`).toBeLessThan(0.2);
        expect(
          Math.abs(mean(after, x0 + 2, y0 - 9, x1 - 2, y0 - 6) - mean(before, x0 + 2, y0 - 9, x1 - 2, y0 - 6)),
        ).toBeLessThan(0.02);
        let changed = 0;
        for (let y = 0; y < H; y++)
          for (let x = 0; x < W; x++)
            if ((x < x0 - 14 || x > x1 + 14 || y < y0 - 14 || y > y1 + 14) && after[y * W + x] !== before[y * W + x])
              changed++;
        expect(changed).toBe(0);
      }
      // Without the step the plate is handed back as it is.
      const plain = await reader.frame(5);
      expect(await mender.mend(5, plain, new Set(['erase']))).toBe(plain);
      // An inspection asks again after its render has closed what it used.
      const again = copyFrame(await reader.frame(5)),
        first = await mender.mend(5, again, new Set(['patch']));
      await mender.close?.();
      expect((await mender.mend(5, again, new Set(['patch']))).planes).toEqual(first.planes);
    } finally {
      await reader.close();
      await mender.close?.();
    }
  });

  it('proposes nothing for a mark that names no other moment', () => {
    expect(plateMender(recipeWith(0))).toBeNull();
  });
});
