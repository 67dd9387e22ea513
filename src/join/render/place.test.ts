/**
 * Placements by their own points; drawn discs by centre and area; the kernel against its plain twin; a ball under a
 * lowered camera by its geometry.
 */
import { describe, expect, it } from 'vitest';
import { createPicture, plane } from '../../image/picture.js';
import { apply, type Mat3 } from '../../geometry/mat3.js';
import { smoothCubic } from '../../geometry/cubic-curve.js';
import { carryPoint, type Carrier } from '../ride/carrier.js';
import fc from 'fast-check';
import { RandomStream } from '../../core/random.js';
import { drawPlaced } from './draw-placed.js';
import { drawPlacedPlain } from './draw-placed-plain.js';
import { interleave } from './interleaved.js';
import { placeUpright, shutterPlacements } from '../ride/ride.js';
import { steadyMatrix } from '../ride/steady.js';
import { sightBetween } from '../body/view-sight.js';
import { frontField } from '../body/view-shift.js';
import type { RideStep } from '../types.js';

describe('placement', () => {
  it('lays ground on ground and top on top, mirrored or not, and keeps shapes', () => {
    const take = { ground: [400, 700], top: [410, 200] } as const,
      plate = { ground: [120.3, 88.7], top: [118.1, 30.2] } as const;
    for (const mirror of [false, true]) {
      const m = placeUpright(take, plate, 1, mirror);
      const g = apply(m, 400, 700),
        t = apply(m, 410, 200);
      expect(g[0]).toBeCloseTo(120.3, 9);
      expect(g[1]).toBeCloseTo(88.7, 9);
      expect(t[0]).toBeCloseTo(118.1, 9);
      expect(t[1]).toBeCloseTo(30.2, 9);
      const det = m[0] * m[4] - m[1] * m[3];
      expect(Math.sign(det)).toBe(mirror ? -1 : 1);
      expect(Math.sqrt(Math.abs(det))).toBeCloseTo(Math.hypot(118.1 - 120.3, 30.2 - 88.7) / Math.hypot(10, 500), 9);
    }
  });
  it('refuses a ground and top in one place', () => {
    expect(() => placeUpright({ ground: [1, 1], top: [1, 1] }, { ground: [0, 0], top: [0, 9] }, 1, false)).toThrow(
      /PW-JOIN-STAND/,
    );
  });
  it('smears over the open shutter only, and not at all without one', () => {
    const at = (x: number): Mat3 => [1, 0, x, 0, 1, 0, 0, 0, 1];
    const step: RideStep = {
      step: 'ride',
      on: true,
      why: '',
      mirror: false,
      motionBlur: 180,
      placement: [0, 12, 24].map((x, frame) => ({ frame, matrix: at(x) })),
    };
    const list = shutterPlacements(step, 1, [0, 0, 50, 50]);
    // 180 degrees open: half of 12 px a frame, centred.
    expect(list.length).toBeGreaterThan(4);
    expect(Math.min(...list.map((m) => m[2]))).toBeGreaterThan(9);
    expect(Math.max(...list.map((m) => m[2]))).toBeLessThan(15);
    expect(list.reduce((s, m) => s + m[2], 0) / list.length).toBeCloseTo(12, 9);
    expect(shutterPlacements({ ...step, motionBlur: 0 }, 1, [0, 0, 50, 50])).toHaveLength(1);
  });
  it("takes the take's own motion out at the anchor", () => {
    const m = steadyMatrix(
      {
        step: 'steady',
        on: true,
        why: '',
        anchor: [
          { frame: 0, x: 100, y: 200, angleDeg: 0, scale: 1 },
          { frame: 4, x: 104, y: 197, angleDeg: 5, scale: 1.1 },
        ],
      },
      4,
    );
    const p = apply(m, 104, 197);
    expect(p[0]).toBeCloseTo(100, 9);
    expect(p[1]).toBeCloseTo(200, 9);
  });
});

