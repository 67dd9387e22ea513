/**
 * A marked outline laid on a picture: from a predicted place, lines across it say how far outwards the picture's edge
 * lies, and the move of the whole that explains them is solved with weights that let go of what disagrees (iteratively
 * reweighted least squares; Holland & Welsch, Communications in Statistics A6, 1977; biweight of Beaton & Tukey,
 * Technometrics 16, 1974). What the lines do not tell (along a post) stays as predicted: the prediction counts as an
 * observation of each freedom with its own doubt.
 */
import { invertSymmetric, solveCholesky } from '../../geometry/linear-solve.js';
import { multiply, normalise, tryInvert, type Mat3 } from '../../geometry/mat3.js';
import type { SmallFrame } from '../outline/small-frame.js';
import { placesOf, steepestOf, type OwnColours } from './edge-evidence.js';
import { movedLines, waysOf, type EdgeLine } from './outline-lines.js';

/** Doubt of the prediction a frame: of the place; of size and turn; of other shape, px at the outline's ends. */
export interface Doubt {
  readonly place: number;
  readonly size: number;
  readonly shape: number;
}

export interface OutlineFit {
  readonly move: Mat3;
  /** Share of the lines that tell an edge and agree with the whole within a pixel and a half. */
  readonly agree: number;
  /** Share of the lines that tell an edge. */
  readonly told: number;
  /** Sd of the outline's place across itself, rms over the lines, px. */
  readonly sdPx: number;
}

/** Pixels to either side within which an edge is looked for, round by round. */
const REACHES = [5, 4, 3];
/** Rounds at the end in which the steepest place counts, within so many px. */
const STEEPEST = [2, 2, 2];
const AGREE_PX = 1.5;
/** Doubt of the prediction along edges that run one way, px. */
const ALONG_PX = 0.2;
const FREEDOMS = 8;

/**
 * Fits `move` (marked outline's pixels to the picture's).
 * @param use lines that count; the others are left for judging
 */
export function fitOutline(
  frame: SmallFrame,
  lines: readonly EdgeLine[],
  own: OwnColours,
  predicted: Mat3,
  doubt: Doubt,
  use: (line: number) => boolean,
): OutlineFit {
  let move = predicted;
  let result = { agree: 0, told: 0, sdPx: Infinity };
  for (const [reach, fine] of [
    ...REACHES.map((r) => [r, false] as const),
    ...STEEPEST.map((r) => [r, true] as const),
  ]) {
    const now = movedLines(lines, move);
    const { place, weight } = fine ? steepestOf(frame, now, own, reach) : placesOf(frame, now, own, reach);
    const box = normalised(now);
    const solved = solve({
      lines: now,
      place,
      weight,
      box,
      doubt,
      use,
      back: difference(move, predicted, now, box),
      inPicture: (l) => l.x > 1 && l.y > 1 && l.x < frame.width - 1 && l.y < frame.height - 1,
    });
    if (solved === null) break;
    move = normalise(multiply(solved.step, move));
    result = solved;
  }
  return { move, ...result };
}

interface Normalised {
  readonly x: number;
  readonly y: number;
  readonly s: number;
}

function normalised(lines: readonly EdgeLine[]): Normalised {
  let x0 = Infinity,
    x1 = -Infinity,
    y0 = Infinity,
    y1 = -Infinity;
  for (const l of lines) {
    x0 = Math.min(x0, l.x);
    x1 = Math.max(x1, l.x);
    y0 = Math.min(y0, l.y);
    y1 = Math.max(y1, l.y);
  }
  return { x: (x0 + x1) / 2, y: (y0 + y1) / 2, s: Math.max(4, Math.max(x1 - x0, y1 - y0) / 2) };
}

/** Displacement by each freedom of a place in normalised coordinates, in units of s. */
function moves(X: number, Y: number, nx: number, ny: number, out: Float64Array): void {
  out[0] = nx;
  out[1] = ny;
  out[2] = nx * X + ny * Y;
  out[3] = ny * X - nx * Y;
  out[4] = nx * X - ny * Y;
  out[5] = nx * Y + ny * X;
  const along = nx * X + ny * Y;
  out[6] = -X * along;
  out[7] = -Y * along;
}

