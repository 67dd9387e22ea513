/** Judges what single pictures tell: outline, grain, sharpness, levels, light and shadow; and says in numbers what to change. */
import type { Recipe } from '../join/types.js';
import { quantile } from './frame.js';
import { castBeside, isOwn } from './judge-beside.js';
import { clock, mean, middle, ofMean, screenLeft, stepOf, triple, worstBy, type Judge } from './judging.js';
import {
  ALONG,
  BLACKEST,
  LIMITS,
  ONE_WAY,
  OTHER_GROUND_COLOUR,
  OTHER_GROUND_STOPS,
  OTHER_SHARPEST,
  OTHER_SOFTEST,
  OTHER_CAST,
  OTHER_VEIL,
  OTHER_WHITE,
  BURNT,
  TAKE_DOUBTS,
  OWN_CAST,
  OWN_SATURATION,
  OWN_SHARPEST,
  OWN_TINT,
  OWN_SPILL,
  OWN_SOFTEST,
  OWN_VEIL,
  SHADOW_DARKER,
  SHADOW_LIGHTER,
  SHARPEST,
  UNLIKE,
  WHITE_OVERSHOOT,
  WHITE_ROOM,
} from './limits.js';
import type { Reading, Series } from './series.js';

/** Brightness that steps where the mended plate meets the plate as filmed. */
export function judgeSeam(series: Series, judge: Judge): void {
  const list = series.readings.seam ?? [],
    erase = stepOf(judge.recipe, 'erase'),
    step = erase === null ? 'patch' : 'erase';
  if (list.length === 0) {
    judge.none(
      'seam',
      'coded',
      'erase',
      'nothing of the plate was erased or patched, or it was widened too, or the border is hidden',
    );
    return;
  }
  const v = mean(list),
    worst = worstBy(list, (q) => q);
  judge.add('seam', 'coded', step, {
    value: v,
    worst,
    off: v,
    advice: `brightness steps by ${(100 * v).toFixed(1)} % of the range where the mended part of the plate meets the picture, most on frame ${worst}: ${erase === null ? 'choose a moment of like light for the patch' : `grow the erased region (${erase.growPx} px now) so that nothing of its own shadow is cut${erase.shadowToo ? '' : ', erase its shadow too'}, or patch that part from another moment`}`,
  });
}

const values = (list: readonly Reading[] | undefined): number[] => (list ?? []).map((r) => r.value);

/** Log of the reading that a blur of 1 px adds; it goes nearly with the blur's square below 1 px (measured, bench/inspect-roc.ts). */
const PER_PX = 0.41;

/** Of the recipe's own picture: what is left of fine slopes along one direction, where much more is left square to it; else null. */
function oneWay(series: Series): { readonly along: number; readonly deg: number } | null {
  const along = middle(values(series.readings.softAlong)),
    across = middle(values(series.readings.softAcross));
  return isOwn(series) && along < ALONG && along < ONE_WAY * across
    ? { along, deg: middle(values(series.readings.softDeg)) }
    : null;
}

