/**
 * Made takes as a maker films them at home with a phone: a screen that does not fill the picture, the holder's
 * arm and a leash, dim light and hard compression, exposure that pumps and white that drifts, focus that
 * breathes, pale and grey coats in strong spill, a fast tail. Kinds for `hard-screens.ts`; ranges by eye (common
 * practice, no source), none chosen by a matte's score.
 */
import { RandomStream } from '../src/core/random.js';
import type { HardScreen } from './hard-screen-kinds.js';
import type { Layer } from './drawn-performer.js';

const GREEN = [0.03, 0.33, 0.07] as const;
const DULL = [0.06, 0.2, 0.08] as const;
const BLUE = [0.03, 0.09, 0.42] as const;

export const HOME: readonly HardScreen[] = [
  {
    name: 'home: arm and leash, small screen',
    screen: GREEN,
    fallOff: 0.3,
    folds: 0.12,
    cast: 0.55,
    castEdge: 8,
    ends: 0.13,
    holder: true,
    spill: 0.12,
    noise: 0.007,
    crf: 25,
    sharp: 0.4,
    speed: 0,
  },
  {
    name: 'home: dim, pumping, white drifts',
    screen: [0.012, 0.1, 0.025],
    fallOff: 0.5,
    folds: 0.15,
    cast: 0.5,
    castEdge: 10,
    pump: 0.5,
    drift: 0.12,
    spill: 0.2,
    noise: 0.014,
    crf: 31,
    sharp: 0.6,
    speed: 4,
  },
  {
    name: 'home: bright, pumping, white drifts',
    screen: GREEN,
    fallOff: 0.3,
    folds: 0.12,
    cast: 0.4,
    castEdge: 4,
    pump: 0.5,
    drift: 0.12,
    spill: 0.12,
    noise: 0.006,
    crf: 26,
    sharp: 0.4,
    speed: 4,
  },
  {
    name: 'home: focus breathes',
    screen: BLUE,
    fallOff: 0.3,
    folds: 0.15,
    creases: 0.2,
    cast: 0.5,
    castEdge: 6,
    breathe: 1.8,
    spill: 0.1,
    noise: 0.006,
    crf: 26,
    speed: 3,
  },
  {
    name: 'home: white coat, strong spill',
    screen: DULL,
    fallOff: 0.5,
    folds: 0.2,
    cast: 0.4,
    castEdge: 6,
    coat: [0.72, 0.68, 0.62],
    spill: 0.7,
    noise: 0.01,
    crf: 28,
    sharp: 0.8,
    speed: 4,
  },
  {
    name: 'home: grey coat, strong spill',
    screen: DULL,
    fallOff: 0.5,
    folds: 0.2,
    cast: 0.4,
    castEdge: 6,
    coat: [0.2, 0.195, 0.19],
    spill: 0.7,
    noise: 0.01,
    crf: 28,
    sharp: 0.8,
    speed: 4,
  },
  {
    name: 'home: fast, hard compression',
    screen: GREEN,
    fallOff: 0.3,
    folds: 0.12,
    cast: 0.5,
    castEdge: 8,
    spill: 0.12,
    noise: 0.007,
    crf: 31,
    sharp: 0.4,
    speed: 34,
    smear: 0.8,
  },
];

/** Stops of exposure and of red over blue on a frame of a take that pumps and drifts. */
export function lightOf(kind: HardScreen, f: number, count: number): readonly [number, number, number] {
  const gain = 2 ** ((kind.pump ?? 0) * Math.sin((2 * Math.PI * f) / count));
  const white = (kind.drift ?? 0) * (f / Math.max(1, count - 1) - 0.5);
  return [gain * (1 + white), gain, gain * (1 - white)];
}

/**
 * Puts the holder's arm, from the right edge to the flank, and a leash from the neck to the upper edge into
 * a layer (painted over and counted as performer).
 */
export function addHolder(layer: Layer, seed: number, w: number, h: number, cx: number, cy: number, u: number): void {
  const random = new RandomStream(seed, 31);
  const n = w * h;
  const r = (a: number): number => a * (random.uniform() - 0.5);
  const paint = (
    ax: number,
    ay: number,
    ar: number,
    bx: number,
    by: number,
    br: number,
    colour: readonly number[],
    over: boolean,
  ): void => {
    const lx = bx - ax;
    const ly = by - ay;
    const power = lx * lx + ly * ly;
    for (let y = 0, i = 0; y < h; y++)
      for (let x = 0; x < w; x++, i++) {
        const t = Math.min(1, Math.max(0, ((x + 0.5 - ax) * lx + (y + 0.5 - ay) * ly) / power));
        const d = Math.hypot(x + 0.5 - ax - t * lx, y + 0.5 - ay - t * ly) - (ar + t * (br - ar));
        const cover = Math.min(1, Math.max(0, 0.5 - d));
        if (cover <= 0) continue;
        const was = layer.alpha[i]!;
        const all = 1 - (1 - was) * (1 - cover);
        const k = over ? cover / all : (cover * (1 - was)) / all;
        const light = 1 - 0.35 * Math.min(1, Math.max(0, d / ar + 1));
        for (let p = 0; p < 3; p++) layer.rgb[p * n + i] = layer.rgb[p * n + i]! * (1 - k) + k * colour[p]! * light;
        layer.alpha[i] = all;
        layer.rim[i] = Math.max(layer.rim[i]!, Math.exp(-Math.max(0, -d) / (0.03 * h)));
      }
  };
  const skin = [
    [0.45, 0.27, 0.19],
    [0.25, 0.13, 0.08],
    [0.6, 0.42, 0.33],
  ][random.below(3)]!;
  const hx = cx + (0.35 + r(0.1)) * u;
  const hy = cy + (0.1 + r(0.1)) * u;
  paint(w + 20, cy - (0.2 + r(0.3)) * u, 0.17 * u, hx + 0.3 * u, hy, 0.12 * u, skin, true);
  for (let k = -1; k <= 1; k++)
    paint(hx + 0.3 * u, hy, 0.06 * u, hx, hy + (0.09 * k + r(0.02)) * u, 0.04 * u, skin, true);
  paint(cx + 0.5 * u, cy - 0.2 * u, 1.6, cx + (0.8 + r(0.4)) * u, -4, 1.4, [0.35, 0.03, 0.04], false);
}
