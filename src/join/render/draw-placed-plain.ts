/**
 * Plain twin of the kernel that draws the performer (kernels/draw-placed.ts), one placement; see draw-placed.ts.
 */
import { createPicture, type Picture } from '../../image/picture.js';
import type { Mat3 } from '../../geometry/mat3.js';
import { frontAt } from '../body/view-shift.js';
import { nearerGuess } from '../body/view-sight.js';
import type { Interleaved } from './interleaved.js';
import { CELL, KEYS, layOf, ROUNDER, summed, type Occupancy, type ViewShift } from './placed-lay.js';

/**
 * The front surface bends little within so many plate pixels: with a view shift only every so many-th corner of every
 * so many-th line is worked out.
 */
const STRIDE = 4;
/** Steps in which the place in the take is found, as the kernel takes them. */
const STEPS = 4;

type Box = readonly [number, number, number, number];

/** Source places (u, v) along a row of pixel corners. */
interface Line {
  u: Float64Array;
  v: Float64Array;
}

/**
 * @param toPlate take pixels (after the view shift) → plate pixels
 * @param origin take pixel of the source's corner
 * @param box plate box to draw
 * @param averaged each source pixel is already the mean of several of the take's
 */
export function drawPlacedPlain(
  src: Interleaved,
  origin: readonly [number, number],
  toPlate: Mat3,
  box: Box,
  shift: ViewShift | null,
  averaged = false,
): Picture {
  const { inverse, gx, gy, larger } = layOf(toPlate, box, averaged),
    w = box[2] - box[0],
    h = box[3] - box[1],
    out = createPicture(w, h, 4),
    held = occupancy(src),
    lineAt = linesOf(inverse, box, origin, shift),
    roundness = averaged ? ROUNDER : KEYS,
    sum = new Float64Array(4);
  let top = emptyLine(w),
    low = emptyLine(w);
  lineAt(0, top);
  for (let y = 0; y < h; y++) {
    lineAt(y + 1, low);
    for (let x = 0; x < w; x++) {
      // Inside a pixel the map is as good as bilinear.
      const u = [top.u[x]!, top.u[x + 1]!, low.u[x]!, low.u[x + 1]!] as const,
        v = [top.v[x]!, top.v[x + 1]!, low.v[x]!, low.v[x + 1]!] as const;
      if (!holds(held, Math.min(...u) - 2, Math.min(...v) - 2, Math.max(...u) + 3, Math.max(...v) + 3)) continue;
      sum.fill(0);
      for (let j = 0; j < gy; j++) {
        const fy = (j + 0.5) / gy,
          ul = u[0] + (u[2] - u[0]) * fy,
          ur = u[1] + (u[3] - u[1]) * fy,
          vl = v[0] + (v[2] - v[0]) * fy,
          vr = v[1] + (v[3] - v[1]) * fy;
        for (let i = 0; i < gx; i++) {
          const fx = (i + 0.5) / gx,
            su = ul + (ur - ul) * fx,
            sv = vl + (vr - vl) * fx;
          if (su <= -2 || sv <= -2 || su >= src.width + 1 || sv >= src.height + 1) continue;
          if (larger) addBicubic(src, su, sv, roundness, sum);
          else addBilinear(src, su, sv, sum);
        }
      }
      lay(out, y * w + x, sum, 1 / (gx * gy));
    }
    [top, low] = [low, top];
  }
  return out;
}

const emptyLine = (w: number): Line => ({ u: new Float64Array(w + STRIDE), v: new Float64Array(w + STRIDE) });

/** The mean of a pixel's samples, where it is more than nothing. */
function lay({ data, width, height }: Picture, o: number, sum: Float64Array, share: number): void {
  if (sum[3]! * share < 0.0015) return;
  const n = width * height;
  for (let c = 0; c < 3; c++) data[c * n + o] = sum[c]! > 0 ? sum[c]! * share : 0;
  data[3 * n + o] = Math.min(1, sum[3]! * share);
}

/** Writes the source places of the pixel corners of a row of the box. */
function linesOf(
  inverse: Mat3,
  box: Box,
  origin: readonly [number, number],
  shift: ViewShift | null,
): (y: number, to: Line) => void {
  const w = box[2] - box[0],
    step = shift === null ? 1 : STRIDE,
    above = emptyLine(w),
    below = emptyLine(w);
  return (y, to) => {
    const first = Math.floor(y / step) * step,
      t = (y - first) / step;
    cornerRow(inverse, box, box[1] + first, origin, shift, above);
    cornerRow(inverse, box, box[1] + first + step, origin, shift, below);
    for (let x = 0; x <= w; x++) {
      to.u[x] = above.u[x]! * (1 - t) + below.u[x]! * t;
      to.v[x] = above.v[x]! * (1 - t) + below.v[x]! * t;
    }
  };
}

