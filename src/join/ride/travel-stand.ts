/**
 * Where somebody who stands on the ground is seen from a camera that travels. The camera's own way
 * (plate/travel/travel.ts) gives the marked foot its point on the ground and the mark's length its height, and both are
 * seen again from every frame's pose (Hartley & Zisserman, *Multiple View Geometry*, 2004, chapters 6 and 13): near
 * things run past and grow as they should, and an upright stays upright, where a homography of the set would carry the
 * head along the set's main plane.
 *
 * Poses carry noise from frame to frame (.4 px on a practice push whose ground points are left by .28), the set's
 * homography hardly any. What the way adds to the set's motion is smoothed (local parabolas: Savitzky & Golay,
 * Analytical Chemistry 36, 1964); of what that takes off, the share is kept that is more than the poses' noise (James &
 * Stein, Proc. 4th Berkeley Symposium 1, 1961): a hand's bob moves near things otherwise than far ones. What is left
 * over at the marks is shared out between them.
 */
import { apply, applyVector, cross, invert, multiply, unit, type Vec3 } from '../../geometry/mat3.js';
import { AT_HOME, inversePose, movedPlane, type Pose } from '../../plate/travel/travel-pose.js';
import type { Travel } from '../../plate/types.js';
import { carryPoint, type Carrier } from './carrier.js';
import { parabolas } from './local-parabolas.js';
import type { Told } from './likely-stands.js';
import type { Px, Stand } from './ride.js';

/** Nearest that a camera may come to the foot, as a share of its height over the ground. */
const NEAREST = 0.1;

/** Noise of the poses at the foot over what is left at the ground's points (.39 to .28 px on a practice push). */
const NOISE = 1.4;

/** A step on the ground over which its places are taken to move evenly in the picture, camera heights. */
const STEP = 0.01;

export interface Plate {
  readonly span: { readonly in: number; readonly out: number };
  readonly widthPx: number;
  readonly heightPx: number;
}

export type Place = (frame: number) => { ground: [number, number]; top: [number, number] };

/** Foot and top as the camera's way alone has them on a frame. */
export interface TravelPath {
  readonly ground: (frame: number) => [number, number];
  readonly top: (frame: number) => [number, number];
  /** How both move in a frame when the place goes on the ground by 1 % of the camera's height, or the top by a pixel. */
  readonly moved: (frame: number) => Told['moved'];
}

/**
 * Foot and top by the way, from the marked feet and heights together; null where a mark's foot is not on the ground
 * that was followed, or the camera passes it.
 */
export function travelPath(stands: readonly Stand[], travel: Travel, set: Carrier, plate: Plate): TravelPath | null {
  const { span } = plate,
    f = travel.focalPx,
    cx = plate.widthPx / 2,
    cy = plate.heightPx / 2;
  const poses = new Map<number, Pose>(travel.frames.map((t) => [t.frame, { r: t.rotation, t: t.translation }]));
  const poseAt = (n: number): Pose => poses.get(held(n, span)) ?? AT_HOME;
  const see = (X: Vec3, n: number): [number, number] | null => {
    const p = poseAt(n),
      v = applyVector(p.r, X),
      z = v[2] + p.t[2];
    return z < NEAREST * travel.height ? null : [cx + (f * (v[0] + p.t[0])) / z, cy + (f * (v[1] + p.t[1])) / z];
  };
  const placed = placeInSet(stands, travel, poseAt, [cx, cy]);
  if (placed === null) return null;
  const n = travel.groundNormal,
    overGround = (X: Vec3, h: number): Vec3 => [X[0] - h * n[0], X[1] - h * n[1], X[2] - h * n[2]];
  const { ground, height } = placed,
    top = overGround(ground, height);
  const [g, t] = [ground, top].map((X) => steadied((k) => see(X, k), set, span, NOISE * travel.residualPx));
  if (g == null || t == null) return null;
  const step = STEP * travel.height,
    across = unit(cross(n, Math.abs(n[2]) < 0.9 ? [0, 0, 1] : [0, 1, 0])),
    onGround = [across, cross(n, across)];
  const by = (X: Vec3, d: Vec3, k: number): [number, number] => {
    const from = see(X, k),
      to = see([X[0] + step * d[0], X[1] + step * d[1], X[2] + step * d[2]], k);
    return from === null || to === null ? [0, 0] : [to[0] - from[0], to[1] - from[1]];
  };
  return {
    ground: g,
    top: t,
    moved: (k) => {
      const size =
        Math.hypot(t(k)[0] - g(k)[0], t(k)[1] - g(k)[1]) /
        Math.hypot(t(span.in)[0] - g(span.in)[0], t(span.in)[1] - g(span.in)[1]);
      return [
        ...onGround.map((d) => [...by(ground, d, k), ...by(top, d, k)] as const),
        [0, 0, size, 0],
        [0, 0, 0, size],
      ] as unknown as Told['moved'];
    },
  };
}

