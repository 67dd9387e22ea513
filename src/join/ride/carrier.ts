/**
 * How points marked on a few frames are carried to all others: through a homography per frame where one was measured
 * (the set's motion, or the followed region's), with what that leaves over at the marked frames shared out between them
 * by a smooth cubic. A followed motion brings the shake, the marks bring the place.
 */
import { smoothCubic } from '../../geometry/cubic-curve.js';
import { apply, invert, multiply, type Mat3 } from '../../geometry/mat3.js';
import type { CameraMove, RideTrack } from '../../plate/types.js';
import type { RegionFile } from '../../plate/marks/marks.js';
import { keysThere } from '../../plate/marks/presence.js';

/** No motion. */
export const IDENTITY: Mat3 = [1, 0, 0, 0, 1, 0, 0, 0, 1];

/** Maps reference pixels to those of a frame. */
export interface Carrier {
  at(frame: number): Mat3;
  /**
   * How far the camera has travelled at a frame, where that shows (a push: logarithm of the set's growth). What stands
   * nearer or farther than the set's main plane moves on with it, so marks are interpolated along it rather than along
   * time.
   */
  readonly progress?: (frame: number, near: readonly [number, number]) => number;
}

/** Growth below this (ln) does not tell travel from noise. */
const LEAST_GROWTH = 0.03;

/** Nothing moves: what is marked stays where it is. */
export const STILL: Carrier = { at: () => IDENTITY };

/** The set's motion as a carrier (reference: the track's first frame); frames beyond the track take its nearest. */
export function cameraCarrier(camera: CameraMove | undefined): Carrier {
  if (camera === undefined || camera.move === 'static' || camera.frames.length === 0) return STILL;
  const byFrame = new Map(camera.frames.map((f) => [f.frame, invert(f.homographyToFirst)]));
  const first = camera.frames[0]!.frame;
  const last = camera.frames[camera.frames.length - 1]!.frame;
  const at = (n: number): Mat3 => byFrame.get(Math.min(last, Math.max(first, Math.round(n)))) ?? IDENTITY;
  const list = camera.frames.map((f) => at(f.frame));
  const span = growthAt(list[list.length - 1]!, [0, 0]) - growthAt(list[0]!, [0, 0]);
  if (!(Math.abs(span) > LEAST_GROWTH)) return { at };
  return {
    at,
    progress: (n, near) => {
      // Over five frames, so that a grain's worth of noise does not jolt the travel.
      const i = Math.min(last, Math.max(first, Math.round(n))) - first;
      let sum = 0;
      let count = 0;
      for (let j = Math.max(0, i - 2); j <= Math.min(list.length - 1, i + 2); j++) {
        sum += growthAt(list[j]!, near);
        count++;
      }
      return sum / count;
    },
  };
}

/** Logarithm of how much larger a homography shows things about a point of the reference; a shake leaves it alone. */
function growthAt(m: Mat3, p: readonly [number, number]): number {
  const w = m[6] * p[0] + m[7] * p[1] + m[8];
  const det =
    m[0] * (m[4] * m[8] - m[5] * m[7]) - m[1] * (m[3] * m[8] - m[5] * m[6]) + m[2] * (m[3] * m[7] - m[4] * m[6]);
  return 0.5 * Math.log(Math.max(1e-9, Math.abs(det / (w * w * w))));
}

/**
 * A followed region's motion as a carrier (reference: the frame it was drawn on). Frames where it was lost take the
 * nearest seen one.
 */
export function rideCarrier(track: RideTrack): Carrier {
  const seen = track.frames.filter((f) => f.visible);
  const byFrame = new Map(seen.map((f) => [f.frame, f.homography]));
  return {
    at: (n) => {
      const k = Math.round(n);
      const hit = byFrame.get(k);
      if (hit !== undefined) return hit;
      let best = seen[0];
      for (const f of seen) if (best === undefined || Math.abs(f.frame - k) < Math.abs(best.frame - k)) best = f;
      return best?.homography ?? IDENTITY;
    },
  };
}

export interface Keyed {
  readonly frame: number;
  readonly point: readonly [number, number];
}

/** The carrier's travel where it goes one way all along the marked frames, else the frame number. */
function alongTravel(
  frames: readonly number[],
  carrier: Carrier,
  near: readonly [number, number],
): (frame: number) => number {
  const p = carrier.progress;
  if (p === undefined || frames.length < 2) return (n) => n;
  const travel = (n: number): number => p(n, near);
  const values = frames.map(travel);
  const sign = Math.sign(values[values.length - 1]! - values[0]!);
  const least = 0.02 * Math.abs(values[values.length - 1]! - values[0]!);
  return values.every((v, i) => i === 0 || (v - values[i - 1]!) * sign > least) ? travel : (n) => n;
}

/** Path of a point marked on some frames: through the carrier, its rest interpolated between the marks. */
export function carryPoint(marks: readonly Keyed[], carrier: Carrier): (frame: number) => [number, number] {
  const sorted = [...marks].sort((a, b) => a.frame - b.frame);
  const rest = sorted.map((k) => apply(invert(carrier.at(k.frame)), k.point[0], k.point[1]));
  const along = alongTravel(
    sorted.map((k) => k.frame),
    carrier,
    rest[0]!,
  );
  const xs = sorted.map((k) => along(k.frame));
  // Along a falling travel the marks come in the other order.
  const back = xs.length > 1 && xs[0]! > xs[xs.length - 1]!;
  const ordered = back ? xs.toReversed() : xs;
  const points = back ? rest.toReversed() : rest;
  const restOf = (axis: 0 | 1): ((at: number) => number) =>
    smoothCubic(
      ordered,
      points.map((p) => p[axis]),
    );
  const x = restOf(0);
  const y = restOf(1);
  return (n) => apply(carrier.at(n), x(along(n)), y(along(n)));
}

/**
 * Polygon of a region file at a frame: corner to corner where the neighbours have as many corners, else the nearer
 * polygon carried. Whether the thing is there at all is another question (plate/marks/presence.ts).
 */
export function carryRegion(region: RegionFile, carrier: Carrier): (frame: number) => [number, number][] {
  const keys = keysThere(region.frames).sort((a, b) => a.frame - b.frame);
  const corners = keys[0]!.polygon.length;
  if (keys.every((k) => k.polygon.length === corners)) {
    const paths = Array.from({ length: corners }, (_, i) =>
      carryPoint(
        keys.map((k) => ({ frame: k.frame, point: k.polygon[i]! })),
        carrier,
      ),
    );
    return (n) => paths.map((p) => p(n));
  }
  return (n) => {
    let best = keys[0]!;
    for (const k of keys) if (Math.abs(k.frame - n) < Math.abs(best.frame - n)) best = k;
    const m = multiply(carrier.at(n), invert(carrier.at(best.frame)));
    return best.polygon.map(([x, y]) => apply(m, x, y));
  };
}
