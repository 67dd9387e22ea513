/**
 * Gentle relight: turns the direction of the key on a performer whose shape is known only from its outline. The matte is
 * filled with balls (body-volume.ts), the balls' front surface, smoothed, gives a normal a pixel; with it the take's shading
 * is divided out and the plate's put in. Shading of a furred or matt body: fill + (1 − fill) × wrapped cosine of the angle
 * between normal and key (wrap as in Green, "Real-time approximations to subsurface scattering", GPU Gems 2004, ch. 16).
 * The ratio is limited, since a cast shadow or a burnt highlight of the take cannot be undone; how far is stated in LIMIT.
 *
 * Vectors in the camera frame (x right, y down, z forward). All planes over one box, height × width.
 */
import { gaussianPlane } from '../image/gaussian.js';
import { frontOfBalls } from './ball-grids.js';
import { ballsOfMatte } from './body-volume.js';

/** Most that a pixel is made brighter or darker (ratio). */
export const LIMIT = 2.2;
/** Beyond this angle between the two keys the shading can't be moved honestly. */
export const MOST_DEG = 75;
const WRAP = 0.35;

export interface RelightLamp {
  /** Unit vector towards the key. */
  readonly towards: readonly [number, number, number];
  /** Share of the full light that is fill, 0..1 per channel. */
  readonly fill: readonly [number, number, number];
}

/** Surface normals of the filled matte: three planes nx, ny, nz (towards the camera is negative z). Zero outside. */
export function normalsOfMatte(alpha: Float32Array, width: number, height: number): Float32Array {
  const n = width * height;
  const out = new Float32Array(3 * n);
  const balls = ballsOfMatte(alpha, width, height);
  if (balls.length === 0) return out;
  let biggest = 0;
  for (const b of balls) biggest = Math.max(biggest, b.r);
  const front = frontOfBalls(balls, width, height);
  const smooth = gaussianPlane(front, width, height, Math.max(1.5, 0.08 * biggest));
  for (let y = 0; y < height; y++) {
    for (let x = 0; x < width; x++) {
      const i = y * width + x;
      const l = smooth[y * width + Math.max(0, x - 1)]!, r = smooth[y * width + Math.min(width - 1, x + 1)]!;
      const u = smooth[Math.max(0, y - 1) * width + x]!, d = smooth[Math.min(height - 1, y + 1) * width + x]!;
      // The front surface stands at −z; its normal is (−∂z/∂x, −∂z/∂y, −1) with z the height towards the camera.
      const gx = (l - r) / 2, gy = (u - d) / 2;
      const k = 1 / Math.sqrt(gx * gx + gy * gy + 1);
      out[i] = gx * k;
      out[n + i] = gy * k;
      out[2 * n + i] = -k;
    }
  }
  return out;
}

/** Fur and cloth scatter light past the edge of the lit side: their shading is flatter than a hard body's by this share (our own choice, held against the practice pictures). */
const FLATTEN = 0.2;

/** Wrapped cosine between a normal and a lamp, 0..1. */
export function facingOf(towards: readonly [number, number, number], nx: number, ny: number, nz: number): number {
  const c = nx * towards[0] + ny * towards[1] + nz * towards[2];
  return Math.max(0, (c + WRAP) / (1 + WRAP));
}

/** Rows that the shading is worked out on: it is smooth, and read between them. */
const WORK_ROWS = 110;

/** Multiplies premultiplied linear colour (three planes) by the ratio of the two shadings, in place. `strength` 0..1 is an exponent: half strength is half the stops. */
export function relight(colour: readonly [Float32Array, Float32Array, Float32Array], alpha: Float32Array, width: number, height: number, from: RelightLamp, to: RelightLamp, strength: number): void {
  const cell = Math.max(1, Math.floor(height / WORK_ROWS));
  const w = Math.ceil(width / cell), h = Math.ceil(height / cell), n = w * h;
  const coarse = new Float32Array(n);
  for (let y = 0; y < h; y++) for (let x = 0; x < w; x++) coarse[y * w + x] = alpha[Math.min(height - 1, y * cell + (cell >> 1)) * width + Math.min(width - 1, x * cell + (cell >> 1))]!;
  const normals = normalsOfMatte(coarse, w, h);
  const most = Math.log(LIMIT);
  const fillOf = (lamp: RelightLamp): number[] => lamp.fill.map((f) => f + (1 - f) * FLATTEN);
  const ff = fillOf(from), tf = fillOf(to);
  const ratio = [new Float32Array(n), new Float32Array(n), new Float32Array(n)] as const;
  // All cells beyond the body have the same ratio.
  let beyond = -1;
  for (let i = 0; i < n; i++) {
    const nz = normals[2 * n + i]!;
    if (nz === 0) {
      if (beyond >= 0) { for (let c = 0; c < 3; c++) ratio[c]![i] = ratio[c]![beyond]!; continue; }
      beyond = i;
    }
    // Beyond the filled body the surface turns to the lens: fur's tips take what the body's edge takes.
    const nx = nz === 0 ? 0 : normals[i]!, ny = nz === 0 ? 0 : normals[n + i]!;
    const gf = facingOf(from.towards, nx, ny, nz === 0 ? -1 : nz), gt = facingOf(to.towards, nx, ny, nz === 0 ? -1 : nz);
    for (let c = 0; c < 3; c++) {
      const before = ff[c]! + (1 - ff[c]!) * gf, after = tf[c]! + (1 - tf[c]!) * gt;
      const stops = Math.log(Math.max(0.05, after) / Math.max(0.05, before)) * strength;
      ratio[c]![i] = Math.exp(most * Math.tanh(stops / most));
    }
  }
  // The same for every row: cell, share of the next, and the step to it.
  const cells = new Int32Array(width), shares = new Float64Array(width), steps = new Int32Array(width);
  for (let x = 0; x < width; x++) {
    const u = Math.min(w - 1.001, Math.max(0, (x + 0.5) / cell - 0.5)), k = Math.floor(u);
    cells[x] = k; shares[x] = u - k; steps[x] = k + 1 < w ? 1 : 0;
  }
  const [red, green, blue] = colour, [r, g, q] = ratio;
  for (let y = 0; y < height; y++) {
    const v = Math.min(h - 1.001, Math.max(0, (y + 0.5) / cell - 0.5)), j = Math.floor(v), ty = v - j;
    const down = j + 1 < h ? w : 0;
    for (let x = 0; x < width; x++) {
      const i = y * width + x;
      if (alpha[i]! <= 0) continue;
      const tx = shares[x]!, o = j * w + cells[x]!, o1 = o + steps[x]!, o2 = o + down, o3 = o1 + down;
      const a = (1 - tx) * (1 - ty), b = tx * (1 - ty), d = (1 - tx) * ty, e = tx * ty;
      red[i] = red[i]! * (a * r[o]! + b * r[o1]! + d * r[o2]! + e * r[o3]!);
      green[i] = green[i]! * (a * g[o]! + b * g[o1]! + d * g[o2]! + e * g[o3]!);
      blue[i] = blue[i]! * (a * q[o]! + b * q[o1]! + d * q[o2]! + e * q[o3]!);
    }
  }
}