describe('carried points', () => {
  it('follow a homography exactly, whatever the number of marks', () => {
    const carrier: Carrier = {
      at: (n) => [1 + 0.01 * n, 0.002 * n, 3 * n, -0.001 * n, 1 + 0.01 * n, n, 1e-5 * n, 0, 1],
    };
    const p0 = [200, 150] as const;
    const path = carryPoint(
      [0, 7, 12].map((frame) => ({ frame, point: apply(carrier.at(frame), p0[0], p0[1]) })),
      carrier,
    );
    for (let n = 0; n <= 12; n++) {
      const want = apply(carrier.at(n), p0[0], p0[1]),
        got = path(n);
      expect(got[0]).toBeCloseTo(want[0], 6);
      expect(got[1]).toBeCloseTo(want[1], 6);
    }
  });
  it('a parabola through three marks comes back as it was', () => {
    const f = smoothCubic(
      [0, 10, 25],
      [0, 100, 625].map((v) => v - 3),
    );
    for (const x of [3, 10, 17, 24]) expect(f(x)).toBeCloseTo(x * x - 3, 6);
  });
});

describe('drawing', () => {
  const disc = (w: number, h: number, cx: number, cy: number, r: number): ReturnType<typeof createPicture> => {
    const p = createPicture(w, h, 4);
    const n = w * h;
    for (let y = 0; y < h; y++)
      for (let x = 0; x < w; x++) {
        const a = Math.min(1, Math.max(0, r - Math.hypot(x + 0.5 - cx, y + 0.5 - cy) + 0.5));
        for (let c = 0; c < 3; c++) p.data[c * n + y * w + x] = a * 0.5;
        p.data[3 * n + y * w + x] = a;
      }
    return p;
  };
  it('moves by fractions of a pixel and keeps the area, made smaller or larger', () => {
    const src = disc(120, 120, 60, 60, 40);
    for (const [scale, dx, dy] of [
      [1, 0.37, -0.21],
      [0.4, 11.3, 7.7],
      [1.7, 3.1, 2.2],
    ] as const) {
      const m: Mat3 = [scale, 0, dx, 0, scale, dy, 0, 0, 1];
      const size = Math.ceil(130 * scale) + 20;
      const out = drawPlaced(src, [0, 0], [m], [0, 0, size, size], null);
      const a = plane(out, 3);
      let s = 0,
        sx = 0,
        sy = 0;
      for (let y = 0; y < size; y++)
        for (let x = 0; x < size; x++) {
          const v = a[y * size + x]!;
          s += v;
          sx += v * (x + 0.5);
          sy += v * (y + 0.5);
        }
      expect(sx / s).toBeCloseTo(60 * scale + dx, 1);
      expect(sy / s).toBeCloseTo(60 * scale + dy, 1);
      expect(s / (Math.PI * (40 * scale) ** 2)).toBeCloseTo(1, 2);
      const middle = Math.floor(60 * scale + dy) * size + Math.floor(60 * scale + dx);
      expect(out.data[middle]).toBeCloseTo(0.5, 4);
    }
  });
  it('by the kernel is what the plain twin draws, for any placement, with and without a view shift', () => {
    const odd = fc.record({
      seed: fc.integer({ min: 1, max: 1e6 }),
      w: fc.integer({ min: 30, max: 90 }),
      h: fc.integer({ min: 30, max: 90 }),
      scale: fc.double({ min: 0.25, max: 1.8, noNaN: true }),
      turn: fc.double({ min: -0.4, max: 0.4, noNaN: true }),
      tilt: fc.double({ min: -5e-4, max: 5e-4, noNaN: true }),
      dx: fc.double({ min: -20, max: 60, noNaN: true }),
      shifted: fc.boolean(),
      averaged: fc.boolean(),
      round: fc.constantFrom(0, -7, 12),
    });
    fc.assert(
      fc.property(odd, ({ seed, w, h, scale, turn, tilt, dx, shifted, averaged, round }) => {
        const r = new RandomStream(seed),
          n = w * h;
        const src = disc(w, h, w / 2, h / 2, 0.4 * Math.min(w, h));
        for (let i = 0; i < n; i++)
          for (let c = 0; c < 3; c++) src.data[c * n + i] = src.data[c * n + i]! * r.uniform();
        const c = Math.cos(turn) * scale,
          s = Math.sin(turn) * scale;
        const m: Mat3 = [c, -s, dx, s, c, 9.3, tilt, -tilt, 1];
        const field = frontField(plane(src, 3), w, h, 7, 11)!;
        const shift = shifted
          ? {
              field,
              foot: [7 + w / 2, 11 + 0.9 * h] as const,
              along: [0.1, -Math.sqrt(0.99)] as const,
              sight: sightBetween(21, 12, 900, 1300, 0.8 * h, 0.83 * h, round),
              floor: 2.5,
            }
          : null;
        const box = [3, 5, 3 + 97, 5 + 71] as const;
        const kernel = drawPlaced(src, [7, 11], [m], box, shift, { averaged }),
          plain = drawPlacedPlain(interleave(src), [7, 11], m, box, shift, averaged);
        // Coverage under the least that is drawn is dropped: either side may drop it.
        let worst = 0;
        for (let i = 0; i < plain.data.length; i++) worst = Math.max(worst, Math.abs(kernel.data[i]! - plain.data[i]!));
        expect(worst).toBeLessThan(0.002);
        let sum = 0;
        for (let i = 0; i < plain.data.length; i++) sum += Math.abs(kernel.data[i]! - plain.data[i]!);
        expect(sum / plain.data.length).toBeLessThan(2e-6);
        // The mean over a shutter is the mean of the draws.
        const two = drawPlaced(src, [7, 11], [m, m], box, shift, { averaged });
        for (let i = 0; i < two.data.length; i += 97) expect(two.data[i]).toBeCloseTo(kernel.data[i]!, 6);
      }),
      { numRuns: 25, seed: 5 },
    );
  });
  it('gives nothing where there is nothing, and refuses a placement that folds', () => {
    const src = disc(40, 40, 20, 20, 10);
    expect(
      drawPlaced(src, [0, 0], [[1, 0, 500, 0, 1, 500, 0, 0, 1]], [0, 0, 30, 30], null).data.every((v) => v === 0),
    ).toBe(true);
    expect(() => drawPlaced(src, [0, 0], [[0, 0, 0, 0, 0, 0, 0, 0, 1]], [0, 0, 30, 30], null)).toThrow(/PW-JOIN-PLACE/);
  });
  it('a lower camera raises what is near: the front of a ball moves, its outline hardly', () => {
    const src = disc(160, 160, 80, 80, 50);
    // A mark in the middle of the ball, nearest to the lens.
    for (let y = 76; y < 84; y++) for (let x = 76; x < 84; x++) src.data[y * 160 + x] = 1;
    const field = frontField(plane(src, 3), 160, 160, 0, 0)!;
    const e = 20,
      to = 10,
      rad = Math.PI / 180;
    const out = drawPlaced(src, [0, 0], [[1, 0, 0, 0, 1, 0, 0, 0, 1]], [0, 0, 160, 160], {
      field,
      foot: [80, 130],
      along: [0, -1],
      sight: sightBetween(e, to, 1e7, 1e7, 100, (100 * Math.cos(to * rad)) / Math.cos(e * rad)),
      floor: 0,
    });
    let s = 0,
      sy = 0;
    for (let y = 0; y < 160; y++)
      for (let x = 0; x < 160; x++) {
        const v = Math.max(0, out.data[y * 160 + x]! - 0.55);
        s += v;
        sy += v * (y + 0.5);
      }
    const moved = 80 - sy / s;
    // v = 50 stretched by 1.048, and z of about 50 (a quarter deeper, smoothed) lifted by sin 10°.
    expect(moved).toBeGreaterThan(7);
    expect(moved).toBeLessThan(14);
  });
});
