/**
 * Small pieces of a picture that are found again in others: strong corners (Shi & Tomasi, *Good Features to Track*,
 * 1994) matched by Lucas-Kanade with light normalised, under a homography's local affine part.
 */
import { apply, type Mat3, type Point2 } from '../../geometry/mat3.js';
import type { LumaLevel } from '../ride/ride-pyramid.js';

const HALF = 7;
const SIDE = 2 * HALF + 1;
const PIXELS = SIDE * SIDE;
/** A patch is sought no further than this from where the homography puts it, patch pixels. */
const FURTHEST = 6;

/** Small pieces of a picture to be found again. */
export interface Patches {
  /** Patch middles in the picture's pixels. */
  readonly patches: readonly Point2[];
  /** patches × SIDE² zero-mean luma and its gradients. */
  readonly value: Float32Array;
  readonly gx: Float32Array;
  readonly gy: Float32Array;
}

/** The smaller eigenvalue of a corner's slopes (Shi & Tomasi's measure), over every second pixel of its patch. */
function cornerStrength({ width: w, data }: LumaLevel, x: number, y: number): number {
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
  return (xx + yy - Math.hypot(xx - yy, 2 * xy)) / 2;
}

/** The strongest corner of each cell of a grid, where one is strong enough. */
function strongCorners(level: LumaLevel, columns: number, rows: number): Point2[] {
  const { width: w, height: h } = level;
  const margin = HALF + 4;
  const corners: Point2[] = [];
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
          const strength = cornerStrength(level, x, y);
          if (strength > best) {
            best = strength;
            bx = x;
            by = y;
          }
        }
      if (bx >= 0) corners.push([bx + 0.5, by + 0.5]);
    }
  return corners;
}

/** One strong corner in each cell of a grid, and its patch. */
export function patchesOf(level: LumaLevel, columns = 16, rows = 9): Patches {
  const { width: w, data } = level;
  const patches = strongCorners(level, columns, rows);
  const value = new Float32Array(patches.length * PIXELS);
  const gx = new Float32Array(patches.length * PIXELS);
  const gy = new Float32Array(patches.length * PIXELS);
  patches.forEach(([px, py], i) => {
    const x0 = Math.round(px - 0.5);
    const y0 = Math.round(py - 0.5);
    let mean = 0;
    for (let k = 0; k < PIXELS; k++) {
      const o = (y0 + Math.floor(k / SIDE) - HALF) * w + x0 + (k % SIDE) - HALF;
      value[i * PIXELS + k] = data[o]!;
      mean += data[o]! / PIXELS;
      gx[i * PIXELS + k] = 0.5 * (data[o + 1]! - data[o - 1]!);
      gy[i * PIXELS + k] = 0.5 * (data[o + w]! - data[o - w]!);
    }
    for (let k = 0; k < PIXELS; k++) value[i * PIXELS + k] = value[i * PIXELS + k]! - mean;
  });
  return { patches, value, gx, gy };
}

/**
 * Each patch sought about its place under the homography, sampled under the homography's local affine part.
 * @param of the homography of a patch where each has its own; null leaves it out
 * @returns patches found and their middles, level pixels
 */
export function matchPatches(
  key: Patches,
  level: LumaLevel,
  h: Mat3,
  of?: (patch: number) => Mat3 | null,
): { patch: number; x: number; y: number }[] {
  const sample = new Float32Array(PIXELS);
  const out: { patch: number; x: number; y: number }[] = [];
  for (let p = 0; p < key.patches.length; p++) {
    const own = of === undefined ? h : of(p);
    if (own === null) continue;
    const at = findPatch(key, p, level, affineAt(own, key.patches[p]!), sample);
    if (at !== null) out.push({ patch: p, x: at[0], y: at[1] });
  }
  return out;
}

/** Patch pixels (u, v) about a patch's middle to level pixels: x = x0 + a u + b v, y = y0 + c u + d v. */
interface Affine {
  readonly x0: number;
  readonly y0: number;
  readonly a: number;
  readonly b: number;
  readonly c: number;
  readonly d: number;
}

