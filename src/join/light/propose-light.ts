/**
 * The light step and the choice of mirroring, from the keys of plate and take. A performer's shading hangs on where the
 * key stands beside the line of sight, not beside the camera's heading: one who stands at the picture's edge, or is
 * seen by a camera that pans past, is lit from another side than the heading says. So both keys are told in the frame
 * of the line of sight to the performer, looked at from the elevation at which the join shows it.
 */
import { differenceDeg, RAD_PER_DEG } from '../../core/angles.js';
import { three } from '../../core/tuples.js';
import { dot, unit, type Vec3 } from '../../geometry/mat3.js';
import { lightInCamera } from '../ground/ground-geometry.js';
import { keyAtStand } from '../ground/near-lamp.js';
import { matchLight, type LightWords } from './light.js';
import { bearingAt, turnedFrom, type ProposalInput } from '../proposal-input.js';
import { posesOf } from '../pace/pace-yaws.js';
import { MOST_DEG } from './relight.js';
import type { Stand } from '../ride/ride.js';
import { shareFacing, type TakeFill } from './take-fill.js';
import type { LightStep } from '../types.js';

/** Azimuths nearer than this are one light (as the verdict on a take has it). */
const SAME_AZIMUTH_DEG = 15;
/** A mirrored take's yaw may be off by so much. */
const YAW_SLACK_DEG = 20;
/**
 * Fill of a take beside the plate's before anything of it was read, and how sure that is, stops: cloth under and behind
 * the performer throws light back that the plate's ground does not (our own choice, held against practice pictures).
 */
const CLOTH_FILL = 1.6,
  CLOTH_SD = 0.5;
/**
 * Key over fill that is read this well is read off a head or a wide shadow, and stands alone; a peg's thin shadow has
 * three times the sd and only joins in. Stops.
 */
const READ_WELL = 0.7;
/** Share of the plate's light that is fill where nothing tells it. */
export const USUAL_FILL = 0.3;

/** Both keys beside the line of sight to the performer: azimuth (positive from camera right) and elevation, degrees. */
export interface Keys {
  readonly plate: { readonly azimuthDeg: number; readonly elevationDeg: number };
  readonly take: { readonly azimuthDeg: number; readonly elevationDeg: number };
  /** Sd of the angle between both, degrees, as their measures state it; 0 where they state none. */
  readonly sdDeg: number;
}

const middle = (s: {
  readonly ground: readonly [number, number];
  readonly top: readonly [number, number];
}): [number, number] => [(s.ground[0] + s.top[0]) / 2, (s.ground[1] + s.top[1]) / 2];

/**
 * @param shown where the performer stands in the plate on `frame`; `stand` in the take. Null where a key's direction is
 * not known.
 */
export function keysBesideSight(
  input: ProposalInput,
  shown: Omit<Stand, 'frame'>,
  frame: number,
  stand: Stand,
): Keys | null {
  const pm = input.plate.measures,
    tm = input.take.measures,
    pl = pm.light,
    tl = tm.light;
  if (
    pl?.azimuthDeg.value == null ||
    pl.elevationDeg.value == null ||
    tl?.azimuthDeg.value == null ||
    tl.elevationDeg.value == null
  )
    return null;
  const near = keyAtStand(pm, input.plate.marks),
    panned = turnedFrom(pm, pl.azimuthDeg.frames?.[0] ?? input.plate.marks.frame, frame).panDeg;
  return {
    plate: {
      azimuthDeg: (near?.azimuthDeg ?? pl.azimuthDeg.value) + panned - (bearingAt(pm, middle(shown), frame) ?? 0),
      elevationDeg: near?.elevationDeg ?? pl.elevationDeg.value,
    },
    take: {
      azimuthDeg: tl.azimuthDeg.value - (bearingAt(tm, middle(stand), stand.frame) ?? 0),
      elevationDeg: tl.elevationDeg.value,
    },
    sdDeg: Math.hypot(
      ...[pl, tl].map((l) => sdOfKey(l.azimuthDeg.sd ?? 0, l.elevationDeg.sd ?? 0, l.elevationDeg.value!)),
    ),
  };
}

