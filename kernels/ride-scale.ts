// How far a ride's residuals scatter, by ranks. Twin: residualScalePlain in src/plate/ride/ride-scale.ts.
import { MISSING, SLOTS } from './ride-align';

/** The value of rank `rank` among the first n, which are left with the smaller ones first (Hoare's selection). */
function nth(a: usize, n: i32, rank: i32): f32 {
  let lo = 0, hi = n - 1;
  while (lo < hi) {
    const pivot = load<f32>(a + (<usize>((lo + hi) >> 1) << 2));
    let i = lo, j = hi;
    while (i <= j) {
      while (load<f32>(a + (<usize>i << 2)) < pivot) i++;
      while (load<f32>(a + (<usize>j << 2)) > pivot) j--;
      if (i <= j) {
        const t = load<f32>(a + (<usize>i << 2));
        store<f32>(a + (<usize>i << 2), load<f32>(a + (<usize>j << 2)));
        store<f32>(a + (<usize>j << 2), t);
        i++;
        j--;
      }
    }
    if (rank <= j) hi = j;
    else if (rank >= i) lo = i;
    else break;
  }
  return load<f32>(a + (<usize>rank << 2));
}

/**
 * Every `stride`-th residual of the cells trusted from .3 on: their number, their median and the value that three
 * tenths lie below, to `out` (f64). Scratch: a float a pixel. Twin: residualScalePlain in src/plate/ride/ride-scale.ts.
 */
export function rideScale(
  value: usize, starts: usize, cells: i32, sums: usize, sample: usize, stride: i32, out: usize, from: i32, to: i32,
  scratch: usize,
): void {
  let k = 0, phase = 0;
  for (let c = 0; c < cells; c++) {
    const p = sums + <usize>c * SLOTS, end = load<i32>(starts + (<usize>c << 2), 4);
    if (load<f64>(p, 64) < 0.3) continue;
    const bias = load<f64>(p, 56), inverse = 1 / load<f64>(p, 48);
    let i = load<i32>(starts + (<usize>c << 2)) + phase;
    for (; i < end; i += stride) {
      const s = load<f32>(sample + (<usize>i << 2));
      if (s == MISSING) continue;
      store<f32>(
        scratch + (<usize>k << 2),
        <f32>abs((<f64>s - bias) * inverse - <f64>load<f32>(value + (<usize>i << 2))),
      );
      k++;
    }
    phase = i - end;
  }
  store<f64>(out, k);
  if (k < 12) return;
  store<f64>(out, nth(scratch, k, k >> 1), 8);
  store<f64>(out, nth(scratch, k >> 1, <i32>(<f64>k * 0.3)), 16);
}
