/**
 * What the ground step knows beside its numbers: where the performer meets the ground, how its body lies in depth, what
 * its shadow falls on, which further lamps throw one.
 */
import type { RegionFile } from '../../plate/marks/marks.js';

/** Where the performer meets the ground at one plate frame, and how the camera sees that ground. */
export interface GroundFrame {
  readonly frame: number;
  readonly foot: readonly [number, number];
  /** Plate pixels per metre at the foot, across the line of sight. */
  readonly pxPerMetre: number;
  readonly tiltDeg: number;
  readonly rollDeg: number;
  /** Azimuth of the key relative to the camera at this frame. */
  readonly azimuthDeg: number;
  /** The caster's depth at this frame, where it turns; goes before the step's. */
  readonly body?: BodyDepth;
  /** Which of the step's `bodies` casts at this frame; between two of them both do, each in its share. */
  readonly bodyAt?: number;
  /**
   * Where the upright axis of who carries the performer and turns stands: metres from the foot away from the camera,
   * and to the picture's left; and how far over the foot that one's shoulders are.
   */
  readonly carrierAxis?: readonly [away: number, left: number, shoulders: number];
}

/** A marked surface's outline at one plate frame; `base`: two points of the line where it stands. */
export interface ReceiverFrame {
  readonly frame: number;
  readonly polygon: readonly (readonly [number, number])[];
  readonly base?: readonly [readonly [number, number], readonly [number, number]];
}

/**
 * A surface that takes the performer's shadow in place of the ground: an upright wall over its foot line, a level step,
 * or a rounded body (`face`). `height`: metres of the step, or of the foot line, over the ground on which the performer
 * stands. `litLinear`: linear RGB of the surface where the key lights it, for shadows of the plate's own; `litSpread`:
 * sd of ln luminance there.
 */
export interface ShadowReceiver {
  readonly surface: 'wall' | 'step' | 'face';
  readonly height?: number;
  readonly frames: readonly ReceiverFrame[];
  readonly litLinear?: readonly [number, number, number];
  readonly litSpread?: number;
}

/**
 * How a body lies in depth where its outline cannot tell: leaning towards the camera by `lean` of its height from foot
 * to top and by `head` more over its upper half; `deep` ball radii deeper to the front and to the back than round.
 */
export interface BodyDepth {
  readonly lean: number;
  readonly head: number;
  readonly deep: number;
  readonly parts?: readonly BodyPart[];
  readonly small?: readonly BodyPart[];
  /** Its front surface, where the take told it. */
  readonly front?: readonly FrontPoint[];
  /** The body as a whole, what stands behind other parts of it too, where the take's outline told which body it is. */
  readonly whole?: readonly WholeBall[];
}
/** A ball of a whole body: right of, above and before its foot and its radius, in the lengths of the plate's ground. */
export type WholeBall = readonly [right: number, up: number, near: number, r: number];

/**
 * A point of a body's front: place right of and above the foot on the picture, and how far it stands nearer to the
 * camera than the foot; in shares of the body's height.
 */
export type FrontPoint = readonly [x: number, u: number, front: number];

/**
 * A part of a body: place right of and above the foot and radius on the picture, and how far it stands nearer to the
 * camera than the foot, at one or more places; all in shares of the body's height.
 */
export interface BodyPart {
  readonly x: number;
  readonly u: number;
  readonly r: number;
  readonly at: readonly number[];
}

/**
 * Where the plate's own shadow lies on the performer: things with their outline on every frame, in plate pixels; sd of
 * the shadow's edge; linear light left inside, per channel.
 */
export interface OnPerformer {
  readonly regions: readonly RegionFile[];
  readonly softPx: number;
  readonly transmission: readonly [number, number, number];
}

/**
 * Another lamp than the key that throws a shadow. `transmission`: light left on the ground where it alone does not
 * reach, per channel. Azimuth as of the step's own.
 */
export interface FurtherKey {
  readonly azimuthDeg: number;
  readonly elevationDeg: number;
  readonly softnessDeg: number;
  readonly transmission: readonly [number, number, number];
}
