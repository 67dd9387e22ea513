/** Judges what the take through the recipe tells: exposure, size, contact; and whether the performer is solid, and its outline's hardness. */
import { quantile } from './frame.js';
import { middle, stepOf, triple, worstBy, type Judge } from './judging.js';
import {
  HARDEST_RIM,
  OTHER_HARDEST_RIM,
  HOLES,
  HOLES_ALONE,
  LIMITS,
  OWN_BEYOND,
  OWN_COVER,
  OWN_EXPOSURE,
  OWN_SIZE,
  OWN_THROUGH,
  RING,
  RING_ALONE,
  SAME,
  SOFTEST_OUTLINE,
  THROUGH_SURE,
  THROUGH_UNTOLD,
  THROWN_BACK,
} from './limits.js';
import type { Reading, Series } from './series.js';

const values = (list: readonly Reading[] | undefined): number[] => (list ?? []).map((r) => r.value);

/** Whether the join is this recipe's own picture, so that pixel lies on pixel. */
export function isOwn(series: Series): boolean {
  const explained = values(series.readings.explained);
  return explained.length > 0 && quantile(explained, 0.5) >= SAME;
}

/** How far the performer, or what is left about it, goes on beyond its outline beside what the recipe renders; 1 is the limit. Of its own picture alone. */
function fringe(series: Series): number {
  if (!isOwn(series)) return 0;
  const cover = middle(values(series.readings.coverBeside)),
    beyond = middle(values(series.readings.beyondBeside));
  return Math.max(
    Number.isFinite(cover) ? cover / OWN_COVER : 0,
    Number.isFinite(beyond) ? Math.abs(beyond) / OWN_BEYOND : 0,
  );
}

export const fringed = (series: Series): boolean => fringe(series) > 1;

const NO_TAKE = 'plate and take of the recipe could not be rendered again, or the performer is too small';

export function judgeExposure(series: Series, judge: Judge): void {
  const list = series.readings.exposure ?? [],
    slope = stepOf(judge.recipe, 'light')?.slope ?? [1, 1, 1];
  if (list.length === 0) {
    judge.none('exposure', 'stops', 'light', NO_TAKE);
    return;
  }
  const v = middle(values(list)),
    own = isOwn(series),
    limit = own ? OWN_EXPOSURE : LIMITS.exposure;
  judge.add('exposure', 'stops', 'light', {
    value: v,
    worst: worstBy(list, Math.abs),
    off: Math.abs(v),
    limit,
    needed: `within ${limit} stop of the take through the recipe`,
    advice: `the performer is ${Math.abs(v).toFixed(1)} stops ${v > 0 ? 'brighter' : 'darker'} than the take under this recipe's light step (slope ${triple(slope)}): ${own ? 'something changed it after the join, so render again' : `render again from this recipe, or set the slope to about ${triple(slope.map((s) => s * 2 ** v))} if this is meant`}`,
  });
}

export function judgeSize(series: Series, judge: Judge): void {
  const list = series.readings.size ?? [];
  if (list.length === 0) {
    judge.none(
      'size',
      'ratio',
      'ride',
      (series.readings.exposure ?? []).length === 0
        ? NO_TAKE
        : 'the performer is cut by the picture or by what stands in front',
    );
    return;
  }
  const v = middle(values(list)),
    limit = isOwn(series) ? OWN_SIZE : LIMITS.size;
  judge.add('size', 'ratio', 'ride', {
    value: v,
    worst: worstBy(list, (q) => Math.abs(q - 1)),
    off: Math.abs(v - 1),
    limit,
    needed: `within ${(100 * limit).toFixed(0)} % of the recipe's`,
    advice: `the performer is ${Math.abs(100 * (v - 1)).toFixed(0)} % ${v > 1 ? 'larger' : 'smaller'} than the ride puts it: render again from this recipe, or mark the stand's top where it should be`,
  });
}

