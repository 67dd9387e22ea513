/**
 * Judges the performer's shadow: where it falls, how dark it is and, of the recipe's own picture, its colour
 * (../light/shadow.ts and ../light/surround.ts read it).
 */
import type { GroundStep, Recipe } from '../../join/types.js';
import { quantile } from '../reader/frame.js';
import { LIMITS, OTHER_GROUND_COLOUR, OTHER_GROUND_STOPS, OWN_TINT, SHADOW_DARKER, SHADOW_LIGHTER } from '../limits.js';
import type { Reading, Series } from '../reader/series.js';
import { middle, stepOf, triple, turnedByHand, values, worstBy, type Judge, type Told } from './judging.js';
import { isOwn } from './own-picture.js';

/** Degrees from which no shadow at all was found. */
const NONE_FOUND = 179;

/** Share of the contact from which it is whole: where it is gone the rest of the shade has another colour. */
const CONTACT_WHOLE = 0.8;

/**
 * Adds `shadow`: degrees between the shadow and where it should fall, too dark or too light counted in parts of that
 * limit; or the stops by which its colour is off.
 */
export function judgeShadow(series: Series, judge: Judge): void {
  const list = series.readings.shadow ?? [],
    ground = stepOf(judge.recipe, 'ground');
  if (list.length === 0) {
    judge.none('shadow', 'deg', 'ground', noShadow(judge.recipe));
    return;
  }
  const stops = values(series.readings.shadowStops),
    strange = ground === null ? null : incomparable(ground);
  const aside = quantile(values(list), 0.5),
    dark = stops.length === 0 || strange !== null ? 0 : quantile(stops, 0.5);
  const through = ground?.transmission ?? [1, 1, 1],
    over = dark > 0 ? dark / SHADOW_LIGHTER : -dark / SHADOW_DARKER,
    wrong = aside > LIMITS.shadow,
    far = over > 1,
    tinted = wrong || far ? null : tintOver(series, through);
  if (tinted !== null) {
    judge.add('shadow', 'stops', 'ground', tinted);
    return;
  }
  const turned = turnedByHand(ground);
  judge.add('shadow', 'deg', 'ground', {
    value: aside,
    worst: worstBy(list, (x) => x),
    off: !wrong && far ? LIMITS.shadow * over : aside,
    advice: wrong
      ? fallsElsewhere(aside, middle(values(series.readings.shadowTurn)), ground?.azimuthDeg ?? 0)
      : far
        ? otherDarkness(dark, through)
        : '',
    ...(turned === null ? {} : { untold: `it lies where this recipe's key throws it, but ${turned}` }),
    ...(strange === null ? {} : { needed: `at most ${LIMITS.shadow}° aside; how dark is not judged: ${strange}` }),
  });
}

/** Why no shadow was looked for; where the recipe lays none, that one may be missing. */
function noShadow(recipe: Recipe): string {
  const ground = recipe.steps.find((s) => s.step === 'ground');
  if (ground?.step !== 'ground' || !ground.on)
    return 'the recipe lays no shadow, its ground step is off or absent: look whether the plate throws shadows';
  if (!ground.shadow)
    return (
      `the recipe lays no cast shadow (${ground.why}): look whether the plate throws shadows, ` +
      'for then one is missing here'
    );
  return 'no shadow is to be seen by rights: it falls behind the performer, out of the picture or on marked surfaces';
}

/**
 * Why the plate's own shadows do not tell how dark the performer's should be; null where they do. The share of light
 * that a shadow leaves is alike on matt ground under one sky; wet, shiny or walled-in ground leaves another, and such
 * ground differs in brightness or colour. Recipes of before do not say.
 */
function incomparable(ground: GroundStep): string | null {
  if (ground.measuredOn === null) return 'no shadow of the plate could be measured';
  if (ground.measuredOn === undefined || ground.litLinear === undefined) return null;
  const [r, g, b] = ground.measuredOn.map((v, c) =>
    Math.log2(Math.max(1e-4, v) / Math.max(1e-4, ground.litLinear![c]!)),
  ) as [number, number, number];
  if (Math.abs(g) > OTHER_GROUND_STOPS)
    return (
      `the plate's shadow that was measured lies on ground ${Math.abs(g).toFixed(1)} stops ` +
      `${g > 0 ? 'brighter' : 'darker'} than where the performer stands`
    );
  return Math.max(Math.abs(r - g), Math.abs(b - g)) > OTHER_GROUND_COLOUR
    ? "the plate's shadow that was measured lies on ground of another colour than where the performer stands"
    : null;
}

function fallsElsewhere(aside: number, turn: number, azimuthDeg: number): string {
  if (aside >= NONE_FOUND)
    return (
      "the performer throws no shadow where the plate's light asks for one: " +
      "switch the ground step's shadow on and render again"
    );
  const way = turn > 0 ? 'clockwise' : 'against the clock';
  return (
    `the performer's shadow lies ${aside.toFixed(0)}° aside of where the plate's key throws it and would have to ` +
    `be turned ${way} in the picture: correct the ground step's azimuth (${azimuthDeg.toFixed(0)}° now) and render ` +
    'again'
  );
}

function otherDarkness(dark: number, through: readonly number[]): string {
  const [how, does] = dark > 0 ? ['lighter', 'brightens'] : ['darker', 'darkens'],
    lets = triple(through.map((t) => Math.min(1, t * 2 ** dark)));
  return (
    `the shadow is ${Math.abs(dark).toFixed(1)} stops ${how} than the plate's own: ` +
    `it should let through ${triple(through)} of the light, as the ground step says, ` +
    `and lets through about ${lets}; render again, or look what else ${does} it`
  );
}

/** Of the recipe's own picture, where the contact is whole, another colour than it renders; null within the limit. */
function tintOver(series: Series, through: readonly number[]): Told | null {
  const whole = !(middle(values(series.readings.contact)) < CONTACT_WHOLE),
    list: readonly Reading[] = isOwn(series) && whole ? (series.readings.shadowTint ?? []) : [],
    tint = list.length === 0 ? 0 : middle(values(list));
  if (!(Math.abs(tint) > OWN_TINT)) return null;
  return {
    value: tint,
    worst: worstBy(list, Math.abs),
    off: (LIMITS.shadow * Math.abs(tint)) / OWN_TINT,
    readings: list,
    needed: `within ${OWN_TINT} stop, red over blue, of what the recipe renders`,
    advice:
      `the shadow is ${Math.abs(tint).toFixed(1)} stops ${tint > 0 ? 'redder' : 'bluer'} than this recipe renders: ` +
      `it should let through ${triple(through)} of red, green and blue, as the ground step says; render again`,
  };
}
