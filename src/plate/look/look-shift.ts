/**
 * Shift of the whole picture between two frames, sub-pixel: Gauss-Newton on a pyramid (Lucas &
 * Kanade, IJCAI 1981) with Tukey weights, so that what moves otherwise weighs little. Luma planes,
 * 0..1; result in pixels, the way the picture moves.
 */

interface Level {
  readonly d: Float32Array;
  readonly w: number;
  readonly h: number;
}

interface Shift {
  readonly dx: number;
  readonly dy: number;
}

/** Differences beyond this are no noise of a shift, linear or coded luma: where the Tukey weight ends. */
const TUKEY = 0.06;
/** The coarsest level is about this large, and is searched cell by cell this far. */
const COARSE_W = 48;
const COARSE_H = 32;
const SEARCH_X = 10;
const SEARCH_Y = 6;
/** Pictures beyond about a megapixel stop at half size: the slope there is as well known. */
const LARGE = 1_200_000;

/** `agree`: share of the picture that the shift explains. */
export function pictureShift(
  a: Float32Array,
  b: Float32Array,
  w: number,
  h: number,
): { dx: number; dy: number; agree: number } {
  const first = pyramidOf(a, w, h);
  const second = pyramidOf(b, w, h);
  const coarsest = first.length - 1;
  const finest = w * h > LARGE ? 1 : 0;
  let shift = coarseShift(first[coarsest]!, second[coarsest]!);
  let agree = 0;
  for (let l = coarsest; l >= finest; l--) {
    if (l < coarsest) shift = { dx: shift.dx * 2, dy: shift.dy * 2 };
    for (let round = 0; round < 8; round++) {
      const { step, share } = gaussNewtonStep(first[l]!, second[l]!, shift);
      agree = share;
      if (step === null) break;
      shift = {
        dx: shift.dx + Math.max(-1.5, Math.min(1.5, step.dx)),
        dy: shift.dy + Math.max(-1.5, Math.min(1.5, step.dy)),
      };
      if (Math.hypot(step.dx, step.dy) < 0.005) break;
    }
  }
  return { dx: shift.dx * 2 ** finest, dy: shift.dy * 2 ** finest, agree };
}

/** Finest first. */
function pyramidOf(d: Float32Array, w: number, h: number): Level[] {
  const levels: Level[] = [{ d, w, h }];
  for (let last = levels[0]!; last.w > COARSE_W && last.h > COARSE_H; ) {
    last = half(last);
    levels.push(last);
  }
  return levels;
}

function half({ d: src, w, h }: Level): Level {
  const ow = w >> 1;
  const oh = h >> 1;
  const d = new Float32Array(ow * oh);
  for (let y = 0; y < oh; y++)
    for (let x = 0; x < ow; x++) {
      const i = 2 * y * w + 2 * x;
      d[y * ow + x] = (src[i]! + src[i + 1]! + src[i + w]! + src[i + w + 1]!) / 4;
    }
  return { d, w: ow, h: oh };
}

/** Whole-cell search, for pans too fast for the slope alone. */
function coarseShift(p: Level, q: Level): Shift {
  let best = Infinity;
  let shift: Shift = { dx: 0, dy: 0 };
  for (let v = -SEARCH_Y; v <= SEARCH_Y; v++)
    for (let u = -SEARCH_X; u <= SEARCH_X; u++) {
      let s = 0;
      let n = 0;
      for (let y = Math.max(0, -v); y < Math.min(p.h, p.h - v); y += 1)
        for (let x = Math.max(0, -u); x < Math.min(p.w, p.w - u); x += 1) {
          s += Math.abs(p.d[y * p.w + x]! - q.d[(y + v) * q.w + x + u]!);
          n++;
        }
      // Of two that are as good, the smaller one.
      const e = s / n + 0.0004 * (Math.abs(u) + Math.abs(v));
      if (e < best) {
        best = e;
        shift = { dx: u, dy: v };
      }
    }
  return shift;
}

/** One step from a shift, null where there is no slope; and the share of the picture that agrees with the shift. */
function gaussNewtonStep(p: Level, q: Level, { dx, dy }: Shift): { step: Shift | null; share: number } {
  let sxx = 0;
  let syy = 0;
  let sxy = 0;
  let sxe = 0;
  let sye = 0;
  let ok = 0;
  let all = 0;
  const ix = Math.floor(dx);
  const iy = Math.floor(dy);
  const fx = dx - ix;
  const fy = dy - iy;
  for (let y = Math.max(1, 1 - iy); y < Math.min(p.h - 1, p.h - 2 - iy); y++) {
    for (let x = Math.max(1, 1 - ix); x < Math.min(p.w - 1, p.w - 2 - ix); x++) {
      const i = y * p.w + x;
      const j = (y + iy) * q.w + x + ix;
      const v =
        (q.d[j]! * (1 - fx) + q.d[j + 1]! * fx) * (1 - fy) + (q.d[j + q.w]! * (1 - fx) + q.d[j + q.w + 1]! * fx) * fy;
      const e = p.d[i]! - v;
      const gx = (p.d[i + 1]! - p.d[i - 1]!) / 2;
      const gy = (p.d[i + p.w]! - p.d[i - p.w]!) / 2;
      const r = e / TUKEY;
      all++;
      if (r > 1 || r < -1) continue;
      ok++;
      const wgt = (1 - r * r) ** 2;
      sxx += wgt * gx * gx;
      syy += wgt * gy * gy;
      sxy += wgt * gx * gy;
      sxe += wgt * gx * e;
      sye += wgt * gy * e;
    }
  }
  const det = sxx * syy - sxy * sxy;
  const share = all > 0 ? ok / all : 0;
  if (det < 1e-9) return { step: null, share };
  return { step: { dx: (sxe * syy - sye * sxy) / det, dy: (sye * sxx - sxe * sxy) / det }, share };
}
