/**
 * The screen behind a performer, as a take shows it: is there one, green or blue, where is it, how evenly is it lit.
 *
 * A screen pixel is told by its colour difference relative to its own brightness,
 *     q = (screen channel − the larger of the other two) / screen channel      (display-coded),
 * which shading and shadow hardly change (Vlahos' colour difference, after A. R. Smith & J. F. Blinn,
 * *Blue Screen Matting*, SIGGRAPH 1996). The threshold lies between the screen's own q, found by its
 * mode, and the rest, so no number is set by hand.
 *
 * A painted wall that lies between the primaries (a yellow-green one has as much red as green,
 * so that q is nothing) is told by the same difference turned to its own hue (tinted-wall.ts):
 * with the hue of pure green or blue that is q again.
 */
import type { Picture } from '../../image/picture.js';
import { along, findTintedWall, plainness, type HueAxis } from './tinted-wall.js';

export type ScreenColour = 'green' | 'blue';

export interface ScreenModel {
  readonly colour: ScreenColour;
  /** Median q of the screen and the q below which a pixel is no screen. */
  readonly q: number;
  readonly threshold: number;
  /** Share of the picture that is screen. */
  readonly share: number;
  /** The wall's own hue, where the colour difference is taken along it rather than along green or blue. */
  readonly axis?: HueAxis;
}

/** Least share of a picture that a screen must hold to be called one: the program's own choice. */
const LEAST_SHARE = 0.12;
/**
 * Most that the colour difference of a screen may spread (quartiles apart, over the median). One dyed cloth keeps it in
 * sun and shade: .01 to .15 on practice screens from studio to rough; leaves, lawns and tinted walls are many colours:
 * .49 to .63 (a hedge, a bluish white wall, trees). Between them on a scale of ratios.
 */
const MOST_SPREAD = 0.3;
/**
 * A wall's own hue is used where it is told so much more strongly by it than by green or blue: not for a usual screen
 * (1.2 to 1.4 times), but for a yellow-green one (2.1 and more).
 */
const STRONGER = 2;
/**
 * Most that a tinted wall may bend (`plainness`): .001 to .025 on a real wall and practice screens of other hues,
 * from studio to rough; .048 and more on trees, out of focus too, and leaves. Between them on a scale of ratios. A
 * screen by green or blue is held to no such limit.
 */
const MOST_TEXTURE = 0.035;
const BINS = 64;

/** Finds the screen of one picture (display-coded RGB), or null where there is none. */
export function findScreen(coded: Picture): ScreenModel | null {
  const n = coded.width * coded.height;
  const d = coded.data;
  let best: ScreenModel | null = null;
  for (const colour of ['green', 'blue'] as const) {
    const s = colour === 'green' ? n : 2 * n;
    const o = colour === 'green' ? 2 * n : n;
    const histogram = new Float64Array(BINS);
    let counted = 0;
    for (let i = 0; i < n; i++) {
      const v = d[s + i]!;
      if (v < 0.06) continue;
      const q = (v - Math.max(d[i]!, d[o + i]!)) / v;
      if (q <= 0) continue;
      histogram[Math.min(BINS - 1, Math.floor(q * BINS))]!++;
      counted++;
    }
    const found = modeAndThreshold(histogram);
    if (found === null) continue;
    const { qMode, threshold } = found;
    let inside = 0;
    for (let k = Math.floor(threshold * BINS); k < BINS; k++) inside += histogram[k]!;
    const share = inside / n;
    if (counted === 0 || share < LEAST_SHARE || spreadAbove(histogram, Math.floor(threshold * BINS)) > MOST_SPREAD)
      continue;
    if (best === null || share * qMode > best.share * best.q) best = { colour, q: qMode, threshold, share };
  }
  const wall = tinted(coded);
  return wall !== null && (best === null || wall.q >= STRONGER * best.q) ? wall : best;
}

/**
 * A wall of one hue between the primaries, held to the same share and spread, and to be as plain as paint or cloth is.
 */
