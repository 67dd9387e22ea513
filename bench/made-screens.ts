/**
 * Made takes before a screen with known matte and colour: a furred body with drawn hairs, on a screen with fall-off,
 * folds, a cast shadow, spill, noise and 4:2:0 chroma. Everything follows from a seed.
 */
import { RandomStream } from '../src/core/random.js';
import { bt709Encode } from '../src/colour/transfer.js';
import type { VideoFrame } from '../src/media/types.js';

export interface ScreenGrade {
  readonly name: string;
  /** Scene-linear screen colour. */
  readonly screen: readonly [number, number, number];
  readonly fallOff: number;
  readonly folds: number;
  readonly shadow: number;
  readonly spill: number;
  readonly noise: number;
}

export const GRADES: readonly ScreenGrade[] = [
  { name: 'studio green', screen: [0.02, 0.42, 0.07], fallOff: 0.1, folds: 0, shadow: 0, spill: 0.03, noise: 0.002 },
  { name: 'home green', screen: [0.03, 0.35, 0.07], fallOff: 0.3, folds: 0.08, shadow: 0.2, spill: 0.1, noise: 0.005 },
  { name: 'home blue', screen: [0.03, 0.1, 0.45], fallOff: 0.3, folds: 0.08, shadow: 0.2, spill: 0.1, noise: 0.005 },
  { name: 'dull green', screen: [0.06, 0.22, 0.09], fallOff: 0.5, folds: 0.2, shadow: 0.4, spill: 0.2, noise: 0.01 },
];

export interface MadeFrame {
  readonly frame: VideoFrame;
  readonly alpha: Float32Array;
  /** Planar coded R'G'B' before spill. */
  readonly colour: Float32Array;
}

/** Root x y and tip x y from the body's centre, width px, tone. */
type Hair = readonly [number, number, number, number, number, number];

const COATS: readonly (readonly [number, number, number])[] = [
  [0.5, 0.35, 0.2],
  [0.7, 0.66, 0.6],
  [0.12, 0.09, 0.07],
  [0.35, 0.33, 0.32],
];

/** `count` frames of one made take; the performer drifts a few pixels a frame. With `empty` nobody stands there. */
export function madeTake(
  seed: number,
  grade: ScreenGrade,
  w: number,
  h: number,
  count: number,
  empty = false,
): MadeFrame[] {
  const random = new RandomStream(seed, 17);
  const coat = COATS[random.uint32() % COATS.length]!;
  const cx = w * (0.35 + 0.3 * random.uniform());
  const cy = h * (0.55 + 0.15 * random.uniform());
  const rx = w * (0.13 + 0.06 * random.uniform());
  const ry = h * (0.24 + 0.1 * random.uniform());
  const hairs: Hair[] = [];
  const number = Math.round(2 * (rx + ry));
  for (let k = 0; k < number; k += 1) {
    const t = 2 * Math.PI * random.uniform();
    const length = h * (0.01 + 0.04 * random.uniform());
    const lean = t + 0.8 * (random.uniform() - 0.5);
    hairs.push([
      rx * 0.97 * Math.cos(t),
      ry * 0.97 * Math.sin(t),
      rx * Math.cos(t) + length * Math.cos(lean),
      ry * Math.sin(t) + length * Math.sin(lean),
      0.5 + 0.7 * random.uniform(),
      0.7 + 0.6 * random.uniform(),
    ]);
  }
  const phases = Array.from({ length: 8 }, () => 6.28 * random.uniform());
  const vx = 4 * (random.uniform() - 0.5);
  const vy = 3 * (random.uniform() - 0.5);
  // Far out of the picture with shadow and spill.
  const away = empty ? -20 * w : 0;
  return Array.from({ length: count }, (_, k) =>
    madeFrame(random, grade, w, h, k, coat, cx + vx * k + away, cy + vy * k, rx, ry, hairs, phases),
  );
}

