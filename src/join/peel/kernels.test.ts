/**
 * The peel's kernels are held to their plain twins on random pictures of awkward sizes, with every way chroma may be
 * halved.
 */
import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { GRADES, madeTake } from '../../../bench/made-screens.js';
import { RandomStream } from '../../core/random.js';
import { createPicture } from '../../image/picture.js';
import { linearise } from '../../media/curve-table.js';
import { decodeLight } from '../../media/light-curves.js';
import type { VideoFrame } from '../../media/types.js';
import { codedRgb, quadLightPlain } from './coded-rgb.js';
import { fillHoles } from './fill-holes.js';
import { chamferDistance, chamferPair } from './chamfer-distance.js';
import { analyseFrame, matteTurn, matteTurnPlain, seeds, seedsPlain, TUNING } from './frame-analysis.js';
import { floodHollows, matteOfFrame, matteOfFramePlain } from './frame-matte.js';
import { linearFrame } from './linear-frame.js';
import { cellMoments, cellMomentsPlain, unmixingModel, unmixingModelPlain } from './local-unmix.js';
import { performerColour, performerColourPlain } from './performer-colour.js';
import { dropGreyed, dropGreyedPlain } from './greyed-screen.js';
import { holdToOne, holdToOnePlain } from './lit-hue.js';
import { priorFill, priorFillPlain } from './prior-fill.js';
import { columnTaps, resampleCells, resampleCellsPlain } from './resample-cells.js';
import { judgeScreen, judgeScreenPlain, type Judged } from './judge-screen.js';
import {
  buildScreenModel,
  meanSquare,
  meanSquarePlain,
  screenOfFrame,
  screenRatio,
  screenRatioPlain,
} from './screen-model.js';
import { takePockets, takePocketsPlain } from './shadow-pockets.js';
import { takeTint, takeTintPlain } from './shadow-tint.js';
import { blockMeans, smallLinearPlain } from './small-linear.js';
import { withWorkSpace } from './work-space.js';

const few = { numRuns: 15, seed: 7 };
const size = fc.record({
  w: fc.integer({ min: 1, max: 75 }),
  h: fc.integer({ min: 1, max: 40 }),
  seed: fc.integer({ min: 1, max: 1e6 }),
});

function noise(n: number, seed: number, lo = 0, hi = 1): Float32Array {
  const r = new RandomStream(seed);
  return Float32Array.from({ length: n }, () => lo + (hi - lo) * r.uniform());
}

/** Values of which a share is exactly 0. */
function sparse(n: number, seed: number, share: number): Float32Array {
  const r = new RandomStream(seed);
  return Float32Array.from({ length: n }, () => (r.uniform() < share ? 0 : 2 * r.uniform()));
}

function worst(a: ArrayLike<number>, b: ArrayLike<number>): number {
  expect(a.length).toBe(b.length);
  let m = 0;
  for (let i = 0; i < a.length; i += 1) {
    const d = Math.abs(a[i]! - b[i]!);
    if (!(d <= m)) m = d;
  }
  return m;
}

function frameOf(
  w: number,
  h: number,
  shift: readonly [number, number],
  site: readonly [number, number],
  bitDepth: 8 | 10,
  seed: number,
): VideoFrame {
  const r = new RandomStream(seed);
  const top = 2 ** bitDepth - 1;
  const make = (n: number, spread: number): Uint8Array | Uint16Array => {
    const out = bitDepth === 8 ? new Uint8Array(n) : new Uint16Array(n);
    for (let i = 0; i < n; i += 1) out[i] = Math.floor(top * (0.5 + spread * (r.uniform() - 0.5)));
    return out;
  };
  const c = ((w + (1 << shift[0]) - 1) >> shift[0]) * ((h + (1 << shift[1]) - 1) >> shift[1]);
  return {
    index: 0,
    widthPx: w,
    heightPx: h,
    planes: [make(w * h, 0.8), make(c, 0.2), make(c, 0.2)],
    chromaShift: shift,
    chromaSite: site,
    layout: 'yuv',
    bitDepth,
    hasAlpha: false,
    colour: { matrix: 'bt709', transfer: 'bt709', primaries: 'bt709', fullRange: false, assumed: false },
  } as VideoFrame;
}

