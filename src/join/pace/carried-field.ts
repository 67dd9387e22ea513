/** A motion field carried along itself onto another time (splatting, as in inbetween.ts said). */
import type { MotionField } from '../../image/flow.js';
import { sampleBilinear } from '../../image/sampling.js';

/**
 * Carries a field along itself by `share` of its motion onto another time; where two points land on one pixel the one
 * that the other side's field confirms wins; holes are filled from the nearest landing on the same row or column by
 * diffusion.
 */
export function carry(field: MotionField, share: number, other: MotionField): MotionField {
  const { width: w, height: h } = field;
  const n = w * h;
  const u = new Float32Array(n),
    v = new Float32Array(n),
    best = new Float32Array(n).fill(Infinity);
  const sign = share < 0 ? -1 : 1;
  for (let y = 0; y < h; y++) {
    for (let x = 0; x < w; x++) {
      const i = y * w + x;
      const fu = field.u[i]!,
        fv = field.v[i]!;
      const ex = x + 0.5 + sign * fu,
        ey = y + 0.5 + sign * fv;
      const miss = Math.hypot(sampleBilinear(other.u, w, h, ex, ey) - fu, sampleBilinear(other.v, w, h, ex, ey) - fv);
      const tx = Math.floor(x + share * fu),
        ty = Math.floor(y + share * fv);
      for (let j = 0; j < 2; j++)
        for (let k = 0; k < 2; k++) {
          const px = tx + k,
            py = ty + j;
          if (px < 0 || py < 0 || px >= w || py >= h) continue;
          const q = py * w + px;
          if (miss < best[q]!) {
            best[q] = miss;
            u[q] = fu;
            v[q] = fv;
          }
        }
    }
  }
  fillHoles(u, v, best, w, h);
  return { width: w, height: h, u, v };
}

/** Holes take the value of the nearest filled pixel, ring by ring. */
function fillHoles(u: Float32Array, v: Float32Array, best: Float32Array, w: number, h: number): void {
  let open: number[] = [];
  for (let i = 0; i < best.length; i++) if (best[i] === Infinity) open.push(i);
  for (let round = 0; open.length > 0 && round < w + h; round++) {
    const found: number[] = [],
      values: number[] = [],
      still: number[] = [];
    for (const i of open) {
      const x = i % w,
        y = (i - x) / w;
      let su = 0,
        sv = 0,
        c = 0;
      if (x > 0 && best[i - 1]! < Infinity) {
        su += u[i - 1]!;
        sv += v[i - 1]!;
        c++;
      }
      if (x + 1 < w && best[i + 1]! < Infinity) {
        su += u[i + 1]!;
        sv += v[i + 1]!;
        c++;
      }
      if (y > 0 && best[i - w]! < Infinity) {
        su += u[i - w]!;
        sv += v[i - w]!;
        c++;
      }
      if (y + 1 < h && best[i + w]! < Infinity) {
        su += u[i + w]!;
        sv += v[i + w]!;
        c++;
      }
      if (c > 0) {
        found.push(i);
        values.push(su / c, sv / c);
      } else still.push(i);
    }
    found.forEach((i, k) => {
      u[i] = values[2 * k]!;
      v[i] = values[2 * k + 1]!;
      best[i] = 1e9;
    });
    if (found.length === 0) break;
    open = still;
  }
}
