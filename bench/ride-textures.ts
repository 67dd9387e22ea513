/** Textures that rides are judged on, and how they are sampled. */
import { RandomStream } from '../src/core/random.js';

export interface GreyImage {
  readonly width: number;
  readonly height: number;
  readonly data: Float32Array;
}
/** A cut-out: grey and cover, both width × height. */
export interface CutOut {
  readonly width: number;
  readonly height: number;
  readonly grey: Float32Array;
  readonly cover: Float32Array;
}

/** Our own texture: octaves of value noise, plates with edges, and strokes like lettering. */
export function patternTexture(seed: number, width: number, height: number): GreyImage {
  const rng = new RandomStream(seed, 77);
  const data = new Float32Array(width * height).fill(0.45);
  for (let octave = 0; octave < 7; octave++) {
    const cell = 256 >> octave;
    const gw = Math.ceil(width / cell) + 2;
    const gh = Math.ceil(height / cell) + 2;
    const grid = Float32Array.from({ length: gw * gh }, () => rng.uniform() - 0.5);
    const k = 0.34 * 0.68 ** octave;
    for (let y = 0; y < height; y++) {
      const gy = Math.floor(y / cell);
      const fy = y / cell - gy;
      const sy = fy * fy * (3 - 2 * fy);
      for (let x = 0; x < width; x++) {
        const gx = Math.floor(x / cell);
        const fx = x / cell - gx;
        const sx = fx * fx * (3 - 2 * fx);
        const o = gy * gw + gx;
        const a = grid[o]! + sx * (grid[o + 1]! - grid[o]!);
        const b = grid[o + gw]! + sx * (grid[o + gw + 1]! - grid[o + gw]!);
        data[y * width + x] = data[y * width + x]! + k * (a + sy * (b - a));
      }
    }
  }
  for (let s = 0; s < 420; s++) {
    const w = 10 + rng.below(90);
    const h = 6 + rng.below(70);
    const cx = rng.below(width);
    const cy = rng.below(height);
    const t = rng.uniform() * Math.PI;
    const c = Math.cos(t);
    const d = Math.sin(t);
    const v = rng.uniform() * 0.5 - 0.25;
    const r = Math.ceil(Math.hypot(w, h));
    for (let y = Math.max(0, cy - r); y < Math.min(height, cy + r); y++)
      for (let x = Math.max(0, cx - r); x < Math.min(width, cx + r); x++) {
        const p = Math.abs(c * (x - cx) + d * (y - cy)) - w / 2;
        const q = Math.abs(-d * (x - cx) + c * (y - cy)) - h / 2;
        const cover = Math.max(0, Math.min(1, 0.5 - Math.max(p, q)));
        data[y * width + x] = data[y * width + x]! + cover * v;
      }
  }
  for (let i = 0; i < data.length; i++) data[i] = Math.max(0.03, Math.min(0.97, data[i]!));
  return { width, height, data };
}

export function blobCutOut(seed: number): CutOut {
  const rng = new RandomStream(seed, 31);
  const width = 220;
  const height = 160;
  const texture = patternTexture(seed + 5, width, height);
  const cover = new Float32Array(width * height);
  const lobes = Array.from({ length: 6 }, () => [60 + rng.below(100), 45 + rng.below(70), 25 + rng.below(40)] as const);
  for (let y = 0; y < height; y++)
    for (let x = 0; x < width; x++) {
      let d = -99;
      for (const [cx, cy, r] of lobes) d = Math.max(d, r - Math.hypot(x - cx, y - cy));
      cover[y * width + x] = Math.max(0, Math.min(1, d + 0.5));
    }
  return { width, height, grey: texture.data.map((v) => v * 0.7), cover };
}

/** Catmull-Rom sample, mirrored outside. */
export function cubic(t: GreyImage, x: number, y: number): number {
  const xx = x - 0.5;
  const yy = y - 0.5;
  const xi = Math.floor(xx);
  const yi = Math.floor(yy);
  const fx = xx - xi;
  const fy = yy - yi;
  let sum = 0;
  const wx0 = fx * (-0.5 + fx * (1 - 0.5 * fx));
  const wx1 = 1 + fx * fx * (-2.5 + 1.5 * fx);
  const wx2 = fx * (0.5 + fx * (2 - 1.5 * fx));
  const wx3 = fx * fx * (-0.5 + 0.5 * fx);
  const x0 = mirror(xi - 1, t.width);
  const x1 = mirror(xi, t.width);
  const x2 = mirror(xi + 1, t.width);
  const x3 = mirror(xi + 2, t.width);
  for (let k = -1; k <= 2; k++) {
    const o = mirror(yi + k, t.height) * t.width;
    const w =
      k === -1
        ? fy * (-0.5 + fy * (1 - 0.5 * fy))
        : k === 0
          ? 1 + fy * fy * (-2.5 + 1.5 * fy)
          : k === 1
            ? fy * (0.5 + fy * (2 - 1.5 * fy))
            : fy * fy * (-0.5 + 0.5 * fy);
    sum += w * (wx0 * t.data[o + x0]! + wx1 * t.data[o + x1]! + wx2 * t.data[o + x2]! + wx3 * t.data[o + x3]!);
  }
  return sum;
}

function mirror(i: number, n: number): number {
  if (i >= 0 && i < n) return i;
  const m = ((i % (2 * n)) + 2 * n) % (2 * n);
  return m < n ? m : 2 * n - 1 - m;
}
