/**
 * Finding a lost region again: zero-mean normalised cross-correlation (Lewis, *Fast Normalized Cross-Correlation*, 1995) of
 * the template at a coarse pyramid level, warped by several shapes, against every place of the frame, also half outside. The
 * template is cut into blocks that each have their own light and their own say, so that a bright stranger over some of them
 * does not hide the agreement of the rest. Gives the best distinct places as start warps; alignment decides.
 */
import { apply, multiply, tryInvert, type Mat3 } from '../geometry/mat3.js';
import type { LumaLevel, LumaPyramid } from './ride-pyramid.js';
import { insidePolygon, type RideTemplate } from './ride-template.js';

export interface Sighting {
  readonly warp: Mat3;
  readonly score: number;
}

/** The key frame's coarse pictures that detection reads (copied, since pyramids are reused). */
export function coarseLevels(pyramid: LumaPyramid): LumaLevel[] {
  return pyramid.map((l, i) => (i < 2 ? { width: l.width, height: l.height, data: new Float32Array(0) } : { ...l, data: l.data.slice() }));
}

/**
 * @param key coarse levels of the template's own frame
 * @param shapes warps (template to pixels) whose translation is replaced by every place tried
 * @param around limits the search to this distance (px) from each shape's own place; Infinity = the whole frame
 */
export function detect(template: RideTemplate, key: readonly LumaLevel[], frame: LumaPyramid, shapes: readonly Mat3[], around = Infinity, keep = 5): Sighting[] {
  const found: Sighting[] = [];
  for (const shape of shapes) {
    const corners = template.polygon.map(([x, y]) => apply(multiply(shape, tryInvert(template.toPixels)!), x, y));
    const xs = corners.map((p) => p[0]), ys = corners.map((p) => p[1]);
    const w = Math.max(...xs) - Math.min(...xs), h = Math.max(...ys) - Math.min(...ys);
    if (!(w > 4 && h > 4) || !Number.isFinite(w + h) || w > 6000 || h > 6000) continue;
    let level = 2;
    while (level < frame.length - 1 && level < key.length - 1 && Math.max(w, h) / (1 << level) > 34) level++;
    if (level >= frame.length || level >= key.length) continue;
    const f = 1 / (1 << level);
    const x0 = Math.floor(Math.min(...xs) * f), y0 = Math.floor(Math.min(...ys) * f);
    const pw = Math.ceil(Math.max(...xs) * f) - x0, ph = Math.ceil(Math.max(...ys) * f) - y0;
    const inverse = tryInvert(shape);
    if (inverse === null || pw < 3 || ph < 3) continue;
    // The template as it would look: offsets and values of its pixels at this level.
    const px: number[] = [], py: number[] = [], pv: number[] = [];
    const source = key[level]!;
    for (let y = 0; y < ph; y++) for (let x = 0; x < pw; x++) {
      const [u, v] = apply(inverse, (x0 + x + 0.5) / f, (y0 + y + 0.5) / f);
      const kx = template.toPixels[0] * u + template.toPixels[2], ky = template.toPixels[4] * v + template.toPixels[5];
      if (!insidePolygon(template.polygon, kx, ky)) continue;
      const sx = kx * f - 0.5, sy = ky * f - 0.5;
      if (sx < 0 || sy < 0 || sx > source.width - 1.001 || sy > source.height - 1.001) continue;
      const xi = sx | 0, yi = sy | 0, fx = sx - xi, fy = sy - yi, o = yi * source.width + xi;
      const a = source.data[o]! + fx * (source.data[o + 1]! - source.data[o]!);
      const b = source.data[o + source.width]! + fx * (source.data[o + source.width + 1]! - source.data[o + source.width]!);
      px.push(x); py.push(y); pv.push(a + fy * (b - a));
    }
    const n = pv.length;
    if (n < 12) continue;
    const blocks = blocksOf(px, py, pv, pw, ph);
    const target = frame[level]!;
    const rx = Number.isFinite(around) ? Math.ceil(around * f) + 1 : Infinity;
    const dx0 = Math.max(-x0 - Math.floor(pw * 0.55), -rx), dx1 = Math.min(target.width - x0 - Math.floor(pw * 0.45), rx);
    const dy0 = Math.max(-y0 - Math.floor(ph * 0.55), -rx), dy1 = Math.min(target.height - y0 - Math.floor(ph * 0.45), rx);
    const cols = dx1 - dx0 + 1, rows = dy1 - dy0 + 1;
    if (cols <= 0 || rows <= 0) continue;
    const scores = new Float32Array(cols * rows).fill(-1);
    for (let r = 0; r < rows; r++) for (let c = 0; c < cols; c++) scores[r * cols + c] = scoreAt(blocks, target, x0 + dx0 + c, y0 + dy0 + r);
    for (let k = 0; k < 3; k++) {
      let best = -1, at = -1;
      for (let i = 0; i < scores.length; i++) if (scores[i]! > best) { best = scores[i]!; at = i; }
      if (at < 0 || best < 0.2) break;
      const r = Math.floor(at / cols), c = at % cols;
      found.push({ score: best, warp: multiply([1, 0, (dx0 + c) / f, 0, 1, (dy0 + r) / f, 0, 0, 1], shape) });
      const rad = Math.max(2, Math.round(Math.min(pw, ph) / 4));
      for (let y = Math.max(0, r - rad); y <= Math.min(rows - 1, r + rad); y++) for (let x = Math.max(0, c - rad); x <= Math.min(cols - 1, c + rad); x++) scores[y * cols + x] = -1;
    }
  }
  return found.sort((a, b) => b.score - a.score).slice(0, keep);
}

