/**
 * The kernels that bring a composed box back to code values, and the peel's halving, held to their plain twins
 * (property tests).
 */
import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { RandomStream } from '../../core/random.js';
import { createPicture, type Picture } from '../../image/picture.js';
import { linearToCoded } from '../../media/convert.js';
import { copyFrame } from '../../media/planes.js';
import type { VideoFrame } from '../../media/types.js';
import { addGrain, addGrainPlain } from '../air/air.js';
import { codeChanged } from './code-box.js';
import { patchFrame, patchYuvPlain } from './frame-box.js';
import { grower } from '../air/grain.js';
import {
  premultipliedCut,
  premultipliedCutPlain,
  premultipliedHalf,
  premultipliedHalfPlain,
} from '../peel/halve-performer.js';
import type { AirStep } from '../types.js';

const noise = (n: number, seed: number, lo = 0, hi = 1): Float32Array => {
  const r = new RandomStream(seed);
  return Float32Array.from({ length: n }, () => lo + (hi - lo) * r.uniform());
};
/** Blobs: most of it 0, as a performer's box is. */
const spots = (w: number, h: number, seed: number): Uint8Array => {
  const r = new RandomStream(seed, 3),
    out = new Uint8Array(w * h);
  for (let k = 0; k < 5; k++) {
    const x0 = r.below(w),
      y0 = r.below(h),
      side = 1 + r.below(30);
    for (let y = y0; y < Math.min(h, y0 + side); y++) out.fill(1, y * w + x0, y * w + Math.min(w, x0 + side));
  }
  return out;
};
const few = { numRuns: 12, seed: 7 };
const size = fc.record({
  w: fc.integer({ min: 66, max: 120 }),
  h: fc.integer({ min: 64, max: 90 }),
  seed: fc.integer({ min: 1, max: 1e6 }),
});

