/**
 * Small pieces of a picture that are found again in others: strong corners (Shi & Tomasi, *Good Features to Track*,
 * 1994) matched by Lucas-Kanade with light normalised, under a homography's local affine part.
 */
import { apply, type Mat3, type Point2 } from '../../geometry/mat3.js';
import type { LumaLevel } from '../ride/ride-pyramid.js';

const HALF = 7;
const SIDE = 2 * HALF + 1;

/** Small pieces of a picture to be found again. */
export interface Patches {
  /** Patch middles in the picture's pixels. */
  readonly patches: readonly Point2[];
  /** patches × SIDE² zero-mean luma and its gradients. */
  readonly value: Float32Array;
  readonly gx: Float32Array;
  readonly gy: Float32Array;
}

/** One strong corner in each cell of a grid, and its patch. */
export function patchesOf(level: LumaLevel, columns = 16, rows = 9): Patches {
  const { width: w, height: h, data } = level;
  const margin = HALF + 4;
  const patches: Point2[] = [];
  for (let r = 0; r < rows; r++)
    for (let c = 0; c < columns; c++) {
      let best = 2e-4 * SIDE;
      let bx = -1;
      let by = -1;
      const x0 = Math.max(margin, Math.floor((c * w) / columns));
      const x1 = Math.min(w - margin, Math.floor(((c + 1) * w) / columns));
      const y0 = Math.max(margin, Math.floor((r * h) / rows));
      const y1 = Math.min(h - margin, Math.floor(((r + 1) * h) / rows));
      for (let y = y0; y < y1; y += 3)
        for (let x = x0; x < x1; x += 3) {
          let xx = 0;
          let xy = 0;
          let yy = 0;
          for (let dy = -HALF; dy <= HALF; dy += 2)
            for (let dx = -HALF; dx <= HALF; dx += 2) {
              const o = (y + dy) * w + x + dx;
              const gx = data[o + 1]! - data[o - 1]!;
              const gy = data[o + w]! - data[o - w]!;
              xx += gx * gx;
              xy += gx * gy;
              yy += gy * gy;
            }
          const low = (xx + yy - Math.hypot(xx - yy, 2 * xy)) / 2;
          if (low > best) {
            best = low;
            bx = x;
            by = y;
          }
        }
      if (bx >= 0) patches.push([bx + 0.5, by + 0.5]);
    }
  const n = SIDE * SIDE;
  const value = new Float32Array(patches.length * n);
  const gx = new Float32Array(patches.length * n);
  const gy = new Float32Array(patches.length * n);
  patches.forEach(([px, py], i) => {
    const x0 = Math.round(px - 0.5);
    const y0 = Math.round(py - 0.5);
    let mean = 0;
    for (let k = 0; k < n; k++) {
      const o = (y0 + Math.floor(k / SIDE) - HALF) * w + x0 + (k % SIDE) - HALF;
      value[i * n + k] = data[o]!;
      mean += data[o]! / n;
      gx[i * n + k] = 0.5 * (data[o + 1]! - data[o - 1]!);
      gy[i * n + k] = 0.5 * (data[o + w]! - data[o - w]!);
    }
    for (let k = 0; k < n; k++) value[i * n + k] = value[i * n + k]! - mean;
  });
  return { patches, value, gx, gy };
}

/**
 * Each patch sought about its place under the homography, sampled under the homography's local affine part.
 * @param of the homography of a patch where each has its own; null leaves it out
 */
export function matchPatches(
  key: Patches,
  level: LumaLevel,
  h: Mat3,
  of?: (patch: number) => Mat3 | null,
): { patch: number; x: number; y: number }[] {
  const { width: w, height: hh, data } = level;
  const n = SIDE * SIDE;
  const sample = new Float32Array(n);
  const out: { patch: number; x: number; y: number }[] = [];
  for (let p = 0; p < key.patches.length; p++) {
    const [px, py] = key.patches[p]!;
    const own = of === undefined ? h : of(p);
    if (own === null) continue;
    const [x0, y0] = apply(own, px, py);
    const [xa, ya] = apply(own, px + 1, py);
    const [xb, yb] = apply(own, px, py + 1);
    const a = xa - x0;
    const b = xb - x0;
    const c = ya - y0;
    const d = yb - y0;
    let xx = 0;
    let xy = 0;
    let yy = 0;
    for (let k = 0; k < n; k++) {
      const u = key.gx[p * n + k]!;
      const v = key.gy[p * n + k]!;
      xx += u * u;
      xy += u * v;
      yy += v * v;
    }
    const det = xx * yy - xy * xy;
    if (!(det > 1e-12)) continue;
    let su = 0;
    let sv = 0;
    let good = false;
    for (let it = 0; it < 10; it++) {
      let mean = 0;
      let outside = false;
      for (let k = 0; k < n; k++) {
        const u = (k % SIDE) - HALF + su;
        const v = Math.floor(k / SIDE) - HALF + sv;
        const x = x0 + a * u + b * v - 0.5;
        const y = y0 + c * u + d * v - 0.5;
        if (!(x >= 0 && y >= 0 && x < w - 1 && y < hh - 1)) {
          outside = true;
          break;
        }
        const xi = x | 0;
        const yi = y | 0;
        const fx = x - xi;
        const fy = y - yi;
        const o = yi * w + xi;
        const t = data[o]! + fx * (data[o + 1]! - data[o]!);
        const q = data[o + w]! + fx * (data[o + w + 1]! - data[o + w]!);
        sample[k] = t + fy * (q - t);
        mean += sample[k]! / n;
      }
      if (outside) break;
      let tt = 0;
      let ss = 0;
      let ts = 0;
      for (let k = 0; k < n; k++) {
        const t = key.value[p * n + k]!;
        const s = sample[k]! - mean;
        tt += t * t;
        ss += s * s;
        ts += t * s;
      }
      const gain = ts / Math.max(1e-9, tt);
      good = gain > 0.25 && ts / Math.sqrt(tt * ss + 1e-12) > 0.85;
      if (gain < 0.1) break;
      let bu = 0;
      let bv = 0;
      for (let k = 0; k < n; k++) {
        const e = (sample[k]! - mean) / gain - key.value[p * n + k]!;
        bu += e * key.gx[p * n + k]!;
        bv += e * key.gy[p * n + k]!;
      }
      const du = (yy * bu - xy * bv) / det;
      const dv = (xx * bv - xy * bu) / det;
      su -= Math.max(-1, Math.min(1, du));
      sv -= Math.max(-1, Math.min(1, dv));
      if (Math.hypot(su, sv) > 6) {
        good = false;
        break;
      }
      if (Math.hypot(du, dv) < 0.004) break;
    }
    if (good) out.push({ patch: p, x: x0 + a * su + b * sv, y: y0 + c * su + d * sv });
  }
  return out;
}
