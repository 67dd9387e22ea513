/** A short shot under a spoil (bench/spoil-otherwise.ts), and the ways in which spoils change its frames. */
import { bt709Decode, bt709Encode } from '../src/colour/transfer.js';
import type { RandomStream } from '../src/core/random.js';
import { nearestInSet } from '../src/image/distance.js';
import { createPicture, type Picture } from '../src/image/picture.js';
import { sampleBilinear } from '../src/image/sampling.js';
import type { JoinFrame } from './made-join-recipe.js';

export interface SpoiledShot {
  readonly frames: readonly JoinFrame[];
  readonly width: number;
  readonly height: number;
  /** How strong the spoil is, in its own unit. */
  readonly size: number;
  /** The plate's grain, sd of coded luma; at least .004, below which eight bits hold none. */
  readonly grain: number;
  /** The performer's way from the frame before, px. */
  readonly moves: readonly (readonly [number, number])[];
  readonly random: RandomStream;
  /** Of what swings, radians; which side a slip goes to; and the frame at which something happens once. */
  readonly phase: number;
  readonly side: 1 | -1;
  readonly at: number;
}

/** Luminance (Rec. 709's weights) of pixel i in planar RGB of n pixels. */
export const lumaAt = (d: Float32Array, n: number, i: number): number =>
  0.2126 * d[i]! + 0.7152 * d[n + i]! + 0.0722 * d[2 * n + i]!;

export function copied(p: Picture): Picture {
  const out = createPicture(p.width, p.height, 3);
  out.data.set(p.data.subarray(0, 3 * p.width * p.height));
  return out;
}

/** Every frame with a copy of its join, which `change` may write to; plate and matte stay. */
export function changed(
  { frames }: SpoiledShot,
  change: (join: Float32Array, frame: JoinFrame, k: number) => void,
): JoinFrame[] {
  return frames.map((f, k) => {
    const join = copied(f.join);
    change(join.data, f, k);
    return { join, plate: f.plate, matte: f.matte };
  });
}

/** Changes the performer's own linear light, which is all that the plate does not bring. */
export function changedLight(
  shot: SpoiledShot,
  change: (v: readonly [number, number, number]) => readonly number[],
): JoinFrame[] {
  const n = shot.width * shot.height;
  return changed(shot, (d, f) => {
    for (let i = 0; i < n; i++) {
      const a = f.matte[i]!;
      if (!(a > 0.004)) continue;
      const back = [0, 1, 2].map((c) => (1 - a) * bt709Decode(f.plate.data[c * n + i]!));
      const v = [0, 1, 2].map((c) => Math.max(0, bt709Decode(d[c * n + i]!) - back[c]!) / a) as [
        number,
        number,
        number,
      ];
      const now = change(v);
      for (let c = 0; c < 3; c++)
        d[c * n + i] = bt709Encode(Math.min(1, Math.max(0, back[c]! + a * (v[c]! + (now[c]! - v[c]!)))));
    }
  });
}

/** Changes coded values where the performer covers. */
export function changedCodes(shot: SpoiledShot, change: (v: number) => number): JoinFrame[] {
  const n = shot.width * shot.height;
  return changed(shot, (d, f) => {
    for (let i = 0; i < n; i++)
      if (f.matte[i]! > 0.004)
        for (let c = 0; c < 3; c++) {
          const v = d[c * n + i]!;
          d[c * n + i] = Math.min(1, Math.max(0, v + f.matte[i]! * (change(v) - v)));
        }
  });
}

/** 1 within `px` of a frame's outline, on either side. */
export function outlineBand({ matte, join }: JoinFrame, px: number): Float32Array {
  const body = Uint8Array.from(matte, (a) => (a > 0.5 ? 1 : 0));
  const out = Uint8Array.from(body, (v) => 1 - v);
  const inward = nearestInSet(out, join.width, join.height).distance;
  const outward = nearestInSet(body, join.width, join.height).distance;
  return Float32Array.from(inward, (v, i) => (Math.max(v, outward[i]!) <= px ? 1 : 0));
}

/** The performer laid anew from (dx, dy) beside its place, with the matte that goes with it. */
export function slipped(f: JoinFrame, dx: number, dy: number): JoinFrame {
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

/** Half width, px, of the window that `smoothed` looks at. */
const R = 3;

/** A picture smoothed within small differences only (bilateral, 2 px, three grains), where the matte covers. */
export function smoothed(p: Picture, m: Float32Array, range: number): Picture {
  const { width: W, height: H, data } = p;
  const N = W * H;
  const out = copied(p);
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
