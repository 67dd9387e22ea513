/**
 * The take's light brought to the plate's, in linear light, as an ASC CDL (slope, offset, power, saturation).
 *
 * What is known decides, a part a matter. White: white-balance.ts. Exposure: both pictures are taken as exposed for
 * their own key, so that a lit white thing shows alike in both, but for what the take's lit screen says beside the
 * plate's mean and whites (take-level.ts); where the subject then lies outside what the plate holds it is pulled in.
 * Blacks: a plate whose darkest parts are lifted (flare, faded stock) lifts the performer's as well; the lift is added
 * light, which is what flare is.
 */
import { bt709Decode } from '../../colour/transfer.js';
import { mapTuple } from '../../core/tuples.js';
import type { PlateMeasures } from '../../plate/types.js';
import type { FootGround } from './foot-level.js';
import type { ToneLine } from './known-tone.js';
import { levelBeside } from './take-level.js';
import { luminance, whiteBalance, type EdgeColour } from './white-balance.js';

/** Luminance statistics of the peeled performer, scene-linear, unpremultiplied. */
export interface SubjectStatistics {
  readonly mean: readonly [number, number, number];
  /** 1, 5, 50, 95, 99 per cent of luminance. */
  readonly percentiles: readonly [number, number, number, number, number];
}

/** An ASC CDL for the take in linear light, and what it was chosen by, for people. */
export interface LightMatch {
  readonly slope: readonly [number, number, number];
  readonly offset: readonly [number, number, number];
  readonly power: readonly [number, number, number];
  readonly saturation: number;
  readonly why: string;
}

/**
 * What a film shows as white is about as white as fur and cloth get, so a matt performer's bright parts (95 %) that
 * outshine the plate's whites (99 %) by more than a fifth of a stop are likely lit too brightly; but a plate need not
 * show anything white. So half of what is beyond is taken off: in the 20 true joins of practice, made and exam scenes
 * whose take lay beyond .1 stop, that is .74 stop off (rms), none taken off .81, all .81. (Rolling off what outshines
 * the whites and leaving the rest is worse: there the whole performer is too bright, not its highlights.)
 */
const OVER_WHITE = 2 ** 0.2,
  TAKEN_OFF = 0.5;
/**
 * Where the ground at the feet told the level, all beyond this is taken off. The plate's whites lie .85 stop under a
 * white on the ground (take-level.ts) and 1.4 under one that faces the key, the middle 1.1, a white coat .15: such a
 * coat outshines them by the rest.
 */
const OVER_WHITE_TOLD = 2 ** 0.95;

/**
 * A take whose known white lies this much under, stops, is brought up; less is within what two cameras' metering
 * differs by (own choice).
 */
const DIM_STOPS = 0.7;
/** Most that a take is raised, stops: beyond it its noise shows (own choice). */
const MOST_RAISED = 2;
/**
 * Bright parts (95 %) this far under the plate's whites (99 %), stops, are told: a coat that throws back a fifth lies
 * some two under a white, a black one more.
 */
const DARK_STOPS = 3;

/**
 * A take exposed too dark. The floor card's paper tells it; without a known white nothing does (a black coat looks the
 * same), so the take is left and the doubt is said. Raising is bounded afterwards by the plate's whites, as every
 * exposure is.
 */
function raisedExposure(
  plate: PlateMeasures,
  take: PlateMeasures,
  subject: SubjectStatistics | null,
): { readonly gain: number; readonly why: string } {
  const known = take.light?.exposureStops?.value ?? null;
  if (known !== null) {
    if (known > -DIM_STOPS) return { gain: 1, why: '' };
    const up = Math.min(MOST_RAISED, -known);
    return {
      gain: 2 ** up,
      why: `exposure raised by ${up.toFixed(1)} stops: the take's card shows white ${(-known).toFixed(1)} stops under`,
    };
  }
  const white = plate.look?.percentiles[6];
  if (subject === null || white === undefined) return { gain: 1, why: '' };
  const under = Math.log2(bt709Decode(Math.max(1e-6, white)) / Math.max(1e-6, subject.percentiles[3]));
  return {
    gain: 1,
    why:
      under < DARK_STOPS
        ? ''
        : `the performer's bright parts lie ${under.toFixed(1)} stops under the plate's whites: ` +
          'right for a dark coat, else the take is too dark; nothing in it tells (a known tone, ' +
          'marked in the plate and in the take, would), so its exposure is left: turn it by eye',
  };
}

