/**
 * The take's own shadow on its screen, laid on the plate where the performer is placed: the same homography, no view of
 * the ground asked. What is missing of the screen's light goes from the plate's in equal share.
 */
import { apply, tryInvert, type Mat3 } from '../../geometry/mat3.js';
import { sampleBilinear } from '../../image/sampling.js';
import type { Box, GroundShade } from './ground.js';
import type { ScreenShadow } from '../peel/screen-shadow.js';

/** Density below this is none. */
const NOTHING = 0.004;

/** Mix of two take frames' shadows, `t` of the second. */
export function mixShadows(
  a: ScreenShadow | undefined,
  b: ScreenShadow | undefined,
  t: number,
): ScreenShadow | undefined {
  if (a === undefined || b === undefined || a.density.length !== b.density.length) return t < 0.5 ? a : b;
  return { ...a, density: a.density.map((v, i) => v + (b.density[i]! - v) * t) };
}

/**
 * Shade over the plate's pixels, its cover the share of all light that goes.
 *
 * @param toPlate take pixels → plate pixels. Null where none is seen.
 */
export function keptShade(shadow: ScreenShadow, toPlate: Mat3, widthPx: number, heightPx: number): GroundShade | null {
  const { width: sw, height: sh, cell, density } = shadow;
  let c0 = sw,
    r0 = sh,
    c1 = -1,
    r1 = -1;
  for (let i = 0; i < density.length; i++) {
    if (density[i]! < NOTHING) continue;
    const x = i % sw,
      y = (i - x) / sw;
    c0 = Math.min(c0, x);
    c1 = Math.max(c1, x);
    r0 = Math.min(r0, y);
    r1 = Math.max(r1, y);
  }
  const back = tryInvert(toPlate);
  if (c1 < 0 || back === null) return null;
  const corners = (
    [
      [c0 - 1, r0 - 1],
      [c1 + 2, r0 - 1],
      [c0 - 1, r1 + 2],
      [c1 + 2, r1 + 2],
    ] as const
  ).map(([x, y]) => apply(toPlate, x * cell, y * cell));
  const xs = corners.map((p) => p[0]),
    ys = corners.map((p) => p[1]);
  const box: Box = [
    Math.max(0, Math.floor(Math.min(...xs))),
    Math.max(0, Math.floor(Math.min(...ys))),
    Math.min(widthPx, Math.ceil(Math.max(...xs))),
    Math.min(heightPx, Math.ceil(Math.max(...ys))),
  ];
  if (!(box[2] > box[0] && box[3] > box[1])) return null;
  const w = box[2] - box[0],
    h = box[3] - box[1];
  const cover = new Float32Array(w * h);
  for (let y = 0; y < h; y++) {
    for (let x = 0; x < w; x++) {
      const px = x + box[0] + 0.5,
        py = y + box[1] + 0.5,
        d = back[6] * px + back[7] * py + back[8];
      const u = (back[0] * px + back[1] * py + back[2]) / d / cell,
        v = (back[3] * px + back[4] * py + back[5]) / d / cell;
      if (!(u > 0 && v > 0 && u < sw && v < sh)) continue;
      const value = sampleBilinear(density, sw, sh, u, v);
      if (value >= NOTHING) cover[y * w + x] = value;
    }
  }
  return { box, cover, contact: new Float32Array(w * h), kept: true };
}
