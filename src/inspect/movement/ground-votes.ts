/**
 * What each cell of a kept piece of ground says of where it lies on another frame (one step of least squares, inverse
 * compositional: Baker & Matthews, IJCV 56, 2004), and the shift at the foot with a linear distortion about it that the
 * cells' votes speak for, with Cauchy's weights. No cell is taken for surer than a floor.
 */
import { invertSymmetric } from '../../geometry/linear-solve.js';
import { SMOOTH, type GroundPiece, type Parting, type Slopes } from './ground-piece.js';

/** Pixels of smoothed noise that make one of their own: 4 pi sigma squared. */
const TOGETHER = 4 * Math.PI * SMOOTH * SMOOTH;
/** Pixels of a cell that must be ground, and how ill one may be told and still be heard, px. */
const CELL_FEWEST = 60,
  CELL_SD = 1.2;
/** No cell is surer than this, px. */
const CELL_FLOOR = 0.12;
/** Cauchy's constant, standard deviations. */
const CAUCHY = 2.385;
/** Distortion over the piece's half width that is thought likely, px. */
const LIKELY_PX = 2;
/** Numbers of a shift with its distortion: x and y at the foot, x by u and v, y by u and v. */
export const SHIFT_NUMBERS = 6;
const P = SHIFT_NUMBERS;
/** Sums that a cell keeps. */
const SUMS = 15;

/** What one cell says: its middle beside the foot in half widths, by what it lies off, px, and how sure it is. */
export interface Vote {
  readonly u: number;
  readonly v: number;
  readonly d: readonly [number, number];
  /** Inverse covariance: xx, xy, yy. */
  readonly sure: readonly [number, number, number];
}

/**
 * Each cell's own shift by one step of least squares over its pixels, its own brightness aside. `now`: slopes of the
 * other frame. What both frames' slopes have in common is the ground's; grain makes slopes too, but others in each, so
 * a cell without pattern says nothing (instrumental variables: Reiersol, Arkiv foer Matematik 32A, 1945, from memory).
 * Without `now` the kept frame's slopes count as they are, which is enough for a step but too sure.
 */
export function votesOf(
  piece: GroundPiece,
  { cell, cells }: Parting,
  e: Float32Array,
  noise: number,
  now: Slopes | null,
): Vote[] {
  const sums = Array.from({ length: cells }, () => new Float64Array(SUMS)),
    [fx, fy] = piece.foot,
    { gx, gy } = piece,
    hx = now?.x ?? gx,
    hy = now?.y ?? gy;
  for (let i = 0; i < e.length; i++) {
    if (Number.isNaN(e[i]!)) continue;
    const s = sums[cell[i]!]!;
    s[0]! += 1;
    s[1]! += gx[i]!;
    s[2]! += gy[i]!;
    s[3]! += e[i]!;
    s[4]! += gx[i]! * gx[i]!;
    s[5]! += gy[i]! * gy[i]!;
    s[6]! += gx[i]! * gy[i]!;
    s[7]! += e[i]! * e[i]!;
    s[8]! += gx[i]! * e[i]!;
    s[9]! += gy[i]! * e[i]!;
    s[10]! += gx[i]! * hx[i]!;
    s[11]! += gy[i]! * hy[i]!;
    s[12]! += (gx[i]! * hy[i]! + gy[i]! * hx[i]!) / 2;
    s[13]! += piece.x[i]! - fx;
    s[14]! += piece.y[i]! - fy;
  }
  return sums.flatMap((s) => {
    const vote = voteOf(s, noise, piece.every);
    return vote === null ? [] : [{ ...vote, u: s[13]! / s[0]! / piece.half, v: s[14]! / s[0]! / piece.half }];
  });
}

/**
 * A cell's vote of its sums: count; slopes and difference; their squares and products; slopes in common. Null where it
 * tells too little.
 */
