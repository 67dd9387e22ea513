/**
 * The outline: screen colour left on it, edges darker or brighter than the mixture of performer and new background they
 * should be, and a matte that chatters.
 */
import { linearToLab } from '../colour/lab.js';
import { bt709Decode } from '../colour/transfer.js';
import { nearestInSet } from '../image/distance.js';
import { grow, type SeenFrame } from './frame.js';

export interface EdgeReading {
  /** Screen colour in excess at the outline and inside, beyond what the background brings, as a share of brightness. */
  readonly spill: number;
  /** Mean L* of the outline less that of the mixture it should be. */
  readonly lightness: number;
}

/** Half-covered pixels: this much to that much alpha. */
const LOW = 0.08, HIGH = 0.92;

/** Reads one frame; null where there is no outline to read. `screen` says which primary the screen was. */
export function readEdges(f: SeenFrame, screen: 'green' | 'blue'): EdgeReading | null {
  if (f.box === null) return null;
  const { width: W, height: H } = f.join;
  const N = W * H;
  const [x0, y0, x1, y1] = grow(f.box, 4, 4, W, H);
  const w = x1 - x0, h = y1 - y0;
  // The core: wholly covered, two pixels and more inside.
  const outside = new Uint8Array(w * h);
  for (let y = 0; y < h; y++) for (let x = 0; x < w; x++) outside[y * w + x] = f.matte[(y0 + y) * W + x0 + x]! < 0.98 ? 1 : 0;
  const depth = nearestInSet(outside, w, h).distance;
  const core = new Uint8Array(w * h);
  let cores = 0;
  for (let i = 0; i < w * h; i++) if (outside[i] === 0 && depth[i]! >= 2.5) { core[i] = 1; cores++; }
  if (cores < 50) return null;
  const { nearest, distance } = nearestInSet(core, w, h);
  const s = screen === 'green' ? 1 : 2, o = screen === 'green' ? 2 : 1;
  const excess = (r: number, a: number, b: number): number => Math.max(0, a - Math.max(r, b));
  let spill = 0, spillWeight = 0, light = 0, lights = 0;
  const reach = Math.max(6, 0.12 * Math.min(w, h));
  for (let y = 0; y < h; y++) {
    for (let x = 0; x < w; x++) {
      const i = y * w + x, p = (y0 + y) * W + x0 + x;
      const a = f.matte[p]!;
      if (a < LOW) continue;
      const j = f.join.data, b = f.plate.data;
      const luma = 0.2126 * j[p]! + 0.7152 * j[N + p]! + 0.0722 * j[2 * N + p]!;
      const there = excess(j[p]!, j[s * N + p]!, j[o * N + p]!), behind = excess(b[p]!, b[s * N + p]!, b[o * N + p]!);
      // Background seen through the outline may be of the screen's colour by right.
      if (a > 0.3) { spill += a * Math.max(0, there - (1 - a) * behind); spillWeight += a * Math.max(0.05, luma); }
      if (a > HIGH || distance[i]! > reach) continue;
      const q = (y0 + Math.floor(nearest[i]! / w)) * W + x0 + (nearest[i]! % w);
      // Mixed in linear light, as the join mixes.
      const mix = [0, 0, 0], seen = [0, 0, 0];
      for (let c = 0; c < 3; c++) {
        mix[c] = a * bt709Decode(meanNear(f, c * N, q, W)) + (1 - a) * bt709Decode(b[c * N + p]!);
        seen[c] = bt709Decode(j[c * N + p]!);
      }
      const should = linearToLab(mix[0]!, mix[1]!, mix[2]!)[0], is = linearToLab(Math.max(0, seen[0]!), Math.max(0, seen[1]!), Math.max(0, seen[2]!))[0];
      light += is - should;
      lights++;
    }
  }
  if (lights < 20) return null;
  return { spill: spillWeight > 0 ? spill / spillWeight : 0, lightness: light / lights };
}

/** Mean of 5 × 5 pixels about a core pixel, among those that are core enough. */
function meanNear(f: SeenFrame, at: number, q: number, W: number): number {
  let sum = 0, n = 0;
  const H = f.join.height, y = Math.floor(q / W), x = q % W;
  for (let dy = -2; dy <= 2; dy++) {
    for (let dx = -2; dx <= 2; dx++) {
      const yy = y + dy, xx = x + dx;
      if (yy < 0 || xx < 0 || yy >= H || xx >= W) continue;
      const p = yy * W + xx;
      if (f.matte[p]! < 0.98) continue;
      sum += f.join.data[at + p]!;
      n++;
    }
  }
  return n > 0 ? sum / n : f.join.data[at + q]!;
}

/**
 * Chatter: mean alpha by which the outline leaves the range that its neighbours in time span, over all pixels of the outline:
 * an outline that goes out and back. Smooth motion, however quick, gives little. Null where there is no outline.
 */
export function readChatter(before: Float32Array, now: Float32Array, after: Float32Array, box: readonly [number, number, number, number], width: number): number | null {
  let second = 0, pixels = 0;
  for (let y = box[1]; y < box[3]; y++) {
    for (let x = box[0]; x < box[2]; x++) {
      const i = y * width + x;
      const a = before[i]!, b = now[i]!, c = after[i]!;
      const soft = (b > 0.03 && b < 0.97) || Math.abs(a - c) > 0.06 || Math.abs(b - (a + c) / 2) > 0.06;
      if (!soft) continue;
      // Out and back: this frame lies outside what its neighbours span.
      const low = Math.min(a, c), high = Math.max(a, c);
      second += Math.max(0, low - b, b - high);
      pixels++;
    }
  }
  return pixels < 40 ? null : second / pixels;
}

