/**
 * Made bodies for the cast shadow: animals and people of ellipsoids in random proportions, poses and
 * turns, seen by a camera and lit by a key, with outline and shadow on level ground by ray casting.
 * Nothing of it uses the product's body of balls.
 *
 * World: x right, y up, z away from the camera, the body's foot at the origin, metres. A body faces −z at yaw 0.
 */
import { mapTuple } from '../src/core/tuples.js';
import { RandomStream } from '../src/core/random.js';
import type { Vec3 } from '../src/geometry/mat3.js';

/** Rows of the map that makes the ellipsoid a unit sphere about its middle. */
export interface Ellipsoid {
  readonly c: Vec3;
  readonly a: readonly [Vec3, Vec3, Vec3];
}

/** What bodies there are. */
export const BODY_KINDS = ['standing', 'sitting', 'lying', 'rabbit', 'person', 'bird', 'loaf'] as const;
export type BodyKind = (typeof BODY_KINDS)[number];

const RAD = Math.PI / 180;

/** A body under construction: ellipsoids in its own frame, turned at the end. */
class Build {
  readonly parts: { c: Vec3; r: Vec3; pitch: number }[] = [];
  /** Ellipsoid; `pitch` raises its front (−z), degrees. */
  ball(c: Vec3, r: Vec3, pitch = 0): void {
    this.parts.push({ c, r, pitch });
  }
  limb(a: Vec3, b: Vec3, ra: number, rb: number): void {
    const n = Math.max(3, Math.ceil(Math.hypot(a[0] - b[0], a[1] - b[1], a[2] - b[2]) / (0.5 * Math.min(ra, rb))));
    for (let k = 0; k <= n; k++) {
      const t = k / n;
      const r = ra + t * (rb - ra);
      this.ball([a[0] + t * (b[0] - a[0]), a[1] + t * (b[1] - a[1]), a[2] + t * (b[2] - a[2])], [r, r, r]);
    }
  }
  turned(yawDeg: number): Ellipsoid[] {
    const c = Math.cos(yawDeg * RAD);
    const s = Math.sin(yawDeg * RAD);
    // Yaw grows as the front turns to the picture's left (−x).
    const turn = (p: Vec3): Vec3 => [c * p[0] + s * p[2], p[1], -s * p[0] + c * p[2]];
    return this.parts.map(({ c: at, r, pitch }) => {
      const p = pitch * RAD;
      const axes: readonly [Vec3, Vec3, Vec3] = [
        [1, 0, 0],
        [0, Math.cos(p), Math.sin(p)],
        [0, -Math.sin(p), Math.cos(p)],
      ];
      return { c: turn(at), a: mapTuple(axes, (v, i) => mapTuple(turn(v), (x) => x / r[i]!)) };
    });
  }
}

/** Evenly between two values, from the body's stream. */
type Draw = (a: number, b: number) => number;

/** A head with snout and ears, looking up to 30° aside. */
function addHead(b: Build, u: Draw, p: Vec3, size: number, snout: number): void {
  const look = u(-30, 30) * RAD;
  b.ball(p, [size * 0.85, size * 0.85, size]);
  b.limb(
    [p[0] - Math.sin(look) * size * 0.7, p[1] - size * 0.2, p[2] - Math.cos(look) * size * 0.7],
    [p[0] - Math.sin(look) * (size + snout), p[1] - size * 0.3, p[2] - Math.cos(look) * (size + snout)],
    size * 0.5,
    size * 0.33,
  );
  for (const s of [-1, 1])
    b.ball(
      [p[0] + s * size * 0.7, p[1] + size * u(0.2, 0.9), p[2] + size * 0.1],
      [size * 0.22, size * 0.6, size * 0.35],
    );
}

/** On four legs, neck and tail at any height. */
function addStanding(b: Build, u: Draw): void {
  const leg = u(0.2, 0.45);
  const deep = u(0.2, 0.3) * leg + 0.09;
  const long = u(0.9, 1.6) * (leg + deep);
  const wide = deep * u(0.75, 0.95);
  const head = deep * u(0.5, 0.75);
  const y = leg + 0.8 * deep;
  for (const z of [-0.3, 0, 0.3])
    b.ball([0, y, z * long], [wide * (z === 0 ? 0.9 : 1), deep * (z === 0 ? 0.85 : 1), long * 0.28]);
  for (const x of [-1, 1])
    for (const z of [-1, 1]) {
      const step = u(-0.1, 0.1) * leg;
      b.limb(
        [x * wide * 0.65, leg, z * 0.38 * long],
        [x * wide * 0.65, 0.03, z * 0.38 * long + step],
        deep * 0.36,
        deep * 0.2,
      );
    }
  const up = u(0.3, 1.3) * deep + head;
  const ahead = u(0.12, 0.3) * long;
  b.limb([0, y + 0.4 * deep, -0.42 * long], [0, y + up, -0.42 * long - ahead], deep * 0.6, head * 0.7);
  addHead(b, u, [0, y + up + 0.3 * head, -0.42 * long - ahead], head, head * u(0.3, 1.2));
  b.limb(
    [0, y + 0.3 * deep, 0.5 * long],
    [0, y + u(-0.8, 1.2) * deep, 0.5 * long + u(0.2, 0.4) * leg],
    deep * 0.2,
    deep * 0.1,
  );
}