function voteOf(s: Float64Array, noise: number, every: number): Pick<Vote, 'd' | 'sure'> | null {
  const n = s[0]!;
  if (n < CELL_FEWEST / every ** 2) return null;
  const about = (product: number, a: number, b: number): number => product - (a * b) / n,
    xx = about(s[4]!, s[1]!, s[1]!),
    yy = about(s[5]!, s[2]!, s[2]!),
    xy = about(s[6]!, s[1]!, s[2]!),
    ee = about(s[7]!, s[3]!, s[3]!),
    bx = about(s[8]!, s[1]!, s[3]!),
    by = about(s[9]!, s[2]!, s[3]!),
    tx = about(s[10]!, s[1]!, s[1]!),
    ty = about(s[11]!, s[2]!, s[2]!),
    t = about(s[12]!, s[1]!, s[2]!),
    det = tx * ty - t * t;
  if (!(tx > 0 && ty > 0 && det > 0)) return null;
  const [ia, ib, ic] = [ty / det, -t / det, tx / det],
    // A cell that does not fit at all is as unsure as it differs.
    scale = Math.max(noise * noise, ee / n) * Math.max(1, TOGETHER / every ** 2),
    cxx = scale * (ia * ia * xx + 2 * ia * ib * xy + ib * ib * yy) + CELL_FLOOR ** 2,
    cyy = scale * (ib * ib * xx + 2 * ib * ic * xy + ic * ic * yy) + CELL_FLOOR ** 2,
    cxy = scale * (ia * ib * xx + (ia * ic + ib * ib) * xy + ib * ic * yy);
  if (Math.max(cxx, cyy) > CELL_SD ** 2) return null;
  const of = cxx * cyy - cxy * cxy;
  return { d: [ia * bx + ib * by, ib * bx + ic * by], sure: [cyy / of, -cxy / of, cxx / of] };
}

/** Where the numbers of a shift along x and along y stand: at the foot, by u, by v. */
const SLOTS = [
  [0, 2, 3],
  [1, 4, 5],
] as const;

/** Adds a vote to the normal equations a (P × P) and b. */
function addVote(a: Float64Array, b: Float64Array, { u, v, d, sure }: Vote, weight: number): void {
  for (let r = 0; r < 2; r++) {
    const rows = SLOTS[r]!,
      // Row r of the inverse covariance.
      byX = weight * sure[r]!,
      byY = weight * sure[r + 1]!,
      said = byX * d[0] + byY * d[1];
    for (let m = 0; m < 3; m++) {
      const row = rows[m]!,
        base = m === 0 ? 1 : m === 1 ? u : v;
      b[row] = b[row]! + base * said;
      for (let l = 0; l < 3; l++) {
        const both = base * (l === 0 ? 1 : l === 1 ? u : v),
          x = row * P + SLOTS[0][l]!,
          y = row * P + SLOTS[1][l]!;
        a[x] = a[x]! + both * byX;
        a[y] = a[y]! + both * byY;
      }
    }
  }
}

/** Shift at the foot and distortion about it that the votes speak for, with their share that agrees and its error. */
export function elected(
  votes: readonly Vote[],
  now: Float64Array,
): { readonly q: Float64Array; readonly sd: number; readonly agree: number } | null {
  let weights = votes.map(() => 1),
    q: Float64Array = new Float64Array(P),
    inverse: Float64Array | null = null,
    scatter = 1;
  for (let round = 0; round < 12; round++) {
    const a = new Float64Array(P * P),
      b = new Float64Array(P);
    votes.forEach((vote, k) => addVote(a, b, vote, weights[k]!));
    for (let r = 2; r < P; r++) {
      a[r * P + r] = a[r * P + r]! + 1 / LIKELY_PX ** 2;
      b[r] = b[r]! + now[r]! / LIKELY_PX ** 2;
    }
    inverse = invertSymmetric(a, P);
    if (inverse === null) return null;
    q = times(inverse, b);
    const far = votes.map((vote) => {
      const x = vote.d[0] - q[0]! - q[2]! * vote.u - q[3]! * vote.v,
        y = vote.d[1] - q[1]! - q[4]! * vote.u - q[5]! * vote.v;
      return vote.sure[0] * x * x + 2 * vote.sure[1] * x * y + vote.sure[2] * y * y;
    });
    weights = far.map((c) => 1 / (1 + c / CAUCHY ** 2));
    const sum = weights.reduce((s, w) => s + w, 0);
    scatter = far.reduce((s, c, k) => s + weights[k]! * c, 0) / Math.max(1, 2 * sum - P / 2);
  }
  return {
    q,
    sd: Math.sqrt(Math.max(1, scatter) * Math.max(inverse![0]!, inverse![P + 1]!)),
    agree: weights.filter((w) => w > 0.5).length / votes.length,
  };
}

const times = (m: Float64Array, v: Float64Array): Float64Array =>
  Float64Array.from({ length: P }, (_, r) => {
    let s = 0;
    for (let c = 0; c < P; c++) s += m[r * P + c]! * v[c]!;
    return s;
  });