/** Contact and what floor or glass throw back, of a join that is this recipe's own: another picture's bodies hide the sky otherwise. */
export function judgeContact(series: Series, judge: Judge): void {
  const contact = series.readings.contact ?? [],
    back = series.readings.thrownBack ?? [],
    ground = stepOf(judge.recipe, 'ground');
  if (ground === null || (contact.length === 0 && back.length === 0)) {
    judge.none(
      'contact',
      'share',
      'ground',
      ground === null
        ? "the recipe's ground step is off or absent"
        : (series.readings.exposure ?? []).length === 0
          ? NO_TAKE
          : 'the recipe darkens no ground close to the foot',
    );
    return;
  }
  if (!isOwn(series)) {
    judge.none(
      'contact',
      'share',
      'ground',
      "the picture is not this recipe's own, and how a body darkens the ground at its foot goes with its pose",
    );
    return;
  }
  const c = contact.length === 0 ? 1 : middle(values(contact)),
    b = back.length === 0 || ground.reflection === undefined ? 1 : middle(values(back)),
    mirror = (1 - b) / (1 - THROWN_BACK) > (1 - c) / (1 - LIMITS.contact);
  const v = mirror ? b : c,
    list = mirror ? back : contact;
  judge.add('contact', 'share', 'ground', {
    value: v,
    worst: list.length === 0 ? null : worstBy(list, (q) => 1 - q),
    off: v < 1 ? ((1 - v) / (1 - (mirror ? THROWN_BACK : LIMITS.contact))) * LIMITS.contact : 0,
    readings: list,
    advice: mirror
      ? `the ground throws back ${(100 * Math.max(0, v)).toFixed(0)} % of the performer that the recipe asks for: see that the ground step's reflection is on, and render again`
      : `the ground at the performer's foot is darkened by ${(100 * Math.max(0, v)).toFixed(0)} % of what the recipe asks, so it seems to float: see that the ground step's contact is on (strength ${ground.contactStrength.toFixed(2)} now), and render again`,
  });
}

