/**
 * Movement in time: whether the performer holds still on what it rides on, and whether frames were dropped or doubled.
 *
 * Slip has three parts, all in pixels. (1) Where the picture's performer stands beside its matte: the change that the join
 * made to the plate is set against the matte and the shift between them found by least squares on the matte's slopes (Lucas &
 * Kanade, IJCAI 1981, one step). (2) Jitter: the outline's contact with the ground, frame to frame, beside the path that the
 * recipe planned; what returns at once is jitter, what goes on is the performer's own step. (3) The plan itself: the plate's
 * ground about the foot followed from frame to frame beside the planned foot.
 */
import type { SeenFrame } from './frame.js';

/** Shift (px) of the joined performer against its matte; null where the change is too faint to tell. Only the upper three quarters count: the shadow darkens the lower part's surroundings. */
export function matteShift(f: SeenFrame): [number, number] | null {
  if (f.box === null) return null;
  const { width: W, height: H } = f.join;
  const N = W * H;
  const [bx0, by0, bx1, by1] = f.box;
  const x0 = Math.max(2, bx0 - 4), x1 = Math.min(W - 2, bx1 + 4), y0 = Math.max(2, by0 - 4), y1 = Math.min(H - 2, by0 + Math.round(0.72 * (by1 - by0)));
  let xx = 0, xy = 0, yy = 0, xb = 0, yb = 0, used = 0;
  for (let y = y0; y < y1; y++) {
    for (let x = x0; x < x1; x++) {
      const i = y * W + x;
      const gx = (f.matte[i + 1]! - f.matte[i - 1]!) / 2, gy = (f.matte[i + W]! - f.matte[i - W]!) / 2;
      if (gx * gx + gy * gy < 0.0025) continue;
      // Coverage as the picture tells it: how far the pixel moved from the plate towards the performer just inside.
      const l = Math.hypot(gx, gy), ix = Math.min(W - 1, Math.max(0, Math.round(x + (3 * gx) / l))), iy = Math.min(H - 1, Math.max(0, Math.round(y + (3 * gy) / l)));
      const q = iy * W + ix;
      if (f.matte[q]! < 0.9) continue;
      let num = 0, den = 0;
      for (let c = 0; c < 3; c++) {
        const b = f.plate.data[c * N + i]!, j = f.join.data[c * N + i]!, inside = f.join.data[c * N + q]!;
        num += (j - b) * (inside - b);
        den += (inside - b) * (inside - b);
      }
      if (den < 0.01) continue;
      const seen = Math.min(1.3, Math.max(-0.3, num / den)), d = f.matte[i]! - seen;
      // seen(x) = matte(x − shift) ≈ matte − shift · slope
      xx += gx * gx; xy += gx * gy; yy += gy * gy; xb += gx * d; yb += gy * d;
      used++;
    }
  }
  const det = xx * yy - xy * xy;
  if (used < 60 || !(det > 1e-6)) return null;
  return [(yy * xb - xy * yb) / det, (xx * yb - xy * xb) / det];
}

/** Middle of the outline's left and right and its bottom: a sub-pixel place of the silhouette. Weighted means of the matte over its lower half. */
export function silhouettePlace(matte: Float32Array, box: readonly [number, number, number, number], width: number): [number, number] {
  let sx = 0, sy = 0, w = 0;
  for (let y = box[1]; y < box[3]; y++) for (let x = box[0]; x < box[2]; x++) { const a = matte[y * width + x]!; sx += a * (x + 0.5); sy += a * (y + 0.5); w += a; }
  return [sx / w, sy / w];
}

/** Mean absolute difference of luma between two frames where both mattes hold, and outside both. */
export function frameChange(now: SeenFrame, before: SeenFrame, shift: readonly [number, number]): { inside: number | null; outside: number } {
  const { width: W, height: H } = now.join;
  let a = 0, na = 0, b = 0, nb = 0;
  // To fractions of a pixel: rounded, fur would change much on some frames and little on others by the ride alone.
  const dx = Math.floor(-shift[0]), dy = Math.floor(-shift[1]), tx = -shift[0] - dx, ty = -shift[1] - dy;
  const w00 = (1 - tx) * (1 - ty), w10 = tx * (1 - ty), w01 = (1 - tx) * ty, w11 = tx * ty;
  if (now.box !== null) {
    for (let y = now.box[1]; y < now.box[3]; y++) {
      for (let x = now.box[0]; x < now.box[2]; x++) {
        const xx = x + dx, yy = y + dy;
        if (xx < 0 || yy < 0 || xx >= W - 1 || yy >= H - 1) continue;
        const i = y * W + x, j = yy * W + xx, l = before.luma;
        if (now.matte[i]! < 0.9 || before.matte[j]! < 0.9 || before.matte[j + W + 1]! < 0.9) continue;
        a += Math.abs(now.luma[i]! - (w00 * l[j]! + w10 * l[j + 1]! + w01 * l[j + W]! + w11 * l[j + W + 1]!));
        na++;
      }
    }
  }
  for (let i = 0; i < W * H; i += 7) {
    if (now.matte[i]! > 0.01 || before.matte[i]! > 0.01) continue;
    b += Math.abs(now.luma[i]! - before.luma[i]!);
    nb++;
  }
  return { inside: na > 100 ? a / na : null, outside: nb > 0 ? b / nb : 0 };
}

/** A plane moved by a fraction of pixels, bilinear; filled in the box only. */
export function movedPlane(src: Float32Array, width: number, height: number, by: readonly [number, number], box: readonly [number, number, number, number]): Float32Array {
  if (by[0] === 0 && by[1] === 0) return src;
  const out = new Float32Array(width * height);
  const ix = Math.floor(-by[0]), iy = Math.floor(-by[1]), tx = -by[0] - ix, ty = -by[1] - iy;
  const w00 = (1 - tx) * (1 - ty), w10 = tx * (1 - ty), w01 = (1 - tx) * ty, w11 = tx * ty;
  for (let y = box[1]; y < box[3]; y++) {
    const y0 = Math.min(height - 1, Math.max(0, y + iy)) * width, y1 = Math.min(height - 1, Math.max(0, y + iy + 1)) * width;
    for (let x = box[0]; x < box[2]; x++) {
      const x0 = Math.min(width - 1, Math.max(0, x + ix)), x1 = Math.min(width - 1, Math.max(0, x + ix + 1));
      out[y * width + x] = w00 * src[y0 + x0]! + w10 * src[y0 + x1]! + w01 * src[y1 + x0]! + w11 * src[y1 + x1]!;
    }
  }
  return out;
}