describe('a composed box back to code values', () => {
  it('is coded wherever a changed pixel reaches', () => {
    fc.assert(
      fc.property(size, fc.constantFrom('bt709', 'srgb', 'pq' as const), ({ w, h, seed }, transfer) => {
        const linear: Picture = { width: w, height: h, channels: 3, data: noise(3 * w * h, seed, -0.05, 1.6) };
        const changed = spots(w, h, seed),
          got = codeChanged(linear, changed, transfer as 'bt709'),
          want = linearToCoded(linear, transfer as 'bt709');
        for (let y = 0; y < h; y++)
          for (let x = 0; x < w; x++) {
            if (changed[y * w + x] === 0) continue;
            for (let j = Math.max(0, y - 8); j <= Math.min(h - 1, y + 8); j++)
              for (let i = Math.max(0, x - 8); i <= Math.min(w - 1, x + 8); i++) {
                for (let c = 0; c < 3; c++)
                  if (got.data[(c * h + j) * w + i] !== want.data[(c * h + j) * w + i])
                    throw new Error(`${c} ${i} ${j}`);
              }
          }
      }),
      few,
    );
  });

  it('goes into planes of any depth and subsampling as the twin does, unchanged pixels bit for bit', () => {
    fc.assert(
      fc.property(
        size,
        fc.constantFrom(8, 10),
        fc.constantFrom<readonly [number, number]>([0, 0], [1, 0], [1, 1], [2, 0]),
        fc.boolean(),
        ({ w, h, seed }, bitDepth, shift, full) => {
          const W = (w + 40) & ~3,
            H = (h + 20) & ~1;
          const sizes = [W * H, (W >> shift[0]) * (H >> shift[1]), (W >> shift[0]) * (H >> shift[1])];
          const frame: VideoFrame = {
            index: 0,
            widthPx: W,
            heightPx: H,
            chromaShift: shift,
            chromaSite: [0, shift[1] === 0 ? 0 : 0.5],
            layout: 'yuv',
            bitDepth,
            hasAlpha: false,
            colour: { matrix: 'bt709', transfer: 'bt709', primaries: 'bt709', fullRange: full, assumed: false },
            planes: sizes.map((n, p) => {
              const v = noise(n, seed + p, 0, 2 ** bitDepth - 1);
              return bitDepth > 8 ? Uint16Array.from(v) : Uint8Array.from(v);
            }),
          };
          const box = [8, 4, 8 + (w & ~3), 4 + (h & ~1)] as const,
            bw = box[2] - box[0],
            bh = box[3] - box[1];
          const coded = noise(3 * bw * bh, seed + 9, -0.1, 1.1),
            changed = spots(bw, bh, seed);
          const a = copyFrame(frame),
            b = copyFrame(frame);
          patchFrame(a, box, coded, changed);
          patchYuvPlain(b, box, coded, changed);
          let differ = 0;
          for (let p = 0; p < 3; p++)
            for (let i = 0; i < sizes[p]!; i++) {
              const d = Math.abs(a.planes[p]![i]! - b.planes[p]![i]!);
              // Single precision turns a tie now and then.
              expect(d).toBeLessThanOrEqual(1);
              differ += d;
            }
          expect(differ).toBeLessThan(1e-3 * (sizes[0]! + 2 * sizes[1]!));
          for (let y = 0; y < H; y++)
            for (let x = 0; x < W; x++) {
              const inside =
                x >= box[0] && y >= box[1] && x < box[2] && y < box[3] && changed[(y - box[1]) * bw + x - box[0]] === 1;
              if (!inside && a.planes[0]![y * W + x] !== frame.planes[0]![y * W + x])
                throw new Error(`luma ${x} ${y} was touched`);
            }
        },
      ),
      few,
    );
  });

  it('takes grain as the twin lays it', () => {
    const model = (sigma: number): Parameters<typeof grower>[0] =>
      ({
        table: [
          { channel: 'luma', level: 0.3, sigma, samples: 99 },
          { channel: 'luma', level: 0.7, sigma: 2 * sigma, samples: 99 },
        ],
        autocorrelation: { x: [1, 0.4, 0], y: [1, 0.4, 0] },
        channelCorrelation: [0.6, 0.5, 0.55],
      }) as unknown as Parameters<typeof grower>[0];
    const plate = grower(model(0.02), 11),
      take = grower(model(0.005), 11);
    fc.assert(
      fc.property(size, fc.integer({ min: 0, max: 900 }), fc.boolean(), ({ w, h, seed }, frame, own) => {
        const step = { grain: 0.9, softenPx: 0.5 } as AirStep,
          box = [37, 21, 37 + w, 21 + h] as const;
        const matte = noise(w * h, seed, -1, 1).map((v) => Math.max(0, v)),
          data = noise(3 * w * h, seed + 1, -0.1, 1.1);
        const a: Picture = { width: w, height: h, channels: 3, data: data.slice() },
          b: Picture = { width: w, height: h, channels: 3, data: data.slice() };
        const over = { step, plateGrain: plate, takeGrain: own ? take : null, frame, box, matte, scale: 0.6 };
        addGrain({ ...over, coded: a });
        addGrainPlain({ ...over, coded: b });
        let moved = 0,
          off = 0;
        for (let i = 0; i < data.length; i++) {
          moved = Math.max(moved, Math.abs(b.data[i]! - data[i]!));
          // A value between two levels of the curve may fall to either.
          if (Math.abs(a.data[i]! - b.data[i]!) > 1e-6) off++;
        }
        expect(moved).toBeGreaterThan(0.02);
        expect(off).toBeLessThan(1e-4 * data.length);
      }),
      few,
    );
  });
});

describe('a peel at half the size', () => {
  it('is the premultiplied picture halved, wherever its box begins and ends', () => {
    fc.assert(
      fc.property(
        size,
        fc.tuple(
          fc.integer({ min: 0, max: 9 }),
          fc.integer({ min: 0, max: 9 }),
          fc.integer({ min: 0, max: 9 }),
          fc.integer({ min: 0, max: 9 }),
        ),
        ({ w, h, seed }, [l, t, r, b]) => {
          const alpha = createPicture(w, h, 1),
            colour: Picture = { width: w, height: h, channels: 3, data: noise(3 * w * h, seed) };
          alpha.data.set(noise(w * h, seed + 1, -0.5, 1).map((v) => Math.max(0, v)));
          const box = [l, t, w - r, h - b] as const;
          const got = premultipliedHalf(alpha, colour, box),
            want = premultipliedHalfPlain(alpha, colour, box);
          expect(got.box).toEqual(want.box);
          expect(got.unit).toBe(2);
          expect(premultipliedCut(alpha, colour, box).data).toEqual(premultipliedCutPlain(alpha, colour, box).data);
          for (let i = 0; i < want.picture.data.length; i++)
            if (!(Math.abs(got.picture.data[i]! - want.picture.data[i]!) < 1e-6))
              throw new Error(`${i}: ${got.picture.data[i]} ${want.picture.data[i]}`);
        },
      ),
      few,
    );
  });
});
