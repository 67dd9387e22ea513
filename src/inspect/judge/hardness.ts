/**
 * Judges the outline's hardness: a fringe beyond it, a bright ring about it, a rim cut out hard, and what little cover
 * shows (../edge/edge-slope.ts, ../edge/halo.ts, ../edge/outline-beside.ts).
 */
import type { PeelStep } from '../../join/performer-steps.js';
import {
  HARDEST_RIM,
  LIMITS,
  OTHER_HARDEST_RIM,
  OWN_BEYOND,
  OWN_COVER,
  RING,
  RING_ALONE,
  SOFTEST_OUTLINE,
} from '../limits.js';
import type { Reading, Series } from '../reader/series.js';
import { middle, stepOf, values, worstBy, type Judge, type Told } from './judging.js';
import { fringe, isOwn } from './own-picture.js';

/**
 * The first of fringe, ring and hard rim that is over its limit; else what the outline shows where little is covered.
 */
export function judgeHardness(series: Series, judge: Judge): void {
  const peel = stepOf(judge.recipe, 'peel'),
    over = fringe(series);
  if (over > 1) {
    judge.add('edgeHardness', 'share', 'peel', fringeLeft(series, over, peel));
    return;
  }
  const ring = ringOf(series);
  if (ring !== null && ring.over > 1) {
    judge.add('edgeHardness', 'L*', 'peel', ringLeft(ring, peel));
    return;
  }
  const told = hardRim(series) ?? coverShown(series, peel);
  if (told === null) judge.none('edgeHardness', 'ratio', 'peel', 'too little of the outline has contrast');
  else judge.add('edgeHardness', 'ratio', 'peel', told);
}

function fringeLeft(series: Series, over: number, peel: PeelStep | null): Told {
  const list = series.readings.beyondBeside!,
    cover = middle(values(series.readings.coverBeside)),
    l = middle(values(list)),
    closer = peel?.method === 'outline' ? ', or draw the outline closer' : '';
  return {
    value: cover,
    worst: worstBy(list, Math.abs),
    off: LIMITS.edgeHardness * over,
    readings: list,
    needed:
      `at most ${100 * OWN_COVER} % of the performer and ${OWN_BEYOND} L* beyond the outline that the recipe ` +
      'renders',
    advice:
      `the ground just beyond the outline is ${Math.abs(l).toFixed(1)} L* ${l > 0 ? 'brighter' : 'darker'} than ` +
      `this recipe renders, as by ${(100 * Math.abs(cover)).toFixed(0)} % of the performer: ` +
      `a fringe was left there or the matte was softened after the join; render again${closer}`,
  };
}

interface Ring {
  readonly what: 'rim' | 'beyond';
  readonly value: number;
  readonly limit: number;
  readonly over: number;
  readonly list: readonly Reading[];
}

/** The bright ring about another picture's performer: of thin rim and bare ground the one farther over its limit. */
function ringOf(series: Series): Ring | null {
  if (isOwn(series)) return null;
  const rim = series.readings.haloRim ?? [],
    beyond = series.readings.haloBeyond ?? [],
    asked = values(series.readings.haloAsked);
  const kinds = [
    { what: 'rim' as const, list: rim, limit: asked.length === 0 ? RING_ALONE : RING + Math.max(0, middle(asked)) },
    { what: 'beyond' as const, list: beyond, limit: RING },
  ]
    .filter((k) => k.list.length > 0)
    .map((k) => {
      const value = middle(values(k.list));
      return { ...k, value, over: value / k.limit };
    });
  return kinds.length === 0 ? null : kinds.reduce((w, k) => (k.over > w.over ? k : w));
}

function ringLeft({ what, value, limit, over, list }: Ring, peel: PeelStep | null): Told {
  const [where, beside] =
      what === 'rim'
        ? ['where the matte covers little', 'performer and plate mixed']
        : ['just beyond the matte', 'the plate'],
    mend =
      peel?.method === 'screen'
        ? "peel again, with the screen's light taken out at the outline (spill 1)"
        : 'draw the outline closer';
  return {
    value,
    worst: worstBy(list, (q) => q),
    off: LIMITS.edgeHardness * over,
    readings: list,
    needed: `at most ${limit.toFixed(1)} L* brighter than ${what === 'rim' ? 'a mixture' : 'the plate'}`,
    advice:
      `a bright ring is left about the performer: ${where} the picture is ${value.toFixed(1)} L* brighter than ` +
      `${beside}: ${mend}, and render again`,
  };
}

/** A matte's rim that is narrower than the recipe makes it; null within the limit. */
function hardRim(series: Series): Told | null {
  const list = series.readings.rim ?? [],
    rim = list.length === 0 ? NaN : middle(values(list)),
    hardest = isOwn(series) ? HARDEST_RIM : OTHER_HARDEST_RIM;
  if (!(rim < hardest)) return null;
  return {
    value: rim,
    worst: worstBy(list, (q) => -q),
    off: (LIMITS.edgeHardness * hardest) / Math.max(0.01, rim),
    readings: list,
    needed: `from ${hardest} of the recipe's rim`,
    advice:
      `the matte's rim is ${(100 * rim).toFixed(0)} % as wide as the recipe makes it, cut out hard: ` +
      'render join and matte again from this recipe',
  };
}

/** What the picture shows where its matte covers little, in parts of a mixture's; null where too little is seen. */
function coverShown(series: Series, peel: PeelStep | null): Told | null {
  const seen = series.readings.edgeHardness ?? [];
  if (seen.length === 0) return null;
  const v = middle(values(seen)),
    least = LIMITS.edgeHardness,
    most = SOFTEST_OUTLINE,
    over = v < least ? least / Math.max(0.02, v) : v > most ? v / most : 0;
  return {
    value: v,
    worst: worstBy(seen, (q) => Math.abs(Math.log(Math.max(0.02, q)))),
    off: over === 0 ? 0 : Math.max(LIMITS.edgeHardness * over, LIMITS.edgeHardness * 1.001),
    needed: `${least.toFixed(2)} to ${most.toFixed(2)} of a mixture's`,
    advice: v < least ? cutHard(v, peel) : goesOn(v, peel),
  };
}

function cutHard(v: number, peel: PeelStep | null): string {
  const soften = peel?.method === 'outline' ? 'soften the outline, or ' : '';
  return (
    `the outline is cut out hard: where the matte covers little the picture shows ${(100 * v).toFixed(0)} % of ` +
    `what it should: ${soften}peel again with a soft matte and render again`
  );
}

function goesOn(v: number, peel: PeelStep | null): string {
  const mend = peel?.method === 'screen' ? 'peel again' : 'draw the outline closer';
  return (
    `the outline goes on beyond the matte (${v.toFixed(1)} times what a mixture shows where little is covered), ` +
    `as a fringe of the old background does: ${mend}, and render again`
  );
}
