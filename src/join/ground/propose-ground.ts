/**
 * The ground step: the cast shadow's light, darkness and place, what it falls on, and a reflection, from the plate's
 * measures and marks.
 */
import type { Measure } from '../../core/measure.js';
import { polygonArea } from '../../image/polygon.js';
import type { MarksFile, RegionFile } from '../../plate/marks/marks.js';
import type { PlateMeasures } from '../../plate/types.js';
import { leftOnBody } from '../light/plate-shade.js';
import { regionOf, thingsOf } from '../mark-regions.js';
import { markedHeight, marksOf, type ProposalInput } from '../proposal-input.js';
import { carryRegion, type Carrier } from '../ride/carrier.js';
import type { Stand } from '../ride/ride.js';
import type { GroundStep } from '../types.js';
import type { GroundFrame, OnPerformer } from './types.js';
import { darkLinesPx } from './dark-lines.js';
import { groundGeometry, type GroundGeometry } from './ground-geometry.js';
import { groundFrames, type FramesFrom } from './ground-frames.js';
import { keyOnGround, type GroundKey } from './ground-key.js';
import { ownShadowOf } from './own-shadow.js';
import { measureLitGround } from './plate-shadow.js';
import { proposeDarkness } from './propose-darkness.js';
import { proposeReceivers } from './propose-receivers.js';
import { proposeReflection } from './propose-reflection.js';
import { sayGround } from './say-ground.js';
import { standingPosts } from './standing-posts.js';
import { shadeOnCard } from './shade-on-card.js';

/**
 * Share of the performer's height over which the ground is smoothed before its shadows are read: stones and blades are
 * smaller, shadows that matter larger.
 */
const SMOOTHED = 0.03;

/**
 * Sd of the edge of a shadow on the performer, in its heights: of the sun's own size over some four heights of way; of
 * own choice.
 */
const SHADE_EDGE = 0.01;

/**
 * Seven balls one after the other close off the sky a little more than the body that they stand for: on two bodies
 * under an even sky, traced, .7 takes as much light as the truth, .8 takes 1.15 of it.
 */
const CONTACT = 0.7;

/**
 * What a lamp in a room is seen under and its sd, degrees: a bulb of 6 cm to a shade of 40 cm, 2 to 4 m away (own
 * choice). A short or coarse shadow tells its penumbra as nothing, give or take five degrees.
 */
const USUAL_LAMP_DEG = [4, 2.5] as const;

/**
 * A lamp whose direction the floor tells roughly is drawn wider by so many times that direction's sd: what is most
 * likely of a shadow that may fall here or there is their mean. All of it would be four times (a disc of an angle has
 * a quarter of it for its sd); less is taken, as a shadow much softer than others of the plate would show (own choice).
 */
const UNSURE = 1.5;

/**
 * What the light of a softly lit room is seen under, degrees: a window or a lit ceiling two metres wide two and a half
 * metres off (own choice).
 */
const SOFT_ROOM_DEG = 45;

/** Sd of a pixel's own blur: the shadow is drawn with that already, px. */
const OWN_BLUR_PX = 0.35;
/** Softer edges than this are drawn as they are, px: nobody sees the difference. */
const LEAST_LENS_PX = 0.4;

/**
 * What the plate's lens and coding spread edges by beyond a pixel's own blur. A Gaussian edge of sd s rises from a
 * tenth to nine tenths over 2.56 s.
 */
function lensOf(plate: PlateMeasures): { readonly lensPx?: number } {
  const spread = plate.look?.edgeSpreadPx.value ?? null,
    sd = spread === null ? 0 : Math.sqrt(Math.max(0, (spread / 2.563) ** 2 - OWN_BLUR_PX ** 2));
  return sd < LEAST_LENS_PX ? {} : { lensPx: Math.round(100 * Math.min(4, sd)) / 100 };
}

export interface GroundProposal {
  readonly step: GroundStep;
  /** Share of the light on open ground that is fill, per channel; null where it is assumed. */
  readonly measuredFill: readonly [number, number, number] | null;
}

/** What the ground step is made from beside the two sides. */
export interface GroundFrom extends Pick<FramesFrom, 'where' | 'walked' | 'axisFrom' | 'body'> {
  /** Where the performer stands on each marked frame. */
  readonly stands: readonly Stand[];
  /** It rides on something of the plate, which `carrier` carries. */
  readonly carried: boolean;
  /** It sits on the carrier's shoulders. */
  readonly onTop: boolean;
  readonly carrier: Carrier;
  /** Carries what lies on the ground. */
  readonly groundCarrier: Carrier;
}

