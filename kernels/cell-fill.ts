// What cells know little of, filled from coarser cells: sums pushed up a pyramid, means pulled down it again. Twin:
// priorFillPlain in src/join/peel/prior-fill.ts.
import { put } from './peel-light';

/** Four sums of 2 × 2 values at column x of two rows, b of weight 0 or 1. */
// @ts-ignore: decorator
@inline
function pairs(a: usize, b: usize, second: v128): v128 {
  const lo = f32x4.add(v128.load(a), v128.and(v128.load(b), second));
  const hi = f32x4.add(v128.load(a, 16), v128.and(v128.load(b, 16), second));
  return f32x4.add(v128.shuffle<f32>(lo, hi, 0, 2, 4, 6), v128.shuffle<f32>(lo, hi, 1, 3, 5, 7));
}

/**
 * Sums of 2 × 2 cells, held so that a weight is at most `cap`. Sums must be 0 where the weight
 * is. Items: coarse rows. Scratch: cw + 8 floats.
 */
export function cellPush(
  weight: usize, sums: usize, w: i32, h: i32, coarseWeight: usize, coarseSums: usize, fields: i32, cap: f32, from: i32,
  to: i32, scratch: usize,
): void {
  const cw = (w + 1) >> 1, ch = (h + 1) >> 1;
  for (let j = from; j < to; j++) {
    const below = 2 * j + 1 < h ? 1 : 0;
    const second = i32x4.splat(-below);
    for (let f = -1; f < fields; f++) {
      const src = (f < 0 ? weight : sums + (<usize>(f * w * h) << 2)) + (<usize>(2 * j * w) << 2);
      const under = src + (<usize>(below * w) << 2);
      const dst = (f < 0 ? coarseWeight : coarseSums + (<usize>(f * cw * ch) << 2)) + (<usize>(j * cw) << 2);
      let x = 0;
      for (; 2 * x + 8 <= w; x += 4) {
        const v = pairs(src + (<usize>x << 3), under + (<usize>x << 3), second);
        if (f < 0) {
          const scale = f32x4.div(f32x4.splat(cap), f32x4.max(v, f32x4.splat(cap)));
          v128.store(scratch + (<usize>x << 2), scale);
          v128.store(dst + (<usize>x << 2), f32x4.min(v, f32x4.splat(cap)));
        } else v128.store(dst + (<usize>x << 2), f32x4.mul(v, v128.load(scratch + (<usize>x << 2))));
      }
      for (; x < cw; x++) {
        const p = <usize>x << 3;
        let v = load<f32>(src + p);
        const right = 2 * x + 1 < w;
        if (right) v += load<f32>(src + p, 4);
        if (below != 0) {
          v += load<f32>(under + p);
          if (right) v += load<f32>(under + p, 4);
        }
        if (f < 0) {
          store<f32>(scratch + (<usize>x << 2), cap / max(v, cap));
          store<f32>(dst + (<usize>x << 2), min(v, cap));
        } else store<f32>(dst + (<usize>x << 2), v * load<f32>(scratch + (<usize>x << 2)));
      }
    }
  }
}

/**
 * Means of a finer level from its sums and the coarser means, which count for `prior` observations.
 * Items: fine rows. Scratch: cw + 16 and w + 8 floats.
 */
export function cellPull(
  weight: usize, sums: usize, w: i32, h: i32, mean: usize, dst: usize, fields: i32, prior: f32, from: i32, to: i32,
  scratch: usize,
): void {
  const cw = (w + 1) >> 1, ch = (h + 1) >> 1;
  const row = scratch + 16, inverse = scratch + (<usize>(cw + 16) << 2);
  const vp = f32x4.splat(prior), quarter = f32x4.splat(0.25), most = f32x4.splat(0.75);
  for (let y = from; y < to; y++) {
    const fy = min(max(<f32>y * 0.5 - 0.25, <f32>0), <f32>(ch - 1));
    const ya = <i32>fy, yb = min(ya + 1, ch - 1);
    const ty = f32x4.splat(fy - <f32>ya);
    const line = <usize>(y * w) << 2;
    for (let x = 0; x < w; x += 4) {
      const p = <usize>x << 2;
      v128.store(inverse + p, f32x4.div(f32x4.splat(1), f32x4.add(v128.load(weight + line + p), vp)));
    }
    for (let f = 0; f < fields; f++) {
      const m = mean + (<usize>(f * cw * ch) << 2);
      const a = m + (<usize>(ya * cw) << 2), b = m + (<usize>(yb * cw) << 2);
      for (let x = 0; x < cw; x += 4) {
        const p = <usize>x << 2;
        const v = v128.load(a + p);
        v128.store(row + p, f32x4.add(v, f32x4.mul(f32x4.sub(v128.load(b + p), v), ty)));
      }
      store<f32>(row - 4, load<f32>(row));
      const end = load<f32>(row + (<usize>(cw - 1) << 2));
      for (let k = 0; k < 5; k++) store<f32>(row + (<usize>(cw + k) << 2), end);
      const s = sums + (<usize>(f * w * h) << 2) + line, d = dst + (<usize>(f * w * h) << 2) + line;
      for (let x = 0; x < w; x += 8) {
        const q = row + (<usize>x << 1);
        const c = f32x4.mul(v128.load(q), most);
        const even = f32x4.add(c, f32x4.mul(v128.load(q - 4), quarter));
        const odd = f32x4.add(c, f32x4.mul(v128.load(q + 4), quarter));
        const p = <usize>x << 2;
        const left = w - x;
        put(
          d + p,
          f32x4.mul(
            f32x4.add(v128.load(s + p), f32x4.mul(vp, v128.shuffle<f32>(even, odd, 0, 4, 1, 5))),
            v128.load(inverse + p),
          ),
          left,
        );
        if (left > 4)
          put(
            d + p + 16,
            f32x4.mul(
              f32x4.add(v128.load(s + p, 16), f32x4.mul(vp, v128.shuffle<f32>(even, odd, 2, 6, 3, 7))),
              v128.load(inverse + p, 16),
            ),
            left - 4,
          );
      }
    }
  }
}
