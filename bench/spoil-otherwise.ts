/**
 * The faults of bench/spoiled-joins.ts laid on by other means, and further ones, for bench/inspect-held.ts: as
 * someone would spoil a finished file who knows nothing of how it is read. Display-coded frames of a whole short
 * shot in, the same out; what is mixed is mixed in linear light. Where nothing is said, the plate and the matte
 * that the inspection is given stay as they were.
 */
import { bt709Decode, bt709Encode } from '../src/colour/transfer.js';
import { RandomStream } from '../src/core/random.js';
import { gaussianPlane } from '../src/image/gaussian.js';
import { nearestInSet } from '../src/image/distance.js';
import { createPicture, type Picture } from '../src/image/picture.js';
import { sampleBilinear } from '../src/image/sampling.js';
import type { InspectionMatterName, InspectionStep } from '../src/inspect/types.js';
import type { JoinFrame } from './made-join-recipe.js';

export interface Otherwise {
  readonly matters: readonly InspectionMatterName[];
  readonly steps: readonly InspectionStep[];
  readonly sizes: readonly number[];
  readonly unit: string;
  readonly read: 'close' | 'moving';
}
export const OTHERWISE = {
  'slip in both': {
    matters: ['slip'],
    steps: ['ride'],
    sizes: [0.5, 1, 2],
    unit: 'px rms, picture and matte',
    read: 'moving',
  },
  'slip slow': {
    matters: ['slip'],
    steps: ['ride'],
    sizes: [0.5, 1, 2],
    unit: 'px rms, to and fro over 10 frames',
    read: 'moving',
  },
  'slip aside': {
    matters: ['slip'],
    steps: ['ride'],
    sizes: [1, 2],
    unit: 'px, all frames, picture and matte',
    read: 'moving',
  },
  'spill at edges': {
    matters: ['spill'],
    steps: ['peel'],
    sizes: [0.15, 0.3, 0.6, 1],
    unit: 'of brightness within 6 px of the outline',
    read: 'close',
  },
  'edge band dark': {
    matters: ['edgeLightness'],
    steps: ['peel'],
    sizes: [0.1, 0.2, 0.4],
    unit: 'of the light within 2 px of the outline',
    read: 'close',
  },
  'edge band bright': {
    matters: ['edgeLightness', 'edgeHardness'],
    steps: ['peel'],
    sizes: [0.1, 0.2, 0.4],
    unit: 'of the light within 2 px of the outline',
    read: 'close',
  },
  'grain smoothed': { matters: ['grain'], steps: ['air'], sizes: [0.5, 1], unit: 'of it, edges kept', read: 'moving' },
  'grain averaged': { matters: ['grain'], steps: ['air'], sizes: [3], unit: 'frames averaged', read: 'moving' },
  'grain frozen': { matters: ['grain'], steps: ['air'], sizes: [1], unit: '', read: 'moving' },
  'grain added': { matters: ['grain'], steps: ['air'], sizes: [1, 1.73, 3], unit: "times the plate's", read: 'moving' },
  'black coded': {
    matters: ['blackLevel'],
    steps: ['light'],
    sizes: [0.01, 0.02, 0.04, 0.1],
    unit: 'of the range',
    read: 'close',
  },
  'black crushed': {
    matters: ['blackLevel', 'exposure'],
    steps: ['light', 'air'],
    sizes: [0.03, 0.06, 0.1],
    unit: 'of the range',
    read: 'close',
  },
  contrast: {
    matters: ['blackLevel', 'exposure', 'whiteLevel'],
    steps: ['light', 'air'],
    sizes: [0.8, 1.25, 1.5],
    unit: 'times about .4',
    read: 'close',
  },
  saturation: {
    matters: ['colour', 'spill'],
    steps: ['light', 'peel'],
    sizes: [0.5, 0.75, 1.33, 2],
    unit: 'times',
    read: 'close',
  },
  'performer doubled': {
    matters: ['cadence'],
    steps: ['pace'],
    sizes: [1],
    unit: 'frame, the set goes on',
    read: 'moving',
  },
  'picture doubled': { matters: ['cadence'], steps: ['pace'], sizes: [1], unit: 'frame, all of it', read: 'moving' },
  'frame left out': { matters: ['cadence'], steps: ['pace'], sizes: [1], unit: 'frame, all of it', read: 'moving' },
  'edge feathered': {
    matters: ['edgeHardness', 'edgeLightness', 'blur'],
    steps: ['peel'],
    sizes: [1, 2, 3],
    unit: 'px',
    read: 'close',
  },
  'edge jagged': { matters: ['edgeHardness'], steps: ['peel'], sizes: [1], unit: '', read: 'close' },
  'shadow tinted': {
    matters: ['shadow'],
    steps: ['ground'],
    sizes: [0.3, 0.6],
    unit: 'stops, red over blue',
    read: 'close',
  },
  'blur along motion': {
    matters: ['blur'],
    steps: ['ride', 'air'],
    sizes: [3, 6, 10],
    unit: 'px along the way',
    read: 'close',
  },
  blocks: {
    matters: ['outside', 'comb', 'blur', 'grain'],
    steps: ['render'],
    sizes: [0.3, 0.6],
    unit: "of the way to each block's mean",
    read: 'close',
  },
} as const satisfies Readonly<Record<string, Otherwise>>;
export type OtherwiseName = keyof typeof OTHERWISE;

