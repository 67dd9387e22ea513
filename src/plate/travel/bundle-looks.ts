/** What a solved bundle tells of some frames' looks at the ground, with its covariance. */
import { choleskyFactor, solveWithFactor } from '../../geometry/linear-solve.js';
import { GLOBALS } from './bundle-equations.js';
import type { BundleAnswer } from './travel-bundle.js';

/** Information of a lens that is given. */
const GIVEN = 1e12;

/**
 * Covariance of (ln focal length, tilt, roll, then of each look its turn and its shift) from the bundle's information,
 * row-major, and how far beside the solution the pieces by themselves would have them; null where that is singular.
 *
 * @param looks places among the poses
 * @param times the residuals' variance is taken as so many times what it seems
 * @param lensGiven the lens is not told: all is told for the one that was given, and of it next to nothing
 * @param scaleSd sd of the ln of the way's length, known beforehand
 */
export function tellLooks(
  { state, information, gradient }: BundleAnswer,
  home: number,
  looks: readonly number[],
  { times, scaleSd, lensGiven }: { readonly times: number; readonly scaleSd: number; readonly lensGiven: boolean },
): { readonly covariance: Float64Array; readonly beside: Float64Array } | null {
  const n = GLOBALS + 6 * (state.poses.length - 1);
  const m = GLOBALS + 6 * looks.length;
  const h = information.map((v) => v / times);
  // Next to nothing, so that what the pieces leave untold has a large doubt in place of none.
  for (let i = 0; i < n; i++) h[i * n + i] = h[i * n + i]! + (i < GLOBALS ? 1 : 1e-2);
  if (lensGiven) h[0] = GIVEN;
  // The way's length in camera heights, as far as the ground's pieces do not tell it: ln of its root mean square.
  const squares = state.poses.reduce((a, p) => a + p.t[0] ** 2 + p.t[1] ** 2 + p.t[2] ** 2, 0);
  const along = new Float64Array(n);
  state.poses.forEach((p, k) => {
    if (k === home) return;
    const at = GLOBALS + 6 * (k < home ? k : k - 1) + 3;
    for (let i = 0; i < 3; i++) along[at + i] = p.t[i]! / Math.max(1e-9, squares) / scaleSd;
  });
  for (let i = 0; i < n; i++) for (let j = 0; j < n; j++) h[i * n + j] = h[i * n + j]! + along[i]! * along[j]!;
  const l = choleskyFactor(h, n);
  if (l === null) return null;
  const rows = new Float64Array(m * n);
  for (let i = 0; i < GLOBALS; i++) rows[i * n + i] = 1;
  looks.forEach((k, j) => {
    const at = GLOBALS + 6 * (k < home ? k : k - 1);
    for (let i = 0; i < 6; i++) rows[(GLOBALS + 6 * j + i) * n + at + i] = 1;
  });
  const out = new Float64Array(m * m);
  for (let a = 0; a < m; a++) {
    const x = solveWithFactor(l, rows.subarray(a * n, (a + 1) * n), n);
    for (let b = 0; b < m; b++) {
      let s = 0;
      for (let i = 0; i < n; i++) s += x[i]! * rows[b * n + i]!;
      out[b * m + a] = s;
    }
  }
  const pull = solveWithFactor(
    l,
    gradient.map((v) => -v / times),
    n,
  );
  const beside = Float64Array.from({ length: m }, (_, a) => {
    let s = 0;
    for (let i = 0; i < n; i++) s += rows[a * n + i]! * pull[i]!;
    return s;
  });
  if (lensGiven) {
    for (let i = 0; i < m; i++) {
      out[i] = 0;
      out[i * m] = 0;
    }
    out[0] = 1;
    beside[0] = 0;
  }
  return { covariance: out, beside };
}
