/**
 * The performer's own shadow on its screen: how much of the screen's light is missing, outside the performer. The
 * screen's light without a shadow is smooth: a surface of second order in log light, fitted to the pixels that surely
 * are screen, over the clean frame where there is one (then folds and fall-off cancel). What lies far under the surface
 * is dropped and the surface fitted again, so that it settles on the lit part (iteratively reweighted least squares;
 * Holland & Welsch, Communications in Statistics A6, 1977). Nothing can be brighter than lit: what lies over the
 * surface tells the noise, and darkening that the noise could make is none. Without a clean frame what a row shows on
 * both sides of the performer, floor or wall, is light.
 */
import { gaussianPlane } from '../../image/gaussian.js';
import type { SmallLinear } from './small-linear.js';

/**
 * Share of the screen's light that is missing, 0..1, over the whole picture in cells of `cell` take pixels (cell
 * centres at +0.5).
 */
export interface ScreenShadow {
  readonly width: number;
  readonly height: number;
  readonly cell: number;
  readonly density: Float32Array;
}

/** Small pixels: the first rows of screen beside the performer hold some of its light. */
const CLEAR = 2;
const SMOOTH = 1.2;
/** Behind the performer the shadow goes on as far as this many small pixels. */
const BEHIND = 6;
const ROUNDS = 12;
const LEAST_SCREEN = 200;
const LEAST_SD = 0.002;
/**
 * Least share of a row that must be seen on one side, and rows on either side whose middle level counts (own choices).
 */
const LEAST_SIDE = 0.06,
  ROWS = 2;

/**
 * @param small one frame @param sure 1 where it surely is screen @param fromPerformer small pixels to what is not
 * @param clean the empty set, same size; null where none was shot
 * @param cell take pixels a small pixel @param allowed share of each small pixel that is useful screen; null for all
 */
export function screenShadow(
  small: SmallLinear,
  sure: Uint8Array,
  fromPerformer: Float32Array,
  clean: SmallLinear | null,
  cell: number,
  allowed: Float32Array | null = null,
): ScreenShadow {
  const { width: w, height: h } = small,
    n = w * h;
  const density = new Float32Array(n);
  const out: ScreenShadow = { width: w, height: h, cell, density };
  const value = new Float32Array(n),
    held = new Float32Array(n);
  let count = 0;
  for (let i = 0; i < n; i++) {
    if (sure[i] === 0 || fromPerformer[i]! < CLEAR || (allowed !== null && allowed[i]! < 0.99)) continue;
    const l = lightOf(small.data, n, i),
      c = clean === null ? 1 : lightOf(clean.data, n, i);
    if (!(l > 1e-5) || !(c > 1e-5)) continue;
    value[i] = Math.log(l / c);
    held[i] = 1;
    count++;
  }
  if (count < LEAST_SCREEN) return out;
  const surface = litSurface(value, held, w, h, count);
  if (surface === null) return out;
  for (let i = 0; i < n; i++) value[i] = held[i] === 0 ? 0 : value[i]! - surface[i]!;
  if (clean === null) offRows(value, held, fromPerformer, w, h);
  const smooth = spread(value, held, w, h, SMOOTH);
  const over: number[] = [];
  for (let i = 0; i < n; i++) if (held[i] !== 0 && smooth[i]! > 0) over.push(smooth[i]!);
  over.sort((a, b) => a - b);
  // Half of a normal law's noise lies over the surface: its median is .6745 sd.
  const sd = Math.max(LEAST_SD, (over[over.length >> 1] ?? 0) / 0.6745);
  const filled = spread(value, held, w, h, BEHIND);
  for (let i = 0; i < n; i++) {
    const r = held[i] !== 0 ? smooth[i]! : filled[i]!;
    const t = Math.min(1, Math.max(0, (-r / sd - 2) / 3));
    density[i] = r < 0 ? (1 - Math.exp(r)) * t * t * (3 - 2 * t) * (allowed === null ? 1 : allowed[i]!) : 0;
  }
  return out;
}

/**
 * Floor and wall catch the light at other angles, and a cloth turns up between them: no smooth surface holds both, but
 * a shadow falls to one side of the performer. What each row shows on its brighter side in the middle, beside the
 * surface, is taken off as light.
 */
