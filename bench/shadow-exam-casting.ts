/** Bodies of balls and blades under a lamp by ray casting: what the camera sees, and what lies in shadow. */
import { mapTuple } from '../src/core/tuples.js';
import { project, shadowOf, type Camera } from '../demo/scenes/camera.js';
import { mul, type Vec3 } from '../demo/scenes/vector.js';
import type { TakeGround, TakeShadow } from '../src/join/body/body-depth.js';
import type { GroundStep } from '../src/join/types.js';
import type { GroundFrame } from '../src/join/ground/types.js';
import type { ExamPlan } from './exam-plan.js';
import type { Lamps } from './exam-sets.js';
import { meets, type Ellipsoid } from './made-bodies.js';

export const RAD = Math.PI / 180;
/** Lamp's points a pixel, in shares of its half width. */
const LAMP = [
  [-0.35, -0.35],
  [0.35, -0.35],
  [-0.35, 0.35],
  [0.35, 0.35],
] as const;

export interface View {
  readonly camera: Camera;
  readonly lamps: Lamps;
  readonly at: Vec3;
  readonly parts: readonly Ellipsoid[];
}
export interface Cast {
  readonly matte: Float32Array;
  readonly shadow: Float32Array;
}

export const sub = (a: Vec3, b: Vec3): Vec3 => [a[0] - b[0], a[1] - b[1], a[2] - b[2]];
export const add = (a: Vec3, b: Vec3, k = 1): Vec3 => [a[0] + k * b[0], a[1] + k * b[1], a[2] + k * b[2]];
const unit = (a: Vec3): Vec3 => mul(a, 1 / Math.hypot(...a));
const crossed = (a: Vec3, b: Vec3): Vec3 => [
  a[1] * b[2] - a[2] * b[1],
  a[2] * b[0] - a[0] * b[2],
  a[0] * b[1] - a[1] * b[0],
];

/** Ellipsoids turned by `yawDeg` and stood at a point. */
export function stood(parts: readonly Ellipsoid[], at: Vec3, yawDeg: number): Ellipsoid[] {
  const c = Math.cos(yawDeg * RAD);
  const s = Math.sin(yawDeg * RAD);
  const turn = (p: Vec3): Vec3 => [c * p[0] + s * p[2], p[1], -s * p[0] + c * p[2]];
  return parts.map((e) => ({ c: add(turn(e.c), at), a: mapTuple(e.a, (r) => turn(r)) }));
}

/** Towards the lamp from a point. */
export const towardsLamp = (l: Lamps, p: Vec3): Vec3 => (l.far > 50 ? l.towards : unit(sub(mul(l.towards, l.far), p)));

export function cast(v: View): Cast {
  const { camera: c, lamps, parts } = v;
  const w = c.widthPx;
  const h = c.heightPx;
  const matte = new Float32Array(w * h);
  const shadow = new Float32Array(w * h);
  const side = unit(crossed(lamps.towards, [0, 1, 0]));
  const up = crossed(side, lamps.towards);
  const wide = lamps.far * Math.tan((lamps.softDeg * RAD) / 2);
  const reach = (e: Ellipsoid): number => Math.max(...e.a.map((r) => 1 / Math.hypot(...r)));
  let x0 = w;
  let y0 = h;
  let x1 = 0;
  let y1 = 0;
  for (const e of parts) {
    const r = reach(e);
    for (const dx of [-r, r])
      for (const dy of [-r, r])
        for (const dz of [-r, r]) {
          const p = add(e.c, [dx, dy, dz]);
          const l = towardsLamp(lamps, p);
          const q = p[1] <= 0 ? p : shadowOf(p, l);
          for (const z of [p, q]) {
            if (z[2] < c.position[2] + 0.1) continue;
            const [x, y] = project(c, z);
            x0 = Math.min(x0, x);
            x1 = Math.max(x1, x);
            y0 = Math.min(y0, y);
            y1 = Math.max(y1, y);
          }
        }
  }
  for (let y = Math.max(0, Math.floor(y0)); y < Math.min(h, Math.ceil(y1)); y++)
    for (let x = Math.max(0, Math.floor(x0)); x < Math.min(w, Math.ceil(x1)); x++) {
      let m = 0;
      let s = 0;
      for (const [k, [ox, oy]] of LAMP.entries()) {
        const px = x + 0.25 + 0.5 * (k & 1) - w / 2;
        const py = y + 0.25 + 0.5 * (k >> 1) - h / 2;
        const d = add(add(c.forward, c.right, px / c.focalPx), c.down, py / c.focalPx);
        if (meets(parts, c.position, d)) m++;
        if (d[1] > -1e-4) continue;
        const g = add(c.position, d, -c.position[1] / d[1]);
        const l =
          lamps.far > 50
            ? add(add(lamps.towards, side, (ox * wide) / lamps.far), up, (oy * wide) / lamps.far)
            : sub(add(add(mul(lamps.towards, lamps.far), side, ox * wide), up, oy * wide), g);
        if (meets(parts, add(g, [0, 1e-4, 0]), l)) s++;
      }
      matte[y * w + x] = m / 4;
      shadow[y * w + x] = s / 4;
    }
  return { matte, shadow };
}

/** Azimuth and elevation of a direction beside a camera's heading, degrees. */
export function anglesOf(c: Camera, l: Vec3): { azimuthDeg: number; elevationDeg: number } {
  const h = Math.atan2(c.forward[0], c.forward[2]);
  const right: Vec3 = [Math.cos(h), 0, -Math.sin(h)];
  const ahead: Vec3 = [Math.sin(h), 0, Math.cos(h)];
  const d = (a: Vec3): number => a[0] * l[0] + a[2] * l[2];
  return { azimuthDeg: Math.atan2(d(right), -d(ahead)) / RAD, elevationDeg: Math.asin(l[1]) / RAD };
}

export function frameFor(c: Camera, at: Vec3, azimuthDeg: number): GroundFrame {
  const q = sub(at, c.position);
  const z = q[0] * c.forward[0] + q[1] * c.forward[1] + q[2] * c.forward[2];
  const roll = Math.asin(Math.max(-1, Math.min(1, c.right[1] / Math.sqrt(1 - c.forward[1] ** 2))));
  return {
    frame: 0,
    foot: project(c, at) as [number, number],
    pxPerMetre: c.focalPx / z,
    tiltDeg: Math.asin(c.forward[1]) / RAD,
    rollDeg: roll / RAD,
    azimuthDeg,
  };
}

export interface ShadowExam {
  readonly seed: number;
  readonly words: string;
  readonly plan: ExamPlan;
  readonly plate: Cast;
  readonly take: Cast;
  readonly plateView: View;
  readonly takeView: View;
  readonly step: GroundStep;
  readonly at: GroundFrame;
  readonly trueKey: { azimuthDeg: number; elevationDeg: number };
  readonly takeGround: TakeGround;
  readonly trueTakeKey: { azimuthDeg: number; elevationDeg: number };
  readonly seen: TakeShadow;
  readonly placed: Float32Array;
}
