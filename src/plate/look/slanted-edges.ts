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
 * A picture full of detail leaves an edge little room; what is softer than a third of
 * the reach is not even at its ends and falls out.
 */
export const FINE: EdgeScale = { radius: 7, reach: 5, plateau: 1.5 };
export const ESF_LENGTH = 2 * WIDE.reach * OVER;

export interface Edge {
  readonly x: number;
  readonly y: number;
  /** Unit normal, from dark to bright. */
  readonly nx: number;
  readonly ny: number;
  readonly contrast: number;
  /** Edge spread function, OVER samples a pixel, ends normalised to 0 and 1. */
  readonly esf: Float64Array;
  /** 10 to 90 % rise, px. */
  readonly rise: number;
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

function edgeAt(luma: Float32Array, w: number, cx: number, cy: number, scale: EdgeScale): Edge | null {
  const RADIUS = scale.radius;
  const REACH = scale.reach;
  const ESF_LENGTH = 2 * REACH * OVER;
  // Direction from the structure tensor, then the line by weighted least squares of gradient positions; twice.
  let nx = 0;
  let ny = 0;
  let px = 0;
  let py = 0;
  let jxx = 0;
  let jyy = 0;
  let jxy = 0;
  for (let v = -RADIUS; v <= RADIUS; v++) {
    for (let u = -RADIUS; u <= RADIUS; u++) {
      if (u * u + v * v > RADIUS * RADIUS) continue;
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
  }
  const sum = jxx + jyy;
  const gap = Math.hypot(jxx - jyy, 2 * jxy);
  if (sum <= 0 || gap / sum < 0.85) return null;
  const theta = 0.5 * Math.atan2(2 * jxy, jxx - jyy);
  nx = Math.cos(theta);
  ny = Math.sin(theta);
  px /= sum;
  py /= sum;
  if (Math.abs(px * nx + py * ny) > 4) return null;
  // Refine: centroid of the gradient across the edge, by position along it, gives a straight line or shows a bend.
  for (let round = 0; round < 2; round++) {
    const slots = 7;
    const acc = new Float64Array(slots * 2);
    for (let v = -RADIUS; v <= RADIUS; v++) {
      for (let u = -RADIUS; u <= RADIUS; u++) {
        if (u * u + v * v > RADIUS * RADIUS) continue;
        const across = (u - px) * nx + (v - py) * ny;
        if (Math.abs(across) > 0.65 * RADIUS) continue;
        const along = -(u - px) * ny + (v - py) * nx;
        const k = Math.floor((along / (2 * RADIUS) + 0.5) * slots);
        if (k < 0 || k >= slots) continue;
        const i = (cy + v) * w + cx + u;
        const g = (luma[i + 1]! - luma[i - 1]!) * nx + (luma[i + w]! - luma[i - w]!) * ny;
        acc[2 * k]! += g * g;
        acc[2 * k + 1]! += g * g * across;
      }
    }
    let n = 0;
    let st = 0;
    let sa = 0;
    let stt = 0;
    let sta = 0;
    for (let k = 1; k < slots - 1; k++) {
      if (acc[2 * k]! <= 0) return null;
      const t = ((k + 0.5) / slots - 0.5) * 2 * RADIUS;
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
    for (let k = 1; k < slots - 1; k++) {
      const t = ((k + 0.5) / slots - 0.5) * 2 * RADIUS;
      bend += (acc[2 * k + 1]! / acc[2 * k]! - slope * t - offset) ** 2;
    }
    if (round === 1 && Math.sqrt(bend / n) > 0.25) return null;
    px += offset * nx;
    py += offset * ny;
    const turn = Math.atan(slope);
    const c = Math.cos(turn);
    const s = Math.sin(turn);
    // across = slope · along: the normal leans back by the slope along the edge direction (−ny, nx).
    const tx = nx * c + ny * s;
    const ty = ny * c - nx * s;
    nx = tx;
    ny = ty;
  }
  // An edge along the pixel rows or columns, or on their diagonal, gives no samples between pixels.
  const deg = (Math.atan2(Math.abs(ny), Math.abs(nx)) * 180) / Math.PI;
  if (deg < 1.5 || deg > 88.5 || Math.abs(deg - 45) < 1) return null;
  const sums = new Float64Array(ESF_LENGTH);
  const counts = new Float64Array(ESF_LENGTH);
  for (let v = -RADIUS; v <= RADIUS; v++) {
    for (let u = -RADIUS; u <= RADIUS; u++) {
      if (u * u + v * v > RADIUS * RADIUS) continue;
      const across = (u - px) * nx + (v - py) * ny;
      const k = Math.floor((across + REACH) * OVER);
      if (k < 0 || k >= ESF_LENGTH) continue;
      sums[k]! += luma[(cy + v) * w + cx + u]!;
      counts[k]!++;
    }
  }
  const esf = new Float64Array(ESF_LENGTH);
  for (let k = 0; k < ESF_LENGTH; k++) {
    if (counts[k]! > 0) esf[k] = sums[k]! / counts[k]!;
    else if (k > 2 && k < ESF_LENGTH - 3) {
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
  const plateau = scale.plateau * OVER;
  const side = (from: number): { mean: number; sd: number } => {
    let s = 0;
    let ss = 0;
    for (let k = from; k < from + plateau; k++) {
      s += esf[k]!;
      ss += esf[k]! * esf[k]!;
    }
    return { mean: s / plateau, sd: Math.sqrt(Math.max(0, ss / plateau - (s / plateau) ** 2)) };
  };
  let low = side(2);
  let high = side(ESF_LENGTH - plateau - 2);
  if (low.mean > high.mean) {
    esf.reverse();
    nx = -nx;
    ny = -ny;
    [low, high] = [side(2), side(ESF_LENGTH - plateau - 2)];
  }
  const contrast = high.mean - low.mean;
  if (contrast < 0.03 || low.sd > 0.05 * contrast || high.sd > 0.05 * contrast) return null;
  for (let k = 0; k < ESF_LENGTH; k++) esf[k] = (esf[k]! - low.mean) / contrast;
  // Ringing of a finished (sharpened) picture may overshoot; a second line beside the edge may not.
  let lo = 0;
  let hi = 1;
  for (const v of esf) {
    lo = Math.min(lo, v);
    hi = Math.max(hi, v);
  }
  if (lo < -0.2 || hi > 1.2) return null;
  const cross = (level: number): number => {
    for (let k = 1; k < ESF_LENGTH; k++)
      if (esf[k - 1]! < level && esf[k]! >= level)
        return (k - 1 + (level - esf[k - 1]!) / (esf[k]! - esf[k - 1]!)) / OVER;
    return NaN;
  };
  const rise = cross(0.9) - cross(0.1);
  if (!(rise > 0.3)) return null;
  return { x: cx + px + 0.5, y: cy + py + 0.5, nx, ny, contrast, esf, rise, mtf50: mtf50Of(esf) };
}
