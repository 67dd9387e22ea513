// From the tracer's linear light to what a film print or a phone gives: softness, glow,
// tone, tint, grain, 8-bit R'G'B' of BT.709.

import { gaussian, seeded } from './random.js';
import { picture, type Picture } from './trace.js';

/** Gaussian blur of an interleaved picture, edges clamped. */
export function blur(from: Picture, sigma: number): Picture {
  if (sigma <= 0) return from;
  const radius = Math.max(1, Math.ceil(sigma * 3));
  const taps = new Float32Array(2 * radius + 1);
  let sum = 0;
  for (let i = -radius; i <= radius; i++) sum += taps[i + radius] = Math.exp(-(i * i) / (2 * sigma * sigma));
  for (let i = 0; i < taps.length; i++) taps[i] = (taps[i] ?? 0) / sum;
  const { w, h } = from;
  const mid = new Float32Array(w * h * 3);
  const out = picture(w, h);
  const pass = (src: Float32Array, dst: Float32Array, len: number, lines: number, step: number, line: number): void => {
    for (let l = 0; l < lines; l++) {
      for (let i = 0; i < len; i++) {
        let r = 0;
        let g = 0;
        let b = 0;
        for (let k = -radius; k <= radius; k++) {
          const j = i + k < 0 ? 0 : i + k >= len ? len - 1 : i + k;
          const p = l * line + j * step;
          const t = taps[k + radius] ?? 0;
          r += t * (src[p] ?? 0);
          g += t * (src[p + 1] ?? 0);
          b += t * (src[p + 2] ?? 0);
        }
        const q = l * line + i * step;
        dst[q] = r;
        dst[q + 1] = g;
        dst[q + 2] = b;
      }
    }
  };
  pass(from.rgb, mid, w, h, 3, w * 3);
  pass(mid, out.rgb, h, w, w * 3, 3);
  return out;
}

/** Glow round bright things (halation): what is over `knee` spreads, mostly red. Works at a quarter of the size. */
function glow(from: Picture, knee: number, amount: number): void {
  const w = Math.ceil(from.w / 4);
  const h = Math.ceil(from.h / 4);
  const small = picture(w, h);
  for (let y = 0; y < from.h; y++) {
    for (let x = 0; x < from.w; x++) {
      const p = (y * from.w + x) * 3;
      const q = ((y >> 2) * w + (x >> 2)) * 3;
      for (let c = 0; c < 3; c++)
        small.rgb[q + c] = (small.rgb[q + c] ?? 0) + Math.max(0, Math.min(3, from.rgb[p + c] ?? 0) - knee) / 16;
    }
  }
  const soft = blur(small, 3.2);
  const tint = [1, 0.62, 0.4];
  for (let y = 0; y < from.h; y++) {
    const fy = Math.min(h - 1.001, Math.max(0, (y - 1.5) / 4));
    const y0 = Math.floor(fy);
    for (let x = 0; x < from.w; x++) {
      const fx = Math.min(w - 1.001, Math.max(0, (x - 1.5) / 4));
      const x0 = Math.floor(fx);
      const a = (y0 * w + x0) * 3;
      const u = fx - x0;
      const t = fy - y0;
      const p = (y * from.w + x) * 3;
      for (let c = 0; c < 3; c++) {
        const top = (soft.rgb[a + c] ?? 0) * (1 - u) + (soft.rgb[a + 3 + c] ?? 0) * u;
        const low = (soft.rgb[a + w * 3 + c] ?? 0) * (1 - u) + (soft.rgb[a + w * 3 + 3 + c] ?? 0) * u;
        from.rgb[p + c] = (from.rgb[p + c] ?? 0) + amount * (tint[c] ?? 1) * (top * (1 - t) + low * t);
      }
    }
  }
}

/** BT.709-6 opto-electronic transfer, item 1.2. */
export const encode709 = (x: number): number => (x < 0.018 ? 4.5 * Math.max(0, x) : 1.099 * x ** 0.45 - 0.099);

const TILE = 512;

/** A square of noise with deviation 1 and the spatial correlation of a Gaussian of `sigma` px, one plane a channel. */
export function noiseTile(seed: number, sigma: number, shared: number): Float32Array {
  const r = seeded(seed);
  const common = new Float32Array(TILE * TILE);
  for (let i = 0; i < common.length; i++) common[i] = gaussian(r);
  const tile = picture(TILE, TILE);
  const own = Math.sqrt(1 - shared);
  const all = Math.sqrt(shared);
  for (let i = 0; i < TILE * TILE; i++) {
    for (let c = 0; c < 3; c++) tile.rgb[i * 3 + c] = all * (common[i] ?? 0) + own * gaussian(r);
  }
  const soft = blur(tile, sigma).rgb;
  let square = 0;
  for (const x of soft) square += x * x;
  const scale = 1 / Math.sqrt(square / soft.length);
  return soft.map((x) => x * scale);
}

