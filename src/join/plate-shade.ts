/**
 * The plate's own shadow on the performer: inside marked outlines the key is taken away from it and the fill stays. On the
 * plate's ground `transmission` = fill / (key + fill) is what such a shadow leaves; a rounded body seen from the camera gets
 * another share of the key than level ground, on the mean over its visible disc that of Lambert's phase law (Lambert,
 * "Photometria", 1760): (2 / 3π) (sin φ + (π − φ) cos φ), φ the angle between camera and key as seen from it.
 */
import { RAD_PER_DEG } from '../core/angles.js';
import { gaussianPlane } from '../image/gaussian.js';
import { rasterizePolygon } from '../image/polygon.js';
import type { Picture } from '../image/picture.js';
import type { Box } from './ground.js';
import type { OnPerformer } from './types.js';

/** Share of the light that a full shadow leaves on a rounded body, per channel, from what it leaves on level ground. Degrees as of the ground step. */
export function leftOnBody(ground: readonly [number, number, number], azimuthDeg: number, elevationDeg: number): [number, number, number] {
  const e = elevationDeg * RAD_PER_DEG, phase = Math.acos(Math.min(1, Math.max(-1, Math.cos(e) * Math.cos(azimuthDeg * RAD_PER_DEG))));
  const key = ((2 / (3 * Math.PI)) * (Math.sin(phase) + (Math.PI - phase) * Math.cos(phase))) / Math.max(0.1, Math.sin(e));
  return ground.map((t) => Math.round((1000 * t) / Math.max(1e-6, t + key * (1 - t))) / 1000) as [number, number, number];
}

/** Darkens the performer (premultiplied linear RGBA over `box`) inside the outlines at that frame. In place. */
export function shadeOnPerformer(step: OnPerformer, outlines: readonly (readonly (readonly [number, number])[])[], picture: Picture, box: Box): void {
  const { width: w, height: h, data } = picture, n = w * h;
  let open: Float32Array | null = null;
  for (const outline of outlines) {
    const mask = rasterizePolygon(outline.map(([x, y]) => [x - box[0], y - box[1]] as const), w, h);
    open ??= new Float32Array(n).fill(1);
    for (let i = 0; i < n; i++) open[i] = open[i]! * (1 - mask[i]!);
  }
  if (open === null) return;
  const lit = step.softPx > 0.1 ? gaussianPlane(open, w, h, step.softPx) : open;
  for (let c = 0; c < 3; c++) {
    const lost = 1 - step.transmission[c]!;
    for (let i = 0; i < n; i++) if (lit[i]! < 1) data[c * n + i] = data[c * n + i]! * (1 - lost * (1 - lit[i]!));
  }
}
