/**
 * The screen over a whole take. Every sample frame shows another part of the screen, because the performer moves; where a
 * small pixel was surely screen in some frame its colour is known there with its folds and fall-off, and stays so when the
 * performer stands before it. A frame then needs only a smooth gain between the map and what it shows itself (flicker, a
 * shadow passing). On a moving camera the map does not hold; this is seen in the frames and the map is then not used.
 */
import { PlatewrightError } from '../../core/errors.js';
import { cellMoments } from './local-unmix.js';
import { priorFill } from './prior-fill.js';
import { resampleCells } from './resample-cells.js';
import { screenField, type ScreenField } from './screen-field.js';
import { findScreenHue, type ScreenHue } from './screen-hue.js';
import type { SmallLinear } from './small-linear.js';
import { ownFloats, type Floats } from './work-space.js';

export interface ScreenModel {
  /** Small size. */
  readonly width: number;
  readonly height: number;
  readonly hue: ScreenHue;
  /** Mean screen colour over time, planar RGB, filled where it was never seen; null on a moving camera or a single frame. */
  readonly map: Float32Array | null;
  /** Share of the frames in which each small pixel was surely screen. */
  readonly seen: Float32Array;
  readonly notes: readonly string[];
}

/** Small pixels a cell of the gain between map and frame. */
const GAIN_CELL = 6;

export function buildScreenModel(frames: readonly SmallLinear[], clean: SmallLinear | null, wanted?: 'green' | 'blue'): ScreenModel {
  const all = clean === null ? frames : [clean, ...frames];
  const first = all[0]!;
  const hue = findScreenHue(all.map((f) => f.data), 0.03, wanted);
  if (hue === null) {
    throw new PlatewrightError('PW-PEEL-NO-SCREEN', `no ${wanted ?? 'green or blue'} screen was found in the frames looked at; peel this take by an outline or by difference to a clean frame`, { kind: 'input' });
  }
  const { width: w, height: h } = first;
  const n = w * h;
  const fields = all.map((f) => screenField(f, hue));
  const seen = new Float32Array(n);
  const sums = new Float32Array(3 * n);
  let change = 0;
  let changed = 0;
  for (let k = 0; k < all.length; k += 1) {
    const sure = fields[k]!.sure;
    const data = all[k]!.data;
    for (let i = 0; i < n; i += 1) {
      if (sure[i] === 0) continue;
      if (seen[i]! > 0) {
        const g = sums[n + i]! / seen[i]!;
        change += Math.abs(data[n + i]! - g) / Math.max(g, 1e-4);
        changed += 1;
      }
      seen[i] = seen[i]! + 1;
      for (let p = 0; p < 3; p += 1) sums[p * n + i] = sums[p * n + i]! + data[p * n + i]!;
    }
  }
  const notes: string[] = [];
  let map: Float32Array | null = null;
  const steady = changed > 0 ? change / changed : 1;
  if (clean !== null) {
    map = clean.data;
    notes.push('screen colour from the clean frame');
  } else if (all.length > 1 && steady < 0.08) {
    map = new Float32Array(3 * n);
    priorFill(seen, sums, 3, w, h, 0.05, map);
    notes.push(`screen colour gathered over ${all.length} frames`);
  } else if (all.length > 1) notes.push(`the screen changes by ${(100 * steady).toFixed(0)} % between frames (a moving camera or changing light): each frame is modelled alone`);
  for (let i = 0; i < n; i += 1) seen[i] = seen[i]! / all.length;
  return { width: w, height: h, hue, map, seen, notes };
}

/** The screen's colour and sure pixels in one frame. */
export function screenOfFrame(model: ScreenModel, small: SmallLinear, floats: Floats = ownFloats): ScreenField {
  const plain = screenField(small, model.hue, model.map, floats);
  const { map } = model;
  if (map === null) return plain;
  const { width: w, height: h, data } = small;
  const n = w * h;
  const ratio = floats(3 * n);
  const weight = floats(n);
  const { sure } = plain;
  for (let i = 0; i < n; i += 1) weight[i] = sure[i]!;
  for (let p = 0; p < 3; p += 1) {
    for (let i = 0, k = p * n; i < n; i += 1, k += 1) {
      if (sure[i] === 0) continue;
      const m = map[k]!;
      const r = data[k]! / (m < 1e-4 ? 1e-4 : m);
      ratio[k] = r > 4 ? 4 : r < 0.1 ? 0.1 : r;
    }
  }
  const gain = cellMoments(ratio, weight, w, h, GAIN_CELL, 4, 3, floats);
  if (gain === null) return plain;
  const colour = resampleCells(gain.moments, gain.grid, GAIN_CELL, w, h, 3, undefined, { gain: map, floats });
  // The map may be stale (a fold that moved): it is used only where it explains the frame better than the frame alone does.
  const mapped = meanSquare(data, colour, sure, n);
  if (mapped > 1.2 * plain.noise) return plain;
  return { colour, sure, limit: plain.limit, noise: mapped };
}

function meanSquare(a: Float32Array, b: Float32Array, mask: Uint8Array, n: number): number {
  let sum = 0;
  let count = 0;
  for (let i = 0; i < n; i += 1) {
    if (mask[i] === 0) continue;
    const r = a[i]! - b[i]!;
    const g = a[n + i]! - b[n + i]!;
    const l = a[2 * n + i]! - b[2 * n + i]!;
    sum += r * r + g * g + l * l;
    count += 3;
  }
  return count === 0 ? 0 : sum / count;
}
