/**
 * The kernels that lay light on a picture (kernels/lay-light.ts) held to their plain twins on random pictures of
 * awkward sizes.
 */
import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { RandomStream } from '../../core/random.js';
import { gaussianPlane } from '../../image/gaussian.js';
import type { Picture } from '../../image/picture.js';
import { frontOfBalls } from '../body/ball-grids.js';
import type { Box } from '../ground/ground.js';
import { layPremultiplied, layPremultipliedPlain } from './lay-premultiplied.js';
import { ballsOfMatte } from '../body/body-volume.js';
import { LIMIT, relight, relightCellsPlain, relightOverPlain, type RelightLamp } from '../light/relight.js';
import { layShade, layShadePlain, type LaidShade } from '../ground/shade.js';

const few = { numRuns: 12, seed: 11 };
const size = fc.record({
  w: fc.integer({ min: 66, max: 125 }),
  h: fc.integer({ min: 64, max: 90 }),
  seed: fc.integer({ min: 1, max: 1e6 }),
});
const noise = (n: number, seed: number, lo = 0, hi = 1): Float32Array => {
  const r = new RandomStream(seed);
  return Float32Array.from({ length: n }, () => lo + (hi - lo) * r.uniform());
};
/** A plane of which about a share is 0, in runs, as a matte is. */
const patchy = (n: number, seed: number, share: number): Float32Array => {
  const r = new RandomStream(seed, 5),
    out = new Float32Array(n);
  for (let i = 0; i < n; ) {
    const run = 1 + r.below(40),
      on = r.uniform() > share;
    for (const end = Math.min(n, i + run); i < end; i++) out[i] = on ? r.uniform() : 0;
  }
  return out;
};
const picture = (w: number, h: number, channels: 3 | 4, seed: number): Picture => ({
  width: w,
  height: h,
  channels,
  data: noise(channels * w * h, seed),
});
const copy = (p: Picture): Picture => ({ ...p, data: p.data.slice() });
function worst(a: ArrayLike<number>, b: ArrayLike<number>): number {
  let m = 0;
  for (let i = 0; i < a.length; i++) {
    const d = Math.abs(a[i]! - b[i]!);
    if (!(d <= m)) m = d;
  }
  return m;
}

