/**
 * The light where the performer stands, told by surfaces that a person knows: one that throws back a share ρ of the
 * light and shows with luminance L in a picture says that a white there would show with L / ρ (matt surfaces: J. H.
 * Lambert, Photometria, 1760), and one without colour of its own shows the colour of the light. What is asked for is a
 * white that lies flat at the performer's feet; one that stands upright and faces the camera gets more or less of the
 * key than that, by the key's direction.
 */
import { RAD_PER_DEG } from '../../core/angles.js';
import { mapTuple, three } from '../../core/tuples.js';
import type { Picture } from '../../image/picture.js';
import { rasterizePolygon } from '../../image/polygon.js';
import { median } from '../../image/statistics.js';
import type { MarkOf } from '../proposal-input.js';
import { luminance } from './white-balance.js';

/** One mark and the picture of its frame, scene-linear RGB. */
export interface ToneSeen {
  readonly mark: MarkOf<'tone'>;
  readonly linear: Picture;
}

/** Key beside the camera's heading, degrees; share of the light on what faces the key that is fill. */
export interface LightOnGround {
  readonly azimuthDeg: number;
  readonly elevationDeg: number;
  readonly fill: number;
  /** Sds of both angles, degrees; 0 where left out. */
  readonly sdDeg?: { readonly azimuth: number; readonly elevation: number };
  /** Not measured in this picture: taken to stand as in the other one, as takes are set up by the brief. */
  readonly supposed?: boolean;
}

/**
 * What the known surfaces of one picture tell: the straight line on which luminance lies over the share of light thrown
 * back, both in stops, and the colour of the light.
 */
export interface ToneLine {
  /** Where a white that lies flat at the feet would show, stops over 1: the line's height at a share of 1. */
  readonly white: number;
  /** Its slope: 1 where the picture shows light as it is, more in a film of hard contrast. */
  readonly contrast: number;
  /** Variances of both, stops² and 1, and between them their covariance. */
  readonly variance: readonly [white: number, between: number, contrast: number];
  /** Linear RGB of the light by what is grey, luminance 1; null where nothing grey is marked. */
  readonly colour: readonly [number, number, number] | null;
  /** Stops by which they lie off the line (rms) where that is more than their doubt: one may stand in the shade; else 0. */
  readonly apartStops: number;
}

/**
 * Where a white would show if the picture were without contrast of its own about a surface that throws back
 * 2 ** `darkness` of the light (stops, 0 and less), stops over 1; with its variance.
 */
export function whiteAbout(
  { white, contrast, variance: [v, between, k] }: ToneLine,
  darkness: number,
): { readonly stops: number; readonly variance: number } {
  return {
    stops: white + (contrast - 1) * darkness,
    variance: v + 2 * darkness * between + darkness * darkness * k,
  };
}

/** Sd of a share that a person tells without saying how surely, stops: a quarter more or less (own choice). */
const TOLD_SD = 0.3;
/**
 * Sd of two surfaces in one light a few steps apart, stops (dirt, folds, gloss, a lamp that is nearer to one); of the
 * light on one that stands beside that on one that lies, where the key's direction is known, and where it is not (own
 * choice).
 */
const PLACE_SD = 0.15,
  UPRIGHT_SD = 0.35,
  UPRIGHT_UNKNOWN_SD = 0.7;
/** Sd of how hard films and phones show contrast about light as it is, before any two surfaces told it (own choice). */
const CONTRAST_SD = 0.15;
/** Rounds in which surfaces that disagree are taken as less sure; later ones change nothing that shows. */
const ROUNDS = 4;
/** What grows or is paved throws back about so much of its light onto what stands beside it (common practice). */
const GROUND_REFLECTS = 0.2;
/** Less of a mark tells nothing, pixels of full cover; nor does what is nearly black or burnt out, linear. */
const LEAST_PIXELS = 12,
  LEAST = 2e-3,
  BURNT = 0.95;
/** Cover from which a pixel counts as inside. */
const INSIDE = 0.99;
/** Surfaces that lie off their line by more than so many times their doubt (rms) disagree. */
const DISAGREE = 1.5;

/**
 * The line through all known surfaces of a picture (least squares by inverse variances, the contrast held near 1 by
 * {@link CONTRAST_SD}); null where none can be read. Surfaces that disagree by more than their doubt count as so much
 * less sure (R. T. Birge, Physical Review 40, 1932). `light`: null where the key is not known. Never throws; marks that
 * are too small, black or burnt out are left out.
 */
export function toneLine(tones: readonly ToneSeen[], light: LightOnGround | null): ToneLine | null {
  const seen = tones.map((t) => readTone(t, light)).filter((r) => r !== null);
  if (seen.length === 0) return null;
  let unsure = 1,
    fit = fitLine(seen, unsure);
  for (let round = 0; round < ROUNDS; round++) {
    const missed = seen.reduce((s, r) => s + (r.level - fit.white - fit.contrast * r.dark) ** 2 / r.variance, 0);
    unsure = Math.max(1, missed / seen.length);
    fit = fitLine(seen, unsure);
  }
  const apart = Math.sqrt(
    seen.reduce((s, r) => s + (r.level - fit.white - fit.contrast * r.dark) ** 2, 0) / seen.length,
  );
  return {
    ...fit,
    colour: colourOf(seen.filter((r) => r.grey)),
    apartStops: unsure > DISAGREE ** 2 ? apart : 0,
  };
}

/** Why a mark tells nothing, in words that go on from `it`; null where it was read. */
export function unreadTone({ mark, linear }: ToneSeen): string | null {
  const shown = shownBy(mark, linear);
  return typeof shown === 'string' ? shown : null;
}

