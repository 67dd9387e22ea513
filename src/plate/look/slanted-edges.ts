/**
 * Straight slanted edges of a picture and the edge spread function across each, oversampled along the edge's own slant.
 */
import { OVER, mtf50Of } from './mtf50.js';

/** How much of the picture an edge is looked at in, pixels. */
export interface EdgeScale {
  /** Of the disc that must hold one straight edge and no more. */
  readonly radius: number;
  /** Half length of the edge spread function. */
  readonly reach: number;
  /** Of its ends that must be even. */
  readonly plateau: number;
}

/** A soft or smeared edge needs room for its whole spread. */
export const WIDE: EdgeScale = { radius: 14, reach: 12, plateau: 3 };
/**
 * A picture full of detail leaves an edge little room; what is softer than a third of the reach is not even at its ends
 * and falls out.
 */
export const FINE: EdgeScale = { radius: 7, reach: 5, plateau: 1.5 };
/** Samples of an edge spread function, `OVER` a pixel. */
export const ESF_LENGTH = 2 * WIDE.reach * OVER;

export interface Edge {
  readonly x: number;
  readonly y: number;
  /** Unit normal, from dark to bright. */
  readonly nx: number;
  readonly ny: number;
  /** Bright side less dark side, coded luma. */
  readonly contrast: number;
  /** Edge spread function, OVER samples a pixel, ends normalised to 0 and 1. */
  readonly esf: Float64Array;
  /** 10 to 90 % rise, px. */
  readonly rise: number;
  /** Cycles a pixel at which half of the contrast is left. */
  readonly mtf50: number;
}

/**
 * Finds up to `most` usable straight edges in a linear luma plane. `spread` widens what a blurred edge may look like.
 */
export function findEdges(luma: Float32Array, w: number, h: number, most = 200, scale: EdgeScale = WIDE): Edge[] {
  const RADIUS = scale.radius;
  const cell = 16;
  const spots: { x: number; y: number; g: number }[] = [];
  for (let cy = RADIUS + 1; cy < h - RADIUS - 1; cy += cell) {
    for (let cx = RADIUS + 1; cx < w - RADIUS - 1; cx += cell) {
      let best = 0;
      let bx = 0;
      let by = 0;
      for (let y = cy; y < Math.min(cy + cell, h - RADIUS - 1); y++) {
        for (let x = cx; x < Math.min(cx + cell, w - RADIUS - 1); x++) {
          const i = y * w + x;
          const g = Math.abs(luma[i + 2]! - luma[i - 2]!) + Math.abs(luma[i + 2 * w]! - luma[i - 2 * w]!);
          if (g > best) {
            best = g;
            bx = x;
            by = y;
          }
        }
      }
      if (best > 0.03) spots.push({ x: bx, y: by, g: best });
    }
  }
  spots.sort((p, q) => q.g - p.g);
  const out: Edge[] = [];
  for (const s of spots.slice(0, most * 6)) {
    const e = edgeAt(luma, w, s.x, s.y, scale);
    if (e !== null) out.push(e);
    if (out.length >= most) break;
  }
  return out;
}

/** Where an edge lies: a point on it, from the middle of the disc in pixels, and its unit normal. */
interface EdgeLine {
  readonly px: number;
  readonly py: number;
  readonly nx: number;
  readonly ny: number;
}

/** The part of the picture in which one edge is looked at. */
interface Disc {
  readonly luma: Float32Array;
  /** Width of the picture. */
  readonly w: number;
  readonly cx: number;
  readonly cy: number;
  readonly radius: number;
}

