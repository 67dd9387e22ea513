/**
 * The light of one picture against another of the same set, as a plane: a gain for each channel and a lean of its
 * logarithm over the picture, common to all three. A lens darkens what it shows far from its axis; while the camera
 * turns, one place wanders through that fall, and the ratio of two frames then leans (to second order exactly: D. B.
 * Goldman, "Vignette and exposure calibration and compensation", IEEE PAMI 32, 2010). A plane can be carried on beyond
 * what is seen, which a mean can't. Display-coded values, where a gain is a gain too but for the curve's toe.
 */
import { solveCholesky } from '../../geometry/linear-solve.js';
import { plane, type Picture } from '../../image/picture.js';
import { median } from '../../image/statistics.js';
import { restRow, type LightRest } from './light-rest.js';
import { backThroughCurve, throughCurve } from './tone-curve.js';

export interface LightPlane {
  /** Gain per channel at the pixel (x0, y0). */
  readonly gain: readonly [number, number, number];
  /** Change of the logarithm a pixel to the right, and a pixel down. */
  readonly lean: readonly [number, number];
  /** The place of that pixel, px of the picture. */
  readonly x0: number;
  readonly y0: number;
  /** Logarithm of a further gain by the base's coded value, at the knots of tone-curve.ts; none where absent. */
  readonly tone?: readonly number[];
  /** What these leave over. */
  readonly rest?: LightRest;
}

const CELL = 16;
/** Fewer cells than this tell no lean. */
const LEAST_CELLS = 24;
/**
 * Doubt of a lean beforehand, as the logarithm's change over the picture: lenses lose a fifth or so at their corners.
 */
const LEAN_SD = 0.2;
/** Values in between are neither black nor clipped. */
const DARK = 0.12,
  LIGHT = 0.92;

/** Light of `laid` over that of `base`, told by pixels of `weight` over a half; null where too few tell. */
export function lightPlane(base: Picture, laid: Picture, weight: Float32Array): LightPlane | null {
  const { width: w, height: h } = base,
    n = w * h;
  const xs: number[] = [],
    ys: number[] = [],
    log: number[] = [];
  for (let y0 = 0; y0 < h; y0 += CELL)
    for (let x0 = 0; x0 < w; x0 += CELL) {
      let a = 0,
        b = 0,
        k = 0,
        sx = 0,
        sy = 0;
      for (let y = y0; y < Math.min(h, y0 + CELL); y++)
        for (let x = x0; x < Math.min(w, x0 + CELL); x++) {
          const i = y * w + x;
          if (!(weight[i]! > 0.5)) continue;
          const p = 0.2126 * base.data[i]! + 0.7152 * base.data[n + i]! + 0.0722 * base.data[2 * n + i]!;
          if (p < DARK || p > LIGHT) continue;
          a += p;
          b += 0.2126 * laid.data[i]! + 0.7152 * laid.data[n + i]! + 0.0722 * laid.data[2 * n + i]!;
          k++;
          sx += x + 0.5;
          sy += y + 0.5;
        }
      if (k < 0.25 * CELL * CELL || !(b > 0)) continue;
      xs.push(sx / k);
      ys.push(sy / k);
      log.push(Math.log(b / a));
    }
  if (xs.length < 4) return null;
  const x0 = xs.reduce((s, v) => s + v, 0) / xs.length,
    y0 = ys.reduce((s, v) => s + v, 0) / ys.length,
    lean = xs.length < LEAST_CELLS ? ([0, 0] as const) : leanOf(xs, ys, log, x0, y0, w, h);
  const gain: [number, number, number] = [1, 1, 1];
  for (let c = 0; c < 3; c++) {
    const a = plane(base, c),
      b = plane(laid, c),
      ratios: number[] = [];
    for (let i = 0; i < n; i += 3) {
      if (!(weight[i]! > 0.5 && a[i]! > DARK && a[i]! < LIGHT)) continue;
      const x = i % w;
      ratios.push(b[i]! / a[i]! / Math.exp(lean[0] * (x + 0.5 - x0) + lean[1] * ((i - x) / w + 0.5 - y0)));
    }
    const g = ratios.length < 200 ? 1 : median(ratios);
    if (g > 0.5 && g < 2) gain[c] = g;
  }
  return { gain, lean, x0, y0 };
}

/** Robust plane through the cells' logarithms (Tukey weights, scale by the median); only its lean is wanted. */
function leanOf(
  xs: readonly number[],
  ys: readonly number[],
  log: readonly number[],
  x0: number,
  y0: number,
  w: number,
  h: number,
): readonly [number, number] {
  const start = median([...log]);
  let a = [start, 0, 0],
    scale = 4.685 * Math.max(0.004, 1.4826 * median(log.map((v) => Math.abs(v - start))));
  for (let round = 0; round < 8; round++) {
    const A = new Float64Array(9),
      b = new Float64Array(3),
      away: number[] = [];
    for (let k = 0; k < xs.length; k++) {
      const g = [1, (xs[k]! - x0) / w, (ys[k]! - y0) / h];
      const e = log[k]! - a[0]! - a[1]! * g[1]! - a[2]! * g[2]!;
      away.push(Math.abs(e));
      if (Math.abs(e) >= scale) continue;
      const t = (1 - (e / scale) ** 2) ** 2;
      for (let i = 0; i < 3; i++) {
        b[i] = b[i]! + t * g[i]! * log[k]!;
        for (let j = 0; j < 3; j++) A[3 * i + j] = A[3 * i + j]! + t * g[i]! * g[j]!;
      }
    }
    const sd = Math.max(0.004, 1.4826 * median(away)),
      prior = (sd / LEAN_SD) ** 2;
    A[4] = A[4]! + prior;
    A[8] = A[8]! + prior;
    const x = solveCholesky(A, b, 3);
    if (x === null) return [0, 0];
    a = [x[0]!, x[1]!, x[2]!];
    scale = 4.685 * sd;
  }
  return [a[1]! / w, a[2]! / h];
}

/**
 * Multiplies a picture by a light, or divides by it (`power` −1), in place. `scale`: the light's pixels a pixel of the
 * picture, whose own first pixel lies at (left, top) of the whole.
 */
export function shineOn(picture: Picture, light: LightPlane, power: 1 | -1, scale = 1, left = 0, top = 0): void {
  const { width: w, height: h } = picture,
    n = w * h;
  if (power === 1 && light.tone !== undefined) throughCurve(picture.data, light.tone);
  const across = new Float32Array(w);
  // Carried far beyond what is seen a plane would shine or darken without end.
  for (let x = 0; x < w; x++)
    across[x] = Math.exp(power * Math.max(-0.4, Math.min(0.4, light.lean[0] * ((x + left + 0.5) * scale - light.x0))));
  const rest = new Float32Array(w).fill(1);
  for (let y = 0; y < h; y++) {
    if (light.rest !== undefined) restRow(light.rest, left, scale, (y + top + 0.5) * scale, power, rest);
    const down = Math.exp(power * Math.max(-0.4, Math.min(0.4, light.lean[1] * ((y + top + 0.5) * scale - light.y0))));
    for (let c = 0; c < 3; c++) {
      const g = (power === 1 ? light.gain[c]! : 1 / light.gain[c]!) * down,
        row = picture.data.subarray(c * n + y * w, c * n + (y + 1) * w);
      for (let x = 0; x < w; x++) row[x] = row[x]! * g * across[x]! * rest[x]!;
    }
  }
  if (power === -1 && light.tone !== undefined) backThroughCurve(picture.data, light.tone);
}