/** Lifted blacks below this do not show; more than that is haze (linear). */
const LEAST_LIFT = 0.004,
  MOST_LIFT = 0.05;
/**
 * Share of the blacks' departure from their least channel, in stops, that is taken for the lift's own colour: nothing
 * on a lawn is dark in green, so each channel's darkest is a bound from above and the least of three the best. On 138
 * of the exam's scenes the lift's green so read is .0009 off beside its red and blue (.0032 with each channel's own),
 * its blue beside its red .0023 (.0049). Faded stock, whose blacks are truly tinted, keeps a quarter of it (own
 * choice).
 */
const LIFT_COLOUR = 0.25;

/** Light that lies over the whole plate (flare, faded stock), linear, by its darkest parts a channel (coded). */
function liftOf(blackCoded: readonly [number, number, number]): number[] {
  const black = blackCoded.map((v) => Math.max(1e-6, bt709Decode(Math.max(0, v)))),
    least = Math.min(...black);
  return black.map((v) => least * (v / least) ** LIFT_COLOUR);
}

/** What the pictures themselves say, of what was asked. */
export interface LightWords {
  /** What the plate's edges say of its light's colour. */
  readonly edges?: EdgeColour | null;
  /** Level of the take's lit screen, linear. */
  readonly screen?: number | null;
  /** The plate's ground about the performer's feet. */
  readonly feet?: FootGround | null;
  /** The take's, where it shows no screen. */
  readonly ownFeet?: FootGround | null;
  /** What surfaces that a person knows tell, in the plate and in the take. */
  readonly plateTone?: ToneLine | null;
  readonly takeTone?: ToneLine | null;
  /** Light on what faces the key over that on what lies flat, the plate's beside the take's, stops. */
  readonly facingStops?: number;
  /** Known tones that tell nothing or disagree, as sentences. */
  readonly tonesAmiss?: readonly string[];
}

type Channels = readonly [number, number, number];

const times = (a: Channels, b: number): Channels => [a[0] * b, a[1] * b, a[2] * b];

/** Match of a take to a plate. Never throws: what is not known stays as it is and `why` says so. */
export function matchLight(
  plate: PlateMeasures,
  take: PlateMeasures,
  subject: SubjectStatistics | null,
  words: LightWords = {},
): LightMatch {
  const white = whiteBalance(plate, take, words.edges ?? null, {
    plate: words.plateTone?.colour ?? null,
    take: words.takeTone?.colour ?? null,
  });
  // A known surface in the plate tells the level itself, of a dim take too.
  const dim = words.plateTone == null ? raisedExposure(plate, take, subject) : { gain: 1, why: '' };
  let slope = times(white.slope, dim.gain);
  const level = dim.gain === 1 ? levelFor(plate, take, subject, words) : null;
  if (level !== null) slope = times(slope, 2 ** level.stops);
  const bright = pulledIn(plate, take, subject, words, slope, level !== null && level.stops < 0);
  slope = times(slope, bright.gain);
  const blacks = liftedBlacks(plate, subject, slope);
  const harder = contrastFor(subject, words, slope, blacks.offset);
  const said = [
    white.why,
    dim.why,
    level?.why ?? toneAlone(words),
    bright.why,
    harder.why,
    blacks.why,
    ...(words.tonesAmiss ?? []),
  ].filter((w) => w !== '');
  return { slope: harder.slope, offset: harder.offset, power: harder.power, saturation: 1, why: said.join('; ') };
}

/** Contrasts nearer to each other than this do not show. */
const LEAST_CONTRAST = 0.03;
/** Luminance about which contrast is changed where the performer's own is not known: the middle grey. */
const MIDDLE_GREY = 0.18;

/**
 * The take's contrast brought to the plate's, as known surfaces tell both, about the performer's own middle, whose level
 * stays as it was found; and the same lift of blacks, which an ASC CDL adds before the power.
 */