/** Sitting on its haunches, front legs straight. */
function addSitting(b: Build, u: Draw): void {
  const tall = u(0.3, 0.6);
  const r = tall * u(0.2, 0.26);
  const head = tall * u(0.16, 0.24);
  b.ball([0, r * 1.05, tall * 0.22], [r * 1.1, r * 1.05, r * 1.2]);
  b.ball([0, tall * 0.5, tall * 0.02], [r * 0.85, tall * 0.32, r * 0.9], -25);
  for (const x of [-1, 1]) {
    b.limb([x * r * 0.5, tall * 0.5, -tall * 0.12], [x * r * 0.5, 0.03, -tall * 0.16], r * 0.35, r * 0.24);
    b.ball([x * r * 0.95, r * 0.65, tall * 0.1], [r * 0.45, r * 0.65, r * 0.85]);
    b.ball([x * r * 0.95, r * 0.2, -tall * 0.06], [r * 0.25, r * 0.2, r * 0.5]);
  }
  // A neck, or a small head hangs in the air.
  b.limb([0, tall * 0.66, -tall * 0.04], [0, tall * 0.92 + head * 0.2, -tall * 0.1], r * 0.55, head * 0.6);
  addHead(b, u, [0, tall * 0.92 + head * 0.4, -tall * 0.1], head, head * u(0.2, 1));
  b.limb([0, r * 0.4, tall * 0.22 + r], [u(-1, 1) * r * 2, r * 0.3, tall * 0.22 + r * 1.6], r * 0.25, r * 0.15);
}

/** On its belly, front legs stretched ahead. */
function addLying(b: Build, u: Draw): void {
  const r = u(0.1, 0.17);
  const long = r * u(4, 6);
  const head = r * u(0.6, 0.8);
  for (const z of [-0.3, 0, 0.3]) b.ball([0, r * 0.95, z * long], [r, r * (z > 0 ? 0.95 : 1), long * 0.28]);
  for (const x of [-1, 1]) {
    b.limb(
      [x * r * 0.7, r * 0.35, -0.4 * long],
      [x * r * 0.7, r * 0.28, -0.4 * long - r * u(1.2, 2.2)],
      r * 0.33,
      r * 0.25,
    );
    b.ball([x * r * 0.95, r * 0.6, 0.3 * long], [r * 0.4, r * 0.6, r * 0.9]);
  }
  b.limb([0, r * 1.3, -0.42 * long], [0, r * u(2, 2.8), -0.5 * long], r * 0.65, head * 0.8);
  addHead(b, u, [0, r * 2.3 + head * 0.5, -0.55 * long], head, head * u(0.3, 1.1));
  b.limb([0, r * 0.5, 0.55 * long], [u(-1, 1) * r, r * 0.25, 0.55 * long + r * 2.5], r * 0.3, r * 0.15);
}

/** A rabbit on its haunches, ears up or hanging. */
function addRabbit(b: Build, u: Draw): void {
  const k = u(0.8, 1.2);
  const fat = u(0.85, 1.2);
  const f = (x: number, y: number, z: number): Vec3 => [x * k, y * k, z * k];
  b.ball(f(0, 0.135, 0.02), f(0.13 * fat, 0.135, 0.125 * fat));
  b.ball(f(0, 0.235, -0.005), f(0.088 * fat, 0.11, 0.082));
  b.ball(f(0, 0.075, 0.145), f(0.046, 0.046, 0.046));
  for (const s of [-1, 1]) {
    b.ball(f(s * 0.105, 0.085, -0.015), f(0.058, 0.085, 0.09));
    b.ball(f(s * 0.082, 0.024, -0.118), f(0.04, 0.026, 0.066));
  }
  const up = u(-0.05, 0.03);
  b.ball(f(0, 0.385 + up, -0.012), f(0.11, 0.096, 0.1));
  b.ball(f(0, 0.353 + up, -0.09), f(0.06, 0.04, 0.05));
  const down = u(0, 1) < 0.5;
  for (const s of [-1, 1])
    b.ball(f(s * (down ? 0.115 : 0.05), 0.385 + up + (down ? -0.07 : 0.16), 0.01), f(0.026, 0.115, 0.045));
}

