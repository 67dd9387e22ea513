/**
 * How the light of one picture of a set goes with the light of another where the camera exposes by itself: a gain for
 * each channel, a lean of its logarithm over the picture (light-plane.ts), and a curve over the coded value, common to
 * all three channels. An exposure that changes in front of a film curve or a phone's changes darks and lights by other
 * factors, and what is hidden may be darker or lighter than what lies beside it. The curve is piecewise linear and held
 * straight by a prior; all is solved at once over means of cells (least squares, Tukey's weights; a comparison of
 * exposures through a curve: M. D. Grossberg, S. K. Nayar, "Determining the camera response from images: what is
 * knowable?", IEEE PAMI 25, 2003).
 */
import { solveCholesky } from '../../geometry/linear-solve.js';
import type { Picture } from '../../image/picture.js';
import { median } from '../../image/statistics.js';
import type { LightPlane } from './light-plane.js';
import { KNOTS, kneesAt } from './tone-curve.js';

export interface ToneOptions {
  /** Side of a cell, px. Default 8. */
  readonly cellPx?: number;
  /** Doubt of a lean beforehand, as the logarithm's change over the picture. */
  readonly leanSd: number;
}

/** Fewer cells than this tell nothing. */
const LEAST_CELLS = 24;
/** Cell means in between are neither black nor clipped. */
const DARK = 0.05;
const LIGHT = 0.93;
/** Doubt beforehand (log): of a channel's gain, of the curve's rise from knot to knot, and of its bend. Own choice. */
const GAIN_SD = 0.4;
const RISE_SD = 0.1;
const BEND_SD = 0.03;
/** Least sd taken of a cell (log); neighbouring cells share their errors, so they count for fewer. */
const LEAST_SD = 0.004;
const SHARED = 6;
const ROUNDS = 8;
/** A light that changes cells by less than this (log, root mean square) is none: no eye sees it. Own choice. */
const NOTHING = 0.008;

/** Unknowns: three gains, the curve at its knots, the lean. */
const AT_LEAN = 3 + KNOTS;
const UNKNOWNS = AT_LEAN + 2;

interface Cells {
  /** Of each sample: its channel, base value, log ratio, and place from the middle in picture widths and heights. */
  readonly channel: Uint8Array;
  readonly value: Float64Array;
  readonly log: Float64Array;
  readonly u: Float64Array;
  readonly v: Float64Array;
}

/**
 * Light of `laid` over that of `base`, display-coded R'G'B' of one size, told by pixels of `weight` over a half; null
 * where too few tell, or where there is next to no difference.
 */
export function toneLight(base: Picture, laid: Picture, weight: Float32Array, options: ToneOptions): LightPlane | null {
  const { width: w, height: h } = base;
  const cells = cellsOf(base, laid, weight, options.cellPx ?? 8);
  if (cells.log.length < 3 * LEAST_CELLS) return null;
  let a: Float64Array = new Float64Array(UNKNOWNS);
  a.fill(median([...cells.log]), 0, 3);
  let sd = spreadAbout(cells, a);
  for (let round = 0; round < ROUNDS; round++) {
    const next = solve(cells, a, sd, options.leanSd);
    if (next === null) return null;
    a = next;
    sd = spreadAbout(cells, a);
  }
  if (!a.every((v) => Math.abs(v) < Math.LN2)) return null;
  let squares = 0;
  for (let k = 0; k < cells.log.length; k++) squares += modelAt(cells, k, a) ** 2;
  if (squares < NOTHING ** 2 * cells.log.length) return null;
  return {
    gain: [Math.exp(a[0]!), Math.exp(a[1]!), Math.exp(a[2]!)],
    lean: [a[AT_LEAN]! / w, a[AT_LEAN + 1]! / h],
    x0: w / 2,
    y0: h / 2,
    tone: [...a.subarray(3, AT_LEAN)],
  };
}

