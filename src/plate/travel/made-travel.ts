/**
 * A made set with a camera that travels through it, for tests and benches: patterned ground, a wall
 * across at the back, posts, and whoever walks through; every pixel is the mean of two rays. Everything
 * is known: poses, depths, where any point shows.
 */
import { worldToCamera } from '../../geometry/camera.js';
import { applyVector, multiply, transpose, type Mat3, type Vec3 } from '../../geometry/mat3.js';
import { rotationFromVector } from '../../geometry/rotation.js';
import { RandomStream } from '../../core/random.js';
import type { LumaFrame, LumaSource } from '../ride/ride-source.js';

export interface MadeCamera {
  /** World (x right, y up, z away) to camera, and where it stands. */
  readonly toCamera: Mat3;
  readonly at: Vec3;
}
export interface MadeSet {
  readonly widthPx: number;
  readonly heightPx: number;
  readonly focalPx: number;
  readonly cameras: readonly MadeCamera[];
  readonly source: LumaSource;
  /** One frame, scene values 0..1. */
  draw(frame: number): Float32Array;
  /** Where a world point shows on a frame. */
  see(frame: number, p: Vec3): [number, number];
}

export interface MadeSetOptions {
  readonly widthPx?: number;
  readonly heightPx?: number;
  readonly focalPx?: number;
  readonly frames?: number;
  readonly tiltDeg?: number;
  readonly height?: number;
  /** Way of the camera over the shot, metres: right, up, forward. */
  readonly way?: Vec3;
  /** Turn over the shot, degrees: pan right. */
  readonly panDeg?: number;
  /** Shake of a hand: degrees and metres, rms. */
  readonly shakeDeg?: number;
  readonly shakeM?: number;
  readonly noise?: number;
  readonly walker?: boolean;
  readonly seed?: number;
}

/** A set as asked for; the same seed makes the same one. */
export function madeSet(o: MadeSetOptions = {}): MadeSet {
  const W = o.widthPx ?? 640;
  const H = o.heightPx ?? 360;
  const f = o.focalPx ?? 560;
  const frames = o.frames ?? 24;
  const seed = o.seed ?? 1;
  const random = new RandomStream(seed);
  const wobble = (): ((t: number) => number) => {
    const parts = Array.from({ length: 3 }, () => ({
      a: random.normal(),
      w: 1 + 6 * random.uniform(),
      p: 6.28 * random.uniform(),
    }));
    return (t) => parts.reduce((s, q) => s + (q.a * Math.sin(q.w * 2 * t + q.p)) / 1.7, 0);
  };
  const shakes = Array.from({ length: 6 }, wobble);
  const way = o.way ?? [0, 0, 1.5];
  const height = o.height ?? 1.5;
  const cameras: MadeCamera[] = Array.from({ length: frames }, (_, i) => {
    const t = i / Math.max(1, frames - 1);
    const k = (o.shakeDeg ?? 0) * (Math.PI / 180);
    const m = o.shakeM ?? 0;
    const s = shakes.map((fn) => fn(t) - fn(0));
    const base = worldToCamera((o.panDeg ?? 0) * t, o.tiltDeg ?? -8, 0);
    return {
      toCamera: multiply(rotationFromVector([k * s[0]!, k * s[1]!, k * s[2]!]), base),
      at: [way[0] * t + m * s[3]!, height + way[1] * t + m * s[4]!, way[2] * t + m * s[5]!],
    };
  });
  const drawn = new Map<number, Float32Array>();
  const draw = (n: number): Float32Array => {
    const there = drawn.get(n);
    if (there !== undefined) return there;
    const out = new Float32Array(W * H);
    const c = cameras[n]!;
    const back = transpose(c.toCamera);
    const grain = new RandomStream(1000 * seed + n);
    for (let y = 0, i = 0; y < H; y++)
      for (let x = 0; x < W; x++, i++) {
        let v = 0;
        for (let k = 0; k < 2; k++) {
          const d = applyVector(back, [(x + 0.25 + 0.5 * k - W / 2) / f, (y + 0.25 + 0.5 * k - H / 2) / f, 1]);
          v += shade(c.at, d, f, n / frames, o.walker === true) / 2;
        }
        out[i] = Math.min(1, Math.max(0, v + (o.noise ?? 0.006) * grain.normal()));
      }
    drawn.set(n, out);
    return out;
  };
  const source: LumaSource = {
    widthPx: W,
    heightPx: H,
    frameCount: frames,
    async *frames(from: number, to: number): AsyncGenerator<LumaFrame> {
      for (let n = Math.max(0, from); n < Math.min(frames, to); n++) yield { index: n, luma: draw(n) };
    },
  };
  return {
    widthPx: W,
    heightPx: H,
    focalPx: f,
    cameras,
    source,
    draw,
    see: (n, p) => {
      const c = cameras[n]!;
      const q = applyVector(c.toCamera, [p[0] - c.at[0], p[1] - c.at[1], p[2] - c.at[2]]);
      return [W / 2 + (f * q[0]) / q[2], H / 2 + (f * q[1]) / q[2]];
    },
  };
}

