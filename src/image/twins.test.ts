/**
 * Each kernel is held to its plain twin on random pictures of awkward sizes (property tests), and may work in place.
 */
import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { RandomStream } from '../core/random.js';
import type { Boundary } from './boundary.js';
import { boxMean, boxMeanPlain } from './box.js';
import { convolveSeparable, convolveSeparablePlain } from './convolve.js';
import { kernels } from './kernels.js';
import { dilate, erode, rankRectPlain } from './morphology.js';
import type { Picture, Channels } from './picture.js';
import { double, doublePlain, halfSize, halve, halvePlain } from './pyramid.js';
import { recursiveGaussian, recursiveGaussianPlain } from './recursive-gaussian.js';
import { towards, towardsPlain } from './blend-towards.js';
import { warpHomography, warpHomographyPlain } from './warp.js';
import { warpMap, warpMapPlain } from './warp-map.js';
import type { WarpFilter } from './warp-sampler.js';

function noise(n: number, seed: number, lo = 0, hi = 1): Float32Array {
  const r = new RandomStream(seed);
  return Float32Array.from({ length: n }, () => lo + (hi - lo) * r.uniform());
}

function picture(width: number, height: number, channels: Channels, seed: number): Picture {
  return { width, height, channels, data: noise(width * height * channels, seed) };
}

function worst(a: Float32Array, b: Float32Array): number {
  expect(a.length).toBe(b.length);
  let m = 0;
  for (let i = 0; i < a.length; i++) {
    const d = Math.abs(a[i]! - b[i]!);
    if (!(d <= m)) m = d;
  }
  return m;
}

/** Sizes above the door's threshold, with every remainder modulo 16. */
const size = fc.record({
  width: fc.integer({ min: 65, max: 130 }),
  height: fc.integer({ min: 65, max: 110 }),
  seed: fc.integer({ min: 1, max: 1e6 }),
});
const few = { numRuns: 12, seed: 7 };

