/**
 * Which dark screen beside the performer is its hairs' and which a shadow's. A dark hair over lit screen keeps nearly
 * the screen's chromaticity, so the pixel passes for screen in shadow; where the performer hardly moves its hairs then
 * stand in the screen's mean over time, the matte is read against too dark a screen, and fur comes out thin. A close
 * shadow looks much the same, and must stay in the mean.
 *
 * Four readings tell them apart, all against the screen as it goes on from farther off:
 * - mixing: a hair lies on the line, in linear light, from that screen to the coat beside it. Before a pale or coloured
 *   coat a dark screen pixel lies far from it, and is a shadow (compare Maxwell, Friedhoff & Smith, CVPR 2008, whose
 *   line leads to the shadowed screen);
 * - scale: hairs are as fine as the picture, a shadow is smooth or has one edge. Roughness is what a plane leaves of
 *   three by three pixels, less what the cloth and the camera's noise show by themselves farther off;
 * - place: hairs reach a few small pixels, and thin out on the way;
 * - extent: what is dark farther off too is not dark against the screen from there.
 */
import { chamferPair } from './chamfer-distance.js';
import { labelAreas } from './label-areas.js';
import { cellMoments } from './local-unmix.js';
import { resampleCells } from './resample-cells.js';
import type { SmallLinear } from './small-linear.js';

/** Small pixels from the performer beyond which a dark pixel is no hair's. */
const REACH = 5;
/** Small pixels from the screen at which the coat's colour is read. */
const COAT_FROM = 2;
/** Share of the picture from which what is no screen counts as a body. */
const BODY = 0.003;
/** Small pixels a cell of the smooth colours, and what the coarser level counts for. */
const CELL = 4;
const PRIOR = 4;
/** Small pixels from the performer up to which the cloth's own roughness is read, and every how many of them. */
const CLOTH = 40;
const CLOTH_STEP = 3;
/**
 * The regression: odds of a hair = exp(c0 + off ln(distance from the line + .01) + rough ln(roughness + .01) + away
 * small pixels).
 */
const ODDS = { c0: 3.1, off: -0.544, rough: 0.934, away: -0.977 } as const;
const FLOOR = 0.01;

/**
 * @param sure 1 where the pixel passes for screen
 * @returns 1 where a pixel that does is sooner darkened by hairs; all 0 without a body or without screen beyond its
 * hairs
 */
export function hairDarkness(small: SmallLinear, sure: Uint8Array): Uint8Array {
  const { width: w, height: h, data } = small;
  const n = w * h;
  const hairs = new Uint8Array(n);
  const fromScreen = new Float32Array(n);
  const away = new Float32Array(n);
  chamferPair(withoutSpecks(sure, w, h), w, h, fromScreen, away);
  const beyond = new Float32Array(n);
  const within = new Float32Array(n);
  for (let i = 0; i < n; i += 1) {
    if (fromScreen[i]! >= COAT_FROM) within[i] = 1;
    else if (sure[i] === 1 && away[i]! >= REACH) beyond[i] = 1;
  }
  const screen = smoothColour(data, beyond, w, h);
  const coat = smoothColour(data, within, w, h);
  if (screen === null || coat === null) return hairs;
  const strength = strengths(data, screen, away, n);
  const cloth = clothRoughness(strength, beyond, away, w, h);
  for (let y = 1; y < h - 1; y += 1)
    for (let x = 1; x < w - 1; x += 1) {
      const i = y * w + x;
      const d = away[i]!;
      if (sure[i] === 0 || d <= 0 || d >= REACH) continue;
      const own = roughness(strength, w, i);
      const rough = Math.sqrt(Math.max(0, own * own - cloth * cloth));
      const off = offMixing(data, screen, coat, n, i);
      const z = ODDS.c0 + ODDS.off * Math.log(off + FLOOR) + ODDS.rough * Math.log(rough + FLOOR) + ODDS.away * d;
      if (z > 0) hairs[i] = 1;
    }
  return hairs;
}

