/**
 * What a proposal is made from: the two sides of a join with their measures, marks and pictures, and how each camera
 * sees the performer at any frame.
 */
import { differenceDeg, RAD_PER_DEG } from '../core/angles.js';
import type { EdgeRoom } from './peel/edge-room.js';
import type { FootSeen } from './ride/walking-foot.js';
import { worldToCamera } from '../geometry/camera.js';
import { applyVector, dot, IDENTITY3, multiply, transpose, unit, type Mat3 } from '../geometry/mat3.js';
import { rotationFromPanTiltRoll } from '../geometry/rotation.js';
import type { Picture } from '../image/picture.js';
import type { Mark, MarksFile } from '../plate/marks/marks.js';
import type { PlateMeasures } from '../plate/types.js';
import type { SubjectStatistics } from './light/light.js';
import type { TakeStart } from './pace/take-start.js';
import type { PerformerPicture } from './peel/performer.js';

/** One side of the join: its measures, its marks, and pictures of it. */
export interface Side {
  readonly measures: PlateMeasures;
  readonly marks: MarksFile;
  /** Frames that only repeat the one before: the camera left one out. */
  readonly held?: readonly number[];
  /** Frames of the file from one new picture to the next, where frames are held in an even cycle. */
  readonly heldStride?: number;
  /** Frames that are damaged in the file. */
  readonly damaged?: readonly number[];
  /** Of a take: its performer mark was put by the program, which found it by itself. */
  readonly performerFound?: true;
  /** Scene-linear picture of one frame of the file. */
  linear(frame: number): Promise<Picture>;
}

/** One take frame peeled, with the performer's shadow on the screen. */
export interface SeenInTake {
  readonly frame: number;
  readonly performer: PerformerPicture;
  /** The performer on further frames that show it turned, and on one beside each, a few degrees further. */
  readonly turned?: readonly {
    readonly frame: number;
    readonly yawDeg: number;
    readonly performer: PerformerPicture;
    readonly beside?: { readonly frame: number; readonly performer: PerformerPicture };
  }[];
}

/**
 * All that a recipe is proposed from: what was measured and marked of plate and take, and what was seen of the
 * performer where the caller could peel.
 */
export interface ProposalInput {
  readonly plate: Side;
  readonly take: Side;
  readonly quality: 'fast' | 'fine';
  /** Take has its own alpha. */
  readonly takeHasAlpha: boolean;
  /** Statistics of the peeled performer, where the caller could peel. */
  readonly subject?: SubjectStatistics | null;
  /** The performer on one frame, where the caller could peel. */
  readonly seen?: SeenInTake | null;
  /**
   * The screen that was found behind the performer, where the caller could peel; green is taken for granted otherwise.
   */
  readonly screen?: { readonly colour: 'green' | 'blue'; readonly hueDeg: number } | null;
  /** Why the take counts as one without a screen, where the caller looked. */
  readonly noScreen?: string | null;
  /** What to do with what reaches in from the take's edge apart from the performer, where the caller looked. */
  readonly room?: EdgeRoom | undefined;
  /** Where the performer touches the ground on frames over the take, where the caller looked. */
  readonly feet?: readonly FootSeen[] | undefined;
  /** How the screen's useful part was found, where the take's mark of it is the program's own. */
  readonly screenFound?: string | null;
  /** Another take whose marked part goes onto this one's. */
  readonly patch?: { readonly file: string; readonly marks: MarksFile; readonly offsetFrames?: number };
  /** The plate's own marked part (an actor's head) goes onto the joined performer's, from so many frames later. */
  readonly platePatch?: { readonly offsetFrames: number };
  /** Where a hand has the take begin, and how fast it has it go. */
  readonly start?: TakeStart;
}

/** Marks of one kind. */
export type MarkOf<K extends Mark['kind']> = Extract<Mark, { kind: K }>;

/** Marks of one kind with the frame that each holds for. */
export function marksOf<K extends Mark['kind']>(file: MarksFile, kind: K): { mark: MarkOf<K>; frame: number }[] {
  return file.marks
    .filter((m): m is MarkOf<K> => m.kind === kind)
    .map((mark) => ({ mark, frame: ('frame' in mark ? mark.frame : undefined) ?? file.frame }));
}

/**
 * Tilt and roll of a view on another frame of the shot, and how far the camera has panned about the upright since the
 * view's own.
 */