describe('kernels and their plain twins', () => {
  it('one plane drawn towards another', () => {
    for (const n of [4096, 5003, 70001]) {
      const a = noise(n, n),
        b = noise(n, n + 1, -1, 2),
        plain = a.slice(),
        lent = kernels().allocPicture(n, 1, 1);
      try {
        lent.data.set(a);
        towards(lent.data, b, 0.37);
        towardsPlain(plain, b, 0.37);
        expect(worst(lent.data, plain)).toBeLessThan(3e-7);
        towards(a, b, 0.37);
        expect(worst(a, lent.data)).toBe(0);
      } finally {
        kernels().freePicture(lent);
      }
    }
  });

  it('separable convolution agrees within float rounding at every boundary, in place or apart', () => {
    fc.assert(
      fc.property(
        size,
        fc.integer({ min: 0, max: 9 }),
        fc.integer({ min: 0, max: 9 }),
        fc.constantFrom<Boundary>('clamp', 'mirror', 'zero'),
        ({ width, height, seed }, rx, ry, boundary) => {
          const src = noise(width * height, seed, -1, 2);
          const tx = noise(2 * rx + 1, seed + 1, -1, 1);
          const ty = noise(2 * ry + 1, seed + 2, -1, 1);
          const plain = convolveSeparablePlain(src, width, height, tx, ty, boundary);
          const scale = tx.reduce((s, v) => s + Math.abs(v), 0) * ty.reduce((s, v) => s + Math.abs(v), 0);
          expect(worst(convolveSeparable(src, width, height, tx, ty, boundary), plain)).toBeLessThan(
            4e-6 * Math.max(1, scale),
          );
          const own = src.slice();
          convolveSeparable(own, width, height, tx, ty, boundary, own);
          expect(worst(own, plain)).toBeLessThan(4e-6 * Math.max(1, scale));
        },
      ),
      few,
    );
  });

  it('separable convolution passes by what is 0 and changes nothing by it', () => {
    fc.assert(
      fc.property(
        size,
        fc.integer({ min: 0, max: 9 }),
        fc.integer({ min: 0, max: 9 }),
        fc.constantFrom<Boundary>('clamp', 'mirror', 'zero'),
        ({ width, height, seed }, rx, ry, boundary) => {
          // A slanting strip and a lone pixel, as a shadow and a whisker lie in their boxes; the strip may meet a side.
          const r = new RandomStream(seed, 5);
          const from = r.below(width),
            slope = 2 * r.uniform() - 1,
            broad = 1 + r.below(20);
          const src = noise(width * height, seed, -1, 2).map((v, i) => {
            const x = i % width,
              y = Math.floor(i / width);
            return Math.abs(x - from - slope * y) < broad && y % 23 > 4 ? v : 0;
          });
          src[r.below(src.length)] = 1;
          const tx = noise(2 * rx + 1, seed + 1, -1, 1);
          const ty = noise(2 * ry + 1, seed + 2, -1, 1);
          const plain = convolveSeparablePlain(src, width, height, tx, ty, boundary);
          const got = convolveSeparable(src, width, height, tx, ty, boundary);
          expect(worst(got, plain)).toBeLessThan(1e-4);
          for (let i = 0; i < got.length; i++) if (plain[i] === 0 && got[i] !== 0) throw new Error(`${i}: ${got[i]}`);
        },
      ),
      few,
    );
  });

  it('box means agree within 1e-6, in place or apart', () => {
    fc.assert(
      fc.property(
        size,
        fc.integer({ min: 0, max: 140 }),
        fc.integer({ min: 0, max: 30 }),
        ({ width, height, seed }, rx, ry) => {
          const src = noise(width * height, seed, -1, 2);
          const plain = boxMeanPlain(src, width, height, rx, ry);
          expect(worst(boxMean(src, width, height, rx, ry), plain)).toBeLessThan(1e-6);
          const own = src.slice();
          boxMean(own, width, height, rx, ry, own);
          expect(worst(own, plain)).toBeLessThan(1e-6);
        },
      ),
      few,
    );
  });

  it('recursive Gaussians agree within 2e-6, in place or apart', () => {
    fc.assert(
      fc.property(
        size,
        fc.double({ min: 0.5, max: 60, noNaN: true }),
        fc.double({ min: 0, max: 40, noNaN: true }),
        ({ width, height, seed }, sx, sy) => {
          const src = noise(width * height, seed);
          const plain = recursiveGaussianPlain(src, width, height, sx, sy);
          expect(worst(recursiveGaussian(src, width, height, sx, sy), plain)).toBeLessThan(2e-6);
          const own = src.slice();
          recursiveGaussian(own, width, height, sx, sy, own);
          expect(worst(own, plain)).toBeLessThan(2e-6);
        },
      ),
      few,
    );
  });

  it('halving and doubling agree within 3e-7, odd sizes too', () => {
    fc.assert(
      fc.property(size, ({ width, height, seed }) => {
        const src = noise(width * height, seed);
        const small = halvePlain(src, width, height);
        expect(worst(halve(src, width, height), small)).toBeLessThan(3e-7);
        expect(
          worst(
            double(small, halfSize(width), halfSize(height), width, height),
            doublePlain(small, halfSize(width), halfSize(height), width, height),
          ),
        ).toBeLessThan(3e-7);
      }),
      few,
    );
  });

  it('running maximum and minimum are the same to the bit, in place or apart', () => {
    fc.assert(
      fc.property(
        size,
        fc.integer({ min: 0, max: 40 }),
        fc.integer({ min: 0, max: 40 }),
        ({ width, height, seed }, rx, ry) => {
          const src = noise(width * height, seed, -1, 1);
          expect(worst(dilate(src, width, height, rx, ry), rankRectPlain(src, width, height, rx, ry, true))).toBe(0);
          const own = src.slice();
          erode(own, width, height, rx, ry, own);
          expect(worst(own, rankRectPlain(src, width, height, rx, ry, false))).toBe(0);
        },
      ),
      few,
    );
  });

  it('homography warps, larger and smaller, every filter and boundary', () => {
    fc.assert(
      fc.property(
        size,
        fc.constantFrom<WarpFilter>('nearest', 'bilinear', 'bicubic', 'lanczos3'),
        fc.constantFrom<Boundary>('clamp', 'mirror', 'zero'),
        fc.double({ min: 0.1, max: 2, noNaN: true }),
        fc.double({ min: -0.5, max: 0.5, noNaN: true }),
        fc.constantFrom<Channels>(1, 3, 4),
        ({ width, height, seed }, filter, boundary, scale, turn, channels) => {
          const src = picture(width, height, channels, seed);
          const c = scale * Math.cos(turn);
          const s = scale * Math.sin(turn);
          const m = [c, -s, 11.3, s, c, 4.7, 1e-4 * scale, -5e-5, 1];
          const plain = warpHomographyPlain(src, m, 90, 71, { filter, boundary });
          // Nearest may choose the other of two pixels where the last bit decides; there
          // every value may differ, but hardly any does.
          const got = warpHomography(src, m, 90, 71, { filter, boundary });
          let off = 0;
          for (let i = 0; i < got.data.length; i++) if (!(Math.abs(got.data[i]! - plain.data[i]!) < 5e-6)) off++;
          // A weight table is read at the nearest of 1024 fractions: the last bit may pick the neighbour there too.
          expect(off).toBeLessThanOrEqual(filter === 'bilinear' ? 0 : 0.002 * got.data.length);
        },
      ),
      { numRuns: 30, seed: 7 },
    );
  });

  it('warps by a map agree within 5e-6, and what lies outside is empty', () => {
    fc.assert(
      fc.property(
        size,
        fc.constantFrom<WarpFilter>('nearest', 'bilinear', 'bicubic', 'lanczos3'),
        fc.constantFrom<Boundary>('clamp', 'mirror', 'zero'),
        ({ width, height, seed }, filter, boundary) => {
          const src = picture(width, height, 3, seed);
          const n = 80 * 64;
          const mx = noise(n, seed + 1, -20, width + 20);
          const my = noise(n, seed + 2, -20, height + 20);
          mx[5] = NaN;
          my[9] = Infinity;
          const got = warpMap(src, mx, my, 80, 64, { filter, boundary });
          const plain = warpMapPlain(src, mx, my, 80, 64, { filter, boundary });
          expect(worst(got.data, plain.data)).toBeLessThan(5e-6);
          expect(got.data[5]).toBe(0);
        },
      ),
      few,
    );
  });
});

