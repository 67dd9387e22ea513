/**
 * Weighted push-pull: fills where nothing is known, smoothly, from what is. S. J. Gortler, R. Grzeszczuk, R. Szeliski,
 * M. F. Cohen, "The Lumigraph", SIGGRAPH 1996, section 3.4: pull weighted averages up a pyramid with weights that
 * saturate at 1, push them down into what is missing. Any number of planes share one weight plane.
 */
import { PlatewrightError } from '../core/errors.js';
import { double, halve, halfSize } from './pyramid.js';
import { requirePlane } from './boundary.js';

/**
 * Returns planes in which each pixel is w·value + (1 − w)·(coarser fill), w = weight cut to 0..1. Where the weights
 * are zero everywhere the result is zero. Inputs are not changed. Throws `PW-IMAGE-SHAPE` without a plane and for
 * planes of another size.
 */
export function pushPull(
  planes: readonly Float32Array[],
  weight: Float32Array,
  width: number,
  height: number,
): Float32Array[] {
  requirePlane(weight, width, height, 'push-pull');
  for (const p of planes) requirePlane(p, width, height, 'push-pull');
  if (planes.length === 0)
    throw new PlatewrightError('PW-IMAGE-SHAPE', 'push-pull was given no plane', { kind: 'internal' });
  interface Level {
    w: number;
    h: number;
    weight: Float32Array;
    sums: Float32Array[];
  }
  const n = width * height;
  const w0 = new Float32Array(n);
  const keep = new Float64Array(halfSize(width) * halfSize(height));
  for (let i = 0; i < n; i++) w0[i] = Math.min(1, Math.max(0, weight[i]!));
  const levels: Level[] = [{ w: width, h: height, weight: w0, sums: planes.map((p) => weighed(p, w0)) }];
  for (let last = levels[0]!; last.w > 1 || last.h > 1; last = levels[levels.length - 1]!) {
    const w = halfSize(last.w);
    const h = halfSize(last.h);
    // Sums, not means: a pixel known among four unknown ones counts whole. Cut at 1 so that known areas do not shout.
    const lw = halve(last.weight, last.w, last.h);
    const sums = last.sums.map((s) => halve(s, last.w, last.h));
    for (let i = 0; i < lw.length; i++) {
      const total = 4 * lw[i]!;
      keep[i] = total > 1 ? 1 / total : 1;
      lw[i] = total * keep[i]!;
    }
    for (const s of sums) scaleBy(s, keep);
    levels.push({ w, h, weight: lw, sums });
  }
  let coarse = levels[levels.length - 1]!;
  let fill: Float32Array[] = coarse.sums.map((s) =>
    Float32Array.from(s, (v, i) => (coarse.weight[i]! > 0 ? v / coarse.weight[i]! : 0)),
  );
  for (let k = levels.length - 2; k >= 0; k--) {
    const fine = levels[k]!;
    fill = fill.map((f, j) => {
      const up = double(f, coarse.w, coarse.h, fine.w, fine.h);
      goOn(up, fine.sums[j]!, fine.weight);
      return up;
    });
    coarse = fine;
  }
  return fill;
}

// A loop of its own each: inside the function above they run many times slower (planes of several kinds pass through
// one site).
function weighed(p: Float32Array, weight: Float32Array): Float32Array {
  const s = new Float32Array(p.length);
  for (let i = 0; i < s.length; i++) s[i] = weight[i]! > 0 ? p[i]! * weight[i]! : 0;
  return s;
}

function scaleBy(s: Float32Array, keep: Float64Array): void {
  for (let i = 0; i < s.length; i++) s[i] = s[i]! * 4 * keep[i]!;
}

function goOn(up: Float32Array, sums: Float32Array, weight: Float32Array): void {
  for (let i = 0; i < up.length; i++) up[i] = sums[i]! + (1 - weight[i]!) * up[i]!;
}
