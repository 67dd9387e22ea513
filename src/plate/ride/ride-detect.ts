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
  const found: Sighting[] = [];
  for (const shape of shapes) {
    const corners = template.polygon.map(([x, y]) => apply(multiply(shape, tryInvert(template.toPixels)!), x, y));
    const xs = corners.map((p) => p[0]);
    const ys = corners.map((p) => p[1]);
    const w = Math.max(...xs) - Math.min(...xs);
    const h = Math.max(...ys) - Math.min(...ys);
    if (!(w > 4 && h > 4) || !Number.isFinite(w + h) || w > 6000 || h > 6000) continue;
    let level = 2;
    while (level < frame.length - 1 && level < key.length - 1 && Math.max(w, h) / (1 << level) > 34) level++;
    if (level >= frame.length || level >= key.length) continue;
    const f = 1 / (1 << level);
    const x0 = Math.floor(Math.min(...xs) * f);
    const y0 = Math.floor(Math.min(...ys) * f);
    const pw = Math.ceil(Math.max(...xs) * f) - x0;
    const ph = Math.ceil(Math.max(...ys) * f) - y0;
    const inverse = tryInvert(shape);
    if (inverse === null || pw < 3 || ph < 3) continue;
    // The template as it would look: offsets and values of its pixels at this level.
    const px: number[] = [];
    const py: number[] = [];
    const pv: number[] = [];
    const source = key[level]!;
    for (let y = 0; y < ph; y++)
      for (let x = 0; x < pw; x++) {
        const [u, v] = apply(inverse, (x0 + x + 0.5) / f, (y0 + y + 0.5) / f);
        const kx = template.toPixels[0] * u + template.toPixels[2];
        const ky = template.toPixels[4] * v + template.toPixels[5];
        if (!insidePolygon(template.polygon, kx, ky)) continue;
        const sx = kx * f - 0.5;
        const sy = ky * f - 0.5;
        if (sx < 0 || sy < 0 || sx > source.width - 1.001 || sy > source.height - 1.001) continue;
        const xi = sx | 0;
        const yi = sy | 0;
        const fx = sx - xi;
        const fy = sy - yi;
        const o = yi * source.width + xi;
        const a = source.data[o]! + fx * (source.data[o + 1]! - source.data[o]!);
        const b =
          source.data[o + source.width]! + fx * (source.data[o + source.width + 1]! - source.data[o + source.width]!);
        px.push(x);
        py.push(y);
        pv.push(a + fy * (b - a));
      }
    const n = pv.length;
    if (n < 12) continue;
    const blocks = blocksOf(px, py, pv, pw, ph);
    const target = frame[level]!;
    const rx = Number.isFinite(around) ? Math.ceil(around * f) + 1 : Infinity;
    const dx0 = Math.max(-x0 - Math.floor(pw * 0.55), -rx);
    const dx1 = Math.min(target.width - x0 - Math.floor(pw * 0.45), rx);
    const dy0 = Math.max(-y0 - Math.floor(ph * 0.55), -rx);
    const dy1 = Math.min(target.height - y0 - Math.floor(ph * 0.45), rx);
    const cols = dx1 - dx0 + 1;
    const rows = dy1 - dy0 + 1;
    if (cols <= 0 || rows <= 0) continue;
    const scores = scorePlaces(blocks, target, x0 + dx0, y0 + dy0, cols, rows);
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
      const rad = Math.max(2, Math.round(Math.min(pw, ph) / 4));
      for (let y = Math.max(0, r - rad); y <= Math.min(rows - 1, r + rad); y++)
        for (let x = Math.max(0, c - rad); x <= Math.min(cols - 1, c + rad); x++) scores[y * cols + x] = -1;
    }
  }
  return found.sort((a, b) => b.score - a.score).slice(0, keep);
}