describe('kernels of the peel and their plain twins', () => {
  it('linear light and block means from subsampled planes', () => {
    const layout = fc.constantFrom<readonly [readonly [number, number], readonly [number, number]]>(
      [
        [1, 1],
        [0, 0.5],
      ],
      [
        [1, 1],
        [0.5, 0.5],
      ],
      [
        [1, 1],
        [0, 0],
      ],
      [
        [1, 0],
        [0, 0],
      ],
      [
        [2, 0],
        [0, 0],
      ],
      [
        [2, 2],
        [1.5, 1.5],
      ],
    );
    fc.assert(
      fc.property(
        size,
        layout,
        fc.constantFrom<8 | 10>(8, 10),
        fc.integer({ min: 1, max: 5 }),
        ({ w, h, seed }, [shift, site], depth, widths) => {
          const frame = frameOf(w + 480 * widths, h, shift, site, depth, seed);
          const coded = codedRgb(frame);
          linearise(coded.data, coded.data, 'bt709');
          const small = smallLinearPlain(coded);
          withWorkSpace((space) => {
            const got = linearFrame(frame, space);
            // Where luma is flat by chance a variance is a small difference of floats.
            expect(worst(got.linear.data, coded.data)).toBeLessThan(2e-4);
            expect(got.small.width).toBe(small.width);
            expect(worst(got.small.data, small.data)).toBeLessThan(5e-5);
          });
        },
      ),
      few,
    );
  });

  it("the preview's half size is the luma on the chroma grid", () => {
    withWorkSpace((space) => {
      const flat = frameOf(960, 54, [1, 1], [0, 0.5], 8, 3);
      for (const plane of flat.planes) plane.fill(100);
      const { linear, step } = linearFrame(flat, space, 'chroma');
      const whole = linearFrame(flat, space).linear;
      expect([linear.width, linear.height, step]).toEqual([480, 27, 2]);
      for (let p = 0; p < 3; p += 1)
        expect(
          worst(
            linear.data.subarray(p * 480 * 27, (p + 1) * 480 * 27),
            new Float32Array(480 * 27).fill(whole.data[p * 960 * 54]!),
          ),
        ).toBeLessThan(1e-6);
    });
  });

  it('half the size is the mean light of four pixels each', () => {
    const site = fc.constantFrom<readonly [number, number]>([0, 0.5], [0.5, 0.5], [0, 0], [1, 0.5]);
    fc.assert(
      fc.property(
        size,
        site,
        fc.constantFrom<8 | 10>(8, 10),
        fc.constantFrom(2, 4, 6),
        ({ w, h, seed }, at, depth, block) => {
          const frame = frameOf(480 * block - 30 + (w % 60), h, [1, 1], at, depth, seed);
          withWorkSpace((space) => {
            const { linear, small, step } = linearFrame(frame, space, 'light');
            expect(step).toBe(2);
            const plain = quadLightPlain(frame, (v) => decodeLight(v, 'bt709'));
            expect(worst(linear.data, plain.data)).toBeLessThan(4e-4);
            const means = new Float32Array(small.data.length);
            blockMeans(linear.data, linear.width, linear.height, block / 2, means);
            expect(worst(small.data, means)).toBeLessThan(5e-6);
          });
        },
      ),
      few,
    );
    // Of a picture, which unlike noise goes on from pixel to pixel, next to nothing is lost beside taking the full
    // picture to light and its mean.
    const { frame } = madeTake(3, GRADES[1]!, 960, 540, 1)[0]!;
    const coded = codedRgb(frame);
    linearise(coded.data, coded.data, 'bt709');
    const full = createPicture(480, 270, 3);
    blockMeans(coded.data, 960, 540, 2, full.data);
    withWorkSpace((space) => {
      const got = linearFrame(frame, space, 'light').linear.data;
      const rms = Math.sqrt(got.reduce((s, v, i) => s + (v - full.data[i]!) ** 2, 0) / got.length);
      const strength = Math.sqrt(full.data.reduce((s, v) => s + v * v, 0) / got.length);
      expect(rms).toBeLessThan(0.003 * strength);
    });
  });

  it('moments in cells, and their filling', () => {
    fc.assert(
      fc.property(
        size,
        fc.integer({ min: 1, max: 6 }),
        fc.double({ min: 0.2, max: 0.999, noNaN: true }),
        fc.constantFrom<3 | 9>(3, 9),
        ({ w, h, seed }, cell, share, fields) => {
          const colour = noise(3 * w * h, seed);
          const weight = sparse(w * h, seed + 1, share);
          const plain = cellMomentsPlain(colour, weight, w, h, cell, 8, fields);
          const got = cellMoments(colour, weight, w, h, cell, 8, fields);
          expect(got === null).toBe(plain === null);
          if (got === null || plain === null) return;
          expect(worst(got.evidence, plain.evidence)).toBeLessThan(1e-4);
          expect(worst(got.moments, plain.moments)).toBeLessThan(2e-6);
        },
      ),
      few,
    );
    fc.assert(
      fc.property(size, fc.integer({ min: 1, max: 5 }), ({ w, h, seed }, fields) => {
        const weight = sparse(w * h, seed, 0.9);
        const sums = noise(fields * w * h, seed + 1);
        for (let i = 0; i < sums.length; i += 1) sums[i] = sums[i]! * weight[i % (w * h)]!;
        const plain = new Float32Array(sums.length);
        const own = sums.slice();
        expect(priorFill(weight, own, fields, w, h, 0.05, own)).toBe(
          priorFillPlain(weight, sums, fields, w, h, 0.05, plain),
        );
        expect(worst(own, plain)).toBeLessThan(3e-6);
      }),
      few,
    );
  });

  it('unmixing weights, to the last bit of a float', () => {
    const cells = 333;
    const moments = (seed: number): Float32Array => {
      const out = noise(9 * cells, seed, 0, 0.5);
      for (let f = 3; f < 9; f += 1)
        for (let j = 0; j < cells; j += 1)
          out[f * cells + j] = (f === 3 || f === 6 || f === 8 ? 1 : 0.1) * out[f * cells + j]! + 0.3;
      return out;
    };
    const f = moments(1),
      b = moments(2),
      s = noise(3 * cells, 3);
    expect(unmixingModel(f, s, b, cells, 1e-5)).toEqual(unmixingModelPlain(f, s, b, cells, 1e-5));
  });

  it('resampling of cells, whole, with a gain, and in a box', () => {
    fc.assert(
      fc.property(size, fc.integer({ min: 1, max: 9 }), ({ w, h, seed }, cell) => {
        const grid = { width: Math.ceil(w / cell), height: Math.ceil(h / cell) };
        const fields = noise(2 * grid.width * grid.height, seed);
        const plain = resampleCellsPlain(fields, grid, cell, w, h, 2);
        expect(worst(resampleCells(fields, grid, cell, w, h, 2), plain)).toBeLessThan(1e-5);
        const gain = noise(2 * w * h, seed + 1);
        expect(
          worst(
            resampleCells(fields, grid, cell, w, h, 2, undefined, { gain }),
            plain.map((v, i) => v * gain[i]!),
          ),
        ).toBeLessThan(1e-5);
        const x0 = w >> 2,
          y0 = h >> 2,
          x1 = w,
          y1 = Math.max(y0 + 1, h - 1);
        const boxed = resampleCells(fields, grid, cell, w, h, 2, new Float32Array(2 * w * h).fill(-7), {
          box: [x0, y0, x1, y1],
        });
        expect(
          worst(
            boxed,
            plain.map((v, i) => (i % w >= x0 && ((i / w) | 0) % h >= y0 && ((i / w) | 0) % h < y1 ? v : -7)),
          ),
        ).toBeLessThan(1e-5);
      }),
      few,
    );
  });

  it('block means of a picture', () => {
    fc.assert(
      fc.property(size, fc.integer({ min: 1, max: 9 }), ({ w, h, seed }, block) => {
        const planes = noise(3 * w * h, seed);
        const sw = Math.ceil(w / block),
          sh = Math.ceil(h / block);
        const got = new Float32Array(3 * sw * sh);
        blockMeans(planes, w, h, block, got);
        for (const [p, j, i] of [
          [0, 0, 0],
          [1, sh - 1, sw - 1],
          [2, sh >> 1, sw >> 1],
        ] as const) {
          let sum = 0,
            count = 0;
          for (let y = j * block; y < Math.min(h, (j + 1) * block); y += 1)
            for (let x = i * block; x < Math.min(w, (i + 1) * block); x += 1) {
              sum += planes[p * w * h + y * w + x]!;
              count += 1;
            }
          expect(got[p * sw * sh + j * sw + i]).toBeCloseTo(sum / count, 5);
        }
      }),
      few,
    );
  });

  it('judging which pixels are screen', () => {
    fc.assert(
      fc.property(size, ({ w, h, seed }) => {
        const n = w * h;
        const colour = noise(3 * n, seed, 0.1, 0.5);
        const data = colour.map((v, i) => v * (0.7 + 0.6 * (((i * 37) % 11) / 11)) + 0.02 * ((i * 13) % 7));
        const blank = (): Judged => ({
          rho: new Float32Array(n),
          excess: new Float32Array(n),
          weight: new Float32Array(n),
          sure: new Uint8Array(n),
          square: new Float32Array(h),
        });
        const got = blank(),
          plain = blank();
        judgeScreen(data, colour, w, h, 0.25, 1.6, 0.15, got);
        judgeScreenPlain(data, colour, w, h, 0.25, 1.6, 0.15, plain);
        expect(worst(got.rho, plain.rho)).toBeLessThan(1e-5);
        // A verdict may differ only where a pixel stands on a limit.
        for (let i = 0; i < n; i += 1)
          if (Math.abs(plain.rho[i]! - 0.15) > 1e-4 && Math.abs(plain.excess[i]! - got.excess[i]!) < 1)
            expect(got.sure[i]).toBe(plain.sure[i]);
        expect(Array.from(got.weight)).toEqual(Array.from(got.sure));
        expect(worst(got.square, plain.square)).toBeLessThan(1e-2 * (1 + Math.max(...plain.square)));
      }),
      few,
    );
  });

  it('a turn of the small matte', () => {
    fc.assert(
      fc.property(size, ({ w, h, seed }) => {
        const n = w * h,
          cell = 2;
        const grid = { width: Math.ceil(w / cell), height: Math.ceil(h / cell) };
        const weights = noise(3 * grid.width * grid.height, seed, -2, 2),
          difference = noise(3 * n, seed + 1, -1, 1),
          depth = noise(n, seed + 2, 0, 15),
          on = sparse(n, seed + 3, 0.5);
        const make = (): Float32Array[] => [0, 1, 2].map(() => new Float32Array(n));
        const got = make(),
          plain = make();
        matteTurn(
          weights,
          grid,
          cell,
          w,
          h,
          columnTaps(w, cell, grid.width),
          difference,
          depth,
          on,
          10,
          0.85,
          got[0]!,
          got[1]!,
          got[2]!,
        );
        matteTurnPlain(weights, grid, cell, w, h, difference, depth, on, 10, 0.85, plain[0]!, plain[1]!, plain[2]!);
        for (let k = 0; k < 3; k += 1) expect(worst(got[k]!, plain[k]!)).toBeLessThan(1e-4);
      }),
      few,
    );
  });

  it('distances to the screen and to the rest', () => {
    fc.assert(
      fc.property(size, fc.double({ min: 0, max: 1, noNaN: true }), ({ w, h, seed }, share) => {
        const mask = Uint8Array.from(sparse(w * h, seed, share), (v) => (v > 0 ? 1 : 0));
        const toSet = new Float32Array(w * h),
          toUnset = new Float32Array(w * h);
        chamferPair(mask, w, h, toSet, toUnset);
        expect(toSet).toEqual(chamferDistance(mask, w, h));
        expect(toUnset).toEqual(
          chamferDistance(
            mask.map((v) => 1 - v),
            w,
            h,
          ),
        );
      }),
      few,
    );
  });

  it('gain of the map, its error, and the first seeds', () => {
    fc.assert(
      fc.property(size, ({ w, h, seed }) => {
        const n = w * h;
        const data = noise(3 * n, seed),
          back = noise(3 * n, seed + 1, -0.01, 1),
          depth = noise(n, seed + 2, 0, 15);
        const sure = Uint8Array.from(sparse(n, seed + 3, 0.5), (v) => (v > 0 ? 1 : 0));
        const make = (...k: number[]): Float32Array[] => k.map((c) => new Float32Array(c * n));
        const [r0, w0, r1, w1] = make(3, 1, 3, 1) as [Float32Array, Float32Array, Float32Array, Float32Array];
        screenRatio(data, back, sure, w, h, r0, w0);
        screenRatioPlain(data, back, sure, w, h, r1, w1);
        expect(worst(r0, r1)).toBeLessThan(1e-5);
        expect(w0).toEqual(w1);
        expect(meanSquare(data, back, sure, w, h)).toBeCloseTo(meanSquarePlain(data, back, sure, w, h), 5);
        const [d0, s0, f0, d1, s1, f1] = make(3, 1, 1, 3, 1, 1) as [
          Float32Array,
          Float32Array,
          Float32Array,
          Float32Array,
          Float32Array,
          Float32Array,
        ];
        seeds(data, back, sure, depth, w, h, 10, d0, s0, f0);
        seedsPlain(data, back, sure, depth, w, h, 10, d1, s1, f1);
        expect(worst(d0, d1)).toBeLessThan(1e-6);
        expect(s0).toEqual(s1);
        // A verdict may differ only on its limit: none of these random colours is that close.
        expect(worst(f0, f1)).toBeLessThan(1e-6);
      }),
      few,
    );
  });

  it('the flood, grey level by grey level', () => {
    fc.assert(
      fc.property(size, ({ w, h, seed }) => {
        const n = w * h;
        const r = new RandomStream(seed);
        // Grey levels themselves, so that both count alike.
        const alpha = Float32Array.from({ length: n }, () => Math.floor(256 * r.uniform()) / 255);
        for (let i = 0; i < n; i += 1) alpha[i] = Math.min(1, alpha[i]!);
        const active = Uint8Array.from({ length: n }, () => (r.uniform() < 0.8 ? 1 : 0));
        const marker = Uint8Array.from({ length: n }, (_, i) => (active[i] === 1 && r.uniform() < 0.05 ? 1 : 0));
        const filled = alpha.slice();
        fillHoles(filled, marker, active, w, h);
        const level = floodHollows(alpha, marker, active, w, h);
        for (let i = 0; i < n; i += 1)
          if (active[i] === 1) expect(Math.abs(Math.max(alpha[i]!, level[i]! / 255) - filled[i]!)).toBeLessThan(0.004);
      }),
      few,
    );
  });

  it('matte and colour at full resolution', () => {
    for (const [w, h, grade] of [
      [326, 183, 1],
      [961, 155, 2],
    ] as const) {
      const take = madeTake(5, GRADES[grade]!, w & ~1, h & ~1, 2);
      withWorkSpace((space) => {
        const model = buildScreenModel(
          take.map((t) => {
            const s = linearFrame(t.frame, space).small;
            return { ...s, data: s.data.slice() };
          }),
          null,
        );
        const { linear, small } = linearFrame(take[1]!.frame, space);
        const analysis = analyseFrame(small, screenOfFrame(model, small, space.floats), TUNING, space.floats);
        const n = linear.width * linear.height;
        const alpha = new Float32Array(n),
          plain = new Float32Array(n);
        matteOfFrame(linear, analysis, alpha);
        matteOfFramePlain(linear, analysis, plain);
        // A grey level of the flood at the most, where a pixel stands between two.
        expect(worst(alpha, plain)).toBeLessThan(0.005);
        let sum = 0;
        for (let i = 0; i < n; i += 1) sum += Math.abs(alpha[i]! - plain[i]!);
        expect(sum / n).toBeLessThan(1e-5);
        const got = createPicture(linear.width, linear.height, 3),
          want = createPicture(linear.width, linear.height, 3);
        for (const keep of [null, noise(n, 4)]) {
          performerColour(linear, analysis, alpha, 0.8, keep, got);
          performerColourPlain(linear, analysis, alpha, 0.8, keep, want);
          expect(worst(got.data, want.data)).toBeLessThan(2e-4);
        }
      });
    }
  });
});

