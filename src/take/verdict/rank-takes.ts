/**
 * The takes of one pick in the order in which they are worth a look: a person's star outranks any number; then the
 * verdict, those not judged last; among those of one word the one that strays least.
 */
import type { Verdict, VerdictWord } from '../types.js';

/** The three words from best to worst. */
export const VERDICT_RANK: Record<VerdictWord, number> = { fits: 0, mendable: 1, 'shoot again': 2 };

/** How far a verdict strays in all, in units of 'fits'. */
export function verdictCost(v: Verdict): number {
  let s = 0;
  for (const m of v.matters) {
    if (m.verdict === null) s += 0.25;
    else s += m.verdict === 'fits' ? 0 : m.verdict === 'mendable' ? 1 : 4;
    if (
      m.measured !== null &&
      m.needed !== null &&
      m.tolerance !== null &&
      m.verdict !== null &&
      m.matter !== 'size' &&
      m.matter !== 'length' &&
      m.tolerance.fits > 0
    ) {
      s += 0.2 * Math.min(5, Math.abs(m.measured - m.needed) / m.tolerance.fits);
    }
  }
  return s;
}

/** The takes in rank; stable. */
export function rankTakes<T extends { readonly star: boolean; readonly verdict?: Verdict }>(takes: readonly T[]): T[] {
  return takes
    .map((take) => {
      const v = take.verdict;
      return { take, rank: v === undefined ? 3 : VERDICT_RANK[v.verdict], cost: v === undefined ? 0 : verdictCost(v) };
    })
    .sort((a, b) => Number(b.take.star) - Number(a.take.star) || a.rank - b.rank || a.cost - b.cost)
    .map((t) => t.take);
}
