/**
 * One answer of all that the plate tells of how dark its key's shadows are: s = −ln of the light left, per channel, as
 * likely as what is usual, the middle of a marked shadow, the light missing across posts' shadows and the strips of
 * shadow on the ground make it together. Posts and a narrow middle know 1 − exp(−s) but for a factor of their own
 * (thickness, spreading) that all channels share; a strip is a shadow or something else: each is a mixture of a
 * Gaussian about its depth and a level share of clutter, so strips that contradict all else count for nothing
 * (Bayesian; maximum by expectation and maximisation from several starts: Dempster, Laird & Rubin, J. R. Stat. Soc. B
 * 39, 1977; Gauss-Newton for what is not linear).
 */
import { mapTuple } from '../../core/tuples.js';
import { invertSymmetric, solveCholesky } from '../../geometry/linear-solve.js';

export type Three = readonly [number, number, number];

/** Light missing as a share, per channel: (1 − exp(−s)) × `kept`. */
export interface MissingLight {
  readonly missing: Three;
  /** Sd of all channels together, of each for itself, and of the factor that all share. */
  readonly sd: number;
  readonly ownSd: Three;
  readonly kept: number;
  readonly keptSd: number;
  /** Two readings of one thing count half each. */
  readonly weight: number;
}
/** A strip of ground that is darker by a ratio. */
export interface DarkStrip {
  readonly depth: Three;
  readonly sd: Three;
  /** Chance that a strip like it is a shadow of the key, before its colour is looked at. */
  readonly chance: number;
  /** Somebody marked it as one: it is a witness of its own. */
  readonly marked?: boolean;
}

/**
 * What is usual: mean and sd of s in green, and of how much more red and less blue is taken (own choices). A clear sky
 * gives a sixth of the light on the ground (diffuse share .165 of Erbs, Klein & Duffie, Solar Energy 28, 1982; from
 * memory), a room a fifth to a half, and a print is steeper than the light; the sky's fill is bluer than the sun, a
 * room's mostly than its lamp.
 */
const USUAL = 1.6,
  USUAL_SD = 0.5,
  RED = 0.2,
  RED_SD = 0.22,
  BLUE = 0.35,
  BLUE_SD = 0.3;
/** Density of strips that are none, a unit of s cubed: level over some 2 of brightness and .9 of each colour. */
const CLUTTER = 0.6;
/** Strips count for so many at most: pieces of one thing are no witnesses of their own. */
const WITNESSES = 2.5;
const MOST = 4;
/** Degrees of freedom of a reading's long tails. */
const TAIL = 3;
/** Sd of the ln of the light left in a shadow's middle. */
const OVER_SD = 0.2;
const LUMA = [0.2126, 0.7152, 0.0722] as const;

const luma = (c: readonly number[]): number => LUMA[0] * c[0]! + LUMA[1] * c[1]! + LUMA[2] * c[2]!;

/**
 * @param lightest luminance left in the middle of a shadow, as a share, which spreading makes lighter only
 * @returns light left per channel, and which strips agree with it
 */
export function shadeDepth(
  missing: readonly MissingLight[],
  strips: readonly DarkStrip[],
  lightest: number | null = null,
): { readonly left: [number, number, number]; readonly agrees: readonly boolean[] } {
  const starts: Three[] = [[USUAL + RED, USUAL, USUAL - BLUE], ...strips.map((s) => s.depth)];
  let best: { s: Three; log: number } | null = null;
  for (const start of starts) {
    let s = start;
    for (let k = 0; k < 12; k++) s = improved(s, missing, strips, lightest);
    const log = likelihood(s, missing, strips, lightest);
    if (best === null || log > best.log) best = { s, log };
  }
  const { s } = best!;
  return {
    left: s.map((v) => Math.exp(-v)) as [number, number, number],
    agrees: strips.map((t) => belongs(s, t) > 0.5),
  };
}

/** Inverse covariance of what is usual. */
const USUAL_INVERSE = ((): Float64Array => {
  const g = USUAL_SD ** 2;
  return invertSymmetric(Float64Array.from([g + RED_SD ** 2, g, g, g, g, g, g, g, g + BLUE_SD ** 2]), 3)!;
})();

/** Residual and weight of light missing at s, and slopes. */
function ofMissing(s: Three, m: MissingLight): { r: number[]; w: Float64Array; slope: number[] } {
  const lost = s.map((v) => 1 - Math.exp(-v)),
    r = lost.map((l, c) => m.missing[c]! - l * m.kept),
    cov = new Float64Array(9);
  for (let a = 0; a < 3; a++)
    for (let b = 0; b < 3; b++)
      cov[3 * a + b] = m.keptSd ** 2 * lost[a]! * lost[b]! + m.sd ** 2 + (a === b ? m.ownSd[a]! ** 2 : 0);
  return { r, w: invertSymmetric(cov, 3)!, slope: s.map((v) => m.kept * Math.exp(-v)) };
}

