/**
 * Does the take's fur or cloth stir as the plate's does: amplitudes compared in the plate's pixels (the take's brought
 * to the performer's size there), and rates where both stand out, each by its factor. A take whose stirring part nobody
 * marked is read over the whole performer, whose own movements count then: it is never worse than mendable.
 */
import type { TakeMeasures } from '../measures.js';
import type { PlateNeeds } from './needs.js';
import type { Tolerances } from './tolerances.js';
import type { Matter, VerdictWord } from '../types.js';
import { unjudged } from './verdict-words.js';

const HELP = 'a stir mark round the fur or cloth that moves in the take, over a second or more';

/** Null where the plate asks for no stir. */
export function stirMatter(needs: PlateNeeds, take: TakeMeasures, t: Tolerances): Matter | null {
  const want = needs.stir?.amplitudePx.value ?? null;
  if (needs.stir === null || want === null) return null;
  const seen = take.stir?.stir;
  if (seen === undefined) return unjudged('stir', 'px', want, "the take's own stir was not measured", HELP);
  if (seen.amplitudePx.value === null)
    return unjudged('stir', 'px', want, seen.amplitudePx.reason ?? "the take's own stir can't be read", HELP);
  if (needs.performerHeightPx.value === null || take.performerHeightPx.value === null)
    return unjudged(
      'stir',
      'px',
      want,
      "the performer's size is not known in both pictures",
      "the performer's ground and top on the take and a stand mark on the plate",
      { measured: seen.amplitudePx.value, sd: seen.amplitudePx.sd },
    );
  const k = needs.performerHeightPx.value / take.performerHeightPx.value;
  const have = seen.amplitudePx.value * k;
  const sd = (seen.amplitudePx.sd ?? 0) * k;
  // What stands out neither in rate nor in direction is grain and breath: at most so much.
  const still = seen.rateHz.value === null && seen.directionDeg.value === null;
  const spread = Math.hypot(sd / Math.max(1e-6, have), (needs.stir.amplitudePx.sd ?? 0) / want);
  // However little is known of a small stir: one that is surely less than could be mended is told so.
  const tooStill = have + 2 * sd < want / t.stir.mendable;
  if (spread > 0.6 && !tooStill)
    return unjudged('stir', 'px', want, `the take's stir is known to ± ${Math.round(100 * spread)} % only`, HELP, {
      measured: have,
      sd,
    });
  const amount = have >= want ? have / want : want / Math.max(1e-6, have);
  const rates =
    needs.stir.rateHz.value !== null && seen.rateHz.value !== null
      ? ([needs.stir.rateHz.value, seen.rateHz.value] as const)
      : null;
  const tempo = rates === null ? 1 : Math.max(rates[0] / rates[1], rates[1] / rates[0]);
  const worst = Math.max(amount, tempo);
  let verdict: VerdictWord = worst <= t.stir.fits ? 'fits' : worst <= t.stir.mendable ? 'mendable' : 'shoot again';
  // Nothing was seen to stir: it can't fit a plate on which something does, however large its grain reads.
  if (still && verdict === 'fits') verdict = 'mendable';
  if (!take.stir!.marked && verdict === 'shoot again') verdict = 'mendable';
  const advice = stirAdvice(t.stir.fits, { amount, less: have < want, tempo, rates, still });
  return {
    matter: 'stir',
    measured: have,
    sd,
    needed: want,
    unit: 'px',
    verdict,
    tolerance: t.stir,
    change:
      (verdict === 'fits' ? "stirs as the plate's does" : advice) +
      (take.stir!.marked
        ? ''
        : '; read over the whole performer, whose own movements count: mark the fur or cloth for a surer answer'),
  };
}

/**
 * What to change at the next try. `fits`: factor up to which amount and tempo are well; `less`: the take stirs less
 * than the plate; `rates`: plate's and take's, Hz, where both stand out; `still`: nothing is seen to stir.
 */
function stirAdvice(
  fits: number,
  s: {
    readonly amount: number;
    readonly less: boolean;
    readonly tempo: number;
    readonly rates: readonly [number, number] | null;
    readonly still: boolean;
  },
): string {
  const say: string[] = [];
  if (s.still) say.push('nothing is seen to stir: a fan or a tugged hem is needed');
  else if (s.amount > fits)
    say.push(s.less ? 'bring the fan nearer, or tug the hem further' : 'move the fan away, or tug the hem less');
  if (s.tempo > fits && s.rates !== null)
    say.push(
      `${s.rates[1] < s.rates[0] ? 'faster' : 'slower'}: the plate's sways at ${s.rates[0].toFixed(1)} Hz, ` +
        `this one at ${s.rates[1].toFixed(1)}`,
    );
  return say.join('; ') || 'look at it beside the plate';
}