const WALL_Z = 14;
const POSTS: readonly (readonly [number, number, number])[] = [
  [-2.2, 6, 0.16],
  [1.9, 7.5, 0.16],
  [-0.9, 10, 0.2],
  [3.6, 9, 0.3],
];

/** Brightness along a ray from `from`. */
function shade(from: Vec3, d: Vec3, focalPx: number, time: number, walker: boolean): number {
  let nearest = Infinity;
  let v = 0.55 + 0.1 * d[1];
  const hit = (s: number, value: () => number): void => {
    if (s > 0.05 && s < nearest) {
      nearest = s;
      v = value();
    }
  };
  if (d[1] < -1e-6) {
    const s = -from[1] / d[1];
    hit(s, () => pattern(from[0] + s * d[0], from[2] + s * d[2], s / focalPx, 3));
  }
  if (d[2] > 1e-6) {
    const s = (WALL_Z - from[2]) / d[2];
    const y = from[1] + s * d[1];
    if (y > 0 && y < 6) hit(s, () => pattern(from[0] + s * d[0] + 40, y + 17, s / focalPx, 2));
    for (const [x0, z, half] of POSTS) {
      const q = (z - from[2]) / d[2];
      const x = from[0] + q * d[0];
      const py = from[1] + q * d[1];
      if (Math.abs(x - x0) < half && py > 0 && py < 3) hit(q, () => pattern(x + 90 + x0, py, q / focalPx, 5));
    }
    if (walker) {
      const q = (5 - from[2]) / d[2];
      const x = from[0] + q * d[0] - (-2 + 3.5 * time);
      const py = from[1] + q * d[1];
      if (Math.abs(x) < 0.28 && py > 0 && py < 1.75) hit(q, () => 0.1 + 0.5 * pattern(x + 30, py, q / focalPx, 6));
    }
  }
  return v;
}

/**
 * Value noise in octaves, those finer than the pixel's footprint left out. `fine`: cells a metre of the first octave.
 */
function pattern(u: number, v: number, footprint: number, fine: number): number {
  let sum = 0.45;
  let a = 0.3;
  for (let k = 0, c = fine; k < 4; k++, c *= 2.3, a *= 0.75) {
    const seen = 1 - footprint * c * 1.2;
    if (seen <= 0) break;
    sum += a * Math.min(1, seen * 2) * (cell(u * c, v * c, k) - 0.5);
  }
  return sum;
}

function cell(x: number, y: number, k: number): number {
  const ix = Math.floor(x);
  const iy = Math.floor(y);
  const fx = x - ix;
  const fy = y - iy;
  const sx = fx * fx * (3 - 2 * fx);
  const sy = fy * fy * (3 - 2 * fy);
  const at = (a: number, b: number): number => {
    let h = Math.imul(a * 374761393 + b * 668265263 + k * 974634, 1274126177);
    h = Math.imul(h ^ (h >>> 15), 2246822519);
    return ((h ^ (h >>> 13)) >>> 0) / 4294967296;
  };
  const t = at(ix, iy) + sx * (at(ix + 1, iy) - at(ix, iy));
  const q = at(ix, iy + 1) + sx * (at(ix + 1, iy + 1) - at(ix, iy + 1));
  return t + sy * (q - t);
}