function tinted(coded: Picture): ScreenModel | null {
  const axis = findTintedWall(coded, LEAST_SHARE);
  if (axis === null) return null;
  const n = coded.width * coded.height;
  const d = coded.data;
  const histogram = new Float64Array(BINS);
  for (let i = 0; i < n; i++) {
    const r = d[i]!;
    const g = d[n + i]!;
    const b = d[2 * n + i]!;
    const top = Math.max(r, g, b);
    if (top < 0.06) continue;
    const q = along(axis, r, g, b) / top;
    if (q > 0) histogram[Math.min(BINS - 1, Math.floor(q * BINS))]!++;
  }
  const found = modeAndThreshold(histogram);
  if (found === null) return null;
  const from = Math.floor(found.threshold * BINS);
  let inside = 0;
  for (let k = from; k < BINS; k++) inside += histogram[k]!;
  const model: ScreenModel = {
    colour: axis.family,
    q: found.qMode,
    threshold: found.threshold,
    share: inside / n,
    axis,
  };
  if (model.share < LEAST_SHARE || spreadAbove(histogram, from) > MOST_SPREAD) return null;
  return plainness(coded, notScreen(coded, model)) > MOST_TEXTURE ? null : model;
}

/**
 * Mode of a lightly smoothed histogram above a small difference (grass and skin tints lie
 * lower than a painted cloth) and the valley below it.
 */
function modeAndThreshold(histogram: Float64Array): { readonly qMode: number; readonly threshold: number } | null {
  let mode = -1;
  let top = 0;
  for (let k = 6; k < BINS - 1; k++) {
    const v = histogram[k - 1]! + 2 * histogram[k]! + histogram[k + 1]!;
    if (v > top) {
      top = v;
      mode = k;
    }
  }
  if (mode < 0) return null;
  const qMode = (mode + 0.5) / BINS;
  // Valley between zero and the mode; where there is none, halfway.
  let threshold = 0.5 * qMode;
  let least = Infinity;
  for (let k = Math.max(1, Math.floor(0.3 * mode)); k <= Math.ceil(0.75 * mode); k++) {
    const v = histogram[k - 1]! + histogram[k]! + (histogram[k + 1] ?? 0);
    if (v < least) {
      least = v;
      threshold = (k + 0.5) / BINS;
    }
  }
  return { qMode, threshold };
}

/** Quartiles apart over the median of a histogram from a bin on. */
function spreadAbove(histogram: Float64Array, from: number): number {
  let total = 0;
  for (let k = from; k < BINS; k++) total += histogram[k]!;
  const at = (share: number): number => {
    let sum = 0;
    for (let k = from; k < BINS; k++) {
      const h = histogram[k]!;
      if (sum + h >= share * total) return k + (share * total - sum) / Math.max(h, 1e-9);
      sum += h;
    }
    return BINS;
  };
  return (at(0.75) - at(0.25)) / Math.max(at(0.5), 1);
}

/**
 * Mask of what is not screen: 1 performer or room, 0 screen; height × width.
 * Dark pixels are judged by the same ratio while they hold any colour and counted as not screen below 3 % of the range.
 */
export function notScreen(coded: Picture, model: ScreenModel, dst?: Uint8Array): Uint8Array {
  const n = coded.width * coded.height;
  const out = dst ?? new Uint8Array(n);
  const d = coded.data;
  const axis = model.axis;
  if (axis !== undefined) {
    for (let i = 0; i < n; i++) {
      const r = d[i]!;
      const g = d[n + i]!;
      const b = d[2 * n + i]!;
      const v = Math.max(r, g, b);
      out[i] = v < 0.03 || along(axis, r, g, b) < model.threshold * v ? 1 : 0;
    }
    return out;
  }
  const s = model.colour === 'green' ? n : 2 * n;
  const o = model.colour === 'green' ? 2 * n : n;
  for (let i = 0; i < n; i++) {
    const v = d[s + i]!;
    out[i] = v < 0.03 || v - Math.max(d[i]!, d[o + i]!) < model.threshold * v ? 1 : 0;
  }
  return out;
}

