/**
 * A cast told by the picture alone: the colour of the light that the performer seems to stand in (shades of grey: the
 * Minkowski mean, p = 6, of what it falls on; Finlayson & Trezzi, CIC, 2004), beside the plate's about it. A coat has a
 * colour of its own, and most coats are warm: brown, ginger, cream. So the departure is held against what performers of
 * true pictures show, as Mahalanobis' distance (Proceedings of the National Institute of Sciences of India 2, 1936) of
 * red and blue over green: a bluish performer stands out long before an orange one.
 */
import { linearOfWhite, planckianXy } from '../../colour/temperature.js';
import { bt709Decode } from '../../colour/transfer.js';
import { grow, type SeenFrame } from '../reader/frame.js';

/** Stops of red and of blue over green. */
export type Tint = readonly [number, number];

export interface CastReading {
  /** How far the performer's colours lie from what performers show before such a plate, in standard deviations. */
  readonly colour: number;
  /** Factors on the performer's light, of luminance 1 together, that would bring it to one such deviation. */
  readonly gain: readonly [number, number, number];
  /** Tints of the performer and of the plate about it. */
  readonly own: Tint;
  readonly plate: Tint;
}

/**
 * What performers of true pictures show, stops of red over green and of blue over green less a share of the plate's:
 * mean, and covariance as standard deviations and correlation. 78 exam scenes (a view each), 16 frames of seven real
 * clips and six made bodies, each kind weighed by its scenes.
 */
const USUAL = [0.275, -0.414] as const,
  SPREAD = [0.232, 0.349] as const,
  TOGETHER = -0.665;

/**
 * Shares of the plate's departure from white that its light may make, the first up to `MOST` stops of it: a fifth
 * before a lawn or a wall (regression over those pictures: .14 to .28 of red, .18 to .43 of blue), half where the whole
 * picture is of one tint (a yellowed poster). The share counts that speaks for the performer.
 */
const BELIEVED = [0.2, 0.5] as const,
  MOST = [0.8, Infinity] as const;

/** Coverage of the performer, and of what is the plate's alone. */
const CORE = 0.97,
  BARE = 0.02;

/** Sixth power of the light at 1024 even coded levels, for Minkowski means. */
const SIXTH = Float64Array.from({ length: 1025 }, (_, i) => bt709Decode(i / 1024) ** 6);

function sixthPower(coded: number): number {
  const v = 1024 * Math.min(1, Math.max(0, coded)),
    k = Math.min(1023, Math.floor(v));
  return SIXTH[k]! + (SIXTH[k + 1]! - SIXTH[k]!) * (v - k);
}

/** Null where no performer or nothing of the plate about it is seen. */
export function readCast(f: SeenFrame): CastReading | null {
  const sums = f.box === null ? null : minkowskiSums(f, f.box);
  if (sums === null) return null;
  const [own, plate] = sums.map((s) => {
    const [r, g, b] = s.map((q) => Math.log2(Math.max(1e-4, q ** (1 / 6)))) as [number, number, number];
    return [r - g, b - g] as const;
  }) as [Tint, Tint];
  const [off, colour] = leastOff([own[0] - USUAL[0], own[1] - USUAL[1]], plate);
  return { colour, gain: gainAgainst(off, colour), own, plate };
}

/** How far a tint lies off, in standard deviations of what performers show. */
function distanceOf(off: Tint): number {
  const [u, v] = [off[0] / SPREAD[0], off[1] / SPREAD[1]];
  return Math.sqrt((u * u - 2 * TOGETHER * u * v + v * v) / (1 - TOGETHER * TOGETHER));
}

/** What is left of a departure under the share of the plate's tint that speaks for it, and how far that lies off. */
function leastOff(departure: Tint, plate: Tint): readonly [Tint, number] {
  return BELIEVED.map((share, b) => {
    const off = [0, 1].map(
      (k) => departure[k]! - share * Math.min(MOST[b]!, Math.max(-MOST[b]!, plate[k]!)),
    ) as unknown as Tint;
    return [off, distanceOf(off)] as const;
  }).reduce((a, b) => (b[1] < a[1] ? b : a));
}

/** Temperatures of lamps and daylight that a take may be lit by, mired, and the step between those that are tried. */
const LIGHTS = [67, 455] as const,
  LIGHT_STEP = 20;

/**
 * How far a coat of this tint lies from what performers show under whatever light between 2200 and 15 000 K makes it
 * most usual: what stays far off is blue, violet, red or green by itself.
 */
export function unlikeUnderAnyLight(own: Tint): number {
  let least = Infinity;
  for (let mired: number = LIGHTS[0]; mired <= LIGHTS[1]; mired += LIGHT_STEP) {
    const [r, g, b] = linearOfWhite(planckianXy(1e6 / mired)),
      light = [Math.log2(r / g), Math.log2(b / g)] as const;
    least = Math.min(least, distanceOf([own[0] - USUAL[0] - light[0], own[1] - USUAL[1] - light[1]]));
  }
  return least;
}

/** How far a change of the performer's tint lies from what the plate's light may make of it. */
export function unlikeChange(change: Tint, plate: Tint): number {
  return leastOff(change, plate)[1];
}

function gainAgainst(off: Tint, distance: number): readonly [number, number, number] {
  const // No farther than to the rim of what most show: nobody knows whether the coat is brown or grey.
    back = Math.max(0, 1 - 1 / Math.max(1e-6, distance)),
    gain = [2 ** (-back * off[0]), 1, 2 ** (-back * off[1])],
    luminance = 0.2126 * gain[0]! + 0.7152 + 0.0722 * gain[2]!;
  return [gain[0]! / luminance, 1 / luminance, gain[2]! / luminance];
}

/** Sums of sixth powers of the performer's light and of the plate's about it, a channel. */
function minkowskiSums(f: SeenFrame, b: NonNullable<SeenFrame['box']>): readonly number[][] | null {
  const { width: W, height: H } = f.join,
    N = W * H,
    sums = [
      [0, 0, 0],
      [0, 0, 0],
    ],
    count = [0, 0];
  const [x0, y0, x1, y1] = grow(b, b[3] - b[1], 0.5 * (b[3] - b[1]), W, H);
  for (let y = y0; y < y1; y += 2)
    for (let x = x0; x < x1; x++) {
      const i = y * W + x,
        k = f.matte[i]! > CORE ? 0 : f.matte[i]! < BARE ? 1 : -1;
      if (k < 0) continue;
      const src = k === 0 ? f.join : f.plate;
      for (let c = 0; c < 3; c++) sums[k]![c]! += sixthPower(src.data[c * N + i]!);
      count[k]!++;
    }
  if (count[0] === 0 || count[1] === 0) return null;
  return sums.map((s, k) => s.map((q) => q / count[k]!));
}
