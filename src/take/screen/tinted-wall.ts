/**
 * A wall of one hue between the primaries as a screen: its hue, and the colour difference along it.
 *
 * Hue and chroma are taken in the plane across the grey axis, u = R − (G + B)/2, v = √3/2 (G − B). With the part of a
 * colour along a hue, a = u cos h + v sin h, and the part across it, c = |v cos h − u sin h|, Vlahos' difference of a
 * green screen G − max(R, B) is a − c/√3 at h = 120°, and of a blue one the same at 240°. Taken at the wall's own hue
 * it serves every wall; that turn is our own. The hue is the mode of the saturated pixels' hues, as the peel finds it
 * (src/take/screen/screen-hue.ts, in linear light).
 */
import type { Picture } from '../../image/picture.js';

export interface HueAxis {
  readonly hueDeg: number;
  /** Cosine and sine of the hue. */
  readonly cos: number;
  readonly sin: number;
  /** Primary nearest to it. */
  readonly family: 'green' | 'blue';
}

const ROOT3 = Math.sqrt(3);
const BINS = 120;
/**
 * Saturation (largest less smallest over largest, coded) from which a pixel has a hue worth
 * counting: above what white balance does to grey.
 */
const SATURATED = 0.25;
/**
 * Hues that can be a screen's: between yellow and cyan, and between cyan and violet.
 * Skin and most fur lie at 15 to 45°.
 */
const GREENS = [58, 175];
const BLUES = [190, 275];
/**
 * How far a wall's pixels may lie from its hue, degrees: what uneven light and compression did to the practice screens.
 */
const WITHIN_DEG = 12;

/** Colour difference along a hue: 0 for grey, negative for what lies further than 60° from it. */
export function along(axis: HueAxis, r: number, g: number, b: number): number {
  const u = r - 0.5 * (g + b);
  const v = 0.5 * ROOT3 * (g - b);
  return u * axis.cos + v * axis.sin - Math.abs(v * axis.cos - u * axis.sin) / ROOT3;
}

/** The commonest green or blue hue of a display-coded picture where it holds at least `leastShare` of it; null else. */
export function findTintedWall(coded: Picture, leastShare: number): HueAxis | null {
  const n = coded.width * coded.height;
  const d = coded.data;
  const hues = new Float32Array(n).fill(-1);
  const weight = new Float64Array(BINS);
  for (let i = 0; i < n; i++) {
    const r = d[i]!;
    const g = d[n + i]!;
    const b = d[2 * n + i]!;
    const high = Math.max(r, g, b);
    const low = Math.min(r, g, b);
    if (high < 0.06 || high - low < SATURATED * high) continue;
    const deg = (Math.atan2(0.5 * ROOT3 * (g - b), r - 0.5 * (g + b)) * 180) / Math.PI;
    const hue = deg < 0 ? deg + 360 : deg;
    hues[i] = hue;
    weight[Math.min(BINS - 1, Math.floor((hue / 360) * BINS))]!++;
  }
  let best = -1;
  let top = 0;
  for (let k = 0; k < BINS; k++) {
    const hue = ((k + 0.5) * 360) / BINS;
    if (!(hue >= GREENS[0]! && hue <= GREENS[1]!) && !(hue >= BLUES[0]! && hue <= BLUES[1]!)) continue;
    const v = weight[(k + BINS - 1) % BINS]! + 2 * weight[k]! + weight[(k + 1) % BINS]!;
    if (v > top) {
      top = v;
      best = hue;
    }
  }
  if (best < 0) return null;
  let sum = 0;
  let count = 0;
  for (let i = 0; i < n; i++)
    if (hues[i]! >= 0 && Math.abs(hues[i]! - best) <= WITHIN_DEG) {
      sum += hues[i]!;
      count++;
    }
  if (count < leastShare * n) return null;
  const hueDeg = sum / count;
  const h = (hueDeg * Math.PI) / 180;
  return { hueDeg, cos: Math.cos(h), sin: Math.sin(h), family: hueDeg > 180 ? 'blue' : 'green' };
}

/**
 * How plain the screen is: the median bend of the largest channel along rows, |a − 2b + c| over a +
 * 2b + c of three pixels a fortieth of the width apart. A light that falls off evenly bends
 * nothing; leaves and patches do, however smooth each is.
 */
export function plainness(coded: Picture, mask: Uint8Array): number {
  const { width: w, height: h } = coded;
  const n = w * h;
  const d = coded.data;
  const step = Math.max(3, Math.round(w / 40));
  const bends: number[] = [];
  const top = (i: number): number => Math.max(d[i]!, d[n + i]!, d[2 * n + i]!);
  for (let y = 0; y < h; y += 2)
    for (let x = step; x + step < w; x += 2) {
      const i = y * w + x;
      if (mask[i - step] === 1 || mask[i] === 1 || mask[i + step] === 1) continue;
      const a = top(i - step);
      const b = top(i);
      const c = top(i + step);
      bends.push(Math.abs(a - 2 * b + c) / Math.max(0.1, a + 2 * b + c));
    }
  bends.sort((a, b) => a - b);
  return bends.length === 0 ? Infinity : bends[bends.length >> 1]!;
}