/** Beside the plate, and beside the take through the recipe; the one farther over its own limits is told. */
export function judgeBlur(series: Series, judge: Judge): void {
  const soft = stepOf(judge.recipe, 'air')?.softenPx ?? 0;
  const scaled = (v: number, least: number, most: number): number =>
    (LIMITS.blur * Math.log(v)) / Math.log(v < 1 ? least : most);
  const alone = ofMean(
    series,
    'blur',
    (v) => scaled(v, SHARPEST, 1 + LIMITS.blur),
    (v) => {
      const px = Math.sqrt(Math.abs(Math.log(v)) / PER_PX);
      return v < 1
        ? `the performer is sharper than the plate (its fine detail is ${(1 / v).toFixed(2)} times as strong as it leads to expect): raise the air step's softening from ${soft.toFixed(1)} to about ${Math.min(4, Math.hypot(soft, px)).toFixed(1)} px, and see that the take was not sharpened by the camera`
        : `the performer is softer than the plate (its fine detail is ${(1 / v).toFixed(2)} of what it leads to expect), as by a blur of about ${px.toFixed(1)} px: ${soft > 0.2 ? `lower the air step's softening from ${soft.toFixed(1)} to about ${Math.sqrt(Math.max(0, soft * soft - px * px)).toFixed(1)} px` : 'the take is softer than the plate; shoot again in focus or nearer'}`;
    },
  );
  const way = oneWay(series);
  if (way !== null) {
    const list = series.readings.softAlong!,
      ride = stepOf(judge.recipe, 'ride');
    judge.add('blur', 'ratio', 'ride', {
      value: way.along,
      worst: worstBy(list, (q) => -q),
      off: (LIMITS.blur * Math.log(Math.max(0.02, way.along))) / Math.log(ALONG),
      readings: list,
      needed: `from ${ALONG} of the slopes that the recipe renders, along every direction`,
      advice: `the performer is softer along one direction alone, ${way.deg.toFixed(0)}° from the horizontal, as by motion and not by the lens: the ride's motion blur (${(ride?.motionBlur ?? 0).toFixed(2)} now) was laid on twice or too long; render again`,
    });
    return;
  }
  const list = series.readings.takeBlur ?? [];
  const own = isOwn(series),
    [least, most] = own ? [OWN_SHARPEST, OWN_SOFTEST] : [OTHER_SHARPEST, OTHER_SOFTEST];
  const v = list.length === 0 ? NaN : mean(list),
    off = scaled(v, least, most);
  // A dark or flat coat reads soft beside any plate: where the take says that nothing was softened or sharpened, the plate must say it louder.
  const plate =
    alone !== null && !own && Math.abs(off) < LIMITS.blur / 2 ? { ...alone, off: alone.off / TAKE_DOUBTS } : alone;
  if (list.length > 0 && (plate === null || off > Math.max(plate.off, LIMITS.blur))) {
    judge.rows('blur', list);
    judge.add('blur', 'ratio', 'air', {
      value: v,
      worst: worstBy(list, (q) => scaled(q, least, most)),
      off,
      needed: `${least.toFixed(2)} to ${most.toFixed(2)} of the take's own through the recipe`,
      advice: `${own ? '' : 'the picture is not what this recipe renders now, and '}the performer is ${v < 1 ? `sharper than the take through the recipe (its fine detail is ${(1 / v).toFixed(2)} times as strong): something sharpened it after the join` : `softer than the take through the recipe (its fine detail is ${(1 / v).toFixed(2)} of it): something softened it after the join, or the air step's softening (${soft.toFixed(1)} px now) was lowered since`}; render again from this recipe, and ${v < 1 ? 'sharpen' : 'scale'} nothing afterwards`,
    });
  } else if (plate === null) judge.none('blur', 'ratio', 'air', 'too little contrast inside or outside');
  else judge.add('blur', 'ratio', 'air', plate);
}

