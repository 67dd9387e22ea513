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
 * garrotte: L. Breiman, Technometrics 37, 1995). A surface that a person knows (known-tone.ts), in either picture, is
 * one word more, and mostly the surest.
 */
import { bt709Decode } from '../../colour/transfer.js';
import type { Picture } from '../../image/picture.js';
import type { Look } from '../../plate/types.js';
import type { FootGround } from './foot-level.js';
import { whiteAbout, type ToneLine } from './known-tone.js';

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
/** No coat lies further under a white, stops: black throws back some .04 of the light. */
const MOST_DARK = 4.6;
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
  /** What surfaces that a person knows tell: the plate's and the take's. */
  readonly plateTone?: ToneLine | null;
  readonly tone?: ToneLine | null;
  /** Light on what faces the key over that on what lies flat, the plate's beside the take's, stops. */
  readonly facingStops?: number;
  /** Luminance of the performer's middle in the take, linear; null where it is not known. */
  readonly middle?: number | null;
}

export interface LevelFound {
  /** By how much the take is to be brought up (positive) or down, stops; 0 where known tones speak for less than shows. */
  readonly stops: number;
  readonly sdStops: number;
  readonly why: string;
}

const signed = (v: number): string => `${v < 0 ? '−' : '+'}${Math.abs(v).toFixed(1)}`;

/** What one word says: stops over 1 at which a white at the feet would show, and the variance of that. */
interface Word {
  readonly by: string;
  readonly stops: number;
  readonly variance: number;
}

/**
 * Where a white at the feet would lie in a picture, by its ground there, its mean and its whites and what is known in
 * it; empty where the picture is black or its levels are not known, and nothing is known in it.
 */
function wordsOf(look: Look, feet: FootGround | null, tone: ToneLine | null, darkness = 0): Word[] {
  const white = look.percentiles[6],
    [r, g, b] = look.meanLinear,
    mean = 0.2126 * r + 0.7152 * g + 0.0722 * b,
    words: Word[] = tone === null ? [] : [{ ...whiteAbout(tone, darkness), by: 'known tone' }];
  if (white === undefined || !(white > 0.05) || !(mean > 1e-3)) return words;
  if (feet !== null)
    words.push({ by: 'ground at the feet', stops: Math.log2(feet.level) + feet.under, variance: feet.sd ** 2 });
  // Mean and whites are one word of one variance: each has half its weight.
  return [
    ...words,
    { by: 'mean', stops: Math.log2(mean) + MEAN_UNDER_WHITE, variance: 2 * PICTURE_SD ** 2 },
    { by: 'whites', stops: Math.log2(bt709Decode(white)) + WHITES_UNDER_WHITE, variance: 2 * PICTURE_SD ** 2 },
  ];
}

/** All words together, by inverse variances; null where there are none. */
function together(words: readonly Word[]): { readonly stops: number; readonly variance: number } | null {
  if (words.length === 0) return null;
  const weight = words.reduce((s, w) => s + 1 / w.variance, 0);
  return { stops: words.reduce((s, w) => s + w.stops / w.variance, 0) / weight, variance: 1 / weight };
}

/** Where a white at the feet lies in the take, and what tells it; null where nothing does. */
function takeWhite({ cardStops, screen, own, tone = null }: TakeLevel, darkness = 0): Word | null {
  const known: Word[] = tone === null ? [] : [{ ...whiteAbout(tone, darkness), by: 'known tone' }];
  if (cardStops !== null) known.push({ stops: cardStops, variance: CARD_SD ** 2, by: 'card' });
  else if (screen !== null)
    known.push({ stops: Math.log2(screen) + SCREEN_UNDER_WHITE, variance: CLOTH_SD ** 2, by: 'lit screen' });
  else if (own != null) {
    const told = together(wordsOf(own.look, own.feet, null));
    if (told !== null) known.push({ ...told, by: 'own ground, mean and whites' });
  }
  const all = together(known);
  return all === null ? null : { ...all, by: known.map((w) => w.by).join(' and ') };
}

/**
 * By the plate's ground about the feet, what is known in it, its mean and its whites; null where the take tells
 * nothing, or they come to nothing.
 */
function levelByWhite(look: Look, take: TakeLevel): LevelFound | null {
  const rough = takeWhite(take);
  if (rough === null) return null;
  // Known tones tell the level where the performer's own brightness lies on their line.
  const darkness = take.middle == null ? 0 : Math.min(0, Math.max(-MOST_DARK, Math.log2(take.middle) - rough.stops)),
    from = takeWhite(take, darkness)!,
    words = wordsOf(look, take.feet ?? null, take.plateTone ?? null, darkness),
    to = together(words);
  if (to === null) return null;
  const read = to.stops - from.stops + (take.plateTone == null ? 0 : (take.facingStops ?? 0)),
    variance = to.variance + from.variance;
  const followed = read * Math.max(0, 1 - (LEFT_WITHIN ** 2 * variance) / (read * read)),
    stops = Math.abs(followed) >= LEAST_STOPS ? followed : 0;
  // Who marked a surface is told what came of it, also where nothing did.
  if (stops === 0 && take.plateTone == null && take.tone == null) return null;
  const said = words.map(
    (w, k) => `${k === 0 ? `the plate's ${w.by} speaks` : `its ${w.by}`} for ${signed(w.stops - from.stops)}`,
  );
  return {
    stops,
    sdStops: UNLIKE_SD * Math.sqrt(variance / (UNLIKE_SD ** 2 + variance)),
    why:
      `beside the take's ${from.by} ` +
      `${said.length < 2 ? said.join('') : `${said.slice(0, -1).join(', ')} and ${said.at(-1)}`} stops`,
  };
}

/** How far the take is to be brought up or down; null where nothing tells or the words do not agree. */
export function levelBeside(look: Look, take: TakeLevel): LevelFound | null {
  return take.feet == null && take.plateTone == null && take.tone == null
    ? levelByPicture(look, take)
    : levelByWhite(look, take);
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