interface Block {
  readonly x: Int32Array;
  readonly y: Int32Array;
  /** Zero-mean template. */
  readonly value: Float32Array;
  readonly energy: number;
  readonly weight: number;
  readonly left: number;
  readonly right: number;
  readonly top: number;
  readonly bottom: number;
}

/** Blocks of some nine pixels' side; the weight grows with the contrast, but no block outweighs twice the mean. */
function blocksOf(px: readonly number[], py: readonly number[], pv: readonly number[], w: number, h: number): Block[] {
  const columns = Math.max(1, Math.round(w / 9)), rows = Math.max(1, Math.round(h / 9));
  const of: number[][] = Array.from({ length: columns * rows }, () => []);
  px.forEach((x, i) => of[Math.min(rows - 1, Math.floor((py[i]! * rows) / h)) * columns + Math.min(columns - 1, Math.floor((x * columns) / w))]!.push(i));
  const raw = of.filter((b) => b.length >= 16).map((b) => {
    const mean = b.reduce((s, i) => s + pv[i]!, 0) / b.length;
    const value = Float32Array.from(b, (i) => pv[i]! - mean);
    const energy = value.reduce((s, v) => s + v * v, 0);
    const x = Int32Array.from(b, (i) => px[i]!), y = Int32Array.from(b, (i) => py[i]!);
    return { x, y, value, energy, weight: Math.sqrt(energy), left: Math.min(...x), right: Math.max(...x), top: Math.min(...y), bottom: Math.max(...y) };
  }).filter((b) => b.energy > 1e-5 * b.value.length);
  const mean = raw.reduce((s, b) => s + b.weight / raw.length, 0);
  const total = raw.reduce((s, b) => s + Math.min(b.weight, 2 * mean), 0);
  return raw.map((b) => ({ ...b, weight: Math.min(b.weight, 2 * mean) / total }));
}

/** Sum of the blocks' squared positive correlations with the frame at (ox, oy); −1 where less than two fifths is inside. */
function scoreAt(blocks: readonly Block[], target: LumaLevel, ox: number, oy: number): number {
  const { width: w, height: h, data } = target;
  let score = 0, inside = 0;
  for (const b of blocks) {
    const { x: bx, y: by, value } = b;
    const n = value.length;
    // Only whole blocks speak.
    if (b.left + ox < 0 || b.top + oy < 0 || b.right + ox >= w || b.bottom + oy >= h) continue;
    let si = 0, sii = 0, sti = 0;
    const origin = oy * w + ox;
    for (let i = 0; i < n; i++) {
      const s = data[by[i]! * w + bx[i]! + origin]!;
      si += s; sii += s * s; sti += value[i]! * s;
    }
    inside += b.weight;
    const vi = sii - (si * si) / n;
    if (vi > 1e-6 * n && sti > 0) score += (b.weight * sti * sti) / (b.energy * vi);
  }
  // A small share counts a little less: fewer blocks agree by chance more easily.
  return inside < 0.4 ? -1 : (score / inside) * (0.8 + 0.2 * inside);
}
