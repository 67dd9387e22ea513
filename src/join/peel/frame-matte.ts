/** The matte of one frame at full resolution from its analysis. */
import type { Picture } from '../../image/picture.js';
import { fillHoles } from './fill-holes.js';
import type { FrameAnalysis } from './frame-analysis.js';
import { resampleCells } from './resample-cells.js';

/** Small pixels beyond which nothing but the plain verdict (screen, performer) is possible. */
const SOLID_FROM = 8;
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
      marker[i] = field.sure[j]!;
    }
  }
  fillHoles(dst, marker, active, w, h);
  void quality;
}