/** A surface as it was read: stops of its share of light and of what it shows if it lay flat, its linear colour. */
interface ToneRead {
  readonly dark: number;
  readonly level: number;
  readonly variance: number;
  readonly rgb: readonly [number, number, number];
  readonly grey: boolean;
}

function readTone({ mark, linear }: ToneSeen, light: LightOnGround | null): ToneRead | null {
  const rgb = shownBy(mark, linear);
  if (typeof rgb === 'string') return null;
  const standing = mark.upright === true ? standingStops(light) : { stops: 0, sd: 0 };
  return {
    dark: Math.log2(mark.reflects),
    level: Math.log2(luminance(rgb)) - standing.stops,
    variance: (mark.sdStops ?? TOLD_SD) ** 2 + PLACE_SD ** 2 + standing.sd ** 2,
    rgb,
    grey: mark.grey === true,
  };
}

/** The likeliest line and its variances, each surface's variance taken `unsure` times as large. */
function fitLine(seen: readonly ToneRead[], unsure: number): Omit<ToneLine, 'colour' | 'apartStops'> {
  const held = 1 / CONTRAST_SD ** 2;
  let [n, x, xx, y, xy] = [0, 0, held, 0, held];
  for (const { dark, level, variance } of seen) {
    const w = 1 / (unsure * variance);
    n += w;
    x += w * dark;
    xx += w * dark * dark;
    y += w * level;
    xy += w * dark * level;
  }
  const det = n * xx - x * x;
  return {
    white: (xx * y - x * xy) / det,
    contrast: (n * xy - x * y) / det,
    variance: [xx / det, -x / det, n / det],
  };
}

/** Colour of the light by grey surfaces, weighed by how sure they are; luminance 1, null where there are none. */
function colourOf(grey: readonly ToneRead[]): ToneLine['colour'] {
  if (grey.length === 0) return null;
  const weight = grey.reduce((s, r) => s + 1 / r.variance, 0),
    colour = three((c) =>
      Math.exp(grey.reduce((s, r) => s + Math.log(r.rgb[c] / luminance(r.rgb)) / r.variance, 0) / weight),
    ),
    bright = luminance(colour);
  return mapTuple(colour, (v) => v / bright);
}

/** Places over a normal variable, in sds, and their weights. */
const SPREAD = [-2.5, -2, -1.5, -1, -0.5, 0, 0.5, 1, 1.5, 2, 2.5].map((at) => ({
  at,
  weight: Math.exp((-at * at) / 2),
}));
/** Lowest key that a doubtful one is taken to stand at, degrees: under it no flat ground is lit. */
const LOWEST_DEG = 5;

/**
 * Light on what stands over that on what lies, stops, with its sd. A key whose direction is in doubt tells it the less
 * the more that differs over where the key may stand: nothing of it is left where it may stand anywhere.
 */
export function standingStops(light: LightOnGround | null): { readonly stops: number; readonly sd: number } {
  if (light === null) return { stops: 0, sd: UPRIGHT_UNKNOWN_SD };
  const { azimuth, elevation } = light.sdDeg ?? { azimuth: 0, elevation: 0 };
  let [weights, sum, squares] = [0, 0, 0];
  for (const a of SPREAD)
    for (const e of SPREAD) {
      const elevationDeg = light.elevationDeg + e.at * elevation,
        stops = Math.log2(
          uprightOverFlat({
            ...light,
            azimuthDeg: light.azimuthDeg + a.at * azimuth,
            elevationDeg: elevation === 0 ? elevationDeg : Math.max(LOWEST_DEG, elevationDeg),
          }),
        ),
        weight = a.weight * e.weight;
      weights += weight;
      sum += weight * stops;
      squares += weight * stops * stops;
    }
  const unknown = UPRIGHT_UNKNOWN_SD ** 2,
    mean = sum / weights,
    believed = unknown / (unknown + Math.max(0, squares / weights - mean * mean));
  return {
    stops: believed * mean,
    sd: light.supposed === true ? UPRIGHT_UNKNOWN_SD : Math.sqrt(believed * UPRIGHT_SD ** 2 + (1 - believed) * unknown),
  };
}

/**
 * Light on a surface that stands and faces the camera, over that on one that lies flat. The upright one sees the half
 * of the sky and the half of the ground.
 */
export function uprightOverFlat({ azimuthDeg, elevationDeg, fill }: LightOnGround): number {
  const key = 1 - fill,
    flat = key * Math.max(0, Math.sin(elevationDeg * RAD_PER_DEG)) + fill,
    facing = Math.max(0, Math.cos(elevationDeg * RAD_PER_DEG) * Math.cos(azimuthDeg * RAD_PER_DEG));
  return (key * facing + fill / 2) / flat + GROUND_REFLECTS / 2;
}

/** Median linear RGB inside a mark, or why it tells nothing. */
function shownBy(
  mark: MarkOf<'tone'>,
  { width, height, data }: Picture,
): readonly [number, number, number] | 'is too small' | 'is nearly black' | 'is burnt out' {
  const n = width * height,
    cover = rasterizePolygon(mark.polygon, width, height),
    inside: number[] = [];
  for (let i = 0; i < n; i++) if (cover[i]! >= INSIDE) inside.push(i);
  if (inside.length < LEAST_PIXELS) return 'is too small';
  const rgb = three((c) => median(Float64Array.from(inside, (i) => data[c * n + i]!)));
  if (Math.min(...rgb) < LEAST) return 'is nearly black';
  return Math.max(...rgb) > BURNT ? 'is burnt out' : rgb;
}

/** Light on what faces the key over that on what lies flat, stops. */
export function facingOverFlat({ elevationDeg, fill }: LightOnGround): number {
  return -Math.log2((1 - fill) * Math.max(0, Math.sin(elevationDeg * RAD_PER_DEG)) + fill);
}