export function judgeLevels(series: Series, judge: Judge): void {
  const small = 'the performer is too small',
    light = stepOf(judge.recipe, 'light'),
    air = stepOf(judge.recipe, 'air');
  const slope = light?.slope ?? [1, 1, 1],
    offset = light?.offset ?? [0, 0, 0];
  const lower = middle(values(series.readings.blackLinear));
  const black = ofMean(
    series,
    'blackLevel',
    (v) => (v > 0 ? v : (-v * LIMITS.blackLevel) / BLACKEST),
    (v) =>
      v > 0
        ? `the performer's blacks are lifted ${(100 * v).toFixed(0)} % above the plate's: lower the light step's offset from ${triple(offset, 3)} to about ${triple(
            offset.map((o) => o - lower),
            3,
          )}`
        : `the performer's blacks lie ${(-100 * v).toFixed(0)} % below the plate's: raise the air step's haze (${(air?.haze.amount ?? 0).toFixed(2)} now), or the light step's offset from ${triple(offset, 3)} to about ${triple(
            offset.map((o) => o - lower),
            3,
          )}`,
  );
  // Blacks that lie too deep are the plate's air that is missing.
  const own = isOwn(series),
    lifted = own ? (series.readings.veil ?? []) : (series.readings.takeBlack ?? []);
  const veil = lifted.length === 0 ? 0 : middle(values(lifted)),
    most3 = own ? OWN_VEIL : OTHER_VEIL;
  if (veil > most3 && (black === null || black.off <= LIMITS.blackLevel)) {
    judge.add('blackLevel', 'linear', 'light', {
      value: veil,
      worst: worstBy(lifted, (q) => q),
      off: (LIMITS.blackLevel * veil) / most3,
      readings: lifted,
      needed: `at most ${most3} of linear light above the take through the recipe`,
      advice: `${(100 * veil).toFixed(1)} % of light lies over the performer's blacks beside what this recipe renders of the take: ${
        own
          ? 'something changed the picture after the join, so render again'
          : `render again, or lower the light step's offset from ${triple(offset, 3)} to about ${triple(
              offset.map((o) => o - veil),
              3,
            )}`
      }`,
    });
  } else if (own && -veil > OWN_VEIL && (black === null || black.off <= LIMITS.blackLevel)) {
    judge.add('blackLevel', 'linear', 'light', {
      value: veil,
      worst: worstBy(lifted, (q) => -q),
      off: (-LIMITS.blackLevel * veil) / OWN_VEIL,
      readings: lifted,
      needed: `at most ${OWN_VEIL} of linear light below the take through the recipe`,
      advice: `${(-100 * veil).toFixed(1)} % of light was taken from the performer's blacks beside what this recipe renders of the take: something changed the picture after the join, so render again`,
    });
  } else if (black === null) judge.none('blackLevel', 'coded', 'light', small);
  else judge.add('blackLevel', 'coded', black.value < 0 ? 'air' : 'light', black);
  const stops = middle(values(series.readings.whiteStops)),
    brightest = series.readings.takeWhite ?? [],
    full = series.readings.whiteFull ?? [];
  const room = series.readings.whiteRoom ?? [],
    most =
      room.length === 0
        ? LIMITS.whiteLevel
        : Math.min(LIMITS.whiteLevel, Math.max(WHITE_OVERSHOOT, WHITE_ROOM * mean(room)));
  // Of the recipe's own picture exposure and veil tell it all.
  const over = own || brightest.length === 0 ? 0 : middle(values(brightest));
  const white = ofMean(
    series,
    'whiteLevel',
    (v) => Math.max(0, v),
    (v) =>
      `the performer's brightest parts are ${(100 * v).toFixed(0)} % (${stops.toFixed(1)} stops) brighter than anything in the plate: where its coat is no brighter than the set, lower the light step's slope from ${triple(slope)} to about ${triple(slope.map((s) => s * 2 ** -stops))}`,
  );
  // A pale coat before a dark set stands over all of it by right: only what is burnt out as well shows.
  const burnt = full.length === 0 || mean(full) > BURNT;
  if (white === null) judge.none('whiteLevel', 'coded', 'light', small);
  else if (over > OTHER_WHITE && (white.off <= most || !burnt))
    judge.add('whiteLevel', 'stops', 'light', {
      value: over,
      worst: worstBy(brightest, (q) => q),
      off: over,
      limit: OTHER_WHITE,
      readings: brightest,
      needed: `at most ${OTHER_WHITE} stop above the take through the recipe`,
      advice: `the performer's brightest parts are ${over.toFixed(1)} stops brighter than this recipe renders of the take: render again, or lower the light step's slope from ${triple(slope)} to about ${triple(slope.map((s) => s * 2 ** -over))}`,
    });
  else
    judge.add('whiteLevel', 'coded', 'light', {
      ...white,
      off: burnt ? white.off : Math.min(white.off, most),
      limit: most,
      needed: `at most ${most.toFixed(2)} of the coded range above the plate's brightest${most < LIMITS.whiteLevel ? `, ${WHITE_ROOM} of what is left there` : ''}, or less than ${100 * BURNT} % of it burnt out`,
    });
  const gain = [0, 1, 2].map((c) => middle(series.gains.map((g) => g[c]!)));
  const saturation = own ? middle(values(series.readings.saturation)) : 1,
    pale = Math.abs(Math.log(Number.isFinite(saturation) ? saturation : 1)) > OWN_SATURATION;
  const beside = castBeside(series),
    spilt = beside?.own === true && screenLeft(beside, stepOf(judge.recipe, 'peel')?.screen ?? 'green') > OWN_SPILL,
    cast2 = beside === null ? 0 : Math.hypot(beside.red, beside.blue),
    most2 = beside?.own === true ? OWN_CAST : OTHER_CAST;
  const colour = ofMean(
    series,
    'colour',
    Math.abs,
    (v) =>
      `the light on the performer and on the plate differ by ${v.toFixed(0)} in colour (${cast(gain)}): change the light step's slope from ${triple(slope)} to about ${triple(slope.map((s, c) => s * gain[c]!))}, unless its coat is of that colour`,
  );
  if (beside !== null && cast2 > most2 && !spilt && (colour === null || colour.off <= LIMITS.colour)) {
    judge.add('colour', 'stops', 'light', {
      value: cast2,
      worst: worstBy(series.readings.lightBlue!, Math.abs),
      off: (LIMITS.colour * cast2) / most2,
      readings: series.readings.lightBlue!,
      needed: `within ${most2} stop, red and blue over green, of the take through the recipe`,
      advice: `red stands ${signed(beside.red)} and blue ${signed(beside.blue)} stop over green beside the take under this recipe's light step: ${beside.own ? 'something changed the white balance after the join, so render again' : `render again, or change the light step's slope from ${triple(slope)} to about ${triple([slope[0] * 2 ** -beside.red, slope[1], slope[2] * 2 ** -beside.blue])} if the picture is this recipe's`}`,
    });
  } else if (pale && !spilt && (colour === null || colour.off <= LIMITS.colour)) {
    const list = series.readings.saturation!;
    judge.add('colour', 'ratio', 'light', {
      value: saturation,
      worst: worstBy(list, (q) => Math.abs(Math.log(q))),
      off: (LIMITS.colour * Math.abs(Math.log(saturation))) / OWN_SATURATION,
      readings: list,
      needed: `${(1 - OWN_SATURATION).toFixed(1)} to ${(1 + OWN_SATURATION).toFixed(1)} of the take's through the recipe`,
      advice: `the performer is ${saturation.toFixed(2)} times as saturated as this recipe renders (its light step's saturation is ${(light?.saturation ?? 1).toFixed(2)}): something changed it after the join, so render again`,
    });
  } else if (colour === null) judge.none('colour', 'CIEDE2000', 'light', small);
  else judge.add('colour', 'CIEDE2000', 'light', colour);
}