/** Proposes the whole step from both sides, with its reason in words. */
export async function proposeGround(input: ProposalInput, from: GroundFrom): Promise<GroundProposal> {
  const pm = input.plate.measures,
    { carried, carrier, groundCarrier, body } = from,
    height = markedHeight(input),
    key = await keyOnGround(input.plate, from.where, from.stands[0]!.frame, carried),
    frames = groundFrames(pm, { ...from, ...key, height }),
    geometry = (at: GroundFrame): GroundGeometry => groundGeometry(key, at, pm.widthPx, pm.heightPx);
  const darkness = await proposeDarkness(input.plate, {
    azimuthDeg: key.azimuthDeg,
    elevationDeg: key.elevationDeg,
    reference: key.reference,
    known: key.missing === null,
    lamp: key.lamp?.lamp ?? null,
    byFloor: key.lampFound === 'floor' && !key.shadowMarked && !key.shadowsFound,
    stand: carried ? null : from.where(key.reference).ground,
  });
  const { transmission, keys } = darkness;
  const receivers = await proposeReceivers(input, carried ? carrier : groundCarrier, groundCarrier),
    region = castRegion(input.plate.marks, carried);
  const shades = markedShades(input.plate.marks, groundCarrier, frames),
    told = key.missing === null && shades.length === 0,
    // A softly lit room throws no shadow that another could fall into: what is darker there is another ground.
    lit = darkness.soft
      ? { given: {}, inShade: null }
      : await litAround(input, from, told ? { transmission, frames, height, geometry } : null),
    mirror = await proposeReflection(input, groundCarrier, frames, geometry),
    // A camera that travels sees an upright's top move otherwise than its foot.
    standing =
      carried || pm.travel !== undefined
        ? []
        : await standingPosts(
            input.plate,
            groundCarrier,
            frames.map((f) => f.frame),
          );
  const step: GroundStep = {
    step: 'ground',
    on: true,
    shadow: key.missing === null && !(carried && region === undefined),
    contact: !carried,
    receiver: carried ? 'carrier' : 'ground',
    ...(carried && region !== undefined ? region : {}),
    ...(from.onTop ? { carrierTop: true } : {}),
    ...(receivers.receivers.length === 0 ? {} : { receivers: receivers.receivers }),
    ...(standing.length === 0 ? {} : { standing }),
    azimuthDeg: key.azimuthDeg,
    proposedAzimuthDeg: key.azimuthDeg,
    elevationDeg: key.elevationDeg,
    transmission,
    measuredOn: darkness.measuredOn,
    softnessDeg: darkness.soft ? Math.max(SOFT_ROOM_DEG, softnessOf(pm, key)) : softnessOf(pm, key),
    ...lensOf(pm),
    ...(key.lamp === null ? {} : { lampFar: Math.round(100 * key.lamp.far) / 100 }),
    ...(keys.length === 0 ? {} : { keys: [...keys] }),
    contactStrength: CONTACT,
    focalPx: key.focalPx,
    frames,
    ...(body?.depth == null ? {} : { body: body.depth }),
    ...(body?.bodies === undefined ? {} : { bodies: body.bodies }),
    ...lit.given,
    ...(shades.length === 0 ? {} : { onPerformer: onPerformer(shades, from.stands[0]!, key, transmission) }),
    ...(mirror === null ? {} : { reflection: mirror.reflection }),
    why: sayGround({
      key,
      darkness: darkness.said,
      carried,
      round: from.axisFrom !== null,
      onTop: from.onTop,
      body: body?.why ?? null,
      receivers: receivers.why,
      shaded: shades.length > 0,
      mirror: mirror?.why ?? null,
      inShade: lit.inShade,
    }),
  };
  return { step, measuredFill: darkness.measuredFill };
}

const spanOf = ({ ground, top }: Stand): number => Math.hypot(top[0] - ground[0], top[1] - ground[1]);

type CastRegion = Required<Pick<GroundStep, 'receiverRegion'>> & Pick<GroundStep, 'receiverSoftPx'>;

/** What a carried performer's shadow is kept to: the outlined carrier, else about its marked region. */
function castRegion(marks: MarksFile, carried: boolean): CastRegion | undefined {
  const bodies = marksOf(marks, 'body').filter((b) => b.mark.polygon !== undefined);
  if (bodies.length > 0)
    return { receiverRegion: regionOf(bodies.map((b) => ({ frame: b.frame, polygon: b.mark.polygon! }))) };
  return carried ? grownCarry(marks) : undefined;
}

/** A guessed border is as soft as this share of the region's breadth, the square root of its area (own choice). */
const GUESSED_SOFT = 0.12;

