/**
 * How bright a take's light lies beside the plate's, from what both pictures usually hold. The take's lit screen is
 * cloth of a known kind: it tells how a white under the take's key would show. In the plate two things speak for the
 * same: its mean (a picture throws back about the same share of its light everywhere: G. Buchsbaum, "A spatial
 * processor model for object colour perception", J. Franklin Institute 310, 1980) and its whites. Each alone is misled,
 * the mean by pale ground or dark walls, the whites by lamps or where nothing white is seen; so they are followed only
 * where both point the same way: by the smaller of the two, by their mean the surer the smaller alone speaks, and less
 * the less both ask for (Wiener's gain: a share e² / (e² + sd²)).
 *
 * Where the plate shows the ground about the feet (foot-level.ts), that is the surest word, as it lies in the
 * performer's own light. Each word tells what a white there would show; ground, mean and whites are weighed by what
 * each is known to (inverse variances) and held against the take's white, told by its card or its lit screen, or in a
 * take without either by the same three words of its own picture. Most likely plate and take are exposed alike, so a
 * difference within the words' own doubt is left and one far beyond it followed almost wholly (the non-negative
 * garrotte: L. Breiman, Technometrics 37, 1995).
 */
import { bt709Decode } from '../../colour/transfer.js';
import type { Picture } from '../../image/picture.js';
import type { Look } from '../../plate/types.js';
import type { FootGround } from './foot-level.js';

/** Screen: its channel exceeds both others by this factor. Of its pixels this share lies under what is lit. */
const SCREEN = 1.5,
  LIT = 0.95;
/** Less of the picture tells nothing; no more samples than this are looked at. */
const LEAST_SHARE = 0.05,
  SAMPLES = 60000;
/**
 * Stops of the plate's mean and of its whites (99 %) under the level of lit screen where plate and take are exposed
 * alike: the middle of what the four practice shots and twenty made scenes want (of other grounds, cloths, suns and
 * exposures; all of them were in view when it was chosen). From common reflectances: mean .18 less a third for shadows,
 * cloth .3 in its own channel, whites .75 seldom squarely lit.
 */
const MEAN_UNDER = 1.15,
  WHITES_OVER = 0.65;
/**
 * Sd of the witness followed, stops, where both speak alike, and what is taken off before a take is raised: pale ground
 * looks like a dark take.
 */
const SD = 0.25,
  RAISE_FROM = 0.5;
/**
 * What a white under the key lies over lit screen, stops: for takes whose card told the white itself, where no ground
 * is asked.
 */
const WHITE_OVER_SCREEN = 1.75;
/**
 * The smaller witness begins to bear out the larger here, and does wholly there, stops: below, plates without anything
 * white would be darkened by their whites.
 */
const BORNE_FROM = 0.15,
  BORNE_TO = 0.4;
/** Less does not show beside what is not known. */
const LEAST_STOPS = 0.1;
/** A key further round than this lights no screen that stands behind the performer. */
const BESIDE_DEG = 75;

/**
 * Level of the take's lit screen, linear, in its own channel; null where too little of the picture is screen.
 * `channel`: 1 green, 2 blue.
 */