/** Somebody who stands or takes a step. */
function addPerson(b: Build, u: Draw): void {
  const k = u(1.5, 1.9);
  const f = (x: number, y: number, z: number): Vec3 => [x * k, y * k, z * k];
  const fat = u(0.85, 1.3);
  b.ball(f(0, 0.64, 0), f(0.1 * fat, 0.19, 0.065 * fat));
  b.ball(f(0, 0.53, 0), f(0.095 * fat, 0.08, 0.07 * fat));
  b.ball(f(0, 0.925, -0.01), f(0.045, 0.07, 0.055));
  b.limb(f(0, 0.8, 0), f(0, 0.88, 0), 0.035 * k, 0.035 * k);
  for (const s of [-1, 1]) {
    const step = u(-0.1, 0.1);
    const out = u(0, 0.06);
    b.limb(f(s * 0.05, 0.5, 0), f(s * 0.055, 0.27, step * 0.5), 0.05 * k * fat, 0.033 * k);
    b.limb(f(s * 0.055, 0.27, step * 0.5), f(s * (0.055 + out), 0.03, step), 0.033 * k, 0.022 * k);
    b.ball(f(s * (0.055 + out), 0.02, step - 0.03), f(0.026, 0.02, 0.07));
    const elbow = f(s * u(0.14, 0.22), 0.62, u(-0.1, 0.05));
    const up = u(-0.15, 0.15);
    b.limb(f(s * 0.115, 0.79, 0), elbow, 0.032 * k, 0.025 * k);
    b.limb(
      elbow,
      [elbow[0] + s * u(-0.08, 0.05) * k, elbow[1] + up * k, elbow[2] - u(0.02, 0.13) * k],
      0.024 * k,
      0.018 * k,
    );
  }
}

/** On two thin legs, with a beak and a tail. */
function addBird(b: Build, u: Draw): void {
  const r = u(0.09, 0.14);
  const leg = u(0.1, 0.25);
  const y = leg + r;
  const up = u(1, 2.2) * r;
  b.ball([0, y, 0], [r * 0.9, r, r * u(1.3, 1.7)], u(5, 25));
  b.limb([0, y + 0.5 * r, -r], [0, y + 0.5 * r + up, -r * 1.3], r * 0.5, r * 0.3);
  b.ball([0, y + 0.6 * r + up, -r * 1.4], [r * 0.32, r * 0.34, r * 0.4]);
  b.limb([0, y + 0.55 * r + up, -r * 1.7], [0, y + 0.5 * r + up, -r * 2], r * 0.12, r * 0.06);
  b.limb([0, y, r * 1.2], [0, y + u(-0.2, 1) * r, r * 2.3], r * 0.5, r * 0.25);
  for (const s of [-1, 1]) {
    b.limb([s * r * 0.4, leg + 0.2 * r, 0], [s * r * 0.4, 0.015, 0], r * 0.16, r * 0.11);
    b.ball([s * r * 0.4, 0.012, -r * 0.25], [r * 0.25, 0.012, r * 0.45]);
  }
}

/** On its belly, legs tucked in, the head low on the front: longer than tall, broadest at the haunches. */
function addLoaf(b: Build, u: Draw): void {
  const tall = u(0.13, 0.2);
  const long = tall * u(1.6, 2.4);
  const wide = tall * u(0.45, 0.6);
  const head = tall * u(0.28, 0.36);
  b.ball([0, tall * 0.5, long * 0.14], [wide, tall * 0.5, long * 0.36]);
  b.ball([0, tall * 0.45, -long * 0.2], [wide * 0.8, tall * 0.45, long * 0.3]);
  for (const x of [-1, 1]) {
    b.ball([x * wide * 0.75, tall * 0.32, long * 0.2], [wide * 0.35, tall * 0.32, long * 0.22]);
    b.ball([x * wide * 0.4, tall * 0.12, -long * 0.42], [wide * 0.25, tall * 0.12, long * 0.12]);
  }
  const y = tall * u(0.75, 1.15);
  b.limb([0, tall * 0.55, -long * 0.35], [0, y, -long * 0.5], tall * 0.36, head * 0.85);
  addHead(b, u, [0, y, -long * 0.52], head, head * u(0.2, 0.6));
  b.limb([wide * 0.3, tall * 0.15, long * 0.5], [wide * 1.1, tall * 0.12, long * 0.2], tall * 0.1, tall * 0.08);
}

