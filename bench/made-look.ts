/**
 * Made pictures with a known look: grain of known sigma and spread, slanted edges of known blur, smears of known
 * length. From seeds.
 */
import { RandomStream } from '../src/core/random.js';
import { createPicture, type Picture } from '../src/image/picture.js';
import { gaussianPlane } from '../src/image/gaussian.js';

/**
 * sd of the grain in coded values at coded level v: a bump in the middle tones, as film and sensors under a display
 * curve have it.
 */
export function grainLaw(v: number, strength: number): number {
  return strength * (0.4 + 2.4 * v * (1 - v));
}

/**
 * A textured ramp scene (coded luma), w × h, moved by (sx, sy) px. Smooth tones with
 * patches of texture and hard shapes.
 */
export function scene(seed: number, w: number, h: number, sx: number, sy: number): Float32Array {
  const rng = new RandomStream(seed, 3);
  const waves = Array.from({ length: 14 }, () => ({
    fx: (rng.uniform() - 0.5) * 0.9,
    fy: (rng.uniform() - 0.5) * 0.9,
    p: rng.uniform() * 6.28,
  }));
  const blocks = Array.from({ length: 12 }, () => ({
    x: rng.uniform() * w,
    y: rng.uniform() * h,
    r: 12 + rng.uniform() * 40,
    l: 0.1 + 0.75 * rng.uniform(),
  }));
  const out = new Float32Array(w * h);
  for (let y = 0; y < h; y++)
    for (let x = 0; x < w; x++) {
      const u = x - sx;
      const v = y - sy;
      let l = 0.15 + (0.6 * u) / w + 0.1 * Math.sin(v / 40);
      if (Math.sin(u / 90) > 0.2) {
        let t = 0;
        for (const k of waves) t += Math.sin(k.fx * u + k.fy * v + k.p);
        l += 0.012 * t;
      }
      for (const b of blocks) {
        const d = b.r - Math.max(Math.abs(u - b.x), Math.abs(v - b.y));
        const k = Math.max(0, Math.min(1, d / 2 + 0.5));
        l = l * (1 - k) + b.l * k;
      }
      out[y * w + x] = Math.max(0.05, Math.min(0.92, l));
    }
  return out;
}

/**
 * Planks (coded luma), w × h: long along x, fine along y, lit more to one side; moved by (sx, sy) px and turned by
 * `turn` radians about the middle, as a camera in a hand has it.
 */
export function planks(seed: number, w: number, h: number, sx: number, sy: number, turn: number): Float32Array {
  const rng = new RandomStream(seed, 5);
  const waves = Array.from({ length: 24 }, () => ({
    fx: (rng.uniform() - 0.5) * 0.16,
    fy: (rng.uniform() - 0.5) * 1.6,
    p: rng.uniform() * 6.28,
  }));
  const c = Math.cos(turn),
    s = Math.sin(turn);
  const out = new Float32Array(w * h);
  for (let y = 0; y < h; y++)
    for (let x = 0; x < w; x++) {
      const px = x - w / 2 - sx,
        py = y - h / 2 - sy;
      const u = c * px + s * py,
        v = c * py - s * px;
      let l = 0.4 + (0.25 * u) / w;
      for (const k of waves) l += 0.011 * Math.sin(k.fx * u + k.fy * v + k.p);
      out[y * w + x] = Math.max(0.05, Math.min(0.92, l));
    }
  return out;
}

/**
 * Adds grain of sd grainLaw(level) blurred by `spread` px (unit variance kept), quantised to 8 bit; the
 * three channels share `common` of their variance.
 */
export function grained(
  luma: Float32Array,
  w: number,
  h: number,
  strength: number,
  spread: number,
  common: number,
  seed: number,
  frame: number,
): Picture {
  const p = createPicture(w, h, 3);
  const n = w * h;
  const field = (lane: number): Float32Array => {
    const rng = new RandomStream(seed, 1000 + frame * 16 + lane);
    let f = Float32Array.from({ length: n }, () => rng.normal());
    if (spread > 0) {
      f = gaussianPlane(f, w, h, spread) as Float32Array<ArrayBuffer>;
      // A Gaussian kernel's own sum of squares, so that the variance is one again.
      let ss = 0;
      for (let i = 0; i < n; i++) ss += f[i]! * f[i]!;
      const k = 1 / Math.sqrt(ss / n);
      for (let i = 0; i < n; i++) f[i]! *= k;
    }
    return f;
  };
  const shared = field(9);
  for (let c = 0; c < 3; c++) {
    const own = field(c);
    for (let i = 0; i < n; i++) {
      const g = Math.sqrt(common) * shared[i]! + Math.sqrt(1 - common) * own[i]!;
      p.data[c * n + i] = Math.round(Math.max(0, Math.min(1, luma[i]! + grainLaw(luma[i]!, strength) * g)) * 255) / 255;
    }
  }
  return p;
}

function phi(z: number): number {
  // Normal distribution by its series and continued fraction are overkill here: W. J.
  // Cody's accuracy is not needed for pictures.
  const t = 1 / (1 + 0.2316419 * Math.abs(z));
  const d = 0.3989422804 * Math.exp((-z * z) / 2);
  const q = d * t * (0.31938153 + t * (-0.356563782 + t * (1.781477937 + t * (-1.821255978 + t * 1.330274429))));
  return z > 0 ? 1 - q : q;
}

/**
 * A linear luma plane of rotated squares whose edges are blurred by a Gaussian of sd s and smeared by `length` px along
 * `directionDeg`; noise of sd `noise`. The smear is made by averaging many shifted copies of the exact blurred shapes.
 */
export function squares(
  seed: number,
  w: number,
  h: number,
  s: number,
  length: number,
  directionDeg: number,
  noise: number,
): Float32Array {
  const rng = new RandomStream(seed, 7);
  const out = new Float32Array(w * h).fill(0.3);
  const size = 90;
  const taps = length > 0 ? Math.max(8, Math.ceil(length * 6)) : 1;
  const ux = Math.cos((directionDeg * Math.PI) / 180);
  const uy = Math.sin((directionDeg * Math.PI) / 180);
  for (let cy = size / 2; cy + size / 2 <= h; cy += size)
    for (let cx = size / 2; cx + size / 2 <= w; cx += size) {
      const a = rng.uniform() * Math.PI;
      const r = 21 + 4 * rng.uniform();
      const level = rng.uniform() < 0.5 ? 0.05 + 0.1 * rng.uniform() : 0.5 + 0.4 * rng.uniform();
      const ca = Math.cos(a);
      const sa = Math.sin(a);
      for (let y = Math.floor(cy - size / 2); y < cy + size / 2; y++)
        for (let x = Math.floor(cx - size / 2); x < cx + size / 2; x++) {
          let m = 0;
          for (let k = 0; k < taps; k++) {
            const o = taps === 1 ? 0 : ((k + 0.5) / taps - 0.5) * length;
            const dx = x + 0.5 - cx - o * ux;
            const dy = y + 0.5 - cy - o * uy;
            const p = dx * ca + dy * sa;
            const q = -dx * sa + dy * ca;
            m += (phi((p + r) / s) - phi((p - r) / s)) * (phi((q + r) / s) - phi((q - r) / s));
          }
          const i = y * w + x;
          out[i] = 0.3 + (level - 0.3) * (m / taps);
        }
    }
  for (let i = 0; i < out.length; i++) out[i] = out[i]! + noise * rng.normal();
  return out;
}
