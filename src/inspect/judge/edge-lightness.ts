/**
 * Judges an outline darker or brighter than it should be: by itself (../edge/edges.ts) and beside the take
 * (../edge/outline-beside.ts).
 */
import { DARKEST_EDGE, LIMITS, OTHER_RIM, OWN_RIM } from '../limits.js';
import type { Series } from '../reader/series.js';
import { middle, ofMean, passesAlone, peelWayOut, stepOf, values, worstBy, type Judge, type Told } from './judging.js';
import { fringe, isOwn } from './own-picture.js';

/**
 * Adds `edgeLightness`: how much brighter (negative: darker) the outline is than the mixture that it should be, in L*,
 * or in stops beside the take.
 */
export function judgeEdgeLightness(series: Series, judge: Judge): void {
  const alone = besideMixture(series, judge),
    take = passesAlone(alone, LIMITS.edgeLightness) ? besideTake(series, judge) : null;
  if (take !== null) judge.add('edgeLightness', isOwn(series) ? 'L*' : 'stops', 'peel', take);
  else if (alone === null) judge.none('edgeLightness', 'L*', 'peel', 'too little of the outline is seen');
  else judge.add('edgeLightness', 'L*', 'peel', alone);
}

function besideMixture(series: Series, judge: Judge): Told | null {
  const mend = peelWayOut(stepOf(judge.recipe, 'peel')),
    wrap = stepOf(judge.recipe, 'air')?.wrap ?? 0;
  return ofMean(
    series,
    'edgeLightness',
    (v) => (v < 0 ? (-v * LIMITS.edgeLightness) / DARKEST_EDGE : v),
    (v) => (v < 0 ? darker(v, mend, wrap) : brighter(v, mend, wrap)),
  );
}

function darker(v: number, mend: string, wrap: number): string {
  const wrapped = wrap === 0 ? ', or give the air step a light wrap of .1 to .3 where the background is bright' : '';
  return (
    `the outline is ${(-v).toFixed(1)} L* darker than the mixture of performer and background it should be: ` +
    `${mend}${wrapped}`
  );
}

function brighter(v: number, mend: string, wrap: number): string {
  const wayOut =
    wrap > 0
      ? `lower the air step's light wrap from ${wrap.toFixed(2)}`
      : `${mend}, so that the old background goes from it`;
  return (
    `the outline is ${v.toFixed(1)} L* brighter than the mixture of performer and background it should be: ` +
    `${wayOut}`
  );
}

/**
 * The rim beside the one rendered again, in L* of the recipe's own picture, in stops beyond the body's of another; null
 * within the limit.
 */
function besideTake(series: Series, judge: Judge): Told | null {
  const own = isOwn(series),
    list = (own ? series.readings.rimBeside : series.readings.rimLight) ?? [],
    rim = middle(values(list)),
    most = own ? OWN_RIM : OTHER_RIM;
  // A fringe beyond the outline brightens its rim too, and is the hardness's matter.
  if (!(Math.abs(rim) > most) || (own && fringe(series) > 1)) return null;
  const mend = own
    ? 'something changed it after the join, so render again'
    : `${peelWayOut(stepOf(judge.recipe, 'peel'))}, and render again`;
  return {
    value: rim,
    worst: worstBy(list, (q) => Math.sign(rim) * q),
    off: (LIMITS.edgeLightness * Math.abs(rim)) / most,
    readings: list,
    needed: own
      ? `within ${most} L* of what this recipe renders`
      : `within ${most} stop, beyond the body's, of the take through the recipe`,
    advice:
      `the outline is ${Math.abs(rim).toFixed(1)} ${own ? 'L*' : 'stops'} ${rim < 0 ? 'darker' : 'brighter'} than ` +
      `this recipe renders of the take: ${mend}`,
  };
}
