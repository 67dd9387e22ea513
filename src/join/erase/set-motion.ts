/** The set's motion through a shot, as the camera's measured move gives it. */
import { IDENTITY3, invert, multiply, type Mat3 } from '../../geometry/mat3.js';
import type { CameraMove } from '../../plate/types.js';

/**
 * The camera's move as matrices between a reference frame and each frame; identity throughout where it stands still.
 */
export interface SetMotion {
  fromReference(frame: number): Mat3;
  readonly still: boolean;
}

/** The set's motion beside its place on frame `reference`; frames beyond those measured take the nearest. */
export function setMotion(camera: CameraMove, reference: number): SetMotion {
  if (camera.move === 'static' || camera.frames.length === 0) return { still: true, fromReference: () => IDENTITY3 };
  const first = camera.frames[0]!.frame,
    last = camera.frames[camera.frames.length - 1]!.frame;
  const byFrame = new Map(camera.frames.map((f) => [f.frame, f.homographyToFirst]));
  const toFirst = (n: number): Mat3 => byFrame.get(Math.min(last, Math.max(first, Math.round(n)))) ?? IDENTITY3;
  const ref = toFirst(reference);
  return { still: false, fromReference: (n) => multiply(invert(toFirst(n)), ref) };
}

/** Numbers from..to−1, at most `most`, evenly spread with both ends. */
export function spread(from: number, to: number, most: number): number[] {
  const n = to - from;
  if (n <= most) return Array.from({ length: n }, (_, i) => from + i);
  return Array.from({ length: most }, (_, i) => from + Math.round((i * (n - 1)) / (most - 1)));
}