export function judgeSolid(series: Series, judge: Judge): void {
  const list = series.readings.through ?? [],
    own = isOwn(series),
    taken = own ? middle(values(series.readings.takeThrough)) : NaN,
    sd = series.through?.sd ?? 0;
  const told = Number.isFinite(taken) || (series.through !== null && THROUGH_SURE * sd < THROUGH_UNTOLD);
  const v = Number.isFinite(taken) ? taken : told ? series.through!.share : 0;
  const limit = own && Number.isFinite(taken) ? OWN_THROUGH : Math.max(LIMITS.solid, THROUGH_SURE * sd),
    beside = series.readings.holes ?? [],
    alone = series.readings.holesAlone ?? [],
    holes = beside.length > 0 ? beside : alone,
    most = beside.length > 0 ? HOLES : HOLES_ALONE,
    h = holes.length === 0 ? 0 : middle(values(holes)),
    holed = h > most && v <= limit;
  if (!told && !holed) {
    judge.none(
      'solid',
      'share',
      'peel',
      series.through === null
        ? 'too little of the performer is covered, or the plate behind it has no pattern'
        : `the plate behind the performer has too little pattern, or the coat too much, to tell less than ${(100 * THROUGH_SURE * sd).toFixed(0)} % of it`,
    );
    return;
  }
  const peel = stepOf(judge.recipe, 'peel');
  const mend =
    peel?.method === 'screen'
      ? 'mark with "keep" what goes lost though it is the performer\'s, or light the screen more evenly'
      : 'draw the outline to where the performer ends, and "keep" what lies within';
  judge.add('solid', 'share', 'peel', {
    value: holed ? h : v,
    worst: holed || list.length > 0 ? worstBy(holed ? holes : list, (q) => q) : null,
    off: holed ? h : v,
    limit: holed ? most : limit,
    readings: holed ? holes : list,
    needed: holed
      ? `at most ${100 * most} % of the body in holes`
      : `at most ${(100 * limit).toFixed(0)} % of the plate seen through`,
    advice: holed
      ? `the plate shows in holes that make ${(100 * h).toFixed(1)} % of the body: ${mend}`
      : `the plate shows through the performer by ${(100 * v).toFixed(0)} %: ${mend}`,
  });
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

export function judgeHardness(series: Series, judge: Judge): void {
  const seen = series.readings.edgeHardness ?? [],
    rims = series.readings.rim ?? [],
    peel = stepOf(judge.recipe, 'peel');
  const over = fringe(series);
  if (over > 1) {
    const cover = series.readings.coverBeside ?? [],
      l = middle(values(series.readings.beyondBeside)),
      c = middle(values(cover));
    judge.add('edgeHardness', 'share', 'peel', {
      value: c,
      worst: worstBy(series.readings.beyondBeside!, Math.abs),
      off: LIMITS.edgeHardness * over,
      readings: series.readings.beyondBeside!,
      needed: `at most ${100 * OWN_COVER} % of the performer and ${OWN_BEYOND} L* beyond the outline that the recipe renders`,
      advice: `the ground just beyond the outline is ${Math.abs(l).toFixed(1)} L* ${l > 0 ? 'brighter' : 'darker'} than this recipe renders, as by ${(100 * Math.abs(c)).toFixed(0)} % of the performer: a fringe was left there or the matte was softened after the join; render again${peel?.method === 'outline' ? ', or draw the outline closer' : ''}`,
    });
    return;
  }
  const ring = ringOf(series);
  if (ring !== null && ring.over > 1) {
    judge.add('edgeHardness', 'L*', 'peel', {
      value: ring.value,
      worst: worstBy(ring.list, (q) => q),
      off: LIMITS.edgeHardness * ring.over,
      readings: ring.list,
      needed: `at most ${ring.limit.toFixed(1)} L* brighter than ${ring.what === 'rim' ? 'a mixture' : 'the plate'}`,
      advice: `a bright ring is left about the performer: ${ring.what === 'rim' ? 'where the matte covers little' : 'just beyond the matte'} the picture is ${ring.value.toFixed(1)} L* brighter than ${ring.what === 'rim' ? 'performer and plate mixed' : 'the plate'}: ${peel?.method === 'screen' ? "peel again, with the screen's light taken out at the outline (spill 1)" : 'draw the outline closer'}, and render again`,
    });
    return;
  }
  if (seen.length === 0 && rims.length === 0) {
    judge.none('edgeHardness', 'ratio', 'peel', 'too little of the outline has contrast');
    return;
  }
  const rim = rims.length === 0 ? NaN : middle(values(rims));
  const hardest = isOwn(series) ? HARDEST_RIM : OTHER_HARDEST_RIM;
  if (rim < hardest) {
    judge.add('edgeHardness', 'ratio', 'peel', {
      value: rim,
      worst: worstBy(rims, (q) => -q),
      off: (LIMITS.edgeHardness * hardest) / Math.max(0.01, rim),
      readings: rims,
      needed: `from ${hardest} of the recipe's rim`,
      advice: `the matte's rim is ${(100 * rim).toFixed(0)} % as wide as the recipe makes it, cut out hard: render join and matte again from this recipe`,
    });
    return;
  }
  if (seen.length === 0) {
    judge.none('edgeHardness', 'ratio', 'peel', 'too little of the outline has contrast');
    return;
  }
  const v = middle(values(seen)),
    least = LIMITS.edgeHardness,
    most = SOFTEST_OUTLINE;
  const off =
    v < least ? LIMITS.edgeHardness * (least / Math.max(0.02, v)) : v > most ? LIMITS.edgeHardness * (v / most) : 0;
  judge.add('edgeHardness', 'ratio', 'peel', {
    value: v,
    worst: worstBy(seen, (q) => Math.abs(Math.log(Math.max(0.02, q)))),
    off: off === 0 ? 0 : Math.max(off, LIMITS.edgeHardness * 1.001),
    needed: `${least.toFixed(2)} to ${most.toFixed(2)} of a mixture's`,
    advice:
      v < least
        ? `the outline is cut out hard: where the matte covers little the picture shows ${(100 * v).toFixed(0)} % of what it should: ${peel?.method === 'outline' ? 'soften the outline, or ' : ''}peel again with a soft matte and render again`
        : `the outline goes on beyond the matte (${v.toFixed(1)} times what a mixture shows where little is covered), as a fringe of the old background does: ${peel?.method === 'screen' ? 'peel again' : 'draw the outline closer'}, and render again`,
  });
}

/** White balance beside the take: stops by which red and blue stand off; null where nothing tells. */
export function castBeside(
  series: Series,
): { readonly red: number; readonly blue: number; readonly own: boolean } | null {
  const red = values(series.readings.lightRed),
    blue = values(series.readings.lightBlue);
  return red.length === 0 ? null : { red: middle(red), blue: middle(blue), own: isOwn(series) };
}
