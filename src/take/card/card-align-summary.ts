/** How well the aligned card explains the picture, as a whole and fiducial by fiducial. */
import { CARD_HEIGHT_MM, CARD_WIDTH_MM, MARKER_CENTRES, MARKER_MM } from '../../brief/card-layout.js';
import type { AlignProblem, Alignment, State } from './card-align-state.js';

/**
 * Explained share of the variance, levels of paper and ink, pixels read, and correlation by fiducial and by its bits.
 */
export function alignmentSummary(
  o: AlignProblem,
  s: State,
): Pick<Alignment, 'explained' | 'paper' | 'ink' | 'pixels' | 'markerCorrelation' | 'bitCorrelation'> {
  let n = 0;
  let sy = 0;
  let syy = 0;
  let sr = 0;
  const sums = (): { n: number; y: number; m: number; yy: number; mm: number; ym: number } => ({
    n: 0,
    y: 0,
    m: 0,
    yy: 0,
    mm: 0,
    ym: 0,
  });
  const whole = MARKER_CENTRES.map(sums);
  const bits = MARKER_CENTRES.map(sums);
  const add = (q: ReturnType<typeof sums>, y: number, m: number): void => {
    q.n++;
    q.y += y;
    q.m += m;
    q.yy += y * y;
    q.mm += m * m;
    q.ym += y * m;
  };
  for (let at = 0; at < s.residual.length; at++) {
    const r = s.residual[at]!;
    if (Number.isNaN(r)) continue;
    const m = s.model[at]!;
    const y = m + r;
    const k = s.quarter[at]!;
    n++;
    sy += y;
    syy += y * y;
    sr += r * r;
    add(whole[k]!, y, m);
    const far = Math.max(
      Math.abs((s.u[at]! * CARD_WIDTH_MM) / 2 - MARKER_CENTRES[k]![0]),
      Math.abs((s.v[at]! * CARD_HEIGHT_MM) / 2 - MARKER_CENTRES[k]![1]),
    );
    if (far < MARKER_MM / 3) add(bits[k]!, y, m);
  }
  const variance = syy - (sy * sy) / Math.max(1, n);
  const correlation = (q: ReturnType<typeof sums>, least: number): number =>
    q.n < least
      ? NaN
      : (q.ym - (q.y * q.m) / q.n) / Math.sqrt(Math.max(1e-12, (q.yy - q.y ** 2 / q.n) * (q.mm - q.m ** 2 / q.n)));
  return {
    explained: variance > 0 ? 1 - sr / variance : 0,
    paper: s.levels[0]!,
    ink: s.levels[1]!,
    pixels: n,
    markerCorrelation: whole.map((q) => correlation(q, 0.06 * s.used)),
    bitCorrelation: bits.map((q) => correlation(q, 0.02 * s.used)),
  };
}