/** Without an outline of the carrier the shadow is kept to its marked region, grown to about a torso. */
function grownCarry(marks: MarksFile): CastRegion | undefined {
  const list = marksOf(marks, 'carry').map((c) => {
    let cx = 0,
      cy = 0;
    for (const [x, y] of c.mark.region) {
      cx += x / c.mark.region.length;
      cy += y / c.mark.region.length;
    }
    return {
      frame: c.frame,
      polygon: c.mark.region.map(([x, y]): [number, number] => [cx + (x - cx) * 1.6, cy + (y - cy) * 2]),
    };
  });
  if (list.length === 0) return undefined;
  const breadth = Math.sqrt(Math.max(...list.map((l) => polygonArea(l.polygon))));
  return { receiverRegion: regionOf(list), receiverSoftPx: Math.round(10 * GUESSED_SOFT * breadth) / 10 };
}

/** What tells how much of the performer's shadow falls into the plate's own. */
interface Cast {
  readonly transmission: GroundStep['transmission'];
  readonly frames: readonly GroundFrame[];
  /** The performer's, metres. */
  readonly height: number;
  readonly geometry: (at: GroundFrame) => GroundGeometry;
}

/**
 * The lit ground about the performer's foot, which tells the plate's own shadows from it; and what share of the ground
 * that the performer's shadow falls on lies in one of them, null where none is cast or it cannot be told.
 */
async function litAround(
  { plate }: ProposalInput,
  { stands, carried }: GroundFrom,
  cast: Cast | null,
): Promise<{
  readonly given: Pick<GroundStep, 'litLinear' | 'litSpread' | 'litRadiusPx' | 'litLinesPx'>;
  readonly inShade: number | null;
}> {
  if (carried) return { given: {}, inShade: null };
  const first = stands[0]!,
    linear = await plate.linear(first.frame),
    spanPx = spanOf(first),
    radius = Math.max(2, Math.round(SMOOTHED * spanPx)),
    lit = measureLitGround(linear, first.ground, spanPx, radius);
  if (lit === null) return { given: {}, inShade: null };
  const own = cast === null ? null : ownShadowOf(lit, cast.transmission),
    lines = own === null ? 0 : darkLinesPx(linear, own, radius, lit.at),
    given = {
      litLinear: lit.linear,
      litSpread: Math.round(1000 * lit.spread) / 1000,
      litRadiusPx: radius,
      ...(lines === 0 ? {} : { litLinesPx: lines }),
    };
  if (cast === null || own === null) return { given, inShade: null };
  const at = cast.frames.find((f) => f.frame === first.frame) ?? cast.frames[0]!;
  return { given, inShade: shadeOnCard(linear, own, radius, cast.geometry(at), cast.height) };
}

/**
 * The marked shadows of the plate's own that fall on the performer. On every frame, by the set's own motion: whoever
 * renders needs no other, and what carries the performer says nothing of them.
 */
function markedShades(marks: MarksFile, groundCarrier: Carrier, frames: readonly GroundFrame[]): RegionFile[] {
  const hundredth = (v: number): number => Math.round(100 * v) / 100;
  return thingsOf(marksOf(marks, 'shade')).map((thing) => {
    const on = carryRegion(thing, groundCarrier);
    return regionOf(
      frames.map(({ frame }) => ({
        frame,
        polygon: on(frame).map(([x, y]): [number, number] => [hundredth(x), hundredth(y)]),
      })),
    );
  });
}

function onPerformer(
  regions: RegionFile[],
  first: Stand,
  key: GroundKey,
  transmission: GroundStep['transmission'],
): OnPerformer {
  return {
    regions,
    softPx: Math.max(0.6, SHADE_EDGE * spanOf(first)),
    transmission: key.missing === null ? leftOnBody(transmission, key.azimuthDeg, key.elevationDeg) : transmission,
  };
}

/** What the key is seen under, degrees: as measured, else that of an even sky or of the sun. */
function softnessOf({ light }: PlateMeasures, key: GroundKey): number {
  if (key.lamp !== null) {
    const lamp = widthOfLamp(light?.softnessDeg);
    return key.lampFound === 'floor' && !key.shadowMarked
      ? Math.round(100 * Math.hypot(lamp, UNSURE * (light?.azimuthDeg.sd ?? 0))) / 100
      : lamp;
  }
  return light?.softnessDeg.value ?? (light?.overcast === true ? 60 : 0.53);
}

/**
 * What a lamp that stands near is seen under, degrees: its measure with what lamps usually are, each by its own error.
 */
function widthOfLamp(read: Measure | undefined): number {
  const [usual, usualSd] = USUAL_LAMP_DEG;
  if (read?.value == null || read.sd === null) return usual;
  const own = 1 / Math.max(0.1, read.sd) ** 2,
    other = 1 / usualSd ** 2;
  return Math.round((100 * (read.value * own + usual * other)) / (own + other)) / 100;
}
