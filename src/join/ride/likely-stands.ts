/**
 * Where the performer most likely stands on the marked frames, given what carries its place from frame to frame and
 * marks set by a hand that errs: regression by Gaussian processes (C. Rasmussen & C. Williams, *Gaussian Processes for
 * Machine Learning*, 2006: section 2.7 for the flat prior of the place itself, 5.4 for the evidence). A mark is the
 * carried place, a departure from it that changes smoothly over the shot (the carrier is not quite right; the performer
 * walks), and the hand's error, which is another on every mark. How large departure and error are is told by the marks:
 * the answer is the mean over all sizes, each weighed by its evidence. Foot and top depart together for the most part,
 * the hand errs on each by itself, which tells the two apart with few marks already.
 *
 * Where the marks go with the carrier, up to what a hand errs, the place stays on it and does not swim; where they
 * clearly do not, they are followed. The sizes held possible and their weights are own choices.
 */
import { choleskyFactor, solveWithFactor } from '../../geometry/linear-solve.js';
import type { Px, Stand } from './ride.js';

type Weighed = readonly [size: number, weight: number];

/** A hand's error on each axis, px of a picture 854 wide, and how likely each is before the marks are looked at. */
const HANDS: readonly Weighed[] = [
  [0.12, 0.08],
  [0.25, 0.08],
  [0.5, 0.12],
  [0.9, 0.2],
  [1.5, 0.2],
  [2.2, 0.17],
  [3.2, 0.1],
  [4.5, 0.05],
];
const SIZES_WIDTH = 854;
/** How long a departure lasts, shares of the time from the first mark to the last. */
const LASTING: readonly number[] = [0.1, 0.3, 1];
/** With more marks they are left as they are: that many tell the way by themselves. */
const MOST_MARKS = 120;

/** Ground x, ground y, top x, top y: px. */
export type GroundAndTop = readonly [number, number, number, number];

/** What carries the place, for places near one that the marks tell. */
export interface Told {
  readonly ground: Px;
  readonly top: Px;
  /** How both move in this frame where the place is moved in each of the ways that it may lie otherwise. */
  readonly moved: readonly GroundAndTop[];
}

/** How far the place may depart from its carrier, before the marks are looked at. */
export interface Departures {
  /** Standard deviations, px of a picture 854 wide, and how likely each is. */
  readonly sizes: readonly Weighed[];
  /** How far the foot's departure and the top's go together (their correlation). */
  readonly together: number;
}

export interface LikelyStands {
  /** The stands, moved to where they most likely are. */
  readonly stands: readonly Stand[];
  /** Natural logarithm of how likely the marks are under this carrier; −∞ where it can't have shown them. */
  readonly lnEvidence: number;
  /** A hand's error as the marks tell it, px on each axis. */
  readonly handPx: number;
  /** How far each stand's foot departs from the carrier, px. */
  readonly departurePx: readonly number[];
}

/**
 * @param stands the marks; on fewer than two frames nothing is told
 * @param told the carrier, on each stand's frame
 * @param widthPx of the picture
 */
export function likelyStands(
  stands: readonly Stand[],
  told: readonly Told[],
  { sizes, together }: Departures,
  widthPx: number,
): LikelyStands {
  const n = stands.length,
    scale = widthPx / SIZES_WIDTH,
    frames = stands.map((s) => s.frame),
    extent = Math.max(...frames) - Math.min(...frames),
    asMarked = { stands, lnEvidence: 0, handPx: 0, departurePx: stands.map(() => 0) };
  if (!(extent > 0) || n > MOST_MARKS) return asMarked;
  const off = stands.map((s, i) => {
    const { ground, top } = told[i]!;
    return rotated([s.ground[0] - ground[0], s.ground[1] - ground[1], s.top[0] - top[0], s.top[1] - top[1]]);
  });
  const marks: Marks = { off, moved: evened(told.map((t) => t.moved.map(rotated))), frames };
  const tries: Try[] = [];
  for (const [hand, handWeight] of HANDS)
    for (const [size, sizeWeight] of sizes)
      for (const last of size === 0 ? [1] : LASTING) {
        const weight = (handWeight * sizeWeight) / (size === 0 ? 1 : LASTING.length),
          t = tryOf(marks, { hand: hand * scale, size: size * scale, last: last * extent, together });
        if (t !== null) tries.push({ ...t, lnEvidence: t.lnEvidence + Math.log(weight) });
      }
  if (tries.length === 0) return { ...asMarked, lnEvidence: -Infinity };
  const best = Math.max(...tries.map((t) => t.lnEvidence)),
    weights = tries.map((t) => Math.exp(t.lnEvidence - best)),
    sum = weights.reduce((a, b) => a + b, 0);
  const mean = (of: (t: Try) => number): number => tries.reduce((s, t, k) => s + (weights[k]! / sum) * of(t), 0),
    meanOf = (what: 'error' | 'departure', i: number): GroundAndTop =>
      rotated([0, 1, 2, 3].map((c) => mean((t) => t[what][c]![i]!)) as unknown as GroundAndTop);
  return {
    stands: stands.map((s, i): Stand => {
      const [gx, gy, tx, ty] = meanOf('error', i);
      return { frame: s.frame, ground: [s.ground[0] - gx, s.ground[1] - gy], top: [s.top[0] - tx, s.top[1] - ty] };
    }),
    lnEvidence: best + Math.log(sum),
    handPx: mean((t) => t.hand),
    departurePx: stands.map((_, i) => Math.hypot(...meanOf('departure', i).slice(0, 2))),
  };
}

