/**
 * Which of the answers about a head's light is given, one key, two, or one under a hat's brim, and what the others,
 * which may yet be right, add to its uncertainty. The gains by which two keys or a brim are believed were chosen on
 * made heads.
 */
import type { BrimFit } from './light-brim.js';
import { degreesApart, type FoundKeys, type Lights } from './light-find-keys.js';
import type { Direction } from './light-fit-keys.js';

export interface ShadingLight {
  readonly azimuthDeg: number;
  readonly elevationDeg: number;
  /** Standard deviation of the direction itself, degrees on the sphere (each of two axes). */
  readonly directionSd: number;
  /** log2((key + ambient) / ambient) at a surface that faces the key. */
  readonly keyFillStops: number;
  readonly keyFillSd: number;
  /** Share of the variance of the shading explained, 0..1; below 0.3 there is no key to speak of. */
  readonly explained: number;
  /**
   * A second key where one light does not explain the shading and two do: where it stands and its share of the key's
   * strength.
   */
  readonly second?: { readonly azimuthDeg: number; readonly elevationDeg: number; readonly share: number };
}

/**
 * What shading that no single light explains adds to the uncertainty, degrees, were all of it unexplained, or all of
 * the brightest unreached: a second lamp, a hat's shadow.
 */
export const UNEXPLAINED_DEG = 40;
/** The same in stops, for the key over fill. */
export const UNEXPLAINED_STOPS = 4;
/**
 * The model's own error (a head is no ellipsoid, skin no Lambertian): degrees and stops, for one key and for two (made
 * heads).
 */
const ONE_DEG = 4;
const TWO_DEG = 7;
const STOPS = 0.3;
/**
 * A second key is believed by what it takes off the cost of a pair (differences) and, as a share, off that of the
 * levels (light-find-keys.ts): so much of differences at least, and both together, each in its own widths; by how much
 * the lesser of these two misses says how far the other answer stays within the uncertainty. A coat's patch or a beard
 * gains in levels but hardly in differences, a hat's shadow (a traced face) the other way about, two lamps in both. Its
 * strength is read twice, off differences and off levels: two lamps agree within a factor, shadows often do not; and an
 * uneven sky reads as a weak second light (two faces in sun). Chosen on made heads of seeds 7, 12 and 101.
 */
const LEAST_GAIN = { differences: 0.013, width: 0.003 };
const GAIN = { differences: 0.015, levels: 0.15 };
const GAIN_WIDTH = { differences: 0.008, levels: 0.08 };
const SHARE = 0.2;
const MEAN_SHARE = 0.22;
const SHARES_APART = 2.7;
/** So much off the differences' cost speaks for two whatever the levels say, which a dark side can mislead. */
const SURE_GAIN = 0.1;
/**
 * A brim is believed where it takes so much off the cost of a sample, and such a share of it. On sixty made heads under
 * a hat the gain is .04 to .3 on all but a few, on sixty bare ones −.4 to .05.
 */
const BRIM_GAIN = 0.06;
const BRIM_WIDTH = 0.01;
const BRIM_SHARE = 0.12;
const BRIM_SHARE_WIDTH = 0.02;
const BRIM_DEG = 6;
/** From this share on the two may be the other way about. */
const ALIKE = 0.55;

/** How likely the shadow on a head is a brim's: by what one light with a brim leaves less than lights without. */
export function chanceOfBrim(f: FoundKeys, brim: BrimFit): number {
  const bare = Math.min(f.one.byLevels, f.two === null ? Infinity : f.two.byLevels);
  const gain = bare - brim.cost;
  return (
    1 /
    (1 +
      Math.exp(
        -Math.min((gain - BRIM_GAIN) / BRIM_WIDTH, (gain / Math.max(1e-9, bare) - BRIM_SHARE) / BRIM_SHARE_WIDTH),
      ))
  );
}

/**
 * What is told of the key where a brim shades the head: key over fill in stops, and both uncertainties, which grow
 * with what the answer without a brim says otherwise.
 * @param chance that the shadow is a brim's @param softDeg, softStops what the head's own softness adds
 */
export function underBrim(
  b: BrimFit,
  bare: Said,
  chance: number,
  softDeg: number,
  softStops: number,
): Omit<ShadingLight, 'azimuthDeg' | 'elevationDeg'> {
  const doubt = doubtOf(b.l, bare.key, chance);
  const other = Math.sqrt(1 - chance);
  const [a, slope, k] = b.w;
  const stops = Math.min(8, Math.log2(1 + k / Math.max(1e-5 * k, a + slope * b.l[1])));
  return {
    directionSd: Math.min(90, Math.hypot(BRIM_DEG, b.spreadDeg, doubt, UNEXPLAINED_DEG * (1 - b.explained), softDeg)),
    keyFillStops: stops,
    keyFillSd: Math.min(
      3,
      Math.hypot(2 * STOPS, other * Math.abs(stops - bare.stops), UNEXPLAINED_STOPS * (1 - b.explained), softStops),
    ),
    explained: b.explained,
  };
}

