/** Judges the outline: screen colour left on it, and edges darker or brighter than they should be, by themselves and beside the take. */
import { castBeside, fringed, isOwn } from './judge-beside.js';
import { middle, ofMean, peelWayOut, screenLeft, stepOf, worstBy, type Judge } from './judging.js';
import { DARKEST_EDGE, LIMITS, OTHER_RIM, OTHER_SPILL, OWN_RIM, OWN_SPILL, THROWN } from './limits.js';
import type { Reading, Series } from './series.js';

const values = (list: readonly Reading[] | undefined): number[] => (list ?? []).map((r) => r.value);

export function judgeOutline(series: Series, judge: Judge): void {
  const peel = stepOf(judge.recipe, 'peel'),
    colour = peel?.screen ?? 'green',
    before = peel?.method !== 'outline' && peel?.method !== 'difference',
    none = before ? 'too little of the outline is seen' : 'the take was shot before no screen';
  // A set of the screen's colour throws it back by right.
  const set = middle(values(series.readings.spillSet)),
    allowed = LIMITS.spill + (Number.isFinite(set) ? THROWN * set : 0);
  const spill = ofMean(
    series,
    'spill',
    (v) => (LIMITS.spill * Math.max(0, v)) / allowed,
    (v) =>
      `${v.toFixed(1)} % of ${colour} is left on the performer: ${peel !== null && peel.spill < 0.95 ? `raise the peel's spill removal from ${peel.spill.toFixed(2)} to 1` : 'spill removal is already whole, so keep the performer farther from the screen'}, or mark with "keep" what is ${colour} by right`,
  );
  const beside = castBeside(series),
    left = beside?.own === true ? screenLeft(beside, colour) : 0;
  const own = isOwn(series),
    list = series.readings.spillBeside ?? [],
    edgeSpill = middle(values(list)),
    mostSpill = own ? OWN_SPILL : OTHER_SPILL;
  if (before && left > OWN_SPILL && (spill === null || spill.off <= LIMITS.spill)) {
    const v = 100 * (2 ** left - 1),
      all = series.readings.lightBlue!;
    judge.add('spill', '%', 'peel', {
      value: v,
      worst: worstBy(all, Math.abs),
      off: (LIMITS.spill * left) / OWN_SPILL,
      limit: LIMITS.spill,
      readings: all,
      needed: `within ${(100 * (2 ** OWN_SPILL - 1)).toFixed(0)} % of ${colour} of what the recipe renders`,
      advice: `there is ${v.toFixed(0)} % more ${colour} on the performer than this recipe renders, so something changed it after the join or the peel's spill removal (${(peel?.spill ?? 1).toFixed(2)} now) was lowered before: render again`,
    });
  } else if (before && edgeSpill > mostSpill && (spill === null || spill.off <= LIMITS.spill)) {
    const v = 100 * (2 ** edgeSpill - 1);
    judge.add('spill', '%', 'peel', {
      value: v,
      worst: worstBy(list, (q) => q),
      off: (LIMITS.spill * edgeSpill) / mostSpill,
      limit: LIMITS.spill,
      readings: list,
      needed: `within ${(100 * (2 ** mostSpill - 1)).toFixed(0)} % of ${colour} at the outline, beyond the body's, of what the recipe renders`,
      advice: `there is ${v.toFixed(0)} % more ${colour} near the outline than deep in the body, beside what this recipe renders of the take: ${peel !== null && peel.spill < 0.95 ? `raise the peel's spill removal from ${peel.spill.toFixed(2)} to 1` : 'render again from this recipe, whose spill removal is whole'}`,
    });
  } else if (spill === null || !before) judge.none('spill', '%', 'peel', none);
  else
    judge.add('spill', '%', 'peel', {
      ...spill,
      needed: `at most ${allowed.toFixed(1)} %${allowed > 1.1 * LIMITS.spill ? `, as the set about the performer is ${colour} itself` : ''}`,
    });
  const finer = peelWayOut(peel),
    wrap = stepOf(judge.recipe, 'air')?.wrap ?? 0;
  const edge = ofMean(
    series,
    'edgeLightness',
    (v) => (v < 0 ? (-v * LIMITS.edgeLightness) / DARKEST_EDGE : v),
    (v) =>
      v < 0
        ? `the outline is ${(-v).toFixed(1)} L* darker than the mixture of performer and background it should be: ${finer}${wrap === 0 ? ', or give the air step a light wrap of .1 to .3 where the background is bright' : ''}`
        : `the outline is ${v.toFixed(1)} L* brighter than the mixture of performer and background it should be: ${wrap > 0 ? `lower the air step's light wrap from ${wrap.toFixed(2)}` : `${finer}, so that the old background goes from it`}`,
  );
  const rims = (own ? series.readings.rimBeside : series.readings.rimLight) ?? [],
    rim = middle(values(rims)),
    most = own ? OWN_RIM : OTHER_RIM;
  // A fringe beyond the outline brightens its rim too, and is the hardness's matter.
  const strange = Math.abs(rim) > most && !(own && fringed(series));
  if (strange && (edge === null || edge.off <= LIMITS.edgeLightness)) {
    const unit = own ? 'L*' : 'stops',
      way = rim < 0 ? 'darker' : 'brighter';
    judge.add('edgeLightness', unit, 'peel', {
      value: rim,
      worst: worstBy(rims, (q) => Math.sign(rim) * q),
      off: (LIMITS.edgeLightness * Math.abs(rim)) / most,
      readings: rims,
      needed: own
        ? `within ${most} L* of what this recipe renders`
        : `within ${most} stop, beyond the body's, of the take through the recipe`,
      advice: `the outline is ${Math.abs(rim).toFixed(1)} ${own ? 'L*' : 'stops'} ${way} than this recipe renders of the take: ${own ? 'something changed it after the join, so render again' : `${finer}, and render again`}`,
    });
  } else if (edge === null) judge.none('edgeLightness', 'L*', 'peel', 'too little of the outline is seen');
  else judge.add('edgeLightness', 'L*', 'peel', edge);
}