const ADD: Readonly<Record<BodyKind, (b: Build, u: Draw) => void>> = {
  standing: addStanding,
  sitting: addSitting,
  lying: addLying,
  rabbit: addRabbit,
  person: addPerson,
  bird: addBird,
  loaf: addLoaf,
};

/** Body of a kind in random proportions, and its height, metres. */
export function makeBody(
  kind: BodyKind,
  random: RandomStream,
  yawDeg: number,
): { readonly parts: Ellipsoid[]; readonly height: number } {
  const b = new Build();
  ADD[kind](b, (from, to) => from + (to - from) * random.uniform());
  const parts = b.turned(yawDeg);
  let height = 0;
  for (const p of b.parts)
    height = Math.max(height, p.c[1] + Math.hypot(p.r[1] * Math.cos(p.pitch * RAD), p.r[2] * Math.sin(p.pitch * RAD)));
  return { parts, height };
}

/** Whether the ray from `o` along `d` (any length, forward only) meets the body. */
export function meets(parts: readonly Ellipsoid[], o: Vec3, d: Vec3): boolean {
  for (const { c, a } of parts) {
    const ox = o[0] - c[0];
    const oy = o[1] - c[1];
    const oz = o[2] - c[2];
    let pp = 0;
    let pq = 0;
    let qq = 0;
    for (let i = 0; i < 3; i++) {
      const r = a[i]!;
      const p = r[0] * ox + r[1] * oy + r[2] * oz;
      const q = r[0] * d[0] + r[1] * d[1] + r[2] * d[2];
      pp += p * p;
      pq += p * q;
      qq += q * q;
    }
    if (pq * pq >= qq * (pp - 1) && (pp < 1 || pq < 0)) return true;
  }
  return false;
}

/**
 * A camera of the world above: at `position`, heading along +z, tilted (degrees, down is negative); principal point in
 * the middle.
 */
export interface MadeView {
  readonly position: Vec3;
  readonly tiltDeg: number;
  readonly focalPx: number;
  readonly width: number;
  readonly height: number;
}

/** Direction of sight through a pixel, in the world. */
export function sightOf(v: MadeView, x: number, y: number): Vec3 {
  const a = (x - v.width / 2) / v.focalPx;
  const b = -(y - v.height / 2) / v.focalPx;
  const c = Math.cos(v.tiltDeg * RAD);
  const s = Math.sin(v.tiltDeg * RAD);
  return [a, b * c + s, c - b * s];
}

/** Where a place of the world is seen, px. */
export function pixelOf(v: MadeView, p: Vec3): [number, number] {
  const c = Math.cos(v.tiltDeg * RAD);
  const s = Math.sin(v.tiltDeg * RAD);
  const x = p[0] - v.position[0];
  const y = p[1] - v.position[1];
  const z = p[2] - v.position[2];
  const far = z * c + y * s;
  const up = y * c - z * s;
  return [v.width / 2 + (v.focalPx * x) / far, v.height / 2 - (v.focalPx * up) / far];
}

/**
 * Outline and shadow on the ground (both 0..1, means over 2 × 2 rays a pixel) within a box
 * of pixels. `light`: unit vector towards the key.
 */
export function castBody(
  parts: readonly Ellipsoid[],
  v: MadeView,
  light: Vec3,
  box: readonly [number, number, number, number],
): { readonly matte: Float32Array; readonly shadow: Float32Array } {
  const n = v.width * v.height;
  const matte = new Float32Array(n);
  const shadow = new Float32Array(n);
  for (let y = box[1]; y < box[3]; y++)
    for (let x = box[0]; x < box[2]; x++) {
      let m = 0;
      let s = 0;
      for (const dy of [0.25, 0.75])
        for (const dx of [0.25, 0.75]) {
          const d = sightOf(v, x + dx, y + dy);
          if (meets(parts, v.position, d)) m++;
          if (d[1] > -1e-4) continue;
          const k = -v.position[1] / d[1];
          if (meets(parts, [v.position[0] + k * d[0], 1e-4, v.position[2] + k * d[2]], light)) s++;
        }
      matte[y * v.width + x] = m / 4;
      shadow[y * v.width + x] = s / 4;
    }
  return { matte, shadow };
}