export function viewAngles(
  measures: PlateMeasures,
  frame: number,
): { focalPx: number; tiltDeg: number; rollDeg: number; panDeg: number } | null {
  const v = measures.view;
  if (v === undefined || v.focalPx.value === null || v.tiltDeg.value === null) return null;
  return { focalPx: v.focalPx.value, ...turnedFrom(measures, v.frame, frame) };
}

/**
 * Pan about the upright from one frame to another, and how the camera looks at the other. What it turned is measured in
 * the camera's own axes: one that looks down and pans turns about an upright that leans in its picture, and so seems to
 * roll. The rotations are therefore multiplied and read against the ground, not their angles added.
 */
export function turnedFrom(
  m: PlateMeasures,
  from: number,
  frame: number,
): { tiltDeg: number; rollDeg: number; panDeg: number } {
  const view = worldToCamera(0, m.view?.tiltDeg.value ?? 0, m.view?.rollDeg.value ?? 0);
  // From the view's own frame to both.
  const own = transpose(rotationAt(m, m.view?.frame ?? from));
  const to = (n: number): Mat3 => multiply(rotationAt(m, n), multiply(own, view));
  const a = to(from),
    b = to(frame);
  return {
    panDeg: differenceDeg(headingDeg(b), headingDeg(a)),
    tiltDeg: Math.asin(Math.max(-1, Math.min(1, b[7]))) / RAD_PER_DEG,
    rollDeg: Math.atan2(b[1], -b[4]) / RAD_PER_DEG,
  };
}

const headingDeg = (w: Mat3): number => Math.atan2(w[6], w[8]) / RAD_PER_DEG;

/** Rotation from the axes of the camera's reference frame to its axes at the nearest measured frame. */
function rotationAt(m: PlateMeasures, frame: number): Mat3 {
  const list = m.camera?.frames ?? [],
    along = m.travel?.frames,
    turns = list.filter((f) => f.panDeg !== null);
  if (along !== undefined && along.length > 0 && turns.length === 0) return nearestTo(along, frame)!.rotation;
  const f = nearestTo(turns, frame);
  return f === undefined
    ? IDENTITY3
    : transpose(
        rotationFromPanTiltRoll(
          f.panDeg! * RAD_PER_DEG,
          (f.tiltDeg ?? 0) * RAD_PER_DEG,
          (f.rollDeg ?? 0) * RAD_PER_DEG,
        ),
      );
}

function nearestTo<T extends { readonly frame: number }>(list: readonly T[], frame: number): T | undefined {
  let best = list[0];
  for (const f of list) if (best === undefined || Math.abs(f.frame - frame) < Math.abs(best.frame - frame)) best = f;
  return best;
}

/** How far down the camera looks at the middle of the performer, degrees; null without a view. */
export function elevationAt(
  m: PlateMeasures,
  ground: readonly [number, number],
  top: readonly [number, number],
  frame: number,
): number | null {
  const v = viewAngles(m, frame);
  if (v === null) return null;
  const up = unit(applyVector(worldToCamera(0, v.tiltDeg, v.rollDeg), [0, 1, 0]));
  const d = unit([
    ((ground[0] + top[0]) / 2 - m.widthPx / 2) / v.focalPx,
    ((ground[1] + top[1]) / 2 - m.heightPx / 2) / v.focalPx,
    1,
  ]);
  return -Math.asin(dot(d, up)) / RAD_PER_DEG;
}

/**
 * Horizontal angle from the camera's heading to a picture point, degrees, positive to the right; null without a view.
 */
export function bearingAt(m: PlateMeasures, point: readonly [number, number], frame: number): number | null {
  const v = viewAngles(m, frame);
  if (v === null) return null;
  const toCamera = worldToCamera(0, v.tiltDeg, v.rollDeg);
  const d = unit([(point[0] - m.widthPx / 2) / v.focalPx, (point[1] - m.heightPx / 2) / v.focalPx, 1]);
  return Math.atan2(dot(d, applyVector(toCamera, [1, 0, 0])), dot(d, applyVector(toCamera, [0, 0, 1]))) / RAD_PER_DEG;
}

/** Height of what is marked from ground to top, metres; 1 where no mark gives one. */
export function markedHeight({ plate, take }: ProposalInput): number {
  return (
    marksOf(plate.marks, 'stand')[0]?.mark.height ??
    marksOf(plate.marks, 'carry')[0]?.mark.height ??
    marksOf(take.marks, 'performer')[0]?.mark.height ??
    1
  );
}