/**
 * Ground and top as sum and difference, both times the root of a half; its own inverse. The two depart independently of
 * each other.
 */
function rotated([gx, gy, tx, ty]: GroundAndTop): GroundAndTop {
  return [(gx + tx) * Math.SQRT1_2, (gy + ty) * Math.SQRT1_2, (gx - tx) * Math.SQRT1_2, (gy - ty) * Math.SQRT1_2];
}

/** The ways in which the place may lie otherwise, each by a pixel (rms over the marks): carriers are then compared alike. */
function evened(moved: readonly (readonly GroundAndTop[])[]): number[][][] {
  const norms = moved[0]!.map((_, w) =>
    Math.sqrt(moved.reduce((s, m) => s + m[w]!.reduce((q, v) => q + v * v, 0), 0) / moved.length),
  );
  return moved.map((m) => m.map((way, w) => way.map((v) => v / norms[w]!)));
}

/** Of each mark: what is off, and the ways in which its place may lie otherwise, as sums and differences. */
interface Marks {
  readonly off: readonly GroundAndTop[];
  readonly moved: readonly (readonly (readonly number[])[])[];
  readonly frames: readonly number[];
}

/** One choice of sizes: px, and frames that a departure lasts. */
interface Sizes {
  readonly hand: number;
  readonly size: number;
  readonly last: number;
  readonly together: number;
}

/** What it makes of the marks. */
interface Try {
  readonly lnEvidence: number;
  readonly hand: number;
  /** The hand's error and the departure: sums x, y, differences x, y, each on every mark. */
  readonly error: readonly Float64Array[];
  readonly departure: readonly Float64Array[];
}

/** Correlation of two times so far apart, over how long it lasts (Matérn's, ν = 3/2: equation 4.17). */
function matern(apart: number): number {
  const r = Math.sqrt(3) * Math.abs(apart);
  return (1 + r) * Math.exp(-r);
}

/** Lower factor of the marks' covariance: the hand's error, and a departure of a variance. */
function covariance({ frames }: Marks, { hand, last }: Sizes, variance: number): Float64Array | null {
  const n = frames.length,
    a = new Float64Array(n * n);
  for (let i = 0; i < n; i++)
    for (let j = 0; j < n; j++)
      a[i * n + j] = variance * matern((frames[i]! - frames[j]!) / last) + (i === j ? hand * hand : 0);
  return choleskyFactor(a, n);
}

/** The mean and the evidence of one choice of sizes, its place by least squares (equations 2.41 to 2.45). */
function tryOf(marks: Marks, sizes: Sizes): Try | null {
  const { off, moved } = marks,
    n = off.length,
    ways = moved[0]!.length,
    { hand, size, together } = sizes;
  const ofSum = covariance(marks, sizes, size * size * (1 + together)),
    ofDifference = covariance(marks, sizes, size * size * (1 - together));
  if (ofSum === null || ofDifference === null) return null;
  const factors = [ofSum, ofSum, ofDifference, ofDifference],
    values = factors.map((_, c) => Float64Array.from(off, (o) => o[c]!)),
    columns = factors.map((_, c) =>
      Array.from({ length: ways }, (_w, w) => Float64Array.from(moved, (m) => m[w]![c]!)),
    );
  const normal = new Float64Array(ways * ways),
    right = new Float64Array(ways);
  let square = 0,
    lnDet = 0;
  factors.forEach((factor, c) => {
    square += dot(values[c]!, solveWithFactor(factor, values[c]!, n));
    lnDet += lnDeterminant(factor, n);
    columns[c]!.forEach((column, w) => {
      const solved = solveWithFactor(factor, column, n);
      right[w] = right[w]! + dot(solved, values[c]!);
      columns[c]!.forEach((other, u) => {
        normal[w * ways + u] = normal[w * ways + u]! + dot(solved, other);
      });
    });
  });
  const ofNormal = choleskyFactor(normal, ways);
  if (ofNormal === null) return null;
  const place = solveWithFactor(ofNormal, right, ways);
  const rest = values.map((v, c) => v.map((y, i) => columns[c]!.reduce((s, b, w) => s - b[i]! * place[w]!, y))),
    error = rest.map((r, c) => solveWithFactor(factors[c]!, r, n).map((v) => hand * hand * v));
  return {
    lnEvidence:
      -0.5 *
      (square - dot(right, place) + lnDet + lnDeterminant(ofNormal, ways) + (4 * n - ways) * Math.log(2 * Math.PI)),
    hand,
    error,
    departure: rest.map((r, c) => r.map((v, i) => v - error[c]![i]!)),
  };
}

/** ln of the determinant of a matrix by its lower factor. */
function lnDeterminant(factor: Float64Array, n: number): number {
  let s = 0;
  for (let i = 0; i < n; i++) s += 2 * Math.log(factor[i * n + i]!);
  return s;
}

function dot(a: Float64Array, b: Float64Array): number {
  let s = 0;
  for (let i = 0; i < a.length; i++) s += a[i]! * b[i]!;
  return s;
}