const held = (n: number, span: Plate['span']): number => Math.min(span.out - 1, Math.max(span.in, Math.round(n)));

/** The marked foot on the ground and the marked height, in the camera that the way counts from, and in its units. */
function placeInSet(
  stands: readonly Stand[],
  travel: Travel,
  poseAt: (frame: number) => Pose,
  [cx, cy]: Px,
): { readonly ground: Vec3; readonly height: number } | null {
  const f = travel.focalPx;
  // Nearer marks tell the surer point.
  let weights = 0,
    lnHeight = 0;
  const foot: [number, number, number] = [0, 0, 0];
  for (const s of stands) {
    const pose = poseAt(s.frame),
      plane = movedPlane(travel.groundNormal, travel.height, pose),
      up = plane.n;
    const ray: Vec3 = [(s.ground[0] - cx) / f, (s.ground[1] - cy) / f, 1];
    const facing = up[0] * ray[0] + up[1] * ray[1] + up[2];
    if (!(facing > 1e-3)) return null;
    const depth = plane.d / facing;
    // Height by the least squares of the top's two coordinates: top · (z − h n_z) = f (X − h n).
    const a = [(s.top[0] - cx) / f, (s.top[1] - cy) / f],
      X = [ray[0] * depth, ray[1] * depth];
    const k = [up[0] - a[0]! * up[2], up[1] - a[1]! * up[2]],
      e = [X[0]! - a[0]! * depth, X[1]! - a[1]! * depth];
    const height = (k[0]! * e[0]! + k[1]! * e[1]!) / (k[0]! ** 2 + k[1]! ** 2);
    if (!(height > 0)) return null;
    const q = inversePose(pose),
      home = applyVector(q.r, [X[0]!, X[1]!, depth]),
      w = 1 / depth ** 2;
    for (let i = 0; i < 3; i++) foot[i] = foot[i]! + w * (home[i]! + q.t[i]!);
    lnHeight += w * Math.log(height);
    weights += w;
  }
  return {
    ground: [foot[0] / weights, foot[1] / weights, foot[2] / weights],
    height: Math.exp(lnHeight / weights),
  };
}

/** Ground and top on any frame of the span, by the way and through the marks; null where there is no path. */
export function travelStand(stands: readonly Stand[], travel: Travel, set: Carrier, plate: Plate): Place | null {
  const path = travelPath(stands, travel, set, plate);
  if (path === null) return null;
  const { span } = plate;
  const settle = (of: 'ground' | 'top'): ((k: number) => [number, number]) => {
    const first = path[of](span.in);
    return carryPoint(
      stands.map((s) => ({ frame: s.frame, point: s[of] })),
      {
        at: (k) => {
          const p = path[of](held(k, span));
          return [1, 0, p[0] - first[0], 0, 1, p[1] - first[1], 0, 0, 1];
        },
      },
    );
  };
  const groundAt = settle('ground'),
    topAt = settle('top');
  return (k) => ({ ground: groundAt(k), top: topAt(k) });
}

/** The way's path of a point: the set's own motion, and what the way adds to it, freed of noise of so many pixels. */
function steadied(
  see: (n: number) => [number, number] | null,
  set: Carrier,
  span: Plate['span'],
  noisePx: number,
): ((n: number) => [number, number]) | null {
  const count = span.out - span.in,
    middle = span.in + (count >> 1),
    from = see(middle);
  if (from === null) return null;
  const back = invert(set.at(middle));
  const path: [number, number][] = [],
    more: [number, number][] = [];
  for (let i = 0; i < count; i++) {
    const p = see(span.in + i);
    if (p === null) return null;
    const q = apply(multiply(set.at(span.in + i), back), from[0], from[1]);
    path.push(q);
    more.push([p[0] - q[0], p[1] - q[1]]);
  }
  for (const c of [0, 1] as const) {
    const all = more.map((m) => m[c]),
      smooth = parabolas(all);
    const rough = all.reduce((s, v, i) => s + (v - smooth[i]!) ** 2, 0) / count,
      kept = Math.max(0, 1 - (noisePx * noisePx) / (rough + 1e-12));
    path.forEach((p, i) => {
      p[c] += smooth[i]! + kept * (all[i]! - smooth[i]!);
    });
  }
  return (n) => path[Math.min(count - 1, Math.max(0, n - span.in))]!;
}