function matrixOf(t: Float64Array, f: Normalised): Mat3 {
  // Freedoms are in pixels at the outline's ends.
  const k = 1 / f.s,
    m: Mat3 = [
      1 + (t[2]! + t[4]!) * k,
      (t[5]! - t[3]!) * k,
      t[0]! * k,
      (t[3]! + t[5]!) * k,
      1 + (t[2]! - t[4]!) * k,
      t[1]! * k,
      t[6]! * k,
      t[7]! * k,
      1,
    ];
  return multiply(multiply([f.s, 0, f.x, 0, f.s, f.y, 0, 0, 1], m), [
    1 / f.s,
    0,
    -f.x / f.s,
    0,
    1 / f.s,
    -f.y / f.s,
    0,
    0,
    1,
  ]);
}

/** How far `move` has gone from the prediction already, as freedoms: from the four corners of the outline's box. */
function difference(move: Mat3, predicted: Mat3, lines: readonly EdgeLine[], f: Normalised): Float64Array {
  const out = new Float64Array(FREEDOMS),
    inverse = tryInvert(move);
  if (inverse === null || lines.length === 0) return out;
  const m = multiply(predicted, inverse),
    a = new Float64Array(FREEDOMS * FREEDOMS),
    b = new Float64Array(FREEDOMS),
    row = new Float64Array(FREEDOMS);
  // Where this place lay by the prediction: the way back to it.
  for (const [X, Y] of [
    [-1, -1],
    [1, -1],
    [1, 1],
    [-1, 1],
    [0, 0],
  ] as const) {
    const x = f.x + X * f.s,
      y = f.y + Y * f.s,
      w = m[6] * x + m[7] * y + m[8],
      dx = (m[0] * x + m[1] * y + m[2]) / w - x,
      dy = (m[3] * x + m[4] * y + m[5]) / w - y;
    for (const [nx, ny, d] of [
      [1, 0, dx],
      [0, 1, dy],
    ] as const) {
      moves(X, Y, nx, ny, row);
      for (let i = 0; i < FREEDOMS; i++) {
        b[i] = b[i]! + row[i]! * d;
        for (let j = 0; j < FREEDOMS; j++) a[i * FREEDOMS + j] = a[i * FREEDOMS + j]! + row[i]! * row[j]!;
      }
    }
  }
  for (let i = 0; i < FREEDOMS; i++) a[i * FREEDOMS + i] = a[i * FREEDOMS + i]! + 1e-9;
  return solveCholesky(a, b, FREEDOMS) ?? out;
}

/** What one round's lines say of the outline's place. */
interface Observed {
  readonly lines: readonly EdgeLine[];
  /** How far outwards the picture's edge lies on each line, px, and how much that counts. */
  readonly place: Float32Array;
  readonly weight: Float32Array;
  readonly box: Normalised;
  readonly doubt: Doubt;
  readonly use: (line: number) => boolean;
  /** The way back to the prediction, as freedoms. */
  readonly back: Float64Array;
  readonly inPicture: (line: EdgeLine) => boolean;
}

/** Sums of the normal equations: symmetric matrix, and right side. */
interface Sums {
  readonly a: Float64Array;
  readonly b: Float64Array;
}

const SOLVING_ROUNDS = 8;