describe('what the lit screen says of small pixels', () => {
  const wrongBytes = (a: Uint8Array, b: Uint8Array): number => a.reduce((t, v, i) => t + (v === b[i] ? 0 : 1), 0);
  /** Colours about the lit one, from next to black to far brighter. */
  const coloursAbout = (n: number, seed: number): Float32Array => {
    const r = new RandomStream(seed, 3);
    const data = new Float32Array(3 * n);
    for (let i = 0; i < n; i += 1) {
      const light = 0.03 + 5 * r.uniform() ** 2;
      for (let p = 0; p < 3; p += 1) data[p * n + i] = light * (LIT.colour[p]! + 0.03 * r.normal());
    }
    return data;
  };
  const LIT = {
    colour: [0.05, 0.35, 0.09] as const,
    limit: 0.1,
    darkLimit: 0.35,
    brightLimit: 0.2,
    clips: false,
    rows: null,
  };

  it('holds pixels to the lit colour as the plain twin does, but for single ones at the limit', () => {
    fc.assert(
      fc.property(size, ({ w, h, seed }) => {
        const small = { width: w, height: h, block: 1, data: coloursAbout(w * h, seed) };
        const sure = Uint8Array.from(sparse(w * h, seed, 0.4), (v) => (v > 0 ? 1 : 0));
        const weight = Float32Array.from(sure);
        const other = sure.slice();
        const otherWeight = weight.slice();
        holdToOne(small, LIT, sure, weight);
        holdToOnePlain(small, LIT, other, otherWeight);
        expect(wrongBytes(sure, other)).toBeLessThanOrEqual(w * h > 500 ? 1 : 0);
        expect(Array.from(weight)).toEqual(Array.from(sure));
      }),
      few,
    );
  });

  it("takes the shadow's tint in as the plain twin does, and fills no pixel beyond the picture", () => {
    fc.assert(
      fc.property(size, ({ w, h, seed }) => {
        const n = w * h;
        const data = coloursAbout(n, seed);
        const sure = Uint8Array.from(sparse(n, seed + 1, 0.6), (v) => (v > 0 ? 1 : 0));
        const weight = Float32Array.from(sure);
        const other = sure.slice();
        const otherWeight = weight.slice();
        const size = Math.hypot(0.06, 0.35, 0.09);
        const tint = [0.06 / size, 0.35 / size, 0.09 / size] as const;
        const between = [0.008, 0.05] as const;
        takeTint({ width: w, height: h, block: 1, data }, LIT, tint, between, 0.08, sure, weight);
        takeTintPlain(data, LIT, tint, between, 0.08, other, otherWeight);
        expect(wrongBytes(sure, other)).toBeLessThanOrEqual(n > 500 ? 1 : 0);
        expect(Array.from(weight)).toEqual(Array.from(sure));
      }),
      few,
    );
  });

  it('takes out what is greyed as the plain twin does, but for single ones at a limit', () => {
    fc.assert(
      fc.property(size, ({ w, h, seed }) => {
        const n = w * h;
        const random = new RandomStream(seed, 6);
        const data = new Float32Array(3 * n);
        // Patches of every size with grey mixed in, lit and in shadow.
        for (let i = 0; i < n; i += 1) {
          const grey = Math.max(0, 0.1 * Math.sin((i % w) * 0.4 + seed) + 0.1 * Math.sin(((i / w) | 0) * 0.3));
          const light = (i % w) * 3 < w ? 1 : 0.2;
          for (let p = 0; p < 3; p += 1)
            data[p * n + i] = light * (LIT.colour[p]! + grey * LIT.colour[1]) * (1 + 0.02 * random.normal());
        }
        const sure = Uint8Array.from(sparse(n, seed + 1, 0.05), (v) => (v > 0 ? 1 : 0));
        const mine = { sure: sure.slice(), weight: Float32Array.from(sure), tinged: new Uint8Array(n).fill(9) };
        const other = { sure: sure.slice(), weight: Float32Array.from(sure), tinged: new Uint8Array(n).fill(9) };
        dropGreyed({ width: w, height: h, block: 1, data }, LIT, mine.sure, mine.weight, mine.tinged);
        dropGreyedPlain({ width: w, height: h, block: 1, data }, LIT, other.sure, other.weight, other.tinged);
        expect(wrongBytes(mine.sure, other.sure)).toBeLessThanOrEqual(n > 500 ? 3 : 0);
        expect(wrongBytes(mine.tinged, other.tinged)).toBeLessThanOrEqual(n > 500 ? 6 : 0);
        expect(Array.from(mine.weight)).toEqual(Array.from(mine.sure));
        if (w > 40 && h > 30) {
          expect(wrongBytes(mine.sure, sure)).toBeGreaterThan(0);
          expect(mine.tinged.some((v) => v === 1)).toBe(true);
        }
      }),
      few,
    );
  });

  it("takes pockets of the shadow's tint as the plain twin does", () => {
    fc.assert(
      fc.property(size, ({ w, h, seed }) => {
        const n = w * h;
        const random = new RandomStream(seed, 4);
        const data = new Float32Array(3 * n);
        // Patches of a deep shadow among lit coat, so that some squares are filled and some are not.
        for (let i = 0; i < n; i += 1) {
          const deep = Math.sin((i % w) * 0.7 + seed) + Math.sin(((i / w) | 0) * 0.9) > 0.3;
          for (let p = 0; p < 3; p += 1)
            data[p * n + i] = deep ? 0.1 * LIT.colour[p]! * (1 + 0.15 * random.normal()) : 0.03;
        }
        const size = Math.hypot(...LIT.colour);
        const unit = LIT.colour.map((v) => v / size) as [number, number, number];
        const read = { tint: unit, usual: 0.3 * size * size, least: 0.0625 * size * size, most: 0.35 * size * size };
        const sure = Uint8Array.from(sparse(n, seed + 1, 0.9), (v) => (v > 0 ? 1 : 0));
        const weight = Float32Array.from(sure);
        const other = sure.slice();
        const otherWeight = weight.slice();
        const before = sure.reduce((t, v) => t + v, 0);
        takePockets({ width: w, height: h, block: 1, data }, LIT, read, sure, weight);
        takePocketsPlain({ width: w, height: h, block: 1, data }, LIT, read, other, otherWeight);
        expect(wrongBytes(sure, other)).toBe(0);
        expect(Array.from(weight)).toEqual(Array.from(sure));
        if (w > 30 && h > 20) expect(sure.reduce((t, v) => t + v, 0)).toBeGreaterThan(before);
      }),
      few,
    );
  });
});