type Work = { join: Picture; plate: Picture; matte: Float32Array };
const L = (d: Float32Array, N: number, i: number): number =>
  0.2126 * d[i]! + 0.7152 * d[N + i]! + 0.0722 * d[2 * N + i]!;

function copied(p: Picture): Picture {
  const out = createPicture(p.width, p.height, 3);
  out.data.set(p.data.subarray(0, 3 * p.width * p.height));
  return out;
}

/** The performer laid anew from (dx, dy) beside its place, with the matte that goes with it. */
function slipped(f: JoinFrame, dx: number, dy: number): Work {
  const { width: W, height: H } = f.join;
  const N = W * H;
  const join = copied(f.join);
  const matte = new Float32Array(N);
  for (let y = 0; y < H; y++)
    for (let x = 0; x < W; x++) {
      const i = y * W + x;
      const a = sampleBilinear(f.matte, W, H, x + 0.5 - dx, y + 0.5 - dy);
      matte[i] = a;
      if (a < 0.004 && f.matte[i]! < 0.004) continue;
      for (let c = 0; c < 3; c++) {
        const k = c * N;
        const back = bt709Decode(f.plate.data[k + i]!);
        const at = bt709Decode(sampleBilinear(f.join.data.subarray(k, k + N), W, H, x + 0.5 - dx, y + 0.5 - dy));
        const old = bt709Decode(sampleBilinear(f.plate.data.subarray(k, k + N), W, H, x + 0.5 - dx, y + 0.5 - dy));
        const shade = a < 0.02 ? Math.min(1, bt709Decode(f.join.data[k + i]!) / Math.max(1e-3, back)) : 1;
        join.data[k + i] = bt709Encode(
          Math.min(1, Math.max(0, at - (1 - a) * old + (1 - a) * back * (f.matte[i]! < 0.02 ? shade : 1))),
        );
      }
    }
  return { join, plate: f.plate, matte };
}

/** A picture smoothed within small differences only (bilateral, 2 px, three grains), where the matte covers. */
function smoothed(p: Picture, m: Float32Array, range: number): Picture {
  const { width: W, height: H, data } = p;
  const N = W * H;
  const out = copied(p);
  const R = 3;
  for (let y = R; y < H - R; y++)
    for (let x = R; x < W - R; x++) {
      const i = y * W + x;
      if (m[i]! < 0.5) continue;
      const sum = [0, 0, 0];
      let weight = 0;
      for (let dy = -R; dy <= R; dy++)
        for (let dx = -R; dx <= R; dx++) {
          const q = i + dy * W + dx;
          const d =
            (data[q]! - data[i]!) ** 2 +
            (data[N + q]! - data[N + i]!) ** 2 +
            (data[2 * N + q]! - data[2 * N + i]!) ** 2;
          const w = Math.exp(-(dx * dx + dy * dy) / 8 - d / (6 * range * range));
          weight += w;
          for (let c = 0; c < 3; c++) sum[c] = sum[c]! + w * data[c * N + q]!;
        }
      for (let c = 0; c < 3; c++) out.data[c * N + i] = sum[c]! / weight;
    }
  return out;
}