function solve(o: Observed): { step: Mat3; agree: number; told: number; sdPx: number } | null {
  const { lines, place, weight, box, use } = o;
  const rows = lines.map((l) => {
    const row = new Float64Array(FREEDOMS);
    moves((l.x - box.x) / box.s, (l.y - box.y) / box.s, l.nx, l.ny, row);
    return row;
  });
  const listed = lines.map((_, i) => i).filter((i) => weight[i]! > 0 && use(i));
  if (listed.length < 6) return null;
  let theta: Float64Array = new Float64Array(FREEDOMS);
  /** How far outwards of the fitted outline a line's edge lies. */
  const left = (i: number): number => {
    let d = place[i]!;
    for (let k = 0; k < FREEDOMS; k++) d -= rows[i]![k]! * theta[k]!;
    return d;
  };
  const addPrediction = predictionOf(o);
  let scale = 2;
  let covariance: Float64Array | null = null;
  for (let round = 0; round < SOLVING_ROUNDS; round++) {
    const sums = { a: new Float64Array(FREEDOMS * FREEDOMS), b: new Float64Array(FREEDOMS) };
    for (const i of listed) {
      const share = round === 0 ? 1 : biweight(left(i), 4 * scale);
      addLine(sums, rows[i]!, place[i]!, (weight[i]! * share) / scale ** 2);
    }
    addPrediction(sums);
    const solved = solveCholesky(sums.a, sums.b, FREEDOMS);
    if (solved === null) return null;
    theta = solved;
    covariance = round === SOLVING_ROUNDS - 1 ? invertSymmetric(sums.a, FREEDOMS) : null;
    const rest = listed.map((i) => Math.abs(left(i))).sort((p, q) => p - q);
    scale = Math.max(0.25, 1.4826 * rest[rest.length >> 1]!);
  }
  const judged = lines.flatMap((l, i) => (use(i) && o.inPicture(l) ? [i] : []));
  const agreeing = judged.filter((i) => weight[i]! > 0 && Math.abs(left(i)) < AGREE_PX);
  const count = Math.max(1, judged.length);
  const listedRows = listed.map((i) => rows[i]!);
  return {
    step: matrixOf(theta, box),
    agree: agreeing.length / count,
    told: listed.length / count,
    sdPx: covariance === null ? Infinity : sdAcross(listedRows, covariance),
  };
}

function biweight(error: number, cut: number): number {
  return Math.abs(error) >= cut ? 0 : (1 - (error / cut) ** 2) ** 2;
}

/** Adds one line's equation; of the matrix the lower half alone. */
function addLine({ a, b }: Sums, row: Float64Array, place: number, weight: number): void {
  if (weight === 0) return;
  for (let p = 0; p < FREEDOMS; p++) {
    b[p] = b[p]! + weight * row[p]! * place;
    for (let q = 0; q <= p; q++) a[p * FREEDOMS + q] = a[p * FREEDOMS + q]! + weight * row[p]! * row[q]!;
  }
}

/**
 * Adds the prediction to the lines' sums and fills the matrix's upper half. What nothing tells of stays: along edges
 * that run one way.
 */
function predictionOf({ lines, doubt, back }: Observed): (sums: Sums) => void {
  const { along, oneWay } = waysOf(lines);
  const held = oneWay ? 1 / ALONG_PX ** 2 - 1 / doubt.place ** 2 : 0;
  const { place, size, shape } = doubt;
  const prior = [place, place, size, size, shape, shape, shape, shape].map((sd) => 1 / sd ** 2);
  return ({ a, b }) => {
    for (let p = 0; p < 2; p++)
      for (let q = 0; q < 2; q++) {
        a[p * FREEDOMS + q] = a[p * FREEDOMS + q]! + held * along[p]! * along[q]!;
        b[p] = b[p]! + held * along[p]! * along[q]! * back[q]!;
      }
    for (let p = 0; p < FREEDOMS; p++) {
      b[p] = b[p]! + prior[p]! * back[p]!;
      a[p * FREEDOMS + p] = a[p * FREEDOMS + p]! + prior[p]!;
      for (let q = p + 1; q < FREEDOMS; q++) a[p * FREEDOMS + q] = a[q * FREEDOMS + p]!;
    }
  };
}

/** Sd of the outline across itself, rms over the lines. Neighbours share their picture: three count as one. */
function sdAcross(rows: readonly Float64Array[], covariance: Float64Array): number {
  let variance = 0;
  for (const r of rows)
    for (let p = 0; p < FREEDOMS; p++)
      for (let q = 0; q < FREEDOMS; q++) variance += (3 * r[p]! * covariance[p * FREEDOMS + q]! * r[q]!) / rows.length;
  return Math.sqrt(variance);
}