describe('light laid on a picture', () => {
  it('a performer over a box, held out or not', () => {
    fc.assert(
      fc.property(size, fc.boolean(), fc.boolean(), ({ w, h, seed }, held, wanted) => {
        const box: Box = [10, 20, 10 + w + 13, 20 + h + 5],
          over: Box = [15, 23, 15 + w, 23 + h],
          W = box[2] - box[0],
          n = W * (box[3] - box[1]);
        const laid = picture(w, h, 4, seed);
        laid.data.set(patchy(w * h, seed, 0.5), 3 * w * h);
        const hidden = held ? patchy(n, seed + 1, 0.7).map((v) => (v > 0.8 ? 1 : v)) : null;
        const a = picture(W, box[3] - box[1], 3, seed + 2),
          b = copy(a),
          ta = new Uint8Array(n),
          tb = new Uint8Array(n),
          ma = wanted ? new Float32Array(n) : null,
          mb = wanted ? new Float32Array(n) : null;
        const what = { over: laid, overBox: over, box, hidden };
        layPremultiplied({ ...what, out: a, touched: ta, matte: ma });
        layPremultipliedPlain({ ...what, out: b, touched: tb, matte: mb });
        expect(worst(ta, tb)).toBe(0);
        expect(worst(a.data, b.data)).toBeLessThan(1e-6);
        if (ma !== null) expect(worst(ma, mb!)).toBeLessThan(1e-7);
        expect(ta.some((t) => t === 0) && ta.some((t) => t === 1)).toBe(true);
      }),
      few,
    );
  });

  it('a shade on the plate, where it lies in shadow already, behind things and within an outline', () => {
    fc.assert(
      fc.property(
        size,
        fc.boolean(),
        fc.boolean(),
        fc.boolean(),
        fc.boolean(),
        ({ w, h, seed }, own, held, bounded, kept) => {
          const box: Box = [4, 6, 4 + w + 11, 6 + h + 3],
            at: Box = [9, 7, 9 + w, 7 + h],
            W = box[2] - box[0],
            H = box[3] - box[1],
            n = W * H;
          const shade = {
            box: at,
            cover: patchy(w * h, seed, 0.6),
            contact: patchy(w * h, seed + 1, 0.8),
            ...(kept ? { kept: true as const } : {}),
          };
          const border = { r: 0.4, g: 0.5, b: 0.3, offset: -0.6 };
          const laid: LaidShade = {
            step: { transmission: [0.35, 0.4, 0.5], contactStrength: 0.8 },
            shade,
            bound: bounded ? patchy(w * h, seed + 2, 0.3) : null,
            hidden: held ? patchy(n, seed + 3, 0.6) : null,
            lits: [own ? border : null],
            soft: own
              ? { picture: picture(W, H, 3, seed + 4), x0: 0, y0: 0, sharp: picture(W, H, 3, seed + 6), border }
              : null,
          };
          const a = picture(W, H, 3, seed + 5),
            b = copy(a),
            ta = new Uint8Array(n),
            tb = new Uint8Array(n);
          layShade(laid, a, box, ta);
          layShadePlain(laid, b, box, tb);
          expect(worst(a.data, b.data)).toBeLessThan(2e-5);
          // A change that is the least laid to within rounding may fall on either side.
          let differ = 0;
          for (let i = 0; i < n; i++) differ += ta[i] === tb[i] ? 0 : 1;
          expect(differ).toBeLessThanOrEqual(n / 1000);
          expect(ta.some((t) => t === 1)).toBe(true);
        },
      ),
      few,
    );
  });

  it('another key on a performer agrees within 2e-5 of the brightest, and changes the picture', () => {
    fc.assert(
      fc.property(size, fc.double({ min: 0.2, max: 1, noNaN: true }), ({ w, h, seed }, strength) => {
        const r = new RandomStream(seed, 9),
          lamp = (): RelightLamp => {
            const v = [r.normal(), r.normal(), r.normal()],
              l = Math.hypot(...v);
            return { towards: [v[0]! / l, v[1]! / l, v[2]! / l], fill: [r.uniform(), r.uniform(), r.uniform()] };
          };
        const W = 3 * w,
          H = 3 * h,
          alpha = new Float32Array(W * H),
          from = lamp(),
          to = lamp();
        for (let y = 0; y < H; y++)
          for (let x = 0; x < W; x++)
            alpha[y * W + x] = Math.hypot((x - W / 2) / (0.4 * W), (y - H / 2) / (0.4 * H)) < 1 ? 1 : 0;
        const a = picture(W, H, 3, seed),
          b = copy(a),
          n = W * H,
          planes = (p: Picture): [Float32Array, Float32Array, Float32Array] => [
            p.data.subarray(0, n),
            p.data.subarray(n, 2 * n),
            p.data.subarray(2 * n),
          ];
        relight(planes(a), alpha, W, H, from, to, strength);
        // The twins on the same surface: a plane of cells whose ratio is read between them.
        const cell = Math.max(1, Math.floor(H / 110)),
          cw = Math.ceil(W / cell),
          ch = Math.ceil(H / cell);
        expect(ballsOfMatte(alpha, W, H).length).toBeGreaterThan(0);
        relightOverPlain(
          planes(b),
          alpha,
          W,
          H,
          relightCellsPlain(surfaceOf(alpha, W, H, cell, cw, ch), cw, ch, from, to, strength),
          cell,
        );
        expect(worst(a.data, b.data)).toBeLessThan(2e-5 * LIMIT);
        expect(worst(a.data, picture(W, H, 3, seed).data)).toBeGreaterThan(0.01);
      }),
      few,
    );
  });
});

function surfaceOf(alpha: Float32Array, W: number, H: number, cell: number, w: number, h: number): Float32Array {
  const coarse = new Float32Array(w * h),
    half = cell >> 1;
  for (let y = 0; y < h; y++)
    for (let x = 0; x < w; x++)
      coarse[y * w + x] = alpha[Math.min(H - 1, y * cell + half) * W + Math.min(W - 1, x * cell + half)]!;
  const balls = ballsOfMatte(coarse, w, h);
  return gaussianPlane(frontOfBalls(balls, w, h), w, h, Math.max(1.5, 0.08 * Math.max(...balls.map((b) => b.r))));
}