function gauss(s: Three, t: DarkStrip): number {
  let q = 0,
    det = 1;
  for (let c = 0; c < 3; c++) {
    q += ((s[c]! - t.depth[c]!) / t.sd[c]!) ** 2;
    det *= t.sd[c]!;
  }
  return Math.exp(-0.5 * q) / ((2 * Math.PI) ** 1.5 * det);
}

/** How sure a strip is a shadow if s is right. */
function belongs(s: Three, t: DarkStrip): number {
  const own = t.chance * gauss(s, t);
  return own / (own + (1 - t.chance) * CLUTTER);
}

/** What a strip counts for: those that nobody marked share what they may count for. */
function shareOf(t: DarkStrip, strips: readonly DarkStrip[]): number {
  return t.marked === true ? 1 : Math.min(1, WITNESSES / strips.filter((u) => u.marked !== true).length);
}

function likelihood(
  s: Three,
  missing: readonly MissingLight[],
  strips: readonly DarkStrip[],
  lightest: number | null,
): number {
  let log = -0.5 * form(USUAL_INVERSE, [s[0] - USUAL - RED, s[1] - USUAL, s[2] - USUAL + BLUE]);
  for (const m of missing) {
    const { r, w } = ofMissing(s, m);
    // Long tails: a post before something else may be wholly off.
    log -= m.weight * 3 * Math.log(1 + form(w, r) / TAIL);
  }
  if (lightest !== null) log -= 3 * Math.log(1 + overBy(s, lightest) ** 2 / TAIL);
  for (const t of strips) log += shareOf(t, strips) * Math.log(t.chance * gauss(s, t) + (1 - t.chance) * CLUTTER);
  return log;
}

/** By how much more light is left than the middle of a shadow says, ln over its sd; 0 where it is less. */
const overBy = (s: Three, lightest: number): number =>
  Math.max(0, Math.log(luma(s.map((v) => Math.exp(-v))) / Math.max(0.01, lightest)) / OVER_SD);

function form(w: Float64Array, r: readonly number[]): number {
  let q = 0;
  for (let a = 0; a < 3; a++) for (let b = 0; b < 3; b++) q += r[a]! * w[3 * a + b]! * r[b]!;
  return q;
}

/** One step: each thing's weight at s, then the best s of the sum of squares. */
function improved(
  s: Three,
  missing: readonly MissingLight[],
  strips: readonly DarkStrip[],
  lightest: number | null,
): Three {
  const A = USUAL_INVERSE.slice(),
    off = [USUAL + RED - s[0], USUAL - s[1], USUAL - BLUE - s[2]],
    b = new Float64Array(3);
  for (let a = 0; a < 3; a++) for (let c = 0; c < 3; c++) b[a] = b[a]! + A[3 * a + c]! * off[c]!;
  for (const m of missing) {
    const { r, w, slope } = ofMissing(s, m),
      k = (6 * m.weight) / (TAIL + form(w, r));
    for (let a = 0; a < 3; a++)
      for (let c = 0; c < 3; c++) {
        A[3 * a + c] = A[3 * a + c]! + k * slope[a]! * w[3 * a + c]! * slope[c]!;
        b[a] = b[a]! + k * slope[a]! * w[3 * a + c]! * r[c]!;
      }
  }
  for (const t of strips)
    for (let c = 0; c < 3; c++) {
      const k = (shareOf(t, strips) * belongs(s, t)) / t.sd[c]! ** 2;
      A[4 * c] = A[4 * c]! + k;
      b[c] = b[c]! + k * (t.depth[c]! - s[c]!);
    }
  if (lightest !== null) {
    const r = overBy(s, lightest),
      k = r > 0 ? 6 / (TAIL + r * r) : 0,
      left = s.map((v) => Math.exp(-v)),
      // Slope of -ln of the luminance left.
      slope = LUMA.map((y, c) => (y * left[c]!) / luma(left) / OVER_SD);
    for (let a = 0; a < 3; a++) {
      for (let c = 0; c < 3; c++) A[3 * a + c] = A[3 * a + c]! + k * slope[a]! * slope[c]!;
      b[a] = b[a]! + k * slope[a]! * r;
    }
  }
  const d = solveCholesky(A, b, 3);
  if (d === null) return s;
  return mapTuple(s, (v, c) => Math.min(MOST, Math.max(0.02, v + Math.max(-0.7, Math.min(0.7, d[c]!)))));
}