export interface ScreenReading {
  /** 5 to 95 % spread of the screen's own luminance over a coarse grid, in stops (linear light). */
  readonly evennessStops: number;
  /** Median coded value of the screen's own channel, and share of screen pixels at the top of the range. */
  readonly level: number;
  readonly clippedShare: number;
  /** Robust noise of the screen's own channel, coded. */
  readonly noise: number;
}

/**
 * Reads the screen's light. `mask` as from `notScreen`; pixels within `marginPx` of a non-screen pixel are left out.
 * @returns null where too little plain screen is seen
 */
export function readScreen(
  coded: Picture,
  model: ScreenModel,
  mask: Uint8Array,
  decode: (coded: number) => number,
): ScreenReading | null {
  const { width, height } = coded;
  const n = width * height;
  const plane = coded.data.subarray(model.colour === 'green' ? n : 2 * n, model.colour === 'green' ? 2 * n : 3 * n);
  const cell = Math.max(8, Math.round(width / 32));
  const levels: number[] = [];
  let clipped = 0;
  let seen = 0;
  const differences: number[] = [];
  const values: number[] = [];
  for (let y0 = 0; y0 < height; y0 += cell) {
    for (let x0 = 0; x0 < width; x0 += cell) {
      const x1 = Math.min(width, x0 + cell);
      const y1 = Math.min(height, y0 + cell);
      let sum = 0;
      let count = 0;
      let other = 0;
      for (let y = y0; y < y1; y++)
        for (let x = x0; x < x1; x++) {
          const i = y * width + x;
          if (mask[i] === 1) {
            other++;
            continue;
          }
          const v = plane[i]!;
          sum += decode(v);
          count++;
          if (v > 0.985) clipped++;
          if (((x + y) & 7) === 0) {
            values.push(v);
            if (x + 1 < x1 && mask[i + 1] === 0) differences.push(Math.abs(plane[i + 1]! - v));
          }
        }
      seen += count;
      if (other === 0 && count >= 0.5 * cell * cell) levels.push(Math.log2(Math.max(1e-5, sum / count)));
    }
  }
  if (levels.length < 8 || values.length < 50) return null;
  levels.sort((a, b) => a - b);
  values.sort((a, b) => a - b);
  differences.sort((a, b) => a - b);
  const at = (v: readonly number[], p: number): number => v[Math.round(p * (v.length - 1))]!;
  return {
    evennessStops: at(levels, 0.95) - at(levels, 0.05),
    level: at(values, 0.5),
    clippedShare: clipped / Math.max(1, seen),
    // Median |difference| of two normals = 0.954 sigma.
    noise: differences.length > 20 ? at(differences, 0.5) / 0.954 : 0,
  };
}

/**
 * Spill: how much of the screen's colour lies on the performer, as the mean excess of the screen channel over the
 * larger of the other two relative to brightness (of a tinted wall too: along its own hue skin has a part of its own),
 * inside the mask and away from its edge by `insetPx`. 0 = none.
 */
export function readSpill(coded: Picture, model: ScreenModel, performer: Uint8Array, insetPx: number): number | null {
  const { width, height } = coded;
  const n = width * height;
  const d = coded.data;
  const s = model.colour === 'green' ? n : 2 * n;
  const o = model.colour === 'green' ? 2 * n : n;
  let sum = 0;
  let count = 0;
  for (let y = insetPx; y < height - insetPx; y += 2)
    for (let x = insetPx; x < width - insetPx; x += 2) {
      const i = y * width + x;
      if (
        performer[i] === 0 ||
        performer[i - insetPx] === 0 ||
        performer[i + insetPx] === 0 ||
        performer[i - insetPx * width] === 0 ||
        performer[i + insetPx * width] === 0
      )
        continue;
      const v = d[s + i]!;
      const m = Math.max(d[i]!, d[o + i]!);
      sum += Math.max(0, v - m) / Math.max(0.08, v);
      count++;
    }
  return count < 60 ? null : sum / count;
}
