/** Kernels of the ride against their plain twins, over seeded pictures, warps and light. */
import { expect, test } from 'vitest';
import { insidePolygon } from '../../image/polygon.js';
import { RandomStream } from '../../core/random.js';
import { RideMemory } from './ride-memory.js';
import { allocatePyramid, fillPyramid, smoothBinomial, smoothBinomialPlain } from './ride-pyramid.js';
import { reduceLuma, reduceLumaPlain } from './ride-camera.js';
import { residualScale, residualScalePlain } from './ride-scale.js';
import { blocksOf, scoreAt, scorePlaces } from './ride-score.js';
import { smearTiles, smearTilesPlain } from './ride-smear.js';
import { createScratch, normalEquations, normalEquationsPlain, sampleCells, sampleCellsPlain } from './ride-sums.js';
import { buildTemplate } from './ride-template.js';

function picture(rng: RandomStream, w: number, h: number): Float32Array {
  const f = [1, 2, 3].map(() => [0.05 + 0.2 * rng.uniform(), 0.05 + 0.2 * rng.uniform(), 6 * rng.uniform()] as const);
  return Float32Array.from(
    { length: w * h },
    (_, i) =>
      0.5 +
      f.reduce((s, [a, b, c]) => s + 0.16 * Math.sin(a * (i % w) + b * Math.floor(i / w) + c), 0) +
      0.02 * rng.normal(),
  );
}

function near(a: ArrayLike<number>, b: ArrayLike<number>, tolerance: number): void {
  let scale = 0;
  let worst = 0;
  for (let i = 0; i < b.length; i++) scale = Math.max(scale, Math.abs(b[i]!));
  for (let i = 0; i < b.length; i++) worst = Math.max(worst, Math.abs(a[i]! - b[i]!));
  expect(scale).toBeGreaterThan(0);
  expect(worst / scale).toBeLessThan(tolerance);
}

test.each([1, 2, 3, 4])('sampling and normal equations agree with their plain twins (seed %i)', (seed) => {
  const rng = new RandomStream(seed, 5);
  const w = 131 + rng.below(40);
  const h = 97 + rng.below(30);
  const memory = new RideMemory();
  try {
    const luma = picture(rng, w, h);
    const fast = allocatePyramid(w, h, 2, memory);
    const plain = allocatePyramid(w, h, 2);
    fillPyramid(luma, fast);
    fillPyramid(luma, plain);
    near(fast[1]!.data, plain[1]!.data, 1e-6);
    const region = [
      [20.3, 18],
      [w - 25, 22],
      [w - 30, h - 20],
      [24, h - 26.5],
    ] as const;
    const a = buildTemplate(fast, region, 0, { limit: 3000, memory });
    const b = buildTemplate(plain, region, 0, { limit: 3000 });
    const sa = createScratch(a, memory);
    const sb = createScratch(b);
    for (let l = 0; l < a.levels.length; l++) {
      const la = a.levels[l]!;
      const lb = b.levels[l]!;
      const f = 1 / (1 << l);
      const t = a.toPixels;
      // Part of the region leaves the frame.
      const m = [
        t[0] * 1.03 * f,
        2 * rng.normal() * f,
        (t[2] - 25 + 6 * rng.normal()) * f,
        rng.normal() * f,
        t[4] * 0.97 * f,
        (t[5] + rng.normal()) * f,
        0.01 * rng.normal(),
        0.01 * rng.normal(),
        1,
      ];
      for (const first of [true, false]) {
        sa.matrix.set(m);
        sb.matrix.set(m);
        // Pixels that sit on the frame's edge or a limit may fall either way in single precision.
        expect(
          Math.abs(sampleCells(la, fast[l]!, sa, first) - sampleCellsPlain(lb, plain[l]!, sb, first)),
        ).toBeLessThanOrEqual(2);
        const seen = lb.u.findIndex((_, i) => sb.sample[i] !== -9);
        expect(seen).toBeGreaterThanOrEqual(0);
        near(sa.sample.slice(0, lb.u.length), sb.sample.slice(0, lb.u.length), 1e-4);
        near(sa.cells.slice(0, 18 * lb.cells), sb.cells.slice(0, 18 * lb.cells), 1e-4);
        for (let c = 0; c < la.cells; c++)
          for (const s of [sa, sb]) s.light.set([0.9 + 0.01 * c, 0.02, c % 3 === 2 ? 0 : 0.8, la.balance[c]!], 4 * c);
        for (const s of [sa, sb]) s.numbers.set([1 / (4.685 * 0.1), 0.6, 2]);
        // Gain, bias and trust of each cell, as light would be solved; the very same sums for both.
        for (let c = 0; c < la.cells; c++)
          sa.cells.set([0.8 + 0.4 * rng.uniform(), 0.03 * rng.normal(), rng.uniform()], 18 * c + 6);
        const scale = residualScale(la, sa);
        expect(scale).not.toBeNull();
        expect(scale).toBe(residualScalePlain(la, sa));
        normalEquations(la, sa);
        normalEquationsPlain(lb, sb);
        for (const [from, to] of [
          [0, 64],
          [64, 72],
          [72, 74],
          [74, 80],
        ] as const)
          near(sa.out.slice(from, to), sb.out.slice(from, to), 2e-4);
        near(sa.lit.slice(0, 18 * lb.cells), sb.lit.slice(0, 18 * lb.cells), 2e-4);
        near(sa.weight.slice(0, lb.u.length), sb.weight.slice(0, lb.u.length), 1e-3);
      }
    }
  } finally {
    memory.close();
  }
});

