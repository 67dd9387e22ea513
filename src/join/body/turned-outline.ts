/**
 * Outlines of a turned body in cells: that of a body of balls turned about the upright through its foot, those of the
 * take's frames, and how well one lies on another wherever along the picture the axis stands (turn-depth.ts).
 */
import { connectedComponents } from '../../image/components.js';
import type { Ball } from './body-volume.js';
import { turnedAbout } from './carve-screens.js';
import type { Box } from '../ground/ground.js';
import type { GroundGeometry } from '../ground/ground-geometry.js';
import type { SolidBall } from '../ground/shadow-map.js';

/** How far aside the axis may stand, in rows. */
export const ASIDE = 5;

/** The performer on one take frame: alpha over `box`, take pixels. */
export interface TurnedOutline {
  readonly frame: number;
  readonly yawDeg: number;
  readonly alpha: Float32Array;
  readonly box: Box;
}

/** Alpha as means over cells, the whole picture, without what does not hang together with the body. */
export function body(s: TurnedOutline, w: number, h: number, cell: number): Float32Array {
  const out = new Float32Array(w * h),
    [x0, y0, x1, y1] = s.box,
    share = 1 / (cell * cell);
  for (let y = y0; y < y1; y++)
    for (let x = x0; x < x1; x++) {
      const i = Math.min(h - 1, Math.floor(y / cell)) * w + Math.min(w - 1, Math.floor(x / cell));
      out[i] = out[i]! + share * s.alpha[(y - y0) * (x1 - x0) + x - x0]!;
    }
  const { labels, components } = connectedComponents(
    out.map((v) => (v > 0.3 ? 1 : 0)),
    w,
    h,
  );
  const main = components.reduce((m, c) => (c.area > m.area ? c : m), components[0] ?? { label: -1, area: 0 });
  return out.map((v, i) => (labels[i] === main.label ? v : 0));
}

/** Rows of the picture that the balls reach over, px; 0 without any. */
export function rowsOf(balls: readonly Ball[]): number {
  let y0 = Infinity,
    y1 = -Infinity;
  for (const b of balls) {
    y0 = Math.min(y0, b.y - b.r);
    y1 = Math.max(y1, b.y + b.r);
  }
  return Math.max(0, y1 - y0);
}

/** Cells round all outlines, with room for what turns out of them. */
export function aboutAll(outlines: readonly Float32Array[], w: number, h: number): Box | null {
  let x0 = w,
    y0 = h,
    x1 = 0,
    y1 = 0;
  for (const m of outlines)
    for (let y = 0; y < h; y++)
      for (let x = 0; x < w; x++)
        if (m[y * w + x]! > 0) {
          x0 = Math.min(x0, x);
          x1 = Math.max(x1, x + 1);
          y0 = Math.min(y0, y);
          y1 = Math.max(y1, y + 1);
        }
  const room = Math.round(0.25 * (y1 - y0)) + ASIDE;
  return x1 <= x0
    ? null
    : [Math.max(0, x0 - room), Math.max(0, y0 - ASIDE), Math.min(w, x1 + room), Math.min(h, y1 + ASIDE)];
}

/** Outline of a body turned by so much about an upright, `axis` metres aside and ahead of the foot, over the box. */
export function turned(
  solid: readonly SolidBall[],
  g: GroundGeometry,
  byDeg: number,
  [x0, y0, x1, y1]: Box,
  axis: readonly [number, number] = [0, 0],
): Float32Array {
  const to = turnedAbout(g, byDeg, axis),
    w = x1 - x0,
    out = new Float32Array(w * (y1 - y0));
  for (const b of solid) {
    const p = to(b.centre);
    if (!(p[2] > b.radius)) continue;
    const k = g.focalPx / p[2],
      x = g.principal[0] + k * p[0],
      y = g.principal[1] + k * p[1],
      r = k * b.radius;
    for (let yy = Math.max(y0, Math.floor(y - r)); yy < Math.min(y1, y + r + 1); yy++) {
      for (let xx = Math.max(x0, Math.floor(x - r)); xx < Math.min(x1, x + r + 1); xx++) {
        const cover = Math.min(1, r + 0.5 - Math.hypot(xx + 0.5 - x, yy + 0.5 - y)),
          i = (yy - y0) * w + xx - x0;
        if (cover > out[i]!) out[i] = cover;
      }
    }
  }
  return out;
}

/** Overlap over union at the best place up to `most` cells aside, both over the box. */
export function overlapAside(a: Float32Array, outline: Float32Array, [x0, y0, x1, y1]: Box, most: number): number {
  const w = x1 - x0,
    h = y1 - y0;
  let best = 0;
  for (let shift = -most; shift <= most; shift++) {
    let both = 0,
      either = 0;
    for (let y = 0; y < h; y++) {
      for (let x = 0; x < w; x++) {
        const from = x + shift,
          p = from < 0 || from >= w ? 0 : a[y * w + from]!,
          q = outline[y * w + x]!;
        if (p < q) {
          both += p;
          either += q;
        } else {
          both += q;
          either += p;
        }
      }
    }
    if (either > 0 && both / either > best) best = both / either;
  }
  return best;
}