function affineAt(h: Mat3, [px, py]: Point2): Affine {
  const [x0, y0] = apply(h, px, py);
  const [xa, ya] = apply(h, px + 1, py);
  const [xb, yb] = apply(h, px, py + 1);
  return { x0, y0, a: xa - x0, b: xb - x0, c: ya - y0, d: yb - y0 };
}

/** Lucas-Kanade steps of one patch, light normalised; null where it is not found again. */
function findPatch(key: Patches, p: number, level: LumaLevel, affine: Affine, sample: Float32Array): Point2 | null {
  const first = p * PIXELS;
  let xx = 0;
  let xy = 0;
  let yy = 0;
  for (let k = 0; k < PIXELS; k++) {
    const u = key.gx[first + k]!;
    const v = key.gy[first + k]!;
    xx += u * u;
    xy += u * v;
    yy += v * v;
  }
  const det = xx * yy - xy * xy;
  if (!(det > 1e-12)) return null;
  let su = 0;
  let sv = 0;
  let good = false;
  for (let it = 0; it < 10; it++) {
    const mean = samplePatch(level, affine, su, sv, sample);
    if (mean === null) break;
    const light = lightOf(key.value, first, sample, mean);
    good = light.gain > 0.25 && light.correlation > 0.85;
    if (light.gain < 0.1) break;
    let bu = 0;
    let bv = 0;
    for (let k = 0; k < PIXELS; k++) {
      const e = (sample[k]! - mean) / light.gain - key.value[first + k]!;
      bu += e * key.gx[first + k]!;
      bv += e * key.gy[first + k]!;
    }
    const du = (yy * bu - xy * bv) / det;
    const dv = (xx * bv - xy * bu) / det;
    su -= Math.max(-1, Math.min(1, du));
    sv -= Math.max(-1, Math.min(1, dv));
    if (Math.hypot(su, sv) > FURTHEST) return null;
    if (Math.hypot(du, dv) < 0.004) break;
  }
  return good ? [affine.x0 + affine.a * su + affine.b * sv, affine.y0 + affine.c * su + affine.d * sv] : null;
}

/**
 * The picture under a patch shifted by (su, sv) patch pixels, bilinear; its mean, or null where it leaves the picture.
 */
function samplePatch(level: LumaLevel, affine: Affine, su: number, sv: number, sample: Float32Array): number | null {
  const { width: w, height: h, data } = level;
  const { x0, y0, a, b, c, d } = affine;
  let mean = 0;
  for (let k = 0; k < PIXELS; k++) {
    const u = (k % SIDE) - HALF + su;
    const v = Math.floor(k / SIDE) - HALF + sv;
    const x = x0 + a * u + b * v - 0.5;
    const y = y0 + c * u + d * v - 0.5;
    if (!(x >= 0 && y >= 0 && x < w - 1 && y < h - 1)) return null;
    const xi = x | 0;
    const yi = y | 0;
    const fx = x - xi;
    const fy = y - yi;
    const o = yi * w + xi;
    const t = data[o]! + fx * (data[o + 1]! - data[o]!);
    const q = data[o + w]! + fx * (data[o + w + 1]! - data[o + w]!);
    sample[k] = t + fy * (q - t);
    mean += sample[k]! / PIXELS;
  }
  return mean;
}

/** Gain of a sample against the patch that begins at `first`, and their correlation. */
function lightOf(
  value: Float32Array,
  first: number,
  sample: Float32Array,
  mean: number,
): { readonly gain: number; readonly correlation: number } {
  let tt = 0;
  let ss = 0;
  let ts = 0;
  for (let k = 0; k < PIXELS; k++) {
    const t = value[first + k]!;
    const s = sample[k]! - mean;
    tt += t * t;
    ss += s * s;
    ts += t * s;
  }
  return { gain: ts / Math.max(1e-9, tt), correlation: ts / Math.sqrt(tt * ss + 1e-12) };
}
