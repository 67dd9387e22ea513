/**
 * Judges whether the plate shows through the performer, as a whole or in holes (../edge/see-through.ts and
 * ../edge/solid.ts read it).
 */
import type { PeelStep } from '../../join/performer-steps.js';
import { HOLES, HOLES_ALONE, LIMITS, OWN_THROUGH, THROUGH_SURE, THROUGH_UNTOLD } from '../limits.js';
import type { Reading, Series } from '../reader/series.js';
import { middle, stepOf, values, worstBy, type Judge, type Told } from './judging.js';
import { isOwn } from './own-picture.js';

/** Adds `solid`: the share of the plate that is seen through the performer, or of the performer that is holes. */
export function judgeSolid(series: Series, judge: Judge): void {
  const through = throughOf(series),
    holes = holesOf(series),
    share = through?.share ?? 0,
    mend = mendOf(stepOf(judge.recipe, 'peel'));
  if (holes.share > holes.most && share <= limitOf(series)) judge.add('solid', 'share', 'peel', holed(holes, mend));
  else if (through === null) judge.none('solid', 'share', 'peel', untold(series));
  else judge.add('solid', 'share', 'peel', seenThrough(series, through, mend));
}

/**
 * Share of the plate that is seen through the whole performer: of the recipe's own picture beside it, else by the plate
 * alone; null where neither tells.
 */
function throughOf(series: Series): { readonly share: number; readonly sd?: number } | null {
  const taken = takenOf(series);
  if (Number.isFinite(taken)) return { share: taken };
  return series.through !== null && THROUGH_SURE * series.through.sd < THROUGH_UNTOLD ? series.through : null;
}

function takenOf(series: Series): number {
  return isOwn(series) ? middle(values(series.readings.takeThrough)) : NaN;
}

function limitOf(series: Series): number {
  return Number.isFinite(takenOf(series))
    ? OWN_THROUGH
    : Math.max(LIMITS.solid, THROUGH_SURE * (series.through?.sd ?? 0));
}

interface HolesRead {
  readonly list: readonly Reading[];
  readonly share: number;
  readonly most: number;
}

/** Share of the body in holes: beside the take where it is told, else by the plate alone. */
function holesOf(series: Series): HolesRead {
  const beside = series.readings.holes ?? [],
    list = beside.length > 0 ? beside : (series.readings.holesAlone ?? []);
  return {
    list,
    share: list.length === 0 ? 0 : middle(values(list)),
    most: beside.length > 0 ? HOLES : HOLES_ALONE,
  };
}

function untold(series: Series): string {
  if (series.through === null) return 'too little of the performer is covered, or the plate behind it has no pattern';
  const least = (100 * THROUGH_SURE * series.through.sd).toFixed(0);
  return (
    'the plate behind the performer has too little pattern, or the coat too much, ' +
    `to tell less than ${least} % of it`
  );
}

function mendOf(peel: PeelStep | null): string {
  return peel?.method === 'screen'
    ? 'mark with "keep" what goes lost though it is the performer\'s, or light the screen more evenly'
    : 'draw the outline to where the performer ends, and "keep" what lies within';
}

function holed({ list, share, most }: HolesRead, mend: string): Told {
  return {
    value: share,
    worst: worstBy(list, (q) => q),
    off: share,
    limit: most,
    readings: list,
    needed: `at most ${100 * most} % of the body in holes`,
    advice: `the plate shows in holes that make ${(100 * share).toFixed(1)} % of the body: ${mend}`,
  };
}

function seenThrough(
  series: Series,
  { share, sd }: { readonly share: number; readonly sd?: number },
  mend: string,
): Told {
  const list = series.readings.through ?? [],
    limit = limitOf(series);
  return {
    value: share,
    ...(sd === undefined ? {} : { sd }),
    worst: list.length > 0 ? worstBy(list, (q) => q) : null,
    off: share,
    limit,
    readings: list,
    needed: `at most ${(100 * limit).toFixed(0)} % of the plate seen through`,
    advice: `the plate shows through the performer by ${(100 * share).toFixed(0)} %: ${mend}`,
  };
}