function madeFrame(
  random: RandomStream,
  grade: ScreenGrade,
  w: number,
  h: number,
  index: number,
  coat: readonly [number, number, number],
  cx: number,
  cy: number,
  rx: number,
  ry: number,
  hairs: readonly Hair[],
  phases: readonly number[],
): MadeFrame {
  const n = w * h;
  const alpha = new Float32Array(n);
  const tone = new Float32Array(n).fill(1);
  for (let y = 0; y < h; y += 1) {
    for (let x = 0; x < w; x += 1) {
      const dx = (x + 0.5 - cx) / rx;
      const dy = (y + 0.5 - cy) / ry;
      const d = (1 - Math.hypot(dx, dy)) * Math.min(rx, ry);
      alpha[y * w + x] = Math.min(1, Math.max(0, d + 0.5));
      tone[y * w + x] =
        1 + 0.25 * Math.sin(0.9 * x + 3 * Math.sin(0.11 * y + phases[0]!)) * Math.sin(0.35 * y + phases[1]!) - 0.2 * dx;
    }
  }
  for (const [ax, ay, bx, by, width, shade] of hairs) {
    const x0 = Math.max(0, Math.floor(cx + Math.min(ax, bx) - 2));
    const x1 = Math.min(w - 1, Math.ceil(cx + Math.max(ax, bx) + 2));
    const y0 = Math.max(0, Math.floor(cy + Math.min(ay, by) - 2));
    const y1 = Math.min(h - 1, Math.ceil(cy + Math.max(ay, by) + 2));
    const lx = bx - ax;
    const ly = by - ay;
    const power = lx * lx + ly * ly;
    for (let y = y0; y <= y1; y += 1) {
      for (let x = x0; x <= x1; x += 1) {
        const px = x + 0.5 - cx - ax;
        const py = y + 0.5 - cy - ay;
        const t = Math.min(1, Math.max(0, (px * lx + py * ly) / power));
        const d = Math.hypot(px - t * lx, py - t * ly);
        const cover = Math.min(1, Math.max(0, width * (1 - 0.6 * t) + 0.5 - d)) * Math.min(1, 1.4 - t);
        const i = y * w + x;
        if (cover > 0) {
          const before = alpha[i]!;
          alpha[i] = 1 - (1 - before) * (1 - cover);
          tone[i] = (tone[i]! * before * (1 - cover) + shade * cover) / Math.max(1e-6, before * (1 - cover) + cover);
        }
      }
    }
  }
  const coded = new Float32Array(3 * n);
  const colour = new Float32Array(3 * n);
  for (let y = 0; y < h; y += 1) {
    for (let x = 0; x < w; x += 1) {
      const i = y * w + x;
      const far = Math.hypot(x / w - 0.4, y / h - 0.4);
      const fold =
        Math.sin(0.021 * x + 0.013 * y + phases[2]!) * Math.sin(0.008 * x - 0.027 * y + phases[3]!) +
        0.5 * Math.sin(0.07 * x + 0.03 * y + phases[4]!);
      const sx = (x - cx - 0.9 * rx) / (1.1 * rx);
      const sy = (y - cy - 0.7 * ry) / (0.35 * ry);
      const shade = grade.shadow * Math.min(1, Math.max(0, 2.5 * (1.1 - Math.hypot(sx, sy))));
      const light = (1 - grade.fallOff * Math.min(1, far * 1.3)) * (1 + 0.5 * grade.folds * fold) * (1 - shade);
      const rim = Math.exp(
        -Math.max(0, (1 - Math.hypot((x - cx) / rx, (y - cy) / ry)) * Math.min(rx, ry)) / (0.05 * h),
      );
      const a = alpha[i]!;
      for (let p = 0; p < 3; p += 1) {
        const f = coat[p]! * Math.max(0.1, tone[i]!);
        const spilled = f + grade.spill * (0.3 + 0.7 * rim) * grade.screen[p]! * (0.4 + f);
        colour[p * n + i] = bt709Encode(f);
        coded[p * n + i] =
          bt709Encode(a * spilled + (1 - a) * grade.screen[p]! * light) + grade.noise * random.normal();
      }
    }
  }
  return { frame: quantised(coded, w, h, index), alpha, colour };
}

/** 8-bit BT.709 limited 4:2:0, chroma sited left. */
function quantised(coded: Float32Array, w: number, h: number, index: number): VideoFrame {
  const n = w * h;
  const byte = (v: number): number => Math.min(255, Math.max(0, Math.round(v)));
  const y = new Uint8Array(n);
  const u = new Float32Array(n);
  const v = new Float32Array(n);
  for (let i = 0; i < n; i += 1) {
    const l = 0.2126 * coded[i]! + 0.7152 * coded[n + i]! + 0.0722 * coded[2 * n + i]!;
    y[i] = byte(16 + 219 * l);
    u[i] = (coded[2 * n + i]! - l) / 1.8556;
    v[i] = (coded[i]! - l) / 1.5748;
  }
  const cw = w >> 1;
  const ch = h >> 1;
  const small = (plane: Float32Array): Uint8Array => {
    const out = new Uint8Array(cw * ch);
    for (let j = 0; j < ch; j += 1) {
      for (let k = 0; k < cw; k += 1) {
        let s = 0;
        for (let r = 0; r < 2; r += 1) {
          const row = (2 * j + r) * w;
          s += plane[row + Math.max(2 * k - 1, 0)]! + 2 * plane[row + 2 * k]! + plane[row + 2 * k + 1]!;
        }
        out[j * cw + k] = byte(128 + (224 * s) / 8);
      }
    }
    return out;
  };
  return {
    index,
    widthPx: w,
    heightPx: h,
    planes: [y, small(u), small(v)],
    chromaShift: [1, 1],
    chromaSite: [0, 0.5],
    layout: 'yuv',
    bitDepth: 8,
    hasAlpha: false,
    colour: { matrix: 'bt709', transfer: 'bt709', primaries: 'bt709', fullRange: false, assumed: false },
  };
}
