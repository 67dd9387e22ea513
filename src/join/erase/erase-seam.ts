/**
 * Hides the seam of a fill: what the picture and the fill differ by round the hole is carried smoothly over it and
 * added (the membrane of P. Pérez, M. Gangnet, A. Blake, "Poisson image editing", SIGGRAPH 2003, section 2;
 * interpolated here by push-pull over a band some pixels wide instead of one pixel's line, so that grain on the border
 * draws no streaks). Differences that do not belong to the light, such as somebody who passes beside the hole, are left
 * out by a robust bound.
 */
import { distanceToSet } from '../../image/distance.js';
import { gaussianPlane } from '../../image/gaussian.js';
import { createPicture, plane, type Picture } from '../../image/picture.js';
import { double, halfSize, halve } from '../../image/pyramid.js';
import { pushPull } from '../../image/push-pull.js';
import { median } from '../../image/statistics.js';
import type { PartBox } from '../render/frame-part.js';

export interface SeamOptions {
  /** Band round the hole that is looked at, px. */
  readonly bandPx: number;
  /** Most that light may differ, as a factor. Default 1.5. */
  readonly mostGain?: number;
  /**
   * The band is compared after a blur of this sd, px: hair against hair, which differ strand by strand. Default 0: as
   * it is.
   */
  readonly blurPx?: number;
  /** Most that the membrane may add (coded). Default no bound. */
  readonly mostStep?: number;
  /** Distance of every pixel to the hole, where the caller has it already, px. */
  readonly near?: Float32Array;
}

/**
 * Meets the sharpness: a mean of registered frames is a little softer than any of them. The share β of its own fine
 * detail (what a Gaussian of 0.8 px takes away) that brings the fill closest to the picture where both show the same is
 * had by least squares; grain in the picture is no part of the fill's detail and drops out. In place; returns β.
 */
export function matchSharpness(around: Picture, fill: Picture, hidden: Float32Array, trusted: Float32Array): number {
  const { width: w, height: h } = around;
  const n = w * h;
  const detail = [0, 1, 2].map((c) => {
    const f = plane(fill, c),
      soft = gaussianPlane(f, w, h, 0.8);
    for (let i = 0; i < n; i++) soft[i] = f[i]! - soft[i]!;
    return soft;
  });
  let dd = 0,
    de = 0;
  for (let y = 2; y < h - 2; y++)
    for (let x = 2; x < w - 2; x++) {
      const i = y * w + x;
      if (hidden[i]! > 0 || !(trusted[i]! > 0.5)) continue;
      for (let c = 0; c < 3; c++) {
        const d = detail[c]![i]!,
          e = around.data[c * n + i]! - fill.data[c * n + i]!;
        // A difference beyond any softness is something else.
        if (e > 0.15 || e < -0.15) continue;
        dd += d * d;
        de += d * e;
      }
    }
  const beta = dd < 1e-4 * 400 ? 0 : Math.min(1, Math.max(-0.3, de / dd));
  if (Math.abs(beta) < 0.02) return 0;
  for (let c = 0; c < 3; c++) {
    const f = plane(fill, c),
      d = detail[c]!;
    for (let i = 0; i < n; i++) f[i] = f[i]! + beta * d[i]!;
  }
  return beta;
}

/**
 * Changes `fill` in place so that it meets `around` at the border of the hole.
 * @param around the picture, display-coded @param fill of the same size @param hidden > 0 where the hole is
 * @param trusted > 0 where fill and picture show the same thing
 */
export function matchSeam(
  around: Picture,
  fill: Picture,
  hidden: Float32Array,
  trusted: Float32Array,
  options: SeamOptions,
): void {
  // Only the hole and its band have a say.
  let x0 = around.width,
    y0 = around.height,
    x1 = 0,
    y1 = 0;
  for (let y = 0; y < around.height; y++)
    for (let x = 0; x < around.width; x++) {
      if (hidden[y * around.width + x]! <= 0) continue;
      if (x < x0) x0 = x;
      if (x >= x1) x1 = x + 1;
      if (y < y0) y0 = y;
      y1 = y + 1;
    }
  if (x1 <= x0) return;
  const pad = Math.ceil(options.bandPx) + 2;
  const box = [
    Math.max(0, x0 - pad),
    Math.max(0, y0 - pad),
    Math.min(around.width, x1 + pad),
    Math.min(around.height, y1 + pad),
  ] as const;
  const part = cropPicture(fill, box);
  seamInside(
    cropPicture(around, box),
    part,
    cropPlane(hidden, around.width, box),
    cropPlane(trusted, around.width, box),
    options.near === undefined ? null : cropPlane(options.near, around.width, box),
    options,
  );
  for (let c = 0; c < fill.channels; c++) {
    const from = plane(part, c),
      to = plane(fill, c);
    for (let y = box[1]; y < box[3]; y++)
      to.set(from.subarray((y - box[1]) * part.width, (y - box[1] + 1) * part.width), y * fill.width + box[0]);
  }
}

