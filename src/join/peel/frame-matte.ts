/** The matte of one frame at full resolution from its analysis. */
import type { Picture } from '../../image/picture.js';
import { fillHoles } from './fill-holes.js';
import type { FrameAnalysis } from './frame-analysis.js';
import { resampleCells } from './resample-cells.js';

/** Small pixels beyond which nothing but the plain verdict (screen, performer) is possible. */
const SOLID_FROM = 10;
const EMPTY_FROM = 3;

export function matteOfFrame(linear: Picture, analysis: FrameAnalysis, quality: 'fast' | 'fine', dst: Float32Array): void {
  const { width: w, height: h, data } = linear;
  const n = w * h;
  const { small, field } = analysis;
  if (!analysis.occupied) {
    dst.fill(0);
    return;
  }
  const k = small.block;
  const weights = resampleCells(analysis.weights, analysis.grid, analysis.cell * k, w, h, 3);
  const screen = resampleCells(field.colour, { width: small.width, height: small.height }, k, w, h, 3);
  const active = new Uint8Array(n);
  const marker = new Uint8Array(n);
  for (let y = 0; y < h; y += 1) {
    const row = ((y / k) | 0) * small.width;
    for (let x = 0; x < w; x += 1) {
      const i = y * w + x;
      const j = row + ((x / k) | 0);
      if (analysis.fromScreen[j]! >= SOLID_FROM) {
        dst[i] = 1;
        active[i] = 1;
        continue;
      }
      if (analysis.fromPerformer[j]! >= EMPTY_FROM) {
        dst[i] = 0;
        continue;
      }
      active[i] = 1;
      const a = weights[i]! * (data[i]! - screen[i]!) + weights[n + i]! * (data[n + i]! - screen[n + i]!) + weights[2 * n + i]! * (data[2 * n + i]! - screen[2 * n + i]!);
      dst[i] = a <= 0 ? 0 : a >= 1 ? 1 : a;
      // Sure screen blocks, and single pixels of clear screen colour: the gaps between hairs and links.
      marker[i] = field.sure[j] === 1 || (a < 0.12 && isNear(data, screen, i, n)) ? 1 : 0;
    }
  }
  const filled = dst.slice();
  fillHoles(filled, marker, active, w, h);
  for (let y = 0; y < h; y += 1) {
    const row = ((y / k) | 0) * small.width;
    for (let x = 0; x < w; x += 1) {
      const i = y * w + x;
      const a = dst[i]!;
      const rise = filled[i]! - a;
      if (rise <= 0 || active[i] === 0) continue;
      // Near the outline a deep hollow is a gap in the fur; further in, or where the matte is almost solid, it is a flaw.
      const inside = ramp(1.5, 4, analysis.fromScreen[row + ((x / k) | 0)]!);
      dst[i] = a + rise * Math.max(inside, ramp(0.5, 0.8, a));
    }
  }
  void quality;
}

/** Is a pixel within a quarter of the screen's own strength of the screen colour? */
function isNear(data: Float32Array, screen: Float32Array, i: number, n: number): boolean {
  const r = screen[i]!;
  const g = screen[n + i]!;
  const b = screen[2 * n + i]!;
  const dr = data[i]! - r;
  const dg = data[n + i]! - g;
  const db = data[2 * n + i]! - b;
  return dr * dr + dg * dg + db * db < 0.0625 * (r * r + g * g + b * b);
}

function ramp(a: number, b: number, x: number): number {
  const t = Math.min(1, Math.max(0, (x - a) / (b - a)));
  return t * t * (3 - 2 * t);
}
