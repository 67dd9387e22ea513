/**
 * What is followed of a travelling camera's ground: keys with their patches, sights of
 * them, and which of them lie on the ground.
 */
import type { Vec3 } from '../../geometry/mat3.js';
import type { Patches } from '../camera/camera-patches.js';
import type { Pose, PoseFit } from './travel-pose.js';

/** Rays that meet the ground farther off than this many camera heights tell nothing of the travel. */
const FAR = 40;

/** Focal length and middle of the picture that is followed in, px. */
export interface Lens {
  readonly focal: number;
  readonly cx: number;
  readonly cy: number;
}

/** A frame whose pieces are followed through others. */
export interface TravelKey {
  readonly frame: number;
  readonly patches: Patches;
  /** Pose of the key from the first frame, as solved so far. */
  pose: Pose;
  /** Pieces that were found to lie on the ground. */
  readonly ground: Set<number>;
}

/** What a frame sees of a key's pieces: places in pixels. */
export interface TravelSight {
  readonly frame: number;
  readonly key: number;
  readonly matches: readonly { readonly patch: number; readonly x: number; readonly y: number }[];
  /** From the first frame. */
  pose: Pose;
  fit: PoseFit | null;
}

/** The plane n · x = d in a camera's axes, in camera heights; n points down. */
export interface Ground {
  readonly n: Vec3;
  readonly d: number;
}

/** Does a pixel's ray meet the ground before it is too far off to tell anything? */
export function meetsGround(p: readonly [number, number], plane: Ground, { focal, cx, cy }: Lens): boolean {
  const s = (plane.n[0] * (p[0] - cx) + plane.n[1] * (p[1] - cy)) / focal + plane.n[2];
  return s > plane.d / (FAR * Math.max(0.2, plane.d));
}

/**
 * Points of a key that were found to lie on the ground (3 · n, the key's axes) and where they are seen (2 · n, from the
 * middle).
 */
export function groundPoints(
  key: TravelKey,
  matches: TravelSight['matches'],
  plane: Ground,
  lens: Lens,
): { points: Float64Array; seen: Float64Array; patch: Int32Array } {
  const kept = matches.filter(
    (m) => key.ground.has(m.patch) && meetsGround(key.patches.patches[m.patch]!, plane, lens),
  );
  const { focal, cx, cy } = lens;
  const points = new Float64Array(3 * kept.length);
  const seen = new Float64Array(2 * kept.length);
  kept.forEach((m, i) => {
    const p = key.patches.patches[m.patch]!;
    const x = (p[0] - cx) / focal;
    const y = (p[1] - cy) / focal;
    const z = plane.d / (plane.n[0] * x + plane.n[1] * y + plane.n[2]);
    points[3 * i] = x * z;
    points[3 * i + 1] = y * z;
    points[3 * i + 2] = z;
    seen[2 * i] = m.x - cx;
    seen[2 * i + 1] = m.y - cy;
  });
  return { points, seen, patch: Int32Array.from(kept, (m) => m.patch) };
}
