/**
 * Judges the colour of the light: beside the plate's, white balance beside the take through the recipe, and how
 * saturated the performer is.
 */
import { LIMITS, OTHER_CAST, OWN_CAST, OWN_SATURATION, OWN_SPILL } from '../limits.js';
import { unlikeChange, unlikeUnderAnyLight, type CastReading, type Tint } from '../light/cast.js';
import type { Series } from '../reader/series.js';
import {
  middle,
  ofMean,
  passesAlone,
  screenLeft,
  stepOf,
  triple,
  values,
  worstBy,
  type Judge,
  type Told,
} from './judging.js';
import { castBeside, isOwn, type CastBeside } from './own-picture.js';

/**
 * Adds `colour`: stops or a ratio of saturation beside the take, standard deviations of the plate's own casts by
 * itself.
 */
export function judgeColour(series: Series, judge: Judge): void {
  const beside = castBeside(series),
    alone = byItsCoat(series, judge, beside, besidePlate(series, judge)),
    screen = stepOf(judge.recipe, 'peel')?.screen ?? 'green';
  // What the screen left is the spill's matter.
  const spilt = beside?.own === true && screenLeft(beside, screen) > OWN_SPILL,
    heard = !spilt && passesAlone(alone, LIMITS.colour),
    cast = beside === null ? null : castOver(series, judge, beside),
    saturation = saturationOver(series, judge);
  if (heard && cast !== null) judge.add('colour', 'stops', 'light', cast);
  else if (heard && saturation !== null) judge.add('colour', 'ratio', 'light', saturation);
  else if (alone === null) judge.none('colour', 'sd', 'light', 'the performer is too small');
  else judge.add('colour', 'sd', 'light', { ...alone, untold: untoldOf(beside, saturationAsked(judge)) });
}

/**
 * What a white balance may be off by and pass, by how many true pictures each limit names it on (docs/inspection.md,
 * colour by the plate alone).
 */
function untoldOf(beside: CastBeside | null, saturation: number): string {
  const card = 'something grey marked as a known tone, in the plate and in the take, would tell it';
  if (beside === null)
    return (
      'by the plate alone a white balance 1000 K off passes nine times in ten, one 2000 K off every second time, ' +
      `and how saturated it should be is not told: ${card}`
    );
  return beside.own
    ? 'it has the colours that this recipe gives it, but the white of the recipe itself is held against the plate ' +
        `alone, where one 1000 K off passes nine times in ten, and how saturated it should be is not told ` +
        `(the light step's saturation is ${saturation.toFixed(2)}): ${card}`
    : 'beside a take in another light or pose a white balance 1000 K off passes six times in seven, one 2000 K off ' +
        `two times in five, and how saturated it should be is not told: ${card}`;
}

function saturationAsked(judge: Judge): number {
  return stepOf(judge.recipe, 'light')?.saturation ?? 1;
}

function slopeOf(judge: Judge): readonly [number, number, number] {
  return stepOf(judge.recipe, 'light')?.slope ?? [1, 1, 1];
}

function besidePlate(series: Series, judge: Judge): Told | null {
  const slope = slopeOf(judge),
    gain = [0, 1, 2].map((c) => middle(series.casts.map((q) => q.gain[c]!)));
  return ofMean(
    series,
    'colour',
    Math.abs,
    (v) =>
      `the performer's colours lie ${v.toFixed(1)} standard deviations from what coats show before such a plate ` +
      `(${tooMuch(gain)}): where its coat is not of that colour by itself, ` +
      `change the light step's slope from ${triple(slope)} to about ${triple(slope.map((s, c) => s * gain[c]!))}`,
  );
}

/**
 * Of a coat that no light makes of a usual one: how far the join changed its tint in the take beside what the plate's
 * light may do, where that is less than what the plate alone tells. The coat's tint in the take is what is seen less
 * what it departs from the recipe's picture and less the recipe's own slope.
 */