export interface Finish {
  readonly exposure: number;
  readonly softness: number;
  readonly glow: number;
  /** Display-linear level of black, and the colour it leans to. */
  readonly lift: readonly [number, number, number];
  /** Gain a channel in the lights. */
  readonly tint: readonly [number, number, number];
  /** Deviation of grain in code values of 255 at mid grey, and how it falls towards black. */
  readonly grain: number;
  readonly noise: Float32Array;
  readonly contrast: number;
}

// Curves are kept as tables over the square root of light, 0..TOP, read with straight lines between entries.
const TOP = 8;
const ENTRIES = 8192;

function tabulate(fn: (x: number) => number): Float32Array {
  return Float32Array.from({ length: ENTRIES + 1 }, (_, i) => fn(TOP * (i / ENTRIES) ** 2));
}

function lookUp(table: Float32Array, x: number): number {
  if (!(x > 0)) return table[0] ?? 0;
  const at = Math.sqrt(x / TOP) * ENTRIES;
  if (at >= ENTRIES) return table[ENTRIES] ?? 0;
  const i = at | 0;
  const a = table[i] ?? 0;
  return a + ((table[i + 1] ?? 0) - a) * (at - i);
}

/** Print contrast round 18 % grey, then a shoulder: straight to a half, an exponential that never reaches 1 above. */
function toneTable(contrast: number): Float32Array {
  const pivot = 0.18;
  return tabulate((x) => {
    const s = pivot * (x / pivot) ** contrast;
    return s < 0.5 ? s : 1 - 0.5 * Math.exp(-(s - 0.5) / 0.5);
  });
}

/** The optics and the print, before grain: linear light in, display-linear light 0..1 out. */
export function develop(from: Picture, f: Finish): Picture {
  const out = blur(from, f.softness);
  const own = out === from ? { ...out, rgb: out.rgb.slice() } : out;
  for (let i = 0; i < own.rgb.length; i++) own.rgb[i] = (own.rgb[i] ?? 0) * f.exposure;
  if (f.glow > 0) glow(own, 0.75, f.glow);
  const curve = toneTable(f.contrast);
  const [t0, t1, t2] = f.tint;
  const [l0, l1, l2] = f.lift;
  const d = own.rgb;
  for (let i = 0; i < d.length; i += 3) {
    d[i] = l0 + (1 - l0) * lookUp(curve, (d[i] ?? 0) * t0);
    d[i + 1] = l1 + (1 - l1) * lookUp(curve, (d[i + 1] ?? 0) * t1);
    d[i + 2] = l2 + (1 - l2) * lookUp(curve, (d[i + 2] ?? 0) * t2);
  }
  return own;
}

/** Display-linear light to 8-bit R'G'B' with grain; `frame` and `seed` choose the draw. */
export function print(from: Picture, f: Finish, seed: number): Uint8Array {
  const r = seeded(seed);
  const ox = Math.floor(r() * TILE);
  const oy = Math.floor(r() * TILE);
  const flip = r() < 0.5 ? -1 : 1;
  const out = new Uint8Array(from.w * from.h * 3);
  for (let y = 0; y < from.h; y++) {
    const ty = ((oy + y) % TILE) * TILE;
    for (let x = 0; x < from.w; x++) {
      const tx = (((ox + flip * x) % TILE) + TILE) % TILE;
      const p = (y * from.w + x) * 3;
      const q = (ty + tx) * 3;
      for (let c = 0; c < 3; c++) {
        const e = lookUp(ENCODE, Math.min(1, from.rgb[p + c] ?? 0));
        const level = f.grain * (0.35 + 2.6 * e * (1 - e));
        const code = 255 * e + level * (f.noise[q + c] ?? 0);
        out[p + c] = code < 0 ? 0 : code > 255 ? 255 : Math.round(code);
      }
    }
  }
  return out;
}

/** The film: soft, warm in the lights, blue in the darks, grain that hangs together. */
export const filmFinish = (exposure = 0.62): Finish => ({
  exposure,
  softness: 0.6,
  glow: 0.3,
  lift: [0.0048, 0.0052, 0.0075],
  tint: [1.03, 1.0, 0.96],
  grain: 2.0,
  noise: FILM_NOISE,
  contrast: 1.18,
});
/** The phone at home: crisper, cleaner colour, finer noise. */
export const phoneFinish = (exposure = 0.86): Finish => ({
  exposure,
  softness: 0.5,
  glow: 0,
  lift: [0.003, 0.003, 0.003],
  tint: [1, 1, 1],
  grain: 1.9,
  noise: PHONE_NOISE,
  contrast: 1.08,
});
const ENCODE = tabulate((x) => encode709(Math.min(1, x)));
const FILM_NOISE = noiseTile(9041, 0.75, 0.6);
const PHONE_NOISE = noiseTile(7127, 0.45, 0.25);