/** The edge through a disc, if it is one straight slanted edge between two even sides. */
function edgeAt(luma: Float32Array, w: number, cx: number, cy: number, scale: EdgeScale): Edge | null {
  const disc: Disc = { luma, w, cx, cy, radius: scale.radius };
  let line = roughLine(disc);
  for (let round = 0; line !== null && round < 2; round++) line = refinedLine(disc, line, round === 1);
  if (line === null) return null;
  // An edge along the pixel rows or columns, or on their diagonal, gives no samples between pixels.
  const deg = (Math.atan2(Math.abs(line.ny), Math.abs(line.nx)) * 180) / Math.PI;
  if (deg < 1.5 || deg > 88.5 || Math.abs(deg - 45) < 1) return null;
  const esf = spreadAcross(disc, line, scale.reach);
  if (esf === null) return null;
  const sides = evenSides(esf, scale.plateau * OVER);
  if (sides === null) return null;
  const { contrast, turned } = sides;
  const rise = crossing(esf, 0.9) - crossing(esf, 0.1);
  if (!(rise > 0.3)) return null;
  return {
    x: cx + line.px + 0.5,
    y: cy + line.py + 0.5,
    nx: turned ? -line.nx : line.nx,
    ny: turned ? -line.ny : line.ny,
    contrast,
    esf,
    rise,
    mtf50: mtf50Of(esf),
  };
}

/** Direction from the structure tensor, place from the gradient's middle; null where it has no one direction. */
function roughLine({ luma, w, cx, cy, radius }: Disc): EdgeLine | null {
  let px = 0;
  let py = 0;
  let jxx = 0;
  let jyy = 0;
  let jxy = 0;
  for (let v = -radius; v <= radius; v++)
    for (let u = -radius; u <= radius; u++) {
      if (u * u + v * v > radius * radius) continue;
      const i = (cy + v) * w + cx + u;
      const gx = luma[i + 1]! - luma[i - 1]!;
      const gy = luma[i + w]! - luma[i - w]!;
      jxx += gx * gx;
      jyy += gy * gy;
      jxy += gx * gy;
      const m = gx * gx + gy * gy;
      px += m * u;
      py += m * v;
    }
  const sum = jxx + jyy;
  const gap = Math.hypot(jxx - jyy, 2 * jxy);
  if (sum <= 0 || gap / sum < 0.85) return null;
  const theta = 0.5 * Math.atan2(2 * jxy, jxx - jyy);
  const nx = Math.cos(theta);
  const ny = Math.sin(theta);
  px /= sum;
  py /= sum;
  // Too far from the disc's middle it would leave one side too little room.
  return Math.abs(px * nx + py * ny) > 4 ? null : { px, py, nx, ny };
}

/** Pieces along the edge whose places across it are told apart; the first and last hold too few pixels. */
const SLOTS = 7;

/**
 * The line again by least squares: the middle of the gradient across the edge, piece by piece along it, gives a
 * straight line or shows a bend, which is refused where `straight` is asked for.
 */
function refinedLine(disc: Disc, line: EdgeLine, straight: boolean): EdgeLine | null {
  const acc = gradientBySlot(disc, line);
  const alongAt = (k: number): number => ((k + 0.5) / SLOTS - 0.5) * 2 * disc.radius;
  let n = 0;
  let st = 0;
  let sa = 0;
  let stt = 0;
  let sta = 0;
  for (let k = 1; k < SLOTS - 1; k++) {
    if (acc[2 * k]! <= 0) return null;
    const t = alongAt(k);
    const a = acc[2 * k + 1]! / acc[2 * k]!;
    n++;
    st += t;
    sa += a;
    stt += t * t;
    sta += t * a;
  }
  const slope = (n * sta - st * sa) / (n * stt - st * st);
  const offset = (sa - slope * st) / n;
  let bend = 0;
  for (let k = 1; k < SLOTS - 1; k++) bend += (acc[2 * k + 1]! / acc[2 * k]! - slope * alongAt(k) - offset) ** 2;
  if (straight && Math.sqrt(bend / n) > 0.25) return null;
  const { px, py, nx, ny } = line;
  const turn = Math.atan(slope);
  const c = Math.cos(turn);
  const s = Math.sin(turn);
  // across = slope · along: the normal leans back by the slope along the edge direction (−ny, nx).
  return { px: px + offset * nx, py: py + offset * ny, nx: nx * c + ny * s, ny: ny * c - nx * s };
}

