/**
 * Small common parts of the verdict's matters: grading a stray against its tolerance,
 * and saying that one can't be judged.
 */
import type { Tolerance } from './tolerances.js';
import type { Matter, MatterName, VerdictWord } from '../types.js';

/** Fits, mendable or shoot again for an absolute stray. */
export function grade(stray: number, t: Tolerance): VerdictWord {
  return stray <= t.fits ? 'fits' : stray <= t.mendable ? 'mendable' : 'shoot again';
}

/** A stray whose uncertainty is so wide that it might as well be mendable or hopeless tells nothing. */
export function tooUnsure(stray: number, sd: number, t: Tolerance): boolean {
  return sd > t.mendable * 0.6 && stray < t.mendable + 2 * sd;
}

/**
 * A matter that can't be judged: why, and what would make it so. `partial`: what of the take was measured all the same.
 */
export function unjudged(
  matter: MatterName,
  unit: string,
  needed: number | null,
  reason: string,
  wouldHelp: string,
  partial: { measured?: number | null; sd?: number | null } = {},
): Matter {
  return {
    matter,
    measured: partial.measured ?? null,
    sd: partial.sd ?? null,
    needed,
    unit,
    verdict: null,
    tolerance: null,
    change: `can't be judged: ${reason}${wouldHelp === '' ? '' : `; what would help: ${wouldHelp}`}`,
    reason,
    wouldHelp,
  };
}

/** `22 cm`, `1.4 m`: lengths as a person sets them. */
export function lengthWords(metres: number): string {
  const a = Math.abs(metres);
  return a >= 1.995 ? `${a.toFixed(1)} m` : `${Math.max(1, Math.round(a * 100))} cm`;
}