const signed = (v: number): string => `${v < 0 ? '−' : '+'}${Math.abs(v).toFixed(2)}`;

/** In which colours the performer stands out, from the factors that would take it away. */
function cast(gain: readonly number[]): string {
  const names = ['red', 'green', 'blue'],
    over = gain.map((g, c) => ({ c, k: 1 / g })).sort((a, b) => b.k - a.k)[0]!;
  return `too much ${names[over.c]!}, ${over.k.toFixed(2)} times`;
}

export function judgeLight(series: Series, judge: Judge): void {
  const list = series.readings.light ?? [],
    unlike = values(series.readings.lightUnlike);
  if (list.length === 0) {
    judge.none(
      'light',
      'deg',
      'light',
      stepOf(judge.recipe, 'ground') === null
        ? 'the recipe knows no key: its ground step is off or absent'
        : "the performer's shading shows no side",
    );
    return;
  }
  const v = mean(list),
    sum = (pick: 'from' | 'key'): [number, number] => [
      middle(series.sides.map((s) => s[pick][0])),
      middle(series.sides.map((s) => s[pick][1])),
    ];
  const from = sum('from'),
    key = sum('key'),
    relight = stepOf(judge.recipe, 'light')?.relight;
  const cos = (-from[0] * key[0] + from[1] * key[1]) / Math.max(1e-9, Math.hypot(...from) * Math.hypot(...key));
  const mirrored = cos > Math.cos((40 * Math.PI) / 180),
    sureEnough = quantile(unlike, 0.5) > UNLIKE;
  judge.add('light', 'deg', 'light', {
    value: v,
    worst: worstBy(list, (q) => q),
    off: sureEnough ? v : Math.min(v, LIMITS.light),
    advice: `the performer looks lit from ${clock(...from)} in the picture, the plate's key stands at ${clock(...key)}, ${v.toFixed(0)}° from it: ${mirrored ? 'mirror the take in the ride, which puts it right, or ' : ''}${relight !== undefined && relight.strength < 0.95 ? `relight further (strength ${relight.strength.toFixed(2)} now), or ` : ''}shoot again with the lamp on that side`,
  });
}

/** Why no shadow was looked for; where the recipe lays none, that one may be missing. */
function noShadow(recipe: Recipe): string {
  const ground = recipe.steps.find((s) => s.step === 'ground');
  if (ground?.step !== 'ground' || !ground.on)
    return 'the recipe lays no shadow, its ground step is off or absent: look whether the plate throws shadows';
  if (!ground.shadow)
    return `the recipe lays no cast shadow (${ground.why}): look whether the plate throws shadows, for then one is missing here`;
  return 'no shadow is to be seen by rights: it falls behind the performer, out of the picture or on marked surfaces';
}