export interface Said {
  readonly lights: Lights;
  readonly key: Direction;
  readonly second: Direction | null;
  /**
   * The second key's share of the first's strength; the direction's doubt in degrees; key over fill and its doubt in
   * stops.
   */
  readonly share: number;
  readonly sdDeg: number;
  readonly stops: number;
  readonly stopsSd: number;
}

/** One key or two, and an uncertainty that the answer not given stays within so far as it may yet be the right one. */
export function answer(f: FoundKeys): Said {
  const one = f.one;
  const oneStops = stopsOf(one, one.l1);
  if (f.two === null)
    return {
      lights: one,
      key: one.l1,
      second: null,
      share: 0,
      sdDeg: Math.hypot(ONE_DEG, f.spreadDeg),
      stops: oneStops.stops,
      stopsSd: Math.hypot(STOPS, oneStops.sd),
    };
  const k = f.two.w[2];
  const swapped = k > 1;
  const key = swapped ? f.two.l2! : f.two.l1;
  const second = swapped ? f.two.l1 : f.two.l2!;
  const share = swapped ? 1 / k : k;
  // How likely two are: by the gain; a weak second light is the sky's unevenness.
  const [, , v1, v2] = f.two.levels;
  const byLevels = v2 > v1 ? v1 / v2 : v2 / Math.max(1e-9, v1);
  const gained = one.byDifferences - f.two.byDifferences;
  const ofLevels = 1 - f.two.byLevels / one.byLevels;
  const over = Math.min(
    (gained - LEAST_GAIN.differences) / LEAST_GAIN.width,
    (gained - GAIN.differences) / GAIN_WIDTH.differences + (ofLevels - GAIN.levels) / GAIN_WIDTH.levels,
  );
  const agree =
    Math.min(share, byLevels) >= SHARE &&
    Math.sqrt(share * byLevels) >= MEAN_SHARE &&
    Math.max(share, byLevels) <= SHARES_APART * Math.min(share, byLevels);
  const sure = gained > SURE_GAIN && share >= SHARE;
  const chance = sure ? 1 : agree ? 1 / (1 + Math.exp(-over)) : 0;
  const told = chance > 0.5;
  const stops = stopsOf(f.two, key);
  const stopsApart = Math.abs(oneStops.stops - stops.stops);
  const mean = middle(one.l1, key, chance);
  const doubt = doubtOf(one.l1, key, chance);
  if (!told)
    return {
      lights: one,
      key: mean,
      second: null,
      share: 0,
      sdDeg: Math.hypot(ONE_DEG, f.spreadDeg, doubt),
      stops: oneStops.stops,
      stopsSd: Math.hypot(STOPS, oneStops.sd, Math.sqrt(chance) * stopsApart),
    };
  const about = Math.max(0, (share - ALIKE) / (1 - ALIKE)) * 0.5;
  const both = degreesApart(key, second);
  return {
    lights: f.two,
    key: mean,
    second,
    share,
    sdDeg: Math.hypot(TWO_DEG, doubt, about * both),
    stops: stops.stops,
    stopsSd: Math.hypot(2 * STOPS, stops.sd, Math.sqrt(1 - chance) * stopsApart),
  };
}

/** Two answers farther apart are no blur of one: the likelier is given. */
const FAR_DEG = 40;

/** What two answers come to, the second of this chance: their mean by their chances misses least on the whole. */
export function middle(a: Direction, b: Direction, chance: number): Direction {
  if (degreesApart(a, b) > FAR_DEG) return chance > 0.5 ? b : a;
  return unit([a[0] + chance * (b[0] - a[0]), a[1] + chance * (b[1] - a[1]), a[2] + chance * (b[2] - a[2])]);
}

/** The doubt that stays of their difference, degrees. */
export function doubtOf(a: Direction, b: Direction, chance: number): number {
  const apart = degreesApart(a, b);
  return apart > FAR_DEG ? Math.sqrt(Math.min(chance, 1 - chance)) * apart : Math.sqrt(chance * (1 - chance)) * apart;
}

/**
 * log2((key + ambient) / ambient) where the surface faces the key: the middle of what differences
 * and levels say, and half of what they differ by.
 */
function stopsOf(lights: Lights, key: Direction): { readonly stops: number; readonly sd: number } {
  const [a, b, k] = lights.w;
  const [va, vb, v1, v2] = lights.levels;
  const first = key === lights.l1;
  const stops = (strength: number, ambient: number): number =>
    Math.log2(1 + strength / Math.max(1e-5 * strength, ambient));
  const differences = stops(first ? 1 : k, a + b * key[1]);
  const levels = stops(first ? v1 : v2, va + vb * key[1]);
  return { stops: (differences + levels) / 2, sd: Math.abs(differences - levels) / 2 };
}

/** The vector at length one; not for the vector of zeros. */
export const unit = (v: [number, number, number]): [number, number, number] => {
  const n = Math.hypot(v[0], v[1], v[2]);
  return [v[0] / n, v[1] / n, v[2] / n];
};
