/**
 * Movement in time: whether the performer holds still on what it rides on, and whether frames were dropped or doubled.
 *
 * Slip has three parts, all in pixels. (1) Where the picture's performer stands beside its matte: the change that the
 * join made to the plate is set against the matte and the shift between them found by least squares on the matte's
 * slopes (Lucas & Kanade, IJCAI 1981, one step). (2) Jitter: the outline's contact with the ground, frame to frame,
 * beside the path that the recipe planned; what returns at once is jitter, what goes on is the performer's own step.
 * (3) The plan itself: the plate's ground about the foot followed from frame to frame beside the planned foot.
 */
import { bt709Decode } from '../../colour/transfer.js';
import type { Box } from '../../join/ground/ground.js';
import type { GoneFrame, SeenFrame } from '../reader/frame.js';

/** How far inside the outline the performer is taken from, and how much deeper again, px. */
const INSIDE = 3,
  DEEPER = 3;
/**
 * Cover by which a coat's own change may move what is seen before the place counts less: at it half; and the change
 * taken where the body is too thin to tell (own choices).
 */
const EVEN = 0.1,
  THIN = 0.15;
/** Light that stands for black in ratios; coded film reaches below its black. */
const BLACK = 1e-3;
/**
 * Most cover, over a (1 − a) and the logarithm of performer over plate in linear light, by which a mixture made in
 * another measure than codes stands over one of codes: light read in codes (BT.709's power of .45) makes (1 − .45) / 2
 * by Taylor's second term, a shoulder of the tone curve adds to it.
 */
const MOST_CURVE = 0.45,
  CURVE_DOUBT = 0.02;

/**
 * Shift (px) of the joined performer against its matte; null where the change is too faint to tell. Only the upper
 * three quarters count: the shadow darkens the lower part's surroundings. Two things move an outline seen without
 * moving the performer, and neither goes one way on all sides as a shift does: light and curve that mix otherwise than
 * codes make the brighter of the two wider (one number for the whole outline, fitted beside the shift), and a coat that
 * grows brighter or darker towards its limb shows more or less cover there (such places count less, by covered pixels
 * alone).
 */
export function matteShift(f: SeenFrame): [number, number] | null {
  const e = f.box === null ? null : outlineEquations(f, f.box);
  if (e === null) return null;
  const { xx, xy, yy, xb, yb, xc, yc, cc, cb, used } = e;
  const det = xx * yy - xy * xy;
  if (used < 60 || !(det > 1e-6)) return null;
  const shifted = (strength: number): [number, number] => {
    const u = xb - strength * xc,
      v = yb - strength * yc;
    return [(yy * u - xy * v) / det, (xx * v - xy * u) / det];
  };
  // What is left of the curve's own equation once the shift is put in.
  const s0 = shifted(0),
    sc: [number, number] = [(yy * xc - xy * yc) / det, (xx * yc - xy * xc) / det],
    left = cc - xc * sc[0] - yc * sc[1];
  const strength = left > 1e-9 ? Math.min(MOST_CURVE, Math.max(0, (cb - xc * s0[0] - yc * s0[1]) / left)) : 0;
  return shifted(strength);
}

/** Normal equations of the shift (x, y) and of the curve's strength c against what is seen (b). */
interface Equations {
  readonly xx: number;
  readonly xy: number;
  readonly yy: number;
  readonly xb: number;
  readonly yb: number;
  readonly xc: number;
  readonly yc: number;
  readonly cc: number;
  readonly cb: number;
  readonly used: number;
}

/** Summed over the outline of the upper three quarters of the box. */
function outlineEquations(f: SeenFrame, [bx0, by0, bx1, by1]: Box): Equations {
  const { width: W, height: H } = f.join;
  const x0 = Math.max(2, bx0 - 4),
    x1 = Math.min(W - 2, bx1 + 4),
    y0 = Math.max(2, by0 - 4),
    y1 = Math.min(H - 2, by0 + Math.round(0.72 * (by1 - by0)));
  let xx = 0,
    xy = 0,
    yy = 0,
    xb = 0,
    yb = 0,
    xc = 0,
    yc = 0,
    cc = CURVE_DOUBT,
    cb = 0,
    used = 0;
  for (let y = y0; y < y1; y++) {
    for (let x = x0; x < x1; x++) {
      const i = y * W + x;
      const gx = (f.matte[i + 1]! - f.matte[i - 1]!) / 2,
        gy = (f.matte[i + W]! - f.matte[i - W]!) / 2;
      if (gx * gx + gy * gy < 0.0025) continue;
      const o = outlineAt(f, x, y, gx, gy);
      if (o === null) continue;
      const { off, weight, curve } = o;
      // seen(x) = matte(x − shift) + curve ≈ matte − shift · slope + strength · curve
      xx += weight * gx * gx;
      xy += weight * gx * gy;
      yy += weight * gy * gy;
      xb += weight * gx * off;
      yb += weight * gy * off;
      xc -= weight * gx * curve;
      yc -= weight * gy * curve;
      cc += weight * curve * curve;
      cb -= weight * curve * off;
      used++;
    }
  }
  return { xx, xy, yy, xb, yb, xc, yc, cc, cb, used };
}