/** Means of the cells in which most pixels tell. */
function cellsOf(base: Picture, laid: Picture, weight: Float32Array, cell: number): Cells {
  const { width: w, height: h } = base;
  const n = w * h;
  const channel: number[] = [];
  const value: number[] = [];
  const log: number[] = [];
  const us: number[] = [];
  const vs: number[] = [];
  const sums = new Float64Array(6);
  for (let y0 = 0; y0 + cell <= h; y0 += cell)
    for (let x0 = 0; x0 + cell <= w; x0 += cell) {
      sums.fill(0);
      let k = 0;
      for (let y = y0; y < y0 + cell; y++)
        for (let x = x0; x < x0 + cell; x++) {
          const i = y * w + x;
          if (!(weight[i]! > 0.5)) continue;
          k++;
          for (let c = 0; c < 3; c++) {
            sums[c] = sums[c]! + base.data[c * n + i]!;
            sums[3 + c] = sums[3 + c]! + laid.data[c * n + i]!;
          }
        }
      if (k < 0.6 * cell * cell) continue;
      for (let c = 0; c < 3; c++) {
        const a = sums[c]! / k;
        const b = sums[3 + c]! / k;
        if (a < DARK || a > LIGHT || b < DARK || b > LIGHT) continue;
        channel.push(c);
        value.push(a);
        log.push(Math.log(b / a));
        us.push((x0 + 0.5 * cell) / w - 0.5);
        vs.push((y0 + 0.5 * cell) / h - 0.5);
      }
    }
  return {
    channel: Uint8Array.from(channel),
    value: Float64Array.from(value),
    log: Float64Array.from(log),
    u: Float64Array.from(us),
    v: Float64Array.from(vs),
  };
}

function modelAt(cells: Cells, k: number, a: Float64Array): number {
  const [q, t] = kneesAt(cells.value[k]!);
  return (
    a[cells.channel[k]!]! +
    (1 - t) * a[3 + q]! +
    t * a[4 + q]! +
    a[AT_LEAN]! * cells.u[k]! +
    a[AT_LEAN + 1]! * cells.v[k]!
  );
}

/** Robust sd of what the model leaves over. */
function spreadAbout(cells: Cells, a: Float64Array): number {
  const away: number[] = [];
  for (let k = 0; k < cells.log.length; k++) away.push(Math.abs(cells.log[k]! - modelAt(cells, k, a)));
  return Math.max(LEAST_SD, 1.4826 * median(away));
}

function solve(cells: Cells, now: Float64Array, sd: number, leanSd: number): Float64Array | null {
  const A = new Float64Array(UNKNOWNS * UNKNOWNS);
  const b = new Float64Array(UNKNOWNS);
  const add = (at: readonly number[], by: readonly number[], target: number, weight: number): void => {
    for (let i = 0; i < at.length; i++) {
      b[at[i]!] = b[at[i]!]! + weight * by[i]! * target;
      for (let j = 0; j < at.length; j++) {
        const o = at[i]! * UNKNOWNS + at[j]!;
        A[o] = A[o]! + weight * by[i]! * by[j]!;
      }
    }
  };
  const reach = 4.685 * sd;
  for (let k = 0; k < cells.log.length; k++) {
    const e = cells.log[k]! - modelAt(cells, k, now);
    if (Math.abs(e) >= reach) continue;
    const [q, t] = kneesAt(cells.value[k]!);
    add(
      [cells.channel[k]!, 3 + q, 4 + q, AT_LEAN, AT_LEAN + 1],
      [1, 1 - t, t, cells.u[k]!, cells.v[k]!],
      cells.log[k]!,
      (1 - (e / reach) ** 2) ** 2,
    );
  }
  const prior = (doubt: number): number => SHARED * (sd / doubt) ** 2;
  for (let c = 0; c < 3; c++) add([c], [1], 0, prior(GAIN_SD));
  for (let q = 0; q < KNOTS; q++) add([3 + q], [1], 0, prior(RISE_SD));
  for (let q = 0; q + 1 < KNOTS; q++) add([3 + q, 4 + q], [-1, 1], 0, prior(RISE_SD));
  for (let q = 0; q + 2 < KNOTS; q++) add([3 + q, 4 + q, 5 + q], [1, -2, 1], 0, prior(BEND_SD));
  for (const i of [AT_LEAN, AT_LEAN + 1]) add([i], [1], 0, prior(leanSd));
  return solveCholesky(A, b, UNKNOWNS);
}