test.each([1, 2, 3])('smoothing agrees with its plain twin (seed %i)', (seed) => {
  const rng = new RandomStream(seed, 6);
  const w = 13 + rng.below(90);
  const h = 12 + rng.below(50);
  const src = picture(rng, w, h);
  const a = new Float32Array(w * h);
  const b = new Float32Array(w * h);
  smoothBinomial(src, a, w, h);
  smoothBinomialPlain(src, b, w, h);
  near(a, b, 1e-6);
});

test.each([1, 2, 3, 4])('means of squares of %i pixels are those of the plain twin to the last bit', (k) => {
  const rng = new RandomStream(k, 9);
  const w = 50 + rng.below(40);
  const h = 41 + rng.below(20);
  const src = picture(rng, w, h);
  const width = Math.floor(w / k);
  const height = Math.floor(h / k);
  const a = new Float32Array(width * height);
  const b = new Float32Array(width * height);
  reduceLuma(src, w, k, a, width, height);
  reduceLumaPlain(src, w, k, b, width, height);
  expect(a).toEqual(b);
});

test('a template keeps, cell by cell, the pixels of strongest slope inside a region with dents', () => {
  const rng = new RandomStream(4, 10);
  const w = 120;
  const h = 90;
  const pyramid = allocatePyramid(w, h, 1);
  fillPyramid(picture(rng, w, h), pyramid);
  const region = [
    [12, 10],
    [60, 30],
    [108, 12],
    [100, 80],
    [55, 52],
    [15, 76],
  ] as const;
  const all = buildTemplate(pyramid, region, 0, { limit: 1e6 }).levels[0]!;
  const some = buildTemplate(pyramid, region, 0, { limit: 1500 }).levels[0]!;
  const { data } = pyramid[0]!;
  let inside = 0;
  for (let y = 1; y <= h - 2; y++)
    for (let x = 1; x <= w - 2; x++)
      if (insidePolygon(region, x + 0.5, y + 0.5) && data[y * w + x]! > 0.004 && data[y * w + x]! < 0.985) inside++;
  expect(all.count).toBe(inside);
  expect(some.count).toBeGreaterThan(1500 - some.cells);
  expect(some.count).toBeLessThanOrEqual(1500);
  for (let c = 0; c < all.cells; c++) {
    const slopes = (l: typeof all): number[] =>
      Array.from(l.slope.subarray(l.starts[c], l.starts[c + 1]))
        .filter((_, i) => !Number.isNaN(l.u[l.starts[c]! + i]!))
        .sort((p, q) => q - p);
    const kept = slopes(some);
    expect(kept).toEqual(slopes(all).slice(0, kept.length));
  }
});

test.each([1, 2, 3])('scores of places agree with the plain twin, also half outside (seed %i)', (seed) => {
  const rng = new RandomStream(seed, 7);
  const w = 61 + rng.below(20);
  const h = 43;
  const data = picture(rng, w, h);
  const px: number[] = [];
  const py: number[] = [];
  const pv: number[] = [];
  const side = 20;
  for (let y = 0; y < side; y++)
    for (let x = 0; x < side; x++) {
      px.push(x);
      py.push(y);
      pv.push(data[(y + 9) * w + x + 14]! * 0.8 + 0.03 * rng.normal());
    }
  const blocks = blocksOf(px, py, pv, side, side);
  const target = { width: w, height: h, data };
  const columns = w + 10;
  const rows = h + 8;
  const scores = scorePlaces(blocks, target, -10, -9, columns, rows);
  const plain = Float32Array.from({ length: rows * columns }, (_, i) =>
    scoreAt(blocks, target, -10 + (i % columns), -9 + Math.floor(i / columns)),
  );
  near(scores, plain, 1e-3);
  const best = scores.indexOf(Math.max(...scores));
  expect([(best % columns) - 10, Math.floor(best / columns) - 9]).toEqual([14, 9]);
});

test.each([1, 2, 3])('smeared tiles agree with the plain twin, also past the edges (seed %i)', (seed) => {
  const rng = new RandomStream(seed, 8);
  const width = 50 + rng.below(20);
  const height = 37;
  const data = picture(rng, width, height);
  const columns = 7;
  const rows = 5;
  const ways = Float32Array.from({ length: 2 * columns * rows }, () => 12 * rng.normal());
  const level = { width, height, data };
  for (const [x0, y0] of [
    [0, 0],
    [5, 3],
  ] as const)
    near(
      smearTiles(level, ways, columns, rows, x0, y0, 5),
      smearTilesPlain(level, ways, columns, rows, x0, y0, 5),
      1e-5,
    );
  // No way at all leaves the picture as it is.
  const still = smearTiles(level, new Float32Array(2 * columns * rows), columns, rows, 2, 1, 3);
  expect(still[3 * columns * 8 + 4]).toBeCloseTo(data[4 * width + 6]!, 6);
});