function byItsCoat(series: Series, judge: Judge, beside: CastBeside | null, alone: Told | null): Told | null {
  if (alone === null || beside === null || passesAlone(alone, LIMITS.colour)) return alone;
  const slope = slopeOf(judge),
    tint = (of: (c: CastReading) => Tint): Tint => [
      middle(series.casts.map((c) => of(c)[0])),
      middle(series.casts.map((c) => of(c)[1])),
    ],
    own = tint((c) => c.own),
    change: Tint = [beside.red + Math.log2(slope[0] / slope[1]), beside.blue + Math.log2(slope[2] / slope[1])],
    coat: Tint = [own[0] - change[0], own[1] - change[1]],
    far = unlikeChange(
      change,
      tint((c) => c.plate),
    );
  if (far >= alone.value || !(unlikeUnderAnyLight(coat) > LIMITS.colour)) return alone;
  return {
    ...alone,
    value: far,
    off: far,
    needed: `changed within ${LIMITS.colour} standard deviations of what the plate's light may do to this coat`,
    advice:
      `red stands ${signed(change[0])} and blue ${signed(change[1])} stop over green beside this coloured coat in its ` +
      `take, more than the plate's light accounts for: bring the light step's slope ${triple(slope)} nearer to 1`,
  };
}

/** In which colours the performer stands out, from the factors that would take it away. */
function tooMuch(gain: readonly number[]): string {
  const names = ['red', 'green', 'blue'],
    over = gain.map((g, c) => ({ c, k: 1 / g })).sort((a, b) => b.k - a.k)[0]!;
  return `too much ${names[over.c]!}, ${over.k.toFixed(2)} times`;
}

/** Red and blue over green beside the take, together; null within the limit. */
function castOver(series: Series, judge: Judge, beside: CastBeside): Told | null {
  const cast = Math.hypot(beside.red, beside.blue),
    most = beside.own ? OWN_CAST : OTHER_CAST,
    list = series.readings.lightBlue!;
  if (!(cast > most)) return null;
  return {
    value: cast,
    worst: worstBy(list, Math.abs),
    off: (LIMITS.colour * cast) / most,
    readings: list,
    needed: `within ${most} stop, red and blue over green, of the take through the recipe`,
    advice:
      `red stands ${signed(beside.red)} and blue ${signed(beside.blue)} stop over green beside the take under this ` +
      `recipe's light step: ${balanceAgain(beside, slopeOf(judge))}`,
  };
}

function balanceAgain({ red, blue, own }: CastBeside, slope: readonly [number, number, number]): string {
  if (own) return 'something changed the white balance after the join, so render again';
  const to = [slope[0] * 2 ** -red, slope[1], slope[2] * 2 ** -blue];
  return (
    `render again, or change the light step's slope from ${triple(slope)} to about ${triple(to)} if the picture is ` +
    `this recipe's`
  );
}

/** How saturated the recipe's own picture is beside what it renders; null within the limit. */
function saturationOver(series: Series, judge: Judge): Told | null {
  const list = series.readings.saturation ?? [],
    v = isOwn(series) ? middle(values(list)) : 1;
  if (!(Math.abs(Math.log(v)) > OWN_SATURATION)) return null;
  const asked = saturationAsked(judge);
  return {
    value: v,
    worst: worstBy(list, (q) => Math.abs(Math.log(q))),
    off: (LIMITS.colour * Math.abs(Math.log(v))) / OWN_SATURATION,
    readings: list,
    needed: `${(1 - OWN_SATURATION).toFixed(1)} to ${(1 + OWN_SATURATION).toFixed(1)} of the take's through the recipe`,
    advice:
      `the performer is ${v.toFixed(2)} times as saturated as this recipe renders (its light step's saturation is ` +
      `${asked.toFixed(2)}): something changed it after the join, so render again`,
  };
}

const signed = (v: number): string => `${v < 0 ? '−' : '+'}${Math.abs(v).toFixed(2)}`;