/**
 * Why the plate's own shadows do not tell how dark the performer's should be; null where they do. The share of light that a shadow leaves is alike on
 * matt ground under one sky; wet, shiny or walled-in ground leaves another, and such ground differs in brightness or colour. Recipes of before do not say.
 */
function incomparable(ground: NonNullable<ReturnType<typeof stepOf<'ground'>>>): string | null {
  if (ground.measuredOn === null) return 'no shadow of the plate could be measured';
  if (ground.measuredOn === undefined || ground.litLinear === undefined) return null;
  const [r, g, b] = ground.measuredOn.map((v, c) =>
    Math.log2(Math.max(1e-4, v) / Math.max(1e-4, ground.litLinear![c]!)),
  ) as [number, number, number];
  if (Math.abs(g) > OTHER_GROUND_STOPS)
    return `the plate's shadow that was measured lies on ground ${Math.abs(g).toFixed(1)} stops ${g > 0 ? 'brighter' : 'darker'} than where the performer stands`;
  return Math.max(Math.abs(r - g), Math.abs(b - g)) > OTHER_GROUND_COLOUR
    ? "the plate's shadow that was measured lies on ground of another colour than where the performer stands"
    : null;
}

/** Share of the contact from which it is whole: where it is gone the rest of the shade has another colour. */
const CONTACT_WHOLE = 0.8;

export function judgeShadow(series: Series, judge: Judge): void {
  const list = series.readings.shadow ?? [],
    stops = values(series.readings.shadowStops),
    ground = stepOf(judge.recipe, 'ground');
  if (list.length === 0) {
    judge.none('shadow', 'deg', 'ground', noShadow(judge.recipe));
    return;
  }
  const strange = ground === null ? null : incomparable(ground);
  const v = quantile(values(list), 0.5),
    dark = stops.length === 0 || strange !== null ? 0 : quantile(stops, 0.5),
    turn = middle(values(series.readings.shadowTurn));
  const contact = middle(values(series.readings.contact)),
    tints = isOwn(series) && !(contact < CONTACT_WHOLE) ? (series.readings.shadowTint ?? []) : [],
    tint = tints.length === 0 ? 0 : middle(values(tints));
  const wrong = v > LIMITS.shadow,
    over = dark > 0 ? dark / SHADOW_LIGHTER : -dark / SHADOW_DARKER,
    far = over > 1,
    through = ground?.transmission ?? [1, 1, 1];
  const advice = wrong
    ? v >= 179
      ? "the performer throws no shadow where the plate's light asks for one: switch the ground step's shadow on and render again"
      : `the performer's shadow lies ${v.toFixed(0)}° aside of where the plate's key throws it and would have to be turned ${turn > 0 ? 'clockwise' : 'against the clock'} in the picture: correct the ground step's azimuth (${(ground?.azimuthDeg ?? 0).toFixed(0)}° now) and render again`
    : far
      ? `the shadow is ${Math.abs(dark).toFixed(1)} stops ${dark > 0 ? 'lighter' : 'darker'} than the plate's own: it should let through ${triple(through)} of the light, as the ground step says, and lets through about ${triple(through.map((t) => Math.min(1, t * 2 ** dark)))}; render again, or look what else ${dark > 0 ? 'brightens' : 'darkens'} it`
      : '';
  if (!wrong && !far && Math.abs(tint) > OWN_TINT) {
    judge.add('shadow', 'stops', 'ground', {
      value: tint,
      worst: worstBy(tints, Math.abs),
      off: (LIMITS.shadow * Math.abs(tint)) / OWN_TINT,
      readings: tints,
      needed: `within ${OWN_TINT} stop, red over blue, of what the recipe renders`,
      advice: `the shadow is ${Math.abs(tint).toFixed(1)} stops ${tint > 0 ? 'redder' : 'bluer'} than this recipe renders: it should let through ${triple(through)} of red, green and blue, as the ground step says; render again`,
    });
    return;
  }
  judge.add('shadow', 'deg', 'ground', {
    value: v,
    worst: worstBy(list, (x) => x),
    off: wrong ? v : far ? LIMITS.shadow * over : v,
    advice,
    ...(strange === null ? {} : { needed: `at most ${LIMITS.shadow}° aside; how dark is not judged: ${strange}` }),
  });
}