/** Sd of a direction along any way over the sphere, degrees: the mean of both axes' variances. */
const sdOfKey = (azimuthSd: number, elevationSd: number, elevationDeg: number): number =>
  Math.sqrt(((azimuthSd * Math.cos(elevationDeg * RAD_PER_DEG)) ** 2 + elevationSd ** 2) / 2);

/**
 * How much of what lies between both keys is believed: a take is set up by the brief, so its key stands within some
 * {@link SAME_AZIMUTH_DEG} of the plate's true one (as a sd: own choice), and the rest is the measure's own error
 * (posterior mean of a Gaussian).
 */
const believed = (sdDeg: number): number => SAME_AZIMUTH_DEG ** 2 / (SAME_AZIMUTH_DEG ** 2 + sdDeg ** 2);

/** Less of the way than this is left unturned for its doubt, and said. */
const SAID_BELIEVED = 0.8;

export interface MirrorProposal {
  readonly mirror: boolean;
  readonly why: string;
}

/**
 * Mirror where the take's key stands on the mirrored side of the plate's and nothing else would come out wrong by it.
 */
export function proposeMirror(input: ProposalInput, keys: Keys | null): MirrorProposal {
  if (keys === null) return { mirror: false, why: '' };
  const as = Math.abs(differenceDeg(keys.take.azimuthDeg, keys.plate.azimuthDeg)),
    flipped = Math.abs(differenceDeg(-keys.take.azimuthDeg, keys.plate.azimuthDeg));
  if (!(as > SAME_AZIMUTH_DEG && flipped <= SAME_AZIMUTH_DEG)) return { mirror: false, why: '' };
  const need = posesOf(input.plate),
    have = posesOf(input.take),
    swapped = posesOf(input.take, true);
  const off = (poses: typeof have): number =>
    need.length === 0 || poses.length === 0
      ? 0
      : Math.max(
          Math.abs(differenceDeg(poses[0]!.yawDeg, need[0]!.yawDeg)),
          Math.abs(differenceDeg(poses.at(-1)!.yawDeg, need.at(-1)!.yawDeg)),
        );
  const now = off(have),
    then = off(swapped);
  if (then > YAW_SLACK_DEG && then > now)
    return {
      mirror: false,
      why:
        `mirrored, the take's key would fit (${flipped.toFixed(0)}° off, not ${as.toFixed(0)}°), ` +
        `but its poses would be up to ${then.toFixed(0)}° off: left as it is; set mirror to try`,
    };
  return {
    mirror: true,
    why:
      `mirrored: the take's key stands ${as.toFixed(0)}° off as it is, ` +
      `${flipped.toFixed(0)}° when left and right are changed over`,
  };
}

/** What the light step is made from beside the two sides. */
export interface LightFrom {
  /** Null where a key's direction is not known. */
  readonly keys: Keys | null;
  /** How far down the join's camera looks at the performer, degrees. */
  readonly sightDeg: number;
  /** Share of the light on the plate's open ground that is fill, per channel; null where it is assumed. */
  readonly groundFill: readonly [number, number, number] | null;
  readonly mirror: boolean;
  /** What both pictures say of level and colour. */
  readonly words?: LightWords;
  /** The take's fill as its floor tells it. */
  readonly takeFill?: TakeFill | null;
}