/** Squared gradient across the edge, and its moment about the line, in each slot along it: 2 · SLOTS. */
function gradientBySlot({ luma, w, cx, cy, radius }: Disc, { px, py, nx, ny }: EdgeLine): Float64Array {
  const acc = new Float64Array(SLOTS * 2);
  for (let v = -radius; v <= radius; v++)
    for (let u = -radius; u <= radius; u++) {
      if (u * u + v * v > radius * radius) continue;
      const across = (u - px) * nx + (v - py) * ny;
      if (Math.abs(across) > 0.65 * radius) continue;
      const along = -(u - px) * ny + (v - py) * nx;
      const k = Math.floor((along / (2 * radius) + 0.5) * SLOTS);
      if (k < 0 || k >= SLOTS) continue;
      const i = (cy + v) * w + cx + u;
      const g = (luma[i + 1]! - luma[i - 1]!) * nx + (luma[i + w]! - luma[i - w]!) * ny;
      acc[2 * k]! += g * g;
      acc[2 * k + 1]! += g * g * across;
    }
  return acc;
}

/**
 * Mean luma by distance from the line, OVER samples a pixel, `reach` pixels to either side; null where gaps are wide.
 */
function spreadAcross({ luma, w, cx, cy, radius }: Disc, line: EdgeLine, reach: number): Float64Array | null {
  const length = 2 * reach * OVER;
  const sums = new Float64Array(length);
  const counts = new Float64Array(length);
  for (let v = -radius; v <= radius; v++)
    for (let u = -radius; u <= radius; u++) {
      if (u * u + v * v > radius * radius) continue;
      const across = (u - line.px) * line.nx + (v - line.py) * line.ny;
      const k = Math.floor((across + reach) * OVER);
      if (k < 0 || k >= length) continue;
      sums[k]! += luma[(cy + v) * w + cx + u]!;
      counts[k]!++;
    }
  const esf = new Float64Array(length);
  for (let k = 0; k < length; k++) {
    if (counts[k]! > 0) esf[k] = sums[k]! / counts[k]!;
    else if (k > 2 && k < length - 3) {
      let s = 0;
      let n = 0;
      for (let j = -2; j <= 2; j++) {
        s += sums[k + j]!;
        n += counts[k + j]!;
      }
      if (n === 0) return null;
      esf[k] = s / n;
    } else esf[k] = esf[Math.max(0, k - 1)]!;
  }
  return esf;
}

/**
 * Turns the spread function so that it rises, and scales its ends to 0 and 1, in place; null where the ends are not
 * even, hardly differ, or another line lies beside the edge. `turned`: it fell before.
 */
function evenSides(esf: Float64Array, plateau: number): { contrast: number; turned: boolean } | null {
  const side = (from: number): { mean: number; sd: number } => {
    let s = 0;
    let ss = 0;
    for (let k = from; k < from + plateau; k++) {
      s += esf[k]!;
      ss += esf[k]! * esf[k]!;
    }
    return { mean: s / plateau, sd: Math.sqrt(Math.max(0, ss / plateau - (s / plateau) ** 2)) };
  };
  const ends = (): [{ mean: number; sd: number }, { mean: number; sd: number }] => [
    side(2),
    side(esf.length - plateau - 2),
  ];
  let [low, high] = ends();
  const turned = low.mean > high.mean;
  if (turned) {
    esf.reverse();
    [low, high] = ends();
  }
  const contrast = high.mean - low.mean;
  if (contrast < 0.03 || low.sd > 0.05 * contrast || high.sd > 0.05 * contrast) return null;
  for (let k = 0; k < esf.length; k++) esf[k] = (esf[k]! - low.mean) / contrast;
  // Ringing of a finished (sharpened) picture may overshoot; a second line beside the edge may not.
  return esf.some((v) => v < -0.2 || v > 1.2) ? null : { contrast, turned };
}

/** Where a rising spread function first passes a level, pixels from its start; NaN where it never does. */
function crossing(esf: Float64Array, level: number): number {
  for (let k = 1; k < esf.length; k++)
    if (esf[k - 1]! < level && esf[k]! >= level)
      return (k - 1 + (level - esf[k - 1]!) / (esf[k]! - esf[k - 1]!)) / OVER;
  return NaN;
}