/** The same of one plate row; with a view shift every so many-th corner is worked out, the others lie between. */
function cornerRow(
  [m0, m1, m2, m3, m4, m5, m6, m7, m8]: Mat3,
  box: Box,
  py: number,
  origin: readonly [number, number],
  shift: ViewShift | null,
  to: Line,
): void {
  const w = box[2] - box[0],
    step = shift === null ? 1 : STRIDE;
  for (let x = 0; x < w + step; x += step) {
    const px = box[0] + x,
      k = 1 / (m6 * px + m7 * py + m8);
    let u = (m0 * px + m1 * py + m2) * k,
      v = (m3 * px + m4 * py + m5) * k;
    if (shift !== null) [u, v] = shiftedBack(shift, u, v);
    to.u[x] = u - origin[0] - 0.5;
    to.v[x] = v - origin[1] - 0.5;
  }
  if (step === 1) return;
  for (let x = 0; x < w; x += step)
    for (let j = 1; j < step; j++) {
      to.u[x + j] = to.u[x]! + ((to.u[x + step]! - to.u[x]!) * j) / step;
      to.v[x + j] = to.v[x]! + ((to.v[x + step]! - to.v[x]!) * j) / step;
    }
}

/** The take's place that the plate shows at (u, v): solved by a few steps, z being smooth (view-sight.ts). */
function shiftedBack(shift: ViewShift, u: number, v: number): [number, number] {
  const [fx, fy] = shift.foot,
    [ax, ay] = shift.along,
    seen = [(u - fx) * ax + (v - fy) * ay, (v - fy) * ax - (u - fx) * ay] as const;
  let guess: [number, number] = [(seen[0] * shift.sight.cosFrom) / shift.sight.cosTo, seen[1]];
  for (let q = 0; q < STEPS; q++) {
    const [t, s] = guess,
      ball = frontAt(shift.field, fx + t * ax - s * ay, fy + t * ay + s * ax),
      floor = -t * shift.floor;
    guess = nearerGuess(shift.sight, guess, ball > floor ? ball : floor, seen);
  }
  const [t, s] = guess;
  return [fx + t * ax - s * ay, fy + t * ay + s * ax];
}

function addBicubic(src: Interleaved, u: number, v: number, roundness: number, sum: Float64Array): void {
  const iu = Math.floor(u),
    iv = Math.floor(v),
    across = keys(u - iu, roundness),
    down = keys(v - iv, roundness);
  for (let q = 0; q < 4; q++) for (let p = 0; p < 4; p++) add(src, iu + p - 1, iv + q - 1, across[p]! * down[q]!, sum);
}

function addBilinear(src: Interleaved, u: number, v: number, sum: Float64Array): void {
  const iu = Math.floor(u),
    iv = Math.floor(v),
    tu = u - iu,
    tv = v - iv,
    { width, height, data } = src;
  if (iu >= 0 && iv >= 0 && iu < width - 1 && iv < height - 1) {
    const o = (iv * width + iu) * 4,
      o2 = o + width * 4;
    const w00 = (1 - tu) * (1 - tv),
      w10 = tu * (1 - tv),
      w01 = (1 - tu) * tv,
      w11 = tu * tv;
    for (let c = 0; c < 4; c++)
      sum[c] = sum[c]! + (w00 * data[o + c]! + w10 * data[o + 4 + c]! + w01 * data[o2 + c]! + w11 * data[o2 + 4 + c]!);
    return;
  }
  for (let q = 0; q < 2; q++)
    for (let p = 0; p < 2; p++) add(src, iu + p, iv + q, (p === 0 ? 1 - tu : tu) * (q === 0 ? 1 - tv : tv), sum);
}

/** Adds a source pixel; what lies beyond the picture's border is transparent. */
function add({ width, height, data }: Interleaved, x: number, y: number, weight: number, sum: Float64Array): void {
  if (x < 0 || y < 0 || x >= width || y >= height) return;
  const o = (y * width + x) * 4;
  for (let c = 0; c < 4; c++) sum[c] = sum[c]! + weight * data[o + c]!;
}

function occupancy({ width, height, data }: Interleaved): Occupancy {
  const w = Math.ceil(width / CELL),
    h = Math.ceil(height / CELL),
    any = new Uint8Array(w * h);
  for (let y = 0, i = 0; y < height; y++)
    for (let x = 0; x < width; x++, i++)
      if (data[4 * i + 3]! > 0) any[Math.floor(y / CELL) * w + Math.floor(x / CELL)] = 1;
  return summed(any, w, h);
}

function holds(o: Occupancy, u0: number, v0: number, u1: number, v1: number): boolean {
  const x0 = Math.max(0, Math.floor(u0 / CELL)),
    y0 = Math.max(0, Math.floor(v0 / CELL)),
    x1 = Math.min(o.w, Math.floor(u1 / CELL) + 1),
    y1 = Math.min(o.h, Math.floor(v1 / CELL) + 1);
  if (x1 <= x0 || y1 <= y0) return false;
  const s = o.w + 1;
  return o.sum[y1 * s + x1]! - o.sum[y0 * s + x1]! - o.sum[y1 * s + x0]! + o.sum[y0 * s + x0]! > 0;
}

/** Weights of four neighbours at `t` between the middle two (Keys 1981), by the coefficient a. */
function keys(t: number, a: number): readonly [number, number, number, number] {
  return [
    ((a * t - 2 * a) * t + a) * t,
    ((a + 2) * t - (a + 3)) * t * t + 1,
    ((-(a + 2) * t + 2 * a + 3) * t - a) * t,
    (a - a * t) * t * t,
  ];
}