/** Copy of a box of a plane of `width` pixels a row. */
export function cropPlane(p: Float32Array, width: number, box: PartBox): Float32Array {
  const bw = box[2] - box[0],
    out = new Float32Array(bw * (box[3] - box[1]));
  for (let y = box[1]; y < box[3]; y++) out.set(p.subarray(y * width + box[0], y * width + box[2]), (y - box[1]) * bw);
  return out;
}

/** Copy of a box of a picture: its first three channels, or its only one. */
export function cropPicture(p: Picture, box: PartBox): Picture {
  const out = createPicture(box[2] - box[0], box[3] - box[1], p.channels === 1 ? 1 : 3);
  for (let c = 0; c < out.channels; c++) plane(out, c).set(cropPlane(plane(p, c), p.width, box));
  return out;
}

/** Gaussian mean of the pixels that count alone. */
function blurWithin(p: Float32Array, weight: Float32Array, w: number, h: number, sigmaPx: number): Float32Array {
  const sum = new Float32Array(p.length);
  for (let i = 0; i < p.length; i++) sum[i] = p[i]! * weight[i]!;
  const a = gaussianPlane(sum, w, h, sigmaPx),
    b = gaussianPlane(weight, w, h, sigmaPx);
  for (let i = 0; i < a.length; i++) a[i] = b[i]! > 1e-3 ? a[i]! / b[i]! : p[i]!;
  return a;
}

function seamInside(
  around: Picture,
  fill: Picture,
  hidden: Float32Array,
  trusted: Float32Array,
  known: Float32Array | null,
  options: SeamOptions,
): void {
  const { width: w, height: h } = around;
  const n = w * h;
  const near = known ?? distanceToSet(hidden, w, h);
  const weight = new Float32Array(n);
  let total = 0;
  for (let i = 0; i < n; i++)
    if (hidden[i]! <= 0 && trusted[i]! > 0.5 && near[i]! <= options.bandPx) {
      weight[i] = 1;
      total++;
    }
  if (total < 50) return;
  const most = options.mostGain ?? 1.5;
  const away = new Float32Array(n);
  const differences: Float32Array[] = [];
  for (let c = 0; c < 3; c++) {
    const a = plane(around, c),
      f = plane(fill, c);
    const ratios: number[] = [];
    for (let i = 0; i < n; i++) if (weight[i]! > 0 && f[i]! > 0.08 && f[i]! < 0.94) ratios.push(a[i]! / f[i]!);
    const gain = ratios.length < 50 ? 1 : Math.min(most, Math.max(1 / most, median(ratios)));
    const d = new Float32Array(n);
    const from = options.blurPx === undefined ? a : blurWithin(a, weight, w, h, options.blurPx);
    for (let i = 0; i < n; i++) f[i] = f[i]! * gain;
    const to = options.blurPx === undefined ? f : blurWithin(f, weight, w, h, options.blurPx);
    for (let i = 0; i < n; i++) {
      d[i] = from[i]! - to[i]!;
      away[i] = Math.max(away[i]!, Math.abs(d[i]!));
    }
    differences.push(d);
  }
  const list: number[] = [];
  for (let i = 0; i < n; i++) if (weight[i]! > 0) list.push(away[i]!);
  const bound = Math.max(0.02, 3 * median(list));
  // Light weights: only some tens of pixels together outweigh what lies further out.
  for (let i = 0; i < n; i++) weight[i] = weight[i]! > 0 && away[i]! < bound ? 0.03 * Math.exp(-near[i]! / 12) : 0;
  const membrane = smoothly(differences, weight, w, h);
  for (let c = 0; c < 3; c++) {
    const f = plane(fill, c),
      m = double(membrane[c]!, halfSize(w), halfSize(h), w, h);
    const most = options.mostStep ?? Infinity;
    for (let i = 0; i < n; i++) f[i] = f[i]! + Math.min(most, Math.max(-most, m[i]!));
  }
}

/**
 * Push-pull from the first pulled level on (half the size): its weights here are so light that the finest level adds
 * next to nothing.
 */
function smoothly(planes: readonly Float32Array[], weight: Float32Array, w: number, h: number): Float32Array[] {
  const half = halve(weight, w, h);
  const sums = planes.map((p) => {
    for (let i = 0; i < p.length; i++) p[i] = p[i]! * weight[i]!;
    const s = halve(p, w, h);
    for (let i = 0; i < s.length; i++) s[i] = half[i]! > 0 ? s[i]! / half[i]! : 0;
    return s;
  });
  for (let i = 0; i < half.length; i++) half[i] = 4 * half[i]!;
  return pushPull(sums, half, halfSize(w), halfSize(h));
}
