/**
 * Seeded sequences of a camera that turns about its own middle inside a painted world, with truth: fifteen
 * of 48 frames, in a fixed order of kinds (clean pans, pans with tilt and roll, a hand, an actor who
 * crosses and fills a third of the frame, a lens with distortion after Brown's first radial term as OpenCV
 * writes it, and three moves too small to say much).
 */
import { RandomStream } from '../src/core/random.js';
import { applyVector, type Mat3 } from '../src/geometry/mat3.js';
import { rotationFromPanTiltRoll } from '../src/geometry/rotation.js';
import type { CutOut, GreyImage } from './ride-textures.js';

export type CameraKind = 'pan' | 'pan and tilt' | 'hand-held' | 'actor' | 'distortion' | 'small move';
const KINDS: readonly CameraKind[] = [
  'pan',
  'pan and tilt',
  'hand-held',
  'actor',
  'distortion',
  'pan',
  'pan and tilt',
  'hand-held',
  'actor',
  'distortion',
  'pan',
  'pan',
  'small move',
  'small move',
  'small move',
];
const RAD = Math.PI / 180;

export interface CameraSequence {
  readonly name: string;
  readonly kind: CameraKind;
  readonly widthPx: number;
  readonly heightPx: number;
  readonly frameCount: number;
  readonly focalPx: number;
  /** Largest turn against the first frame, degrees. */
  readonly turnDeg: number;
  /** Camera of frame t to camera of the first frame. */
  readonly rotation: (t: number) => Mat3;
  readonly render: (t: number) => Float32Array;
}

/** What a camera sees with. */
interface Lens {
  readonly widthPx: number;
  readonly heightPx: number;
  readonly focalPx: number;
  /** distorted = undistorted · (1 + k1 r²), in units of the focal length. */
  readonly k1: number;
  readonly world: GreyImage;
}

/** Somebody before the world, their middle at (x, y) px, enlarged by `size`. */
interface ActorAt {
  readonly actor: CutOut;
  readonly size: number;
  readonly x: number;
  readonly y: number;
}

const GRAIN = 0.008;
/** Pixels of the world a radian. */
const PER_RAD = 900;

/** The distortion taken back by Newton's steps on the radius. */
function undistort(r: number, k1: number): number {
  let q = r;
  for (let i = 0; i < 6; i++) q -= (q * (1 + k1 * q * q) - r) / (1 + 3 * k1 * q * q);
  return q;
}

/** Coded luma, height × width, of the world behind the actor as a camera turned by `m` sees it, with grain. */
function renderView(l: Lens, m: Mat3, noise: RandomStream, before: ActorAt | null): Float32Array {
  const { widthPx, heightPx, focalPx, k1, world } = l;
  const out = new Float32Array(widthPx * heightPx);
  for (let y = 0; y < heightPx; y++)
    for (let x = 0; x < widthPx; x++) {
      let a = (x + 0.5 - widthPx / 2) / focalPx;
      let b = (y + 0.5 - heightPx / 2) / focalPx;
      const r = Math.hypot(a, b);
      if (k1 !== 0 && r > 1e-9) {
        const k = undistort(r, k1) / r;
        a *= k;
        b *= k;
      }
      const d = applyVector(m, [a, b, 1]);
      let v = sample(
        world,
        world.width / 2 + PER_RAD * Math.atan2(d[0], d[2]),
        world.height / 2 + PER_RAD * Math.atan2(d[1], Math.hypot(d[0], d[2])),
      );
      if (before !== null) {
        const { actor } = before;
        const p = (x + 0.5 - before.x) / before.size + actor.width / 2;
        const q = (y + 0.5 - before.y) / before.size + actor.height / 2;
        if (p >= 1 && q >= 1 && p < actor.width - 1 && q < actor.height - 1) {
          const o = Math.floor(q) * actor.width + Math.floor(p);
          const k = actor.cover[o]!;
          v = v * (1 - k) + actor.grey[o]! * k;
        }
      }
      out[y * widthPx + x] = Math.max(0, Math.min(1, v + GRAIN * noise.normal()));
    }
  return out;
}

