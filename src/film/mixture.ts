/**
 * Is a run of frames a linear mixture of its two ends? In a dissolve every frame is (1 − α)·A + α·B with α rising
 * steadily from 0 to 1 (the production model of Zabih, Miller & Mai, "A feature-based algorithm for detecting and
 * classifying scene breaks", ACM Multimedia 1995, and Lienhart, "Comparison of automatic shot boundary detection
 * algorithms", SPIE 3656, 1999). α is had by least squares in the low vector; what a mixture leaves unexplained, and
 * how far α strays from a ramp, tell a dissolve or fade from motion, occlusion and hard cuts.
 */
import { LOW_LENGTH } from './low-vector.js';

/** How well a run of frames is a mixture of its ends. */
export interface Mixture {
  /** Mean unexplained energy of the inner frames as a share of |B − A|². */
  residual: number;
  /** Rms distance of α from the straight ramp. */
  rampError: number;
  /** Largest step of α between neighbouring frames. */
  largestStep: number;
  /** Correlation of the change in the first half with that in the second. */
  agreement: number;
  /** Mean |B − A|² per cell, code values squared. */
  energy: number;
}

function inner(p: Float32Array, q: Float32Array, a: Float32Array): number {
  let s = 0;
  for (let i = 0; i < LOW_LENGTH; i++) s += (p[i]! - a[i]!) * (q[i]! - a[i]!);
  return s;
}

/** α of `f` between `a` and `b`, by least squares. */
export function mixtureShare(f: Float32Array, a: Float32Array, b: Float32Array, energySum: number): number {
  return inner(f, b, a) / energySum;
}

/** Tests frames `from`..`to` (both inclusive, low vectors by `at`). Gives up early (null) where the halves disagree. */
export function testMixture(
  at: (frame: number) => Float32Array,
  from: number,
  to: number,
  leastAgreement: number,
  leastEnergy: number,
): Mixture | null {
  const a = at(from);
  const b = at(to);
  const m = at((from + to) >> 1);
  let e = 0;
  let x = 0;
  let y = 0;
  let xy = 0;
  for (let i = 0; i < LOW_LENGTH; i++) {
    const d1 = m[i]! - a[i]!;
    const d2 = b[i]! - m[i]!;
    e += (d1 + d2) * (d1 + d2);
    x += d1 * d1;
    y += d2 * d2;
    xy += d1 * d2;
  }
  const agreement = xy / (Math.sqrt(x * y) + 1e-9);
  if (agreement < leastAgreement || e < leastEnergy * LOW_LENGTH) return null;
  let residual = 0;
  let ramp = 0;
  let step = 0;
  let before = 0;
  const span = to - from;
  for (let t = from + 1; t < to; t++) {
    const f = at(t);
    const alpha = inner(f, b, a) / e;
    let ff = 0;
    for (let i = 0; i < LOW_LENGTH; i++) ff += (f[i]! - a[i]!) * (f[i]! - a[i]!);
    residual += Math.max(0, ff / e - alpha * alpha);
    ramp += (alpha - (t - from) / span) ** 2;
    step = Math.max(step, Math.abs(alpha - before));
    before = alpha;
  }
  step = Math.max(step, Math.abs(1 - before));
  return {
    residual: residual / (span - 1),
    rampError: Math.sqrt(ramp / (span - 1)),
    largestStep: step,
    agreement,
    energy: e / LOW_LENGTH,
  };
}

/**
 * Fits a clipped ramp (0 up to `a`, straight to 1 at `b`) to shares α of frames first..first+n−1 by exhaustive
 * search and returns the last frame at 0 and the first frame at 1, with the rms misfit. Where the frames' detail
 * energies are given they are fitted too: under a mixture of two unrelated pictures they follow (1 − α)²·D(a) +
 * α²·D(b), and motion, which bends α, leaves them alone.
 */
export function fitRamp(
  alpha: Float64Array,
  first: number,
  detail: Float64Array | null = null,
): { a: number; b: number; rms: number } {
  const n = alpha.length;
  let best = { a: first, b: first + n - 1, rms: Infinity };
  for (let a = 0; a < n - 2; a++) {
    for (let b = a + 2; b < n; b++) {
      let s = 0;
      const da = detail === null ? 0 : detail[a]!;
      const db = detail === null ? 0 : detail[b]!;
      const weight = detail === null ? 0 : 1 / ((da + db) / 2 + 2) ** 2;
      for (let t = 0; t < n && s < best.rms; t++) {
        const r = t <= a ? 0 : t >= b ? 1 : (t - a) / (b - a);
        s += (alpha[t]! - r) ** 2;
        if (detail !== null)
          s += weight * Math.min((da + db) ** 2 / 4, (detail[t]! - (1 - r) * (1 - r) * da - r * r * db) ** 2);
      }
      if (s < best.rms) best = { a: first + a, b: first + b, rms: s };
    }
  }
  return { ...best, rms: Math.sqrt(best.rms / n) };
}

/**
 * Log odds that a run is a gradual change. Weights fitted by logistic regression (L2 0.01) on 361 runs, 234 of them
 * true, from 16 made reels; seeds of the bench are others.
 * @param dip mean loss of detail energy inside the run against the blend of its ends
 * (about 1/3 for a dissolve, 0 for motion)
 * @param dissimilarity of the two ends, 0..1
 */
export function gradualScore(dip: number, dissimilarity: number, m: Mixture): number {
  const d = Math.max(-0.2, Math.min(0.45, dip));
  return (
    10.4 * d +
    6.5 * dissimilarity +
    2.3 * m.residual -
    26.7 * m.rampError +
    0.7 * m.agreement +
    0.37 * Math.log(m.energy) -
    6.3
  );
}