function offRows(value: Float32Array, held: Float32Array, fromPerformer: Float32Array, w: number, h: number): void {
  let sum = 0,
    at = 0;
  for (let i = 0; i < fromPerformer.length; i++)
    if (fromPerformer[i]! <= 0) {
      sum++;
      at += i % w;
    }
  if (sum === 0) return;
  const middle = Math.round(at / sum);
  const side = (y: number, from: number, to: number): number => {
    const v: number[] = [];
    for (let x = from; x < to; x++) if (held[y * w + x] !== 0) v.push(value[y * w + x]!);
    return v.length < LEAST_SIDE * w ? -Infinity : v.sort((a, b) => a - b)[v.length >> 1]!;
  };
  const level = Float64Array.from({ length: h }, (_, y) => Math.max(side(y, 0, middle), side(y, middle, w)));
  for (let y = 0; y < h; y++) {
    const about = Array.from(level.subarray(Math.max(0, y - ROWS), y + ROWS + 1)).filter((v) => v > -Infinity);
    if (about.length === 0) continue;
    const own = about.sort((a, b) => a - b)[about.length >> 1]!;
    for (let x = 0; x < w; x++) value[y * w + x] = value[y * w + x]! - own * held[y * w + x]!;
  }
}

/** Mean of the channels: a shadow takes the same share of each. */
function lightOf(data: Float32Array, n: number, i: number): number {
  return (data[i]! + data[n + i]! + data[2 * n + i]!) / 3;
}

/** Mean of the held values about each pixel; 0 where none is near. */
function spread(value: Float32Array, held: Float32Array, w: number, h: number, sigma: number): Float32Array {
  const sum = gaussianPlane(
      value.map((v, i) => v * held[i]!),
      w,
      h,
      sigma,
    ),
    weight = gaussianPlane(held, w, h, sigma);
  for (let i = 0; i < sum.length; i++) sum[i] = weight[i]! > 0.01 ? sum[i]! / weight[i]! : 0;
  return sum;
}

/**
 * Surface a + bx + cy + dx² + exy + fy² that settles on the brighter of the held values; null where it can't be told.
 */
function litSurface(value: Float32Array, held: Float32Array, w: number, h: number, count: number): Float32Array | null {
  const every = Math.max(1, Math.floor(count / 20000));
  const at: number[] = [];
  for (let i = 0, k = 0; i < value.length; i++) if (held[i] !== 0 && k++ % every === 0) at.push(i);
  const weight = new Float64Array(at.length).fill(1),
    r = new Float64Array(at.length);
  const terms = (i: number): [number, number, number, number, number, number] => {
    const x = (2 * (i % w)) / w - 1,
      y = (2 * Math.floor(i / w)) / h - 1;
    return [1, x, y, x * x, x * y, y * y];
  };
  let c: number[] | null = null;
  for (let round = 0; round < ROUNDS; round++) {
    const m = Array.from({ length: 6 }, () => new Array<number>(7).fill(0));
    at.forEach((i, k) => {
      const t = terms(i),
        g = weight[k]!;
      if (g === 0) return;
      for (let a = 0; a < 6; a++) {
        const row = m[a]!;
        for (let b = 0; b < 6; b++) row[b] = row[b]! + g * t[a]! * t[b]!;
        row[6] = row[6]! + g * t[a]! * value[i]!;
      }
    });
    for (let a = 0; a < 6; a++) m[a]![a] = m[a]![a]! + 1e-6 * count;
    c = solve(m);
    if (c === null) return null;
    const own = c;
    const over: number[] = [];
    at.forEach((i, k) => {
      const t = terms(i);
      let s = 0;
      for (let a = 0; a < 6; a++) s += own[a]! * t[a]!;
      r[k] = value[i]! - s;
      if (r[k]! > 0) over.push(r[k]!);
    });
    over.sort((a, b) => a - b);
    const sd = Math.max(LEAST_SD, (over[over.length >> 1] ?? 0) / 0.6745);
    // Darker than the noise makes: shadow. Brighter: a hot spot, held to what noise may do.
    for (let k = 0; k < r.length; k++) {
      const z = r[k]! / sd;
      weight[k] = z < -2 ? 0 : z > 3 ? 3 / z : 1;
    }
  }
  const surface = new Float32Array(w * h);
  for (let i = 0; i < surface.length; i++) {
    const t = terms(i);
    let s = 0;
    for (let a = 0; a < 6; a++) s += c![a]! * t[a]!;
    surface[i] = s;
  }
  return surface;
}

/** Gauss elimination with row pivots of 6 × 7; null where singular. */
function solve(m: number[][]): number[] | null {
  for (let k = 0; k < 6; k++) {
    let p = k;
    for (let j = k + 1; j < 6; j++) if (Math.abs(m[j]![k]!) > Math.abs(m[p]![k]!)) p = j;
    [m[k], m[p]] = [m[p]!, m[k]!];
    const pivot = m[k]![k]!;
    if (!(Math.abs(pivot) > 1e-12)) return null;
    for (let j = 0; j < 6; j++) {
      if (j === k) continue;
      const f = m[j]![k]! / pivot;
      for (let q = k; q < 7; q++) m[j]![q] = m[j]![q]! - f * m[k]![q]!;
    }
  }
  return m.map((row, k) => row[6]! / row[k]!);
}
