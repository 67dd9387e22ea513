import { expect, test } from 'vitest';
import { RandomStream } from '../../core/random.js';
import { createPicture, type Picture } from '../../image/picture.js';
import { greyEdge } from './grey-edge.js';

/** Patches of random paints under a light of that colour, with a wide wall of one strong paint. */
function set(seed: number, light: readonly [number, number, number]): Picture {
  const random = new RandomStream(seed, 3);
  const w = 240;
  const h = 160;
  const p = createPicture(w, h, 3);
  const n = w * h;
  const paints = Array.from({ length: 60 }, () => {
    const grey = 0.1 + 0.6 * random.uniform();
    return [0, 1, 2].map(() => grey * (0.7 + 0.6 * random.uniform()));
  });
  for (let y = 0; y < h; y++)
    for (let x = 0; x < w; x++) {
      const paint = y < 40 ? [0.5, 0.25, 0.12] : paints[Math.floor(x / 24) + 10 * Math.floor((y - 40) / 20)]!;
      for (let c = 0; c < 3; c++) p.data[c * n + y * w + x] = paint[c]! * light[c]!;
    }
  return p;
}

test('reads the colour of the light from edges, little led by a wall of one paint', () => {
  for (const light of [
    [1, 1, 1],
    [1.1, 1, 0.6],
    [0.8, 1, 1.3],
  ] as const)
    for (const seed of [1, 2, 3]) {
      const read = greyEdge(set(seed, light))!;
      expect(Math.abs(Math.log2(read[2] / read[0]) - Math.log2(light[2] / light[0]))).toBeLessThan(0.35);
    }
});

test('follows a change of light exactly, and leaves black bars out', () => {
  const a = greyEdge(set(4, [0.9, 0.9, 0.9]))!;
  const b = greyEdge(set(4, [0.9, 0.8, 0.5]))!;
  expect(Math.log2(b[2] / b[0]) - Math.log2(a[2] / a[0])).toBeCloseTo(Math.log2(0.5 / 0.9), 3);
  const plain = set(5, [0.9, 0.8, 0.5]);
  const n = plain.width * plain.height;
  const barred = createPicture(plain.width, plain.height + 40, 3);
  const m = barred.width * barred.height;
  for (let c = 0; c < 3; c++) barred.data.set(plain.data.subarray(c * n, (c + 1) * n), c * m + 20 * plain.width);
  const bars = { top: 20, bottom: 20, left: 0, right: 0 };
  const within = greyEdge(barred, bars)!;
  const own = greyEdge(plain)!;
  expect(within[2] / within[0]).toBeCloseTo(own[2] / own[0], 5);
});

test('says nothing of a picture without edges', () => {
  const p = createPicture(100, 100, 3);
  p.data.fill(0.4);
  expect(greyEdge(p)).toBeNull();
});
