/**
 * How bright a take's light lies beside the plate's, from what both pictures usually hold. The take's lit screen is cloth of a
 * known kind: it tells how a white under the take's key would show. In the plate two things speak for the same: its mean (a
 * picture throws back about the same share of its light everywhere: G. Buchsbaum, "A spatial processor model for object colour perception", J. Franklin Institute 310, 1980)
 * and its whites. Each alone is misled, the mean by pale ground or dark walls, the whites by lamps or where nothing white is seen; so they are
 * followed only where both point the same way: by the smaller of the two, by their mean the surer the smaller alone speaks, and less the less both
 * ask for (Wiener's gain: a share e² / (e² + sd²)).
 */
import { bt709Decode } from '../colour/transfer.js';
import type { Picture } from '../image/picture.js';
import type { Look } from '../plate/types.js';

/** Screen: its channel exceeds both others by this factor. Of its pixels this share lies under what is lit. */
const SCREEN = 1.5, LIT = 0.95;
/** Less of the picture tells nothing; no more samples than this are looked at. */
const LEAST_SHARE = 0.05, SAMPLES = 60000;
/**
 * Stops of the plate's mean and of its whites (99 %) under the level of lit screen where plate and take are exposed alike: the middle of
 * what the four practice shots and twenty made scenes want (of other grounds, cloths, suns and exposures; all of them
 * were in view when it was chosen). From common reflectances: mean .18 less a third for shadows, cloth .3 in its own channel, whites .75 seldom squarely lit.
 */
const MEAN_UNDER = 1.15, WHITES_OVER = 0.65;
/** Sd of the witness followed, stops, where both speak alike, and what is taken off before a take is raised: pale ground looks like a dark take. */
const SD = 0.25, RAISE_FROM = 0.5;
/** What a white under the key lies over lit screen, stops: for takes whose card told the white itself. */
const WHITE_OVER_SCREEN = 1.75;
/** The smaller witness begins to bear out the larger here, and does wholly there, stops: below, plates without anything white would be darkened by their whites. */
const BORNE_FROM = 0.15, BORNE_TO = 0.4;
/** Less does not show beside what is not known. */
const LEAST_STOPS = 0.1;
/** A key further round than this lights no screen that stands behind the performer. */
const BESIDE_DEG = 75;

/** Level of the take's lit screen, linear, in its own channel; null where too little of the picture is screen. `channel`: 1 green, 2 blue. */
export function litScreen(linear: Picture, channel: 1 | 2): number | null {
  const n = linear.width * linear.height, step = Math.max(1, Math.floor(n / SAMPLES)), d = linear.data;
  const levels: number[] = [];
  let looked = 0;
  for (let i = 0; i < n; i += step) {
    looked++;
    const v = d[channel * n + i]!;
    if (v > 1e-3 && v > SCREEN * Math.max(d[i]!, d[(3 - channel) * n + i]!)) levels.push(v);
  }
  if (levels.length < LEAST_SHARE * looked) return null;
  levels.sort((a, b) => a - b);
  return levels[Math.floor(LIT * (levels.length - 1))]!;
}

/** What is known of a take's level: its lit screen (linear; null where there is none) and, where the card was read, stops of a white over 1. */
export interface TakeLevel {
  readonly screen: number | null;
  readonly cardStops: number | null;
  readonly azimuthDeg: number | null;
}

export interface LevelFound {
  /** By how much the take is to be brought up (positive) or down, stops. */
  readonly stops: number;
  readonly sdStops: number;
  readonly why: string;
}

/** Null where nothing tells or the two witnesses do not agree. */
export function levelBeside(look: Look, take: TakeLevel): LevelFound | null {
  const beside = take.azimuthDeg !== null && Math.abs(take.azimuthDeg) > BESIDE_DEG;
  const lit = take.cardStops !== null ? take.cardStops - WHITE_OVER_SCREEN : take.screen === null || beside ? null : Math.log2(take.screen);
  const white = look.percentiles[6], [r, g, b] = look.meanLinear, mean = 0.2126 * r + 0.7152 * g + 0.0722 * b;
  if (lit === null || white === undefined || !(white > 0.05) || !(mean > 1e-3)) return null;
  const byMean = Math.log2(mean) + MEAN_UNDER - lit, byWhites = Math.log2(bt709Decode(white)) - WHITES_OVER - lit;
  if (byMean * byWhites <= 0) return null;
  const less = Math.abs(byMean) < Math.abs(byWhites) ? byMean : byWhites, t = Math.max(0, Math.min(1, (-less - BORNE_FROM) / (BORNE_TO - BORNE_FROM)));
  const lower = less + ((byMean + byWhites) / 2 - less) * t * t * (3 - 2 * t);
  const stops = less > 0 ? Math.max(0, less - RAISE_FROM) : (lower * lower * lower) / (lower * lower + SD * SD);
  if (Math.abs(stops) < LEAST_STOPS) return null;
  const signed = (v: number): string => `${v < 0 ? '−' : '+'}${Math.abs(v).toFixed(1)}`;
  return { stops, sdStops: Math.hypot(SD, (byMean - byWhites) / 2), why: `beside the take's ${take.cardStops !== null ? 'card' : 'lit screen'} the plate's mean speaks for ${signed(byMean)} stops and its whites for ${signed(byWhites)}` };
}
