/**
 * Finding a lost region again: zero-mean normalised cross-correlation (Lewis, *Fast Normalized
 * Cross-Correlation*, 1995) of the template at a coarse pyramid level, warped by several shapes, against every
 * place of the frame, also half outside. The template is cut into blocks that each have their own light and their
 * own say, so that a bright stranger over some of them does not hide the agreement of the rest. Gives the best
 * distinct places as start warps; alignment decides.
 */
import { apply, multiply, tryInvert, type Mat3 } from '../../geometry/mat3.js';
import type { LumaLevel, LumaPyramid } from './ride-pyramid.js';
import { blocksOf, scorePlaces } from './ride-score.js';
import { insidePolygon } from '../../image/polygon.js';
import type { RideTemplate } from './ride-template.js';

export interface Sighting {
  readonly warp: Mat3;
  readonly score: number;
}

/**
 * Places where the template is seen on a frame, the best first.
 * @param key coarse levels of the template's own frame
 * @param shapes warps (template to pixels) whose translation is replaced by every place tried
 * @param around limits the search to this distance (px) from each shape's own place; Infinity = the whole frame
 */
export function detect(
  template: RideTemplate,
  key: readonly LumaLevel[],
  frame: LumaPyramid,
  shapes: readonly Mat3[],
  around = Infinity,
  keep = 5,
): Sighting[] {
  const found = shapes.flatMap((shape) => {
    const look = lookOf(template, key, frame.length, shape);
    return look === null ? [] : sightingsOf(look, frame[look.level]!, shape, around);
  });
  return found.sort((a, b) => b.score - a.score).slice(0, keep);
}

/** The template as it would look under a shape, at one level: its box there, and offsets and values of its pixels. */
interface Look {
  readonly level: number;
  readonly x0: number;
  readonly y0: number;
  readonly w: number;
  readonly h: number;
  readonly px: readonly number[];
  readonly py: readonly number[];
  readonly value: readonly number[];
}

function lookOf(template: RideTemplate, key: readonly LumaLevel[], levels: number, shape: Mat3): Look | null {
  const toFrame = multiply(shape, tryInvert(template.toPixels)!);
  const corners = template.polygon.map(([x, y]) => apply(toFrame, x, y));
  const xs = corners.map((p) => p[0]);
  const ys = corners.map((p) => p[1]);
  const wide = Math.max(...xs) - Math.min(...xs);
  const tall = Math.max(...ys) - Math.min(...ys);
  if (!(wide > 4 && tall > 4) || !Number.isFinite(wide + tall) || wide > 6000 || tall > 6000) return null;
  let level = 2;
  while (level < levels - 1 && level < key.length - 1 && Math.max(wide, tall) / (1 << level) > 34) level++;
  if (level >= levels || level >= key.length) return null;
  const f = 1 / (1 << level);
  const x0 = Math.floor(Math.min(...xs) * f);
  const y0 = Math.floor(Math.min(...ys) * f);
  const w = Math.ceil(Math.max(...xs) * f) - x0;
  const h = Math.ceil(Math.max(...ys) * f) - y0;
  const inverse = tryInvert(shape);
  if (inverse === null || w < 3 || h < 3) return null;
  const px: number[] = [];
  const py: number[] = [];
  const value: number[] = [];
  for (let y = 0; y < h; y++)
    for (let x = 0; x < w; x++) {
      const [u, v] = apply(inverse, (x0 + x + 0.5) / f, (y0 + y + 0.5) / f);
      const kx = template.toPixels[0] * u + template.toPixels[2];
      const ky = template.toPixels[4] * v + template.toPixels[5];
      if (!insidePolygon(template.polygon, kx, ky)) continue;
      const seen = levelValue(key[level]!, kx * f - 0.5, ky * f - 0.5);
      if (seen === null) continue;
      px.push(x);
      py.push(y);
      value.push(seen);
    }
  return value.length < 12 ? null : { level, x0, y0, w, h, px, py, value };
}

/** Bilinear; null outside. */
function levelValue({ width, height, data }: LumaLevel, x: number, y: number): number | null {
  if (x < 0 || y < 0 || x > width - 1.001 || y > height - 1.001) return null;
  const xi = x | 0;
  const yi = y | 0;
  const fx = x - xi;
  const fy = y - yi;
  const o = yi * width + xi;
  const a = data[o]! + fx * (data[o + 1]! - data[o]!);
  const b = data[o + width]! + fx * (data[o + width + 1]! - data[o + width]!);
  return a + fy * (b - a);
}

/** The three best places of one shape that do not lie upon each other. */
function sightingsOf(look: Look, target: LumaLevel, shape: Mat3, around: number): Sighting[] {
  const { x0, y0, w, h } = look;
  const f = 1 / (1 << look.level);
  const reach = Number.isFinite(around) ? Math.ceil(around * f) + 1 : Infinity;
  const dx0 = Math.max(-x0 - Math.floor(w * 0.55), -reach);
  const dx1 = Math.min(target.width - x0 - Math.floor(w * 0.45), reach);
  const dy0 = Math.max(-y0 - Math.floor(h * 0.55), -reach);
  const dy1 = Math.min(target.height - y0 - Math.floor(h * 0.45), reach);
  const cols = dx1 - dx0 + 1;
  const rows = dy1 - dy0 + 1;
  if (cols <= 0 || rows <= 0) return [];
  const blocks = blocksOf(look.px, look.py, look.value, w, h);
  const scores = scorePlaces(blocks, target, x0 + dx0, y0 + dy0, cols, rows);
  const apart = Math.max(2, Math.round(Math.min(w, h) / 4));
  const found: Sighting[] = [];
  for (let k = 0; k < 3; k++) {
    let best = -1;
    let at = -1;
    for (let i = 0; i < scores.length; i++)
      if (scores[i]! > best) {
        best = scores[i]!;
        at = i;
      }
    if (at < 0 || best < 0.2) break;
    const r = Math.floor(at / cols);
    const c = at % cols;
    found.push({ score: best, warp: multiply([1, 0, (dx0 + c) / f, 0, 1, (dy0 + r) / f, 0, 0, 1], shape) });
    for (let y = Math.max(0, r - apart); y <= Math.min(rows - 1, r + apart); y++)
      for (let x = Math.max(0, c - apart); x <= Math.min(cols - 1, c + apart); x++) scores[y * cols + x] = -1;
  }
  return found;
}