/** Proposes the step, with its reason; how well the keys agree is told where both are known. */
export function proposeLight(input: ProposalInput, from: LightFrom): LightStep {
  const { keys, mirror } = from,
    match = matchLight(input.plate.measures, input.take.measures, input.subject ?? null, from.words ?? {});
  const base = {
    step: 'light' as const,
    on: true,
    slope: match.slope,
    offset: match.offset,
    power: match.power,
    saturation: match.saturation,
  };
  if (keys === null) return { ...base, why: match.why };
  const toCamera = lightInCamera(keys.plate.azimuthDeg, keys.plate.elevationDeg, -from.sightDeg, 0),
    fromCamera = lightInCamera(keys.take.azimuthDeg, keys.take.elevationDeg, -from.sightDeg, 0),
    seen: Vec3 = mirror ? [-fromCamera[0], fromCamera[1], fromCamera[2]] : fromCamera,
    apart = Math.acos(Math.min(1, Math.max(-1, dot(seen, toCamera)))) / RAD_PER_DEG;
  if (apart > MOST_DEG)
    return {
      ...base,
      why:
        `${match.why}; the keys lie ${apart.toFixed(0)}° apart, more than ${MOST_DEG}° can't be mended: ` +
        'shoot again with the light moved',
    };
  const share = believed(keys.sdDeg),
    to = unit(three((k) => seen[k]! + share * (toCamera[k]! - seen[k]!))),
    azimuth = differenceDeg(keys.plate.azimuthDeg, mirror ? -keys.take.azimuthDeg : keys.take.azimuthDeg);
  return {
    ...base,
    relight: {
      azimuthDeg: share * azimuth,
      elevationDeg: share * (keys.plate.elevationDeg - keys.take.elevationDeg),
      strength: 1,
      fromCamera: [...fromCamera],
      toCamera: [...to],
      ...fills(input, keys, from),
    },
    why:
      `${match.why}; the key is turned by ${(share * apart).toFixed(0)}° on the performer` +
      (share < SAID_BELIEVED ? ` (${apart.toFixed(0)}° as measured, ± ${keys.sdDeg.toFixed(0)}°)` : ''),
  };
}

/** Share of the light on a surface that faces the key that is fill, per channel, in the take and on the plate. */
function fills(
  { plate, take }: ProposalInput,
  keys: Keys,
  { groundFill, takeFill = null }: LightFrom,
): { readonly fromFill: [number, number, number]; readonly toFill: [number, number, number] } {
  const shareOf = (stops: number | null | undefined): number | null => (stops == null ? null : 2 ** -stops),
    plateStops = plate.measures.light?.keyFillStops,
    takeStops = take.measures.light?.keyFillStops;
  const toFill =
    groundFill === null
      ? even(shareOf(plateStops?.value) ?? USUAL_FILL)
      : (groundFill.map((f) => shareFacing(f, keys.plate.elevationDeg)) as [number, number, number]);
  // How much fill the take has may be measured; its colour is not, and is taken to be the plate's: else the difference
  // would tint the performer.
  const own = shareOf(takeStops?.value),
    more = moreFill(
      Math.max(0.02, luma(toFill)),
      own === null ? null : { share: own, sdStops: takeStops?.sd ?? READ_WELL },
      takeFill,
    );
  return { fromFill: toFill.map((f) => Math.min(0.9, f * more)) as [number, number, number], toFill };
}

const luma = (v: readonly [number, number, number]): number => 0.2126 * v[0] + 0.7152 * v[1] + 0.0722 * v[2];

function even(v: number): [number, number, number] {
  return [v, v, v];
}

/**
 * The take's fill over the plate's: as read well off a head, else what was read (off a thin shadow, off the floor) and
 * what is usual, each by its own sd in stops (inverse variances). At least half of the plate's.
 */
export function moreFill(plateFill: number, own: TakeFill | null, floor: TakeFill | null): number {
  const of = (f: TakeFill): number => Math.log2(Math.max(0.5, f.share / plateFill));
  if (own !== null && own.sdStops < READ_WELL) return 2 ** of(own);
  let weight = 1 / CLOTH_SD ** 2,
    sum = weight * Math.log2(CLOTH_FILL);
  for (const f of [own, floor]) {
    if (f === null) continue;
    weight += 1 / f.sdStops ** 2;
    sum += of(f) / f.sdStops ** 2;
  }
  return 2 ** (sum / weight);
}