/** Spoils a whole short shot. `grain`: the plate's own, sd of coded luma; `move`: way of the performer a frame, px. */
export function spoilOtherwise(
  name: OtherwiseName,
  size: number,
  seed: number,
  frames: readonly JoinFrame[],
  grain: number,
  moves: readonly (readonly [number, number])[],
): JoinFrame[] {
  const r = new RandomStream(seed);
  const phase = 6.28 * r.uniform();
  const side = r.uniform() < 0.5 ? -1 : 1;
  const at = 3 + r.below(Math.max(1, frames.length - 6));
  const { width: W, height: H } = frames[0]!.join;
  const N = W * H;
  const each = (fn: (d: Float32Array, f: JoinFrame, k: number) => void): JoinFrame[] =>
    frames.map((f, k) => {
      const join = copied(f.join);
      fn(join.data, f, k);
      return { join, plate: f.plate, matte: f.matte };
    });
  /** Changes the performer's own light, which is all that the plate does not bring. */
  const own = (
    fn: (v: readonly [number, number, number], i: number) => readonly number[],
    where: (i: number, a: number) => number = () => 1,
  ): JoinFrame[] =>
    each((d, f) => {
      for (let i = 0; i < N; i++) {
        const a = f.matte[i]!;
        const k = a > 0.004 ? where(i, a) : 0;
        if (k === 0) continue;
        const back = [0, 1, 2].map((c) => (1 - a) * bt709Decode(f.plate.data[c * N + i]!));
        const v = [0, 1, 2].map((c) => Math.max(0, bt709Decode(d[c * N + i]!) - back[c]!) / a) as [
          number,
          number,
          number,
        ];
        const now = fn(v, i);
        for (let c = 0; c < 3; c++)
          d[c * N + i] = bt709Encode(Math.min(1, Math.max(0, back[c]! + a * (v[c]! + k * (now[c]! - v[c]!)))));
      }
    });
  /** Changes covered coded values. */
  const coded = (fn: (v: number) => number): JoinFrame[] =>
    each((d, f) => {
      for (let i = 0; i < N; i++)
        if (f.matte[i]! > 0.004)
          for (let c = 0; c < 3; c++) {
            const v = d[c * N + i]!;
            d[c * N + i] = Math.min(1, Math.max(0, v + f.matte[i]! * (fn(v) - v)));
          }
    });
  const band = (px: number): Float32Array[] =>
    frames.map((f) => {
      const body = Uint8Array.from(f.matte, (a) => (a > 0.5 ? 1 : 0));
      const out = Uint8Array.from(body, (v) => 1 - v);
      const a = nearestInSet(out, W, H).distance;
      const b = nearestInSet(body, W, H).distance;
      return Float32Array.from(a, (v, i) => (Math.max(v, b[i]!) <= px ? 1 : 0));
    });
  switch (name) {
    case 'slip in both':
      return frames.map((f, k) => slipped(f, Math.SQRT2 * size * Math.sin(1.9 * k + phase), 0));
    case 'slip slow':
      return frames.map((f, k) =>
        slipped(f, Math.SQRT2 * size * Math.sin(0.628 * k + phase), 0.3 * size * Math.cos(0.628 * k + phase)),
      );
    case 'slip aside':
      return frames.map((f) => slipped(f, side * size, 0));
    case 'spill at edges': {
      const b = band(6);
      let k = -1;
      let last: Float32Array | null = null;
      return frames.map((f) => {
        k++;
        last = b[k]!;
        const join = copied(f.join);
        const d = join.data;
        for (let i = 0; i < N; i++)
          if (last[i]! > 0 && f.matte[i]! > 0.004)
            d[N + i] = bt709Encode(
              Math.min(
                1,
                bt709Decode(d[N + i]!) +
                  f.matte[i]! *
                    size *
                    (0.2126 * bt709Decode(d[i]!) +
                      0.7152 * bt709Decode(d[N + i]!) +
                      0.0722 * bt709Decode(d[2 * N + i]!)),
              ),
            );
        return { join, plate: f.plate, matte: f.matte };
      });
    }
    case 'edge band dark':
    case 'edge band bright': {
      const b = band(2);
      const gain = name === 'edge band dark' ? 1 - size : 1 + size;
      return each((d, _f, k) => {
        for (let i = 0; i < N; i++)
          if (b[k]![i]! > 0)
            for (let c = 0; c < 3; c++) d[c * N + i] = bt709Encode(Math.min(1, gain * bt709Decode(d[c * N + i]!)));
      });
    }
    case 'grain smoothed':
      return frames.map((f) => {
        const s = smoothed(f.join, f.matte, 2.5 * Math.max(0.004, grain));
        const join = copied(f.join);
        for (let i = 0; i < 3 * N; i++) join.data[i] = join.data[i]! + size * (s.data[i]! - join.data[i]!);
        return { join, plate: f.plate, matte: f.matte };
      });
    case 'grain averaged':
      return frames.map((f, k) => {
        // As a cleaner of noise does that knows the way: neighbours laid on the frame by the performer's move.
        const join = copied(f.join);
        for (let y = 0; y < H; y++)
          for (let x = 0; x < W; x++) {
            const i = y * W + x;
            if (f.matte[i]! < 0.5) continue;
            for (let c = 0; c < 3; c++) {
              let s = 0;
              let n = 0;
              for (const o of [-1, 0, 1]) {
                const q = frames[k + o];
                if (q === undefined) continue;
                const dx = o === 0 ? 0 : o < 0 ? -moves[k]![0] : moves[k + 1]![0];
                const dy = o === 0 ? 0 : o < 0 ? -moves[k]![1] : moves[k + 1]![1];
                const xx = Math.round(x + dx);
                const yy = Math.round(y + dy);
                if (xx < 0 || yy < 0 || xx >= W || yy >= H || q.matte[yy * W + xx]! < 0.5) continue;
                const v = q.join.data[c * N + yy * W + xx]!;
                if (Math.abs(v - f.join.data[c * N + i]!) < 6 * Math.max(0.004, grain)) {
                  s += v;
                  n++;
                }
              }
              join.data[c * N + i] = s / Math.max(1, n);
            }
          }
        return { join, plate: f.plate, matte: f.matte };
      });
    case 'grain frozen': {
      const first = frames[0]!;
      const s = frames.map((f) => smoothed(f.join, f.matte, 2.5 * Math.max(0.004, grain)));
      return frames.map((f, k) => {
        const join = copied(f.join);
        for (let i = 0; i < N; i++)
          if (f.matte[i]! > 0.5)
            for (let c = 0; c < 3; c++) {
              const q = c * N + i;
              join.data[q] = s[k]!.data[q]! + (first.matte[i]! > 0.5 ? first.join.data[q]! - s[0]!.data[q]! : 0);
            }
        return { join, plate: f.plate, matte: f.matte };
      });
    }
    case 'grain added':
      return each((d, f) => {
        const n = gaussianPlane(
          Float32Array.from({ length: N }, () => r.normal()),
          W,
          H,
          0.6,
        );
        for (let i = 0; i < N; i++)
          if (f.matte[i]! > 0.5)
            for (let c = 0; c < 3; c++)
              d[c * N + i] = Math.min(
                1,
                Math.max(0, d[c * N + i]! + size * Math.max(0.004, grain) * 2 * Math.sqrt(Math.PI) * 0.6 * n[i]!),
              );
      });
    case 'black coded':
      return coded((v) => v + size * (1 - v));
    case 'black crushed':
      return coded((v) => Math.max(0, (v - size) / (1 - size)));
    case 'contrast':
      return coded((v) => 0.4 + size * (v - 0.4));
    case 'saturation':
      return own((v) => {
        const y = 0.2126 * v[0] + 0.7152 * v[1] + 0.0722 * v[2];
        return v.map((q) => y + size * (q - y));
      });
    case 'performer doubled':
      return frames.map((f, k) => {
        if (k !== at) return f;
        const b = frames[k - 1]!;
        const m = moves[k]!;
        const join = copied(f.plate);
        const matte = new Float32Array(N);
        for (let y = 0; y < H; y++)
          for (let x = 0; x < W; x++) {
            const i = y * W + x;
            const xx = x + 0.5 - m[0];
            const yy = y + 0.5 - m[1];
            const a = sampleBilinear(b.matte, W, H, xx, yy);
            matte[i] = a;
            for (let c = 0; c < 3; c++) {
              const q = c * N + i;
              const back = bt709Decode(f.plate.data[q]!);
              join.data[q] =
                a < 0.004
                  ? f.matte[i]! < 0.004
                    ? f.join.data[q]!
                    : f.plate.data[q]!
                  : bt709Encode(
                      Math.min(
                        1,
                        Math.max(
                          0,
                          bt709Decode(sampleBilinear(b.join.data.subarray(c * N, c * N + N), W, H, xx, yy)) -
                            (1 - a) *
                              bt709Decode(sampleBilinear(b.plate.data.subarray(c * N, c * N + N), W, H, xx, yy)) +
                            (1 - a) * back,
                        ),
                      ),
                    );
            }
          }
        return { join, plate: f.plate, matte };
      });
    case 'picture doubled':
      return frames.map((f, k) => (k === at ? { ...f, join: frames[k - 1]!.join } : f));
    case 'frame left out':
      return frames.map((f, k) => (k >= at ? { ...f, join: frames[Math.min(frames.length - 1, k + 1)]!.join } : f));
    case 'edge feathered':
    case 'edge jagged':
      return frames.map((f) => {
        const a2 =
          name === 'edge feathered' ? gaussianPlane(f.matte, W, H, size) : f.matte.map((a) => (a > 0.5 ? 1 : 0));
        const join = copied(f.join);
        const core = Uint8Array.from(f.matte, (a) => (a > 0.9 ? 1 : 0));
        const { nearest } = nearestInSet(core, W, H);
        for (let i = 0; i < N; i++)
          if (a2[i]! > 0.004 || f.matte[i]! > 0.004)
            for (let c = 0; c < 3; c++) {
              const a = f.matte[i]!;
              const back = bt709Decode(f.plate.data[c * N + i]!);
              const o =
                a > 0.3
                  ? Math.max(0, (bt709Decode(f.join.data[c * N + i]!) - (1 - a) * back) / a)
                  : bt709Decode(f.join.data[c * N + nearest[i]!]!);
              join.data[c * N + i] = bt709Encode(Math.min(1, a2[i]! * o + (1 - a2[i]!) * back));
            }
        return { join, plate: f.plate, matte: f.matte };
      });
    case 'shadow tinted':
      return each((d, f) => {
        for (let i = 0; i < N; i++) {
          if (f.matte[i]! > 0.02) continue;
          const k = Math.min(1, Math.max(0, (0.93 - L(d, N, i) / Math.max(0.03, L(f.plate.data, N, i))) / 0.1));
          if (k > 0) {
            d[i] = bt709Encode(Math.min(1, bt709Decode(d[i]!) * 2 ** ((k * size) / 2)));
            d[2 * N + i] = bt709Encode(bt709Decode(d[2 * N + i]!) * 2 ** ((-k * size) / 2));
          }
        }
      });
    case 'blur along motion':
      return frames.map((f, k) => {
        const m = moves[Math.max(1, k)] ?? [0, 0];
        const l = Math.hypot(m[0], m[1]);
        const u = l < 0.3 ? [1, 0] : [m[0] / l, m[1] / l];
        const n = Math.ceil(2 * size);
        const join = copied(f.join);
        for (let y = 0; y < H; y++)
          for (let x = 0; x < W; x++) {
            const i = y * W + x;
            if (f.matte[i]! < 0.5) continue;
            for (let c = 0; c < 3; c++) {
              let s = 0;
              for (let q = 0; q < n; q++) {
                const t = ((q + 0.5) / n - 0.5) * size;
                s += sampleBilinear(
                  f.join.data.subarray(c * N, c * N + N),
                  W,
                  H,
                  x + 0.5 + t * u[0]!,
                  y + 0.5 + t * u[1]!,
                );
              }
              join.data[c * N + i] = s / n;
            }
          }
        return { join, plate: f.plate, matte: f.matte };
      });
    case 'blocks':
      return each((d, f) => {
        for (let y = 0; y + 8 <= H; y += 8)
          for (let x = 0; x + 8 <= W; x += 8) {
            if (f.matte[(y + 4) * W + x + 4]! < 0.5) continue;
            for (let c = 0; c < 3; c++) {
              let s = 0;
              for (let j = 0; j < 64; j++) s += d[c * N + (y + (j >> 3)) * W + x + (j & 7)]!;
              for (let j = 0; j < 64; j++) {
                const q = c * N + (y + (j >> 3)) * W + x + (j & 7);
                if (f.matte[q - c * N]! > 0.5) d[q] = d[q]! + size * (s / 64 - d[q]!);
              }
            }
          }
      });
  }
}