/** What is no screen and too small for a body (a peg, a mark on the cloth) counts as screen. */
function withoutSpecks(sure: Uint8Array, w: number, h: number): Uint8Array {
  const n = w * h;
  const off = new Uint8Array(n);
  for (let i = 0; i < n; i += 1) off[i] = 1 - sure[i]!;
  const { labels, area } = labelAreas(off, w, h);
  const out = new Uint8Array(n);
  for (let i = 0; i < n; i += 1) out[i] = off[i] === 0 || area[labels[i]!]! < BODY * n ? 1 : 0;
  return out;
}

/** Mean colour of the weighted pixels in cells, carried on to all others; null where none counts. */
function smoothColour(data: Float32Array, weight: Float32Array, w: number, h: number): Float32Array | null {
  const cells = cellMoments(data, weight, w, h, CELL, PRIOR, 3);
  return cells === null ? null : resampleCells(cells.moments, cells.grid, CELL, w, h, 3);
}

/** Brightness of each pixel that is looked at, and of those beside it, over the screen's, along the screen's colour. */
function strengths(data: Float32Array, screen: Float32Array, away: Float32Array, n: number): Float32Array {
  const out = new Float32Array(n);
  for (let i = 0; i < n; i += 1) {
    if (away[i]! > CLOTH + 2) continue;
    const r = screen[i]!;
    const g = screen[n + i]!;
    const b = screen[2 * n + i]!;
    out[i] = (data[i]! * r + data[n + i]! * g + data[2 * n + i]! * b) / Math.max(r * r + g * g + b * b, 1e-12);
  }
  return out;
}

/** What a plane leaves of the three by three pixels about one, root mean square; i not on the picture's rim. */
function roughness(values: Float32Array, w: number, i: number): number {
  let mean = 0;
  let across = 0;
  let down = 0;
  let square = 0;
  for (let v = -1; v <= 1; v += 1)
    for (let u = -1; u <= 1; u += 1) {
      const z = values[i + v * w + u]!;
      mean += z / 9;
      across += (u * z) / 6;
      down += (v * z) / 6;
      square += z * z;
    }
  // The three terms of a plane are orthogonal on the square: their share is taken off the sum of squares.
  return Math.sqrt(Math.max(0, square - 9 * mean * mean - 6 * (across * across + down * down)) / 6);
}

/** The middle roughness of screen near the performer and beyond its hairs. */
function clothRoughness(
  strength: Float32Array,
  beyond: Float32Array,
  away: Float32Array,
  w: number,
  h: number,
): number {
  const found: number[] = [];
  for (let y = 2; y < h - 2; y += CLOTH_STEP)
    for (let x = 2; x < w - 2; x += CLOTH_STEP) {
      const i = y * w + x;
      if (beyond[i]! > 0 && away[i]! <= CLOTH) found.push(roughness(strength, w, i));
    }
  return found.length === 0 ? 0 : found.sort((a, b) => a - b)[found.length >> 1]!;
}

/** Distance of a pixel from the line between screen and coat, over the screen's length. */
function offMixing(data: Float32Array, screen: Float32Array, coat: Float32Array, n: number, i: number): number {
  let power = 0;
  let long = 0;
  let along = 0;
  for (let p = i; p < 3 * n; p += n) {
    const d = coat[p]! - screen[p]!;
    power += screen[p]! * screen[p]!;
    long += d * d;
    along += d * (data[p]! - screen[p]!);
  }
  const share = long > 0 ? Math.max(0, Math.min(1, along / long)) : 0;
  let off = 0;
  for (let p = i; p < 3 * n; p += n) off += (data[p]! - screen[p]! - share * (coat[p]! - screen[p]!)) ** 2;
  return Math.sqrt(off / Math.max(power, 1e-12));
}
