/** The kernels that draw balls and shade planes are held to their plain twins. */
import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { mapTuple } from '../../core/tuples.js';
import { RandomStream } from '../../core/random.js';
import { ballsDepthPlain, ballsFrontPlain, depthInBalls, frontOfBalls } from './ball-grids.js';
import { groundGeometry } from '../ground/ground-geometry.js';
import { fillShade, fillShadePlain } from '../ground/shade-plane.js';
import { ballsOfCells, ballsOfCellsPlain, matteCellsPlain } from './body-volume.js';
import { buildShadowMap, coverAndStand, coverAndStandPlain } from '../ground/shadow-map.js';

const setting = fc.record({
  seed: fc.integer({ min: 1, max: 1e6 }),
  w: fc.integer({ min: 33, max: 120 }),
  h: fc.integer({ min: 33, max: 90 }),
  count: fc.integer({ min: 1, max: 40 }),
});

describe('balls on a grid, by kernel and plain', () => {
  it('the front surface agrees within 2e-3', () => {
    fc.assert(
      fc.property(setting, ({ seed, w, h, count }) => {
        const r = new RandomStream(seed);
        const balls = Array.from({ length: count }, () => ({
          x: -5 + (w + 10) * r.uniform(),
          y: -5 + (h + 10) * r.uniform(),
          r: 0.5 + 25 * r.uniform(),
        }));
        const plain = ballsFrontPlain(balls, w, h),
          kernel = frontOfBalls(balls, w, h);
        let worst = 0;
        for (let i = 0; i < plain.length; i++) worst = Math.max(worst, Math.abs(kernel[i]! ** 2 - plain[i]! ** 2));
        expect(worst).toBeLessThan(2e-3);
      }),
      { numRuns: 20, seed: 3, endOnFailure: true },
    );
  });

  it('the front surface on coarser cells, deeper than round and tilted, agrees within 6 % of a cell', () => {
    fc.assert(
      fc.property(
        setting,
        fc.integer({ min: 1, max: 5 }),
        fc.double({ min: -1, max: 1, noNaN: true }),
        ({ seed, w, h, count }, cell, tilt) => {
          const r = new RandomStream(seed);
          const balls = Array.from({ length: count }, () => ({
            x: cell * w * r.uniform(),
            y: cell * h * r.uniform(),
            r: cell * (0.5 + 15 * r.uniform()),
          }));
          const how = { cell, pad: 6, scale: 1.25, tilt, middle: 0.4 * cell * w };
          const plain = ballsFrontPlain(balls, w, h, how),
            kernel = frontOfBalls(balls, w, h, how);
          // A height near 0 is the root of a small difference.
          let worst = 0;
          for (let i = 0; i < plain.length; i++) worst = Math.max(worst, Math.abs(kernel[i]! - plain[i]!));
          expect(worst).toBeLessThan(0.06 * cell);
          expect(Math.abs(kernel.reduce((s, v, i) => s + v - plain[i]!, 0)) / plain.length).toBeLessThan(1e-4 * cell);
        },
      ),
      { numRuns: 20, seed: 7, endOnFailure: true },
    );
  });

  it('the balls of a matte, in a box of it or over its edge: the same to the last bit', () => {
    fc.assert(
      fc.property(
        setting,
        fc.integer({ min: 1, max: 5 }),
        fc.boolean(),
        ({ seed, w: width, h: height, count }, step, whole) => {
          const r = new RandomStream(seed),
            alpha = new Float32Array(width * height);
          for (let k = 0; k < count; k++) {
            const x0 = r.below(width),
              y0 = r.below(height),
              side = 1 + r.below(40);
            for (let y = y0; y < Math.min(height, y0 + side); y++)
              alpha.fill(r.uniform() < 0.2 ? r.uniform() : 1, y * width + x0, y * width + Math.min(width, x0 + side));
          }
          const bx0 = whole ? 0 : r.below(10),
            by0 = whole ? 0 : r.below(10),
            w = Math.ceil((width - bx0) / step) + 2,
            h = Math.ceil((height - by0) / step) + 2;
          const kernel = ballsOfCells(alpha, width, height, { bx0, by0, step, w, h }),
            plain = ballsOfCellsPlain(matteCellsPlain(alpha, width, height, { bx0, by0, step, w, h }), w, h);
          expect(Array.from(kernel)).toEqual(Array.from(plain));
          expect(plain.length % 3).toBe(0);
        },
      ),
      { numRuns: 30, seed: 6, endOnFailure: true },
    );
  });

  it('a matte that fills its picture has balls with no outline', () => {
    const cells = { bx0: 0, by0: 0, step: 1, w: 42, h: 32 };
    const full = new Float32Array(40 * 30).fill(1);
    expect(Array.from(ballsOfCells(full, 40, 30, cells))).toEqual(
      Array.from(ballsOfCellsPlain(matteCellsPlain(full, 40, 30, cells), 42, 32)),
    );
  });

  it('cover and stand, carried outwards, are the same bytes', () => {
    fc.assert(
      fc.property(setting, ({ seed, w, h, count }) => {
        const r = new RandomStream(seed);
        const balls = Array.from({ length: count }, () => ({
          x: w * r.uniform(),
          y: h * r.uniform(),
          r: 0.5 + 6 * r.uniform(),
          stand: r.normal(),
        }));
        const a = ballsDepthPlain(balls, w, h, 3),
          b = { depth: a.depth.slice(), stand: a.stand.slice() },
          ca = new Float32Array(w * h),
          cb = new Float32Array(w * h);
        coverAndStand(a, ca, w, h);
        coverAndStandPlain(b, cb, w, h);
        for (const [x, y] of [
          [a.depth, b.depth],
          [a.stand, b.stand],
          [ca, cb],
        ] as const)
          expect(Buffer.from(x.buffer).equals(Buffer.from(y.buffer))).toBe(true);
      }),
      { numRuns: 20, seed: 8, endOnFailure: true },
    );
  });

  it('the depth inside agrees within 1e-4, and whose it is on all but two pixels in a thousand', () => {
    fc.assert(
      fc.property(setting, ({ seed, w, h, count }) => {
        const r = new RandomStream(seed);
        const balls = Array.from({ length: count }, (_, k) => ({
          x: -5 + (w + 10) * r.uniform(),
          y: -5 + (h + 10) * r.uniform(),
          r: 0.5 + 15 * r.uniform(),
          stand: k,
        }));
        const plain = ballsDepthPlain(balls, w, h, 3),
          kernel = depthInBalls(balls, w, h, 3);
        let other = 0,
          worst = 0;
        for (let i = 0; i < plain.depth.length; i++) {
          worst = Math.max(
            worst,
            Math.abs(kernel.depth[i]! - plain.depth[i]!) / Math.max(1, Math.abs(plain.depth[i]!)),
          );
          if (kernel.stand[i] !== plain.stand[i]) other++;
        }
        expect(worst).toBeLessThan(1e-4);
        // Where two balls are as deep to the last bit, either may count.
        expect(other).toBeLessThan(0.002 * w * h + 1);
      }),
      { numRuns: 20, seed: 4, endOnFailure: true },
    );
  });

  it('the shade of a plane agrees within 2e-3 but on three pixels in a thousand', () => {
    let shaded = 0;
    fc.assert(
      fc.property(
        fc.record({
          seed: fc.integer({ min: 1, max: 1e6 }),
          tilt: fc.double({ min: 2, max: 40, noNaN: true }),
          azimuth: fc.double({ min: -80, max: 80, noNaN: true }),
          elevation: fc.double({ min: 15, max: 70, noNaN: true }),
          soft: fc.double({ min: 0.2, max: 12, noNaN: true }),
        }),
        ({ seed, tilt, azimuth, elevation, soft }) => {
          const r = new RandomStream(seed);
          const g = groundGeometry(
            { focalPx: 300, elevationDeg: elevation, azimuthDeg: azimuth },
            { frame: 0, foot: [100, 110], pxPerMetre: 80, tiltDeg: tilt, rollDeg: 2, azimuthDeg: azimuth },
            203,
            160,
          );
          const solid = Array.from({ length: 12 }, () => {
            const up = 0.05 + 0.5 * r.uniform();
            return {
              centre: mapTuple(g.foot, (v, i) => v + g.up[i]! * up + 0.2 * (r.uniform() - 0.5)),
              radius: 0.04 + 0.1 * r.uniform(),
            };
          });
          const map = buildShadowMap(solid, g.light, g.up, soft, 0.6 / 80, 0.01);
          const near = solid.slice(0, 5);
          const plane = { n: g.up, d: g.up[0] * g.foot[0] + g.up[1] * g.foot[1] + g.up[2] * g.foot[2] };
          const box = [0, 20, 203, 160] as const,
            n = 203 * 140;
          for (const m of [map, null]) {
            const c0 = new Float32Array(n),
              k0 = new Float32Array(n),
              c1 = new Float32Array(n),
              k1 = new Float32Array(n);
            fillShade(g, plane, m, near, box, c0, k0);
            fillShadePlain(g, plane, m, near, box, c1, k1);
            let off = 0,
              worst = 0;
            for (let i = 0; i < n; i++) {
              worst = Math.max(worst, Math.abs(k0[i]! - k1[i]!));
              // A place on a cell's border may be read from the next cell, whose body may stand elsewhere.
              if (Math.abs(c0[i]! - c1[i]!) > 2e-3) off++;
            }
            expect(worst).toBeLessThan(2e-3);
            expect(off).toBeLessThan(0.003 * n);
            if (c1.some((v) => v > 0.2)) shaded++;
          }
        },
      ),
      { numRuns: 24, seed: 6, endOnFailure: true },
    );
    expect(shaded).toBeGreaterThan(5);
  });

  it('contact of large balls, worked out some pixels apart, agrees within .04, .0005 in the mean', () => {
    // Balls of 40 pixels and more are read 4 pixels apart, of 140 at 16; those of less than 32 at each pixel, as above.
    for (const [radiusM, focalPx] of [
      [0.1, 1600],
      [0.18, 1600],
      [0.35, 1600],
    ] as const) {
      const g = groundGeometry(
        { focalPx, elevationDeg: 40, azimuthDeg: 20 },
        { frame: 0, foot: [300, 220], pxPerMetre: 400, tiltDeg: -14, rollDeg: 2, azimuthDeg: 20 },
        603,
        400,
      );
      const near = [-0.3, 0.1, 0.4].map((x, k) => ({
        centre: mapTuple(g.foot, (v, i) => v + g.up[i]! * radiusM * (0.9 + 0.3 * k) + (i === 0 ? x : 0)),
        radius: radiusM * (1 + 0.2 * k),
      }));
      const plane = { n: g.up, d: g.up[0] * g.foot[0] + g.up[1] * g.foot[1] + g.up[2] * g.foot[2] },
        box = [0, 20, 603, 400] as const,
        n = 603 * 380;
      const c0 = new Float32Array(n),
        k0 = new Float32Array(n).fill(7),
        c1 = new Float32Array(n),
        k1 = new Float32Array(n);
      fillShade(g, plane, null, near, box, c0, k0);
      fillShadePlain(g, plane, null, near, box, c1, k1);
      let worst = 0,
        sum = 0;
      for (let i = 0; i < n; i++) {
        const d = Math.abs(k0[i]! - k1[i]!);
        worst = Math.max(worst, d);
        sum += d;
      }
      expect(k1.some((v) => v > 0.5)).toBe(true);
      expect(worst).toBeLessThan(0.04);
      expect(sum / n).toBeLessThan(5e-4);
    }
  });
});