export function litScreen(linear: Picture, channel: 1 | 2): number | null {
  const n = linear.width * linear.height,
    step = Math.max(1, Math.floor(n / SAMPLES)),
    d = linear.data;
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

/**
 * Sd of cloth under a white (dyed cotton and painted screens throw back .22 to .4 of their own light), of a card's
 * white, and of the mean and whites of a whole picture, which are one word, as both follow sky, lamps and walls (.64 on
 * the scenes below); stops.
 */
const CLOTH_SD = 0.35,
  CARD_SD = 0.3,
  PICTURE_SD = 0.76;
/**
 * Stops of a picture's mean and of its whites (99 %), and of lit screen (its 95 %, which lies nearer to the lamp than
 * the feet do), under a white that lies at the feet: means over 76 of the exam's scenes with a screen (seeds 1 to 6,
 * 101 to 106, 3100 to 3185), 2.45 (sd .6), .83 (.8) and 1.31 (.3). No practice shot chose them.
 */
const MEAN_UNDER_WHITE = 2.5,
  WHITES_UNDER_WHITE = 0.85,
  SCREEN_UNDER_WHITE = 1.3;
/** Share of its sd within which a difference is left (own choice). */
const LEFT_WITHIN = 0.6;
/** Sd of plate beside take where they are not exposed alike, stops (own choice). */
const UNLIKE_SD = 1;

/**
 * What is known of a take's level: its lit screen (linear; null where there is none) and, where the card was read,
 * stops of a white over 1.
 */
export interface TakeLevel {
  readonly screen: number | null;
  readonly cardStops: number | null;
  readonly azimuthDeg: number | null;
  /** Ground about the performer's feet in the plate. Null where it is not seen or the performer stands on none. */
  readonly feet?: FootGround | null;
  /** The take's own ground about the feet, and its picture: they are asked where it shows neither card nor screen. */
  readonly own?: { readonly feet: FootGround; readonly look: Look } | null;
}

export interface LevelFound {
  /** By how much the take is to be brought up (positive) or down, stops. */
  readonly stops: number;
  readonly sdStops: number;
  readonly why: string;
}

const signed = (v: number): string => `${v < 0 ? '−' : '+'}${Math.abs(v).toFixed(1)}`;

/**
 * Where a white at the feet would lie in a picture, stops over 1: by its ground there, its mean and its whites, and all
 * three together.
 */
interface WhiteAtFeet {
  readonly byFeet: number;
  readonly byMean: number;
  readonly byWhites: number;
  readonly stops: number;
  readonly variance: number;
}

/** Null where the picture is black or its levels are not known. */
function whiteAtFeet(look: Look, feet: FootGround): WhiteAtFeet | null {
  const white = look.percentiles[6],
    [r, g, b] = look.meanLinear,
    mean = 0.2126 * r + 0.7152 * g + 0.0722 * b;
  if (white === undefined || !(white > 0.05) || !(mean > 1e-3)) return null;
  const byFeet = Math.log2(feet.level) + feet.under,
    byMean = Math.log2(mean) + MEAN_UNDER_WHITE,
    byWhites = Math.log2(bt709Decode(white)) + WHITES_UNDER_WHITE,
    foot = 1 / feet.sd ** 2,
    picture = 1 / PICTURE_SD ** 2;
  return {
    byFeet,
    byMean,
    byWhites,
    stops: (foot * byFeet + (picture * (byMean + byWhites)) / 2) / (foot + picture),
    variance: 1 / (foot + picture),
  };
}

/** Where a white at the feet lies in the take, and what tells it; null where nothing does. */
function takeWhite({ cardStops, screen, own }: TakeLevel): { stops: number; variance: number; by: string } | null {
  if (cardStops !== null) return { stops: cardStops, variance: CARD_SD ** 2, by: 'card' };
  if (screen !== null)
    return { stops: Math.log2(screen) + SCREEN_UNDER_WHITE, variance: CLOTH_SD ** 2, by: 'lit screen' };
  const told = own == null ? null : whiteAtFeet(own.look, own.feet);
  return told === null ? null : { ...told, by: 'own ground, mean and whites' };
}

/**
 * By the plate's ground about the feet with its mean and whites; null where the take tells nothing, or they come to
 * nothing.
 */
function levelByFeet(look: Look, take: TakeLevel, feet: FootGround): LevelFound | null {
  const from = takeWhite(take),
    to = whiteAtFeet(look, feet);
  if (from === null || to === null) return null;
  const read = to.stops - from.stops,
    variance = to.variance + from.variance;
  const stops = read * Math.max(0, 1 - (LEFT_WITHIN ** 2 * variance) / (read * read));
  if (!(Math.abs(stops) >= LEAST_STOPS)) return null;
  return {
    stops,
    sdStops: UNLIKE_SD * Math.sqrt(variance / (UNLIKE_SD ** 2 + variance)),
    why:
      `beside the take's ${from.by} the plate's ground at the feet speaks for ${signed(to.byFeet - from.stops)}, ` +
      `its mean for ${signed(to.byMean - from.stops)} and its whites for ${signed(to.byWhites - from.stops)} stops`,
  };
}

/** How far the take is to be brought up or down; null where nothing tells or the words do not agree. */
export function levelBeside(look: Look, take: TakeLevel): LevelFound | null {
  return take.feet == null ? levelByPicture(look, take) : levelByFeet(look, take, take.feet);
}

/** By the plate's mean and whites alone; null where nothing tells or the two do not agree. */
function levelByPicture(look: Look, take: TakeLevel): LevelFound | null {
  const beside = take.azimuthDeg !== null && Math.abs(take.azimuthDeg) > BESIDE_DEG;
  const lit =
    take.cardStops !== null
      ? take.cardStops - WHITE_OVER_SCREEN
      : take.screen === null || beside
        ? null
        : Math.log2(take.screen);
  const white = look.percentiles[6],
    [r, g, b] = look.meanLinear,
    mean = 0.2126 * r + 0.7152 * g + 0.0722 * b;
  if (lit === null || white === undefined || !(white > 0.05) || !(mean > 1e-3)) return null;
  const byMean = Math.log2(mean) + MEAN_UNDER - lit,
    byWhites = Math.log2(bt709Decode(white)) - WHITES_OVER - lit;
  if (byMean * byWhites <= 0) return null;
  const less = Math.abs(byMean) < Math.abs(byWhites) ? byMean : byWhites,
    t = Math.max(0, Math.min(1, (-less - BORNE_FROM) / (BORNE_TO - BORNE_FROM)));
  const lower = less + ((byMean + byWhites) / 2 - less) * t * t * (3 - 2 * t);
  const stops = less > 0 ? Math.max(0, less - RAISE_FROM) : (lower * lower * lower) / (lower * lower + SD * SD);
  if (Math.abs(stops) < LEAST_STOPS) return null;
  return {
    stops,
    sdStops: Math.hypot(SD, (byMean - byWhites) / 2),
    why:
      `beside the take's ${take.cardStops !== null ? 'card' : 'lit screen'} the plate's mean speaks for ` +
      `${signed(byMean)} stops and its whites for ${signed(byWhites)}`,
  };
}