/** Sequence `index` of a seed: the world panned over as its kind says, with or without somebody before it. */
export function makeCameraSequence(
  seed: number,
  index: number,
  world: GreyImage,
  actor: CutOut,
  frameCount = 48,
): CameraSequence {
  const rng = new RandomStream(seed, 500 + index);
  const kind = KINDS[index % KINDS.length]!;
  const widthPx = 960;
  const heightPx = 540;
  const u = (a: number, b: number): number => a + (b - a) * rng.uniform();
  const focalPx = widthPx * u(0.75, 1.7);
  const sign = rng.uniform() < 0.5 ? -1 : 1;
  const span = kind === 'small move' ? [1.2, 3, 6][index % 3]! : u(11, 24);
  const tilt = kind === 'pan and tilt' ? u(4, 9) * (rng.uniform() < 0.5 ? -1 : 1) : 0;
  const roll = kind === 'pan and tilt' ? u(-3, 3) : 0;
  const lean = u(-0.6, 0.6);
  const shake = kind === 'hand-held' ? 0.35 : 0;
  const waves = Array.from({ length: 3 }, () =>
    Array.from({ length: 5 }, () => ({ a: shake * rng.normal() * 0.6, hz: u(0.8, 6), p: u(0, 6.28) })),
  );
  const k1 = kind === 'distortion' ? u(-0.12, -0.05) : 0;
  const level = Array.from({ length: 2 }, () => u(0.02, 0.2));
  const ease = (t: number): number => {
    const s = t / (frameCount - 1);
    return s + level[0]! * Math.sin(2 * Math.PI * s) * 0.3;
  };
  const wobble = (k: number, t: number): number =>
    waves[k]!.reduce((s, w) => s + w.a * (Math.sin((2 * Math.PI * w.hz * t) / 24 + w.p) - Math.sin(w.p)), 0);
  const rotation = (t: number): Mat3 =>
    rotationFromPanTiltRoll(
      (sign * span * ease(t) + wobble(0, t)) * RAD,
      (tilt * ease(t) + lean * (1 - Math.cos((3 * t) / frameCount)) * (kind === 'pan' ? 0.3 : 1) + wobble(1, t)) * RAD,
      (roll * ease(t) + 0.5 * wobble(2, t)) * RAD,
    );
  const seen = (t: number): ActorAt | null =>
    kind === 'actor'
      ? {
          actor,
          size: (0.85 * heightPx) / actor.height,
          x: widthPx * (0.15 + (0.7 * t) / frameCount),
          y: 0.57 * heightPx,
        }
      : null;
  const turnDeg = Math.max(
    ...Array.from({ length: frameCount }, (_, t) => {
      const r = rotation(t);
      return Math.acos(Math.max(-1, Math.min(1, (r[0] + r[4] + r[8] - 1) / 2))) / RAD;
    }),
  );
  return {
    name: `${index} ${kind}`,
    kind,
    widthPx,
    heightPx,
    frameCount,
    focalPx,
    turnDeg,
    rotation,
    render: (t) =>
      renderView(
        { widthPx, heightPx, focalPx, k1, world },
        rotation(t),
        new RandomStream(seed * 31 + index, t),
        seen(t),
      ),
  };
}

/** Bilinear over a slightly enlarged world, mirrored outside. */
function sample(t: GreyImage, x: number, y: number): number {
  const fold = (i: number, n: number): number => {
    const m = ((i % (2 * n)) + 2 * n) % (2 * n);
    return m < n ? m : 2 * n - 1 - m;
  };
  const xi = Math.floor(x - 0.5);
  const yi = Math.floor(y - 0.5);
  const fx = x - 0.5 - xi;
  const fy = y - 0.5 - yi;
  const x0 = fold(xi, t.width);
  const x1 = fold(xi + 1, t.width);
  const y0 = fold(yi, t.height) * t.width;
  const y1 = fold(yi + 1, t.height) * t.width;
  const p = t.data[y0 + x0]! + fx * (t.data[y0 + x1]! - t.data[y0 + x0]!);
  const q = t.data[y1 + x0]! + fx * (t.data[y1 + x1]! - t.data[y1 + x0]!);
  return p + fy * (q - p);
}