/**
 * The matte over the cover that is seen at a place of the outline of slope (gx, gy), what it counts, and what another
 * curve of mixing would add there. The cover as the picture tells it: how far the pixel moved from the plate towards
 * the performer just inside; null where that tells nothing.
 */
function outlineAt(
  f: SeenFrame,
  x: number,
  y: number,
  gx: number,
  gy: number,
): { readonly off: number; readonly weight: number; readonly curve: number } | null {
  const { width: W, height: H } = f.join,
    N = W * H,
    i = y * W + x,
    l = Math.hypot(gx, gy),
    at = (far: number): number =>
      Math.min(H - 1, Math.max(0, Math.round(y + (far * gy) / l))) * W +
      Math.min(W - 1, Math.max(0, Math.round(x + (far * gx) / l)));
  const q = at(INSIDE),
    deep = at(INSIDE + DEEPER);
  if (f.matte[q]! < 0.9) return null;
  let num = 0,
    den = 0,
    rise = 0;
  for (let c = 0; c < 3; c++) {
    const b = f.plate.data[c * N + i]!,
      j = f.join.data[c * N + i]!,
      inside = f.join.data[c * N + q]!;
    num += (j - b) * (inside - b);
    den += (inside - b) * (inside - b);
    rise += (inside - f.join.data[c * N + deep]!) * (inside - b);
  }
  if (den < 0.01) return null;
  const a = f.matte[i]!,
    seen = Math.min(1.3, Math.max(-0.3, num / den)),
    stray = f.matte[deep]! < 0.98 ? THIN : (a * rise) / den;
  const light = (luma: number): number => Math.max(0, bt709Decode(luma)) + BLACK;
  return {
    off: a - seen,
    weight: 1 / (1 + (stray / EVEN) ** 2),
    curve: a * (1 - a) * Math.log(light(f.luma[q]!) / light(f.plateLuma[i]!)),
  };
}

/**
 * Middle of the outline's left and right and its bottom: a sub-pixel place of the silhouette. Weighted means of the
 * matte over its lower half.
 */
export function silhouettePlace(
  matte: Float32Array,
  box: readonly [number, number, number, number],
  width: number,
): [number, number] {
  let sx = 0,
    sy = 0,
    w = 0;
  for (let y = box[1]; y < box[3]; y++)
    for (let x = box[0]; x < box[2]; x++) {
      const a = matte[y * width + x]!;
      sx += a * (x + 0.5);
      sy += a * (y + 0.5);
      w += a;
    }
  return [sx / w, sy / w];
}

/** Mean absolute difference of luma between two frames where both mattes hold, and outside both. */
export function frameChange(
  now: SeenFrame,
  before: GoneFrame,
  shift: readonly [number, number],
): { inside: number | null; outside: number } {
  const { width: W, height: H } = now.join;
  let a = 0,
    na = 0,
    b = 0,
    nb = 0;
  // To fractions of a pixel: rounded, fur would change much on some frames and little on others by the ride alone.
  const dx = Math.floor(-shift[0]),
    dy = Math.floor(-shift[1]),
    tx = -shift[0] - dx,
    ty = -shift[1] - dy;
  const w00 = (1 - tx) * (1 - ty),
    w10 = tx * (1 - ty),
    w01 = (1 - tx) * ty,
    w11 = tx * ty;
  if (now.box !== null) {
    for (let y = now.box[1]; y < now.box[3]; y++) {
      for (let x = now.box[0]; x < now.box[2]; x++) {
        const xx = x + dx,
          yy = y + dy;
        if (xx < 0 || yy < 0 || xx >= W - 1 || yy >= H - 1) continue;
        const i = y * W + x,
          j = yy * W + xx,
          l = before.luma;
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
export function movedPlane(
  src: Float32Array,
  width: number,
  height: number,
  by: readonly [number, number],
  box: readonly [number, number, number, number],
): Float32Array {
  if (by[0] === 0 && by[1] === 0) return src;
  const out = new Float32Array(width * height);
  const ix = Math.floor(-by[0]),
    iy = Math.floor(-by[1]),
    tx = -by[0] - ix,
    ty = -by[1] - iy;
  const w00 = (1 - tx) * (1 - ty),
    w10 = tx * (1 - ty),
    w01 = (1 - tx) * ty,
    w11 = tx * ty;
  for (let y = box[1]; y < box[3]; y++) {
    const y0 = Math.min(height - 1, Math.max(0, y + iy)) * width,
      y1 = Math.min(height - 1, Math.max(0, y + iy + 1)) * width;
    for (let x = box[0]; x < box[2]; x++) {
      const x0 = Math.min(width - 1, Math.max(0, x + ix)),
        x1 = Math.min(width - 1, Math.max(0, x + ix + 1));
      out[y * width + x] = w00 * src[y0 + x0]! + w10 * src[y0 + x1]! + w01 * src[y1 + x0]! + w11 * src[y1 + x1]!;
    }
  }
  return out;
}