describe("pictures in the kernels' memory", () => {
  it('are used in place, give the same bytes, and are freed', () => {
    const door = kernels();
    const before = door.allocator.used;
    const src = picture(120, 90, 1, 3);
    const far = recursiveGaussian(src.data, 120, 90, 5);
    door.withPictures((make) => {
      const a = make(120, 90, 1);
      const b = make(120, 90, 1);
      a.data.set(src.data);
      expect(door.owns(a.data)).toBe(true);
      recursiveGaussian(a.data, 120, 90, 5, 5, b.data);
      expect(worst(b.data, far)).toBe(0);
      expect(worst(a.data, src.data)).toBe(0);
      convolveSeparable(a.data, 120, 90, [0.25, 0.5, 0.25], [0.25, 0.5, 0.25], 'clamp', a.data);
      expect(worst(a.data, convolveSeparable(src.data, 120, 90, [0.25, 0.5, 0.25], [0.25, 0.5, 0.25]))).toBe(0);
    });
    expect(door.allocator.used).toBe(before);
  });

  it('survive the memory growing, and a double free is refused', () => {
    const door = kernels();
    const small = door.allocPicture(100, 100, 1);
    small.data.fill(0.25);
    const large = door.allocPicture(4096, 2160, 4);
    expect(door.owns(small.data)).toBe(true);
    expect(boxMean(small.data, 100, 100, 3)[5050]).toBeCloseTo(0.25, 6);
    door.freePicture(large);
    door.freePicture(small);
    expect(() => door.freePicture(small)).toThrow(/PW-IMAGE-FREE/);
  });
});