function contrastFor(
  subject: SubjectStatistics | null,
  { plateTone = null, takeTone = null }: LightWords,
  slope: Channels,
  offset: Channels,
): { readonly slope: Channels; readonly offset: Channels; readonly power: Channels; readonly why: string } {
  const power = plateTone === null ? 1 : plateTone.contrast / (takeTone?.contrast ?? 1);
  if (Math.abs(power - 1) < LEAST_CONTRAST) return { slope, offset, power: [1, 1, 1], why: '' };
  const middle = Math.max(1e-3, subject?.percentiles[2] ?? MIDDLE_GREY);
  return {
    slope: mapTuple(slope, (s) => (middle * s) ** (1 / power) / middle),
    offset: mapTuple(offset, (o) => o ** (1 / power)),
    power: [power, power, power],
    why: `contrast ${power.toFixed(2)} times the take's, by the known tones`,
  };
}

/** What is said where a surface known in the plate tells no level, as nothing in the take can be held against it. */
function toneAlone({ plateTone = null, takeTone = null, screen = null, ownFeet = null }: LightWords): string {
  return plateTone !== null && takeTone === null && screen === null && ownFeet === null
    ? 'the known tone tells how bright a white is in the plate, and nothing tells it in the take: mark one there too'
    : '';
}

/** What the pictures beside each other say of the exposure, stops; null where they say nothing. */
function levelFor(
  plate: PlateMeasures,
  take: PlateMeasures,
  subject: SubjectStatistics | null,
  { screen = null, feet = null, ownFeet = null, plateTone = null, takeTone = null, facingStops = 0 }: LightWords,
): { readonly stops: number; readonly why: string } | null {
  if (plate.look === undefined) return null;
  const level = levelBeside(plate.look, {
    screen,
    cardStops: take.light?.exposureStops?.value ?? null,
    azimuthDeg: take.light?.azimuthDeg.value ?? null,
    feet,
    own: ownFeet === null || take.look === undefined ? null : { feet: ownFeet, look: take.look },
    plateTone,
    tone: takeTone,
    facingStops,
    middle: subject === null ? null : Math.max(1e-4, subject.percentiles[2]),
  });
  if (level === null) return null;
  const { stops, sdStops, why } = level;
  if (stops === 0) return { stops, why: `exposure left as it is: ${why}` };
  return {
    stops,
    why:
      `exposure ${stops < 0 ? 'lowered' : 'raised'} by ${Math.abs(stops).toFixed(1)} stops (± ` +
      `${sdStops.toFixed(1)}): ${why}`,
  };
}

/** What is taken off a performer that outshines the plate's whites. */
function pulledIn(
  plate: PlateMeasures,
  take: PlateMeasures,
  subject: SubjectStatistics | null,
  { screen = null, feet = null, ownFeet = null, plateTone = null, takeTone = null }: LightWords,
  slope: Channels,
  lowered: boolean,
): { readonly gain: number; readonly why: string } {
  const white = plate.look?.percentiles[6];
  if (subject === null || white === undefined) return { gain: 1, why: '' };
  const card = take.light?.exposureStops?.value ?? null;
  const told =
      (feet !== null || plateTone !== null) &&
      (screen !== null || ownFeet !== null || card !== null || takeTone !== null),
    most = (told ? OVER_WHITE_TOLD : OVER_WHITE) * bt709Decode(white);
  const brightest = subject.percentiles[3] * luminance(slope);
  if (!(brightest > most && most > 0.02)) return { gain: 1, why: '' };
  const gain = Math.max(0.4, (most / brightest) ** (told ? 1 : TAKEN_OFF));
  return {
    gain,
    why:
      `exposure lowered by ${lowered ? 'further ' : ''}${(-Math.log2(gain)).toFixed(1)} stops: ` +
      'the performer outshone everything in the plate',
  };
}

/** Blacks lifted to the plate's own, linear, a channel. */
function liftedBlacks(
  plate: PlateMeasures,
  subject: SubjectStatistics | null,
  slope: Channels,
): { readonly offset: Channels; readonly why: string } {
  const offset: [number, number, number] = [0, 0, 0];
  if (plate.look === undefined || subject === null) return { offset, why: '' };
  const lift = liftOf(plate.look.blackCoded);
  for (let c = 0; c < 3; c++) {
    const own = subject.percentiles[0] * slope[c]!;
    if (lift[c]! > LEAST_LIFT && own < lift[c]!) offset[c] = Math.min(MOST_LIFT, lift[c]! - own);
  }
  return { offset, why: offset.some((v) => v > 0) ? "blacks lifted to the plate's" : '' };
}
