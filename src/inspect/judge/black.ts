/**
 * Judges the performer's blacks: beside the plate's, and light added to or taken from them beside the take through the
 * recipe.
 */
import { BLACKEST, LIMITS, NO_BLACK, NO_MORE_HELD, OTHER_VEIL, OWN_VEIL } from '../limits.js';
import type { Reading, Series } from '../reader/series.js';
import { middle, ofMean, passesAlone, stepOf, triple, values, worstBy, type Judge, type Told } from './judging.js';
import { isOwn } from './own-picture.js';

/** Blacks too deep name the air step: they are the plate's air that is missing. */
export function judgeBlack(series: Series, judge: Judge): void {
  const alone = besidePlate(series, judge),
    take = besideTake(series, judge);
  if (take !== null && passesAlone(alone, LIMITS.blackLevel)) judge.add('blackLevel', 'linear', 'light', take);
  else if (alone === null) judge.none('blackLevel', 'coded', 'light', 'the performer is too small');
  else
    judge.add('blackLevel', 'coded', alone.value < 0 ? 'air' : 'light', {
      ...alone,
      untold: untoldOf(isOwn(series), (series.readings.takeBlack ?? []).length > 0),
    });
}

/** What lifted blacks pass by each reading (docs/inspection.md, faults named at which strength). */
function untoldOf(own: boolean, beside: boolean): string {
  if (own)
    return (
      'its blacks are those that this recipe gives it, but what the recipe itself lifts is held against the plate ' +
      'alone, where .07 of the light over them passes every second time'
    );
  return beside
    ? `less than ${OTHER_VEIL} of the light over the blacks passes beside a take in another light or pose`
    : 'by the plate alone .07 of the light over the blacks passes every second time';
}

function offsetOf(judge: Judge): readonly [number, number, number] {
  return stepOf(judge.recipe, 'light')?.offset ?? [0, 0, 0];
}

/** The light step's offset, as it stands and as it would have to be. */
function changeOffset(offset: readonly number[], by: number): string {
  return `the light step's offset from ${triple(offset, 3)} to about ${triple(
    offset.map((o) => o - by),
    3,
  )}`;
}

function besidePlate(series: Series, judge: Judge): Told | null {
  const told = byPlateAlone(series, judge);
  return told !== null && told.value > 0 && holdsNoBlack(series, judge)
    ? { ...told, off: Math.min(told.off, LIMITS.blackLevel) }
    : told;
}

/**
 * A pale body in full light has no black in its take either, and none was taken from it; a light step that lifts blacks
 * itself proves nothing.
 */
function holdsNoBlack(series: Series, judge: Judge): boolean {
  const [r, g, b] = offsetOf(judge),
    lifts = 0.2126 * r + 0.7152 * g + 0.0722 * b > OWN_VEIL;
  return (
    !lifts &&
    middle(values(series.readings.shadeAsked)) >= NO_BLACK &&
    middle(values(series.readings.shade)) <= NO_MORE_HELD
  );
}

function byPlateAlone(series: Series, judge: Judge): Told | null {
  const change = changeOffset(offsetOf(judge), middle(values(series.readings.blackLinear))),
    haze = stepOf(judge.recipe, 'air')?.haze.amount ?? 0;
  return ofMean(
    series,
    'blackLevel',
    (v) => (v > 0 ? v : (-v * LIMITS.blackLevel) / BLACKEST),
    (v) =>
      v > 0
        ? `the performer's blacks are lifted ${(100 * v).toFixed(0)} % above the plate's: lower ${change}`
        : `the performer's blacks lie ${(-100 * v).toFixed(0)} % below the plate's: ` +
          `raise the air step's haze (${haze.toFixed(2)} now), or ${change}`,
  );
}

/**
 * Light added to the blacks or, of the recipe's own picture, taken from them; null where it is within its limits or not
 * known.
 */
function besideTake(series: Series, judge: Judge): Told | null {
  const own = isOwn(series),
    list = own ? (series.readings.veil ?? []) : (series.readings.takeBlack ?? []);
  if (list.length === 0) return null;
  const veil = middle(values(list)),
    most = own ? OWN_VEIL : OTHER_VEIL;
  if (veil > most) return lifted(list, veil, most, own ? null : offsetOf(judge));
  return own && -veil > OWN_VEIL ? crushed(list, veil) : null;
}

/** `offset`: the light step's, where that may be what is wrong; null where the picture is the recipe's own. */
function lifted(list: readonly Reading[], veil: number, most: number, offset: readonly number[] | null): Told {
  const wayOut =
    offset === null
      ? 'something changed the picture after the join, so render again'
      : `render again, or lower ${changeOffset(offset, veil)}`;
  return {
    value: veil,
    worst: worstBy(list, (q) => q),
    off: (LIMITS.blackLevel * veil) / most,
    readings: list,
    needed: `at most ${most} of linear light above the take through the recipe`,
    advice:
      `${(100 * veil).toFixed(1)} % of light lies over the performer's blacks beside what this recipe renders of ` +
      `the take: ${wayOut}`,
  };
}

function crushed(list: readonly Reading[], veil: number): Told {
  return {
    value: veil,
    worst: worstBy(list, (q) => -q),
    off: (-LIMITS.blackLevel * veil) / OWN_VEIL,
    readings: list,
    needed: `at most ${OWN_VEIL} of linear light below the take through the recipe`,
    advice:
      `${(-100 * veil).toFixed(1)} % of light was taken from the performer's blacks beside what this recipe ` +
      'renders of the take: something changed the picture after the join, so render again',
  };
}
