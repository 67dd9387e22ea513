/**
 * How much a level mirroring surface of the plate throws back, read from what it mirrors already: within its outline
 * each pixel is set against the one in its mirrored direction; what goes aside together in both (row by row, so that
 * neither distance nor the light's fall-off counts) is mirrored. R is the slope of that line (least squares), brought
 * to the foot by Schlick's law (reflect.ts). Told only where the set behind has contrast aside and the two go together
 * clearly.
 */
import { dot, unit } from '../../geometry/mat3.js';
import type { Picture } from '../../image/picture.js';
import { rasterizePolygon } from '../../image/polygon.js';
import type { GroundGeometry } from './ground-geometry.js';
import { schlick } from './reflect.js';

/**
 * Least correlation that is believed: a floor's own stones and shadows reach .3 by chance (own choice, tried on traced
 * floors).
 */
const LEAST_CORRELATION = 0.5;
/** Least contrast aside of what is mirrored, sd over mean. */
const LEAST_CONTRAST = 0.08;
const LEAST_ROW = 40,
  LEAST_ROWS = 8;
const EVERY = 2;

/**
 * Share thrown back where the performer's foot stands, 0..1; null where the plate does not tell it. `linear`: the
 * plate; `region` outlines the surface.
 */
export function mirrorShare(
  linear: Picture,
  region: readonly (readonly [number, number])[],
  g: GroundGeometry,
): number | null {
  const { width: w, height: h, data } = linear,
    n = w * h;
  const inside = rasterizePolygon(region, w, h),
    atFoot = schlick(-dot(g.up, unit(g.foot)));
  const lum = (i: number): number => 0.2126 * data[i]! + 0.7152 * data[n + i]! + 0.0722 * data[2 * n + i]!;
  let ff = 0,
    fb = 0,
    bb = 0,
    mean = 0,
    count = 0,
    rows = 0;
  for (let y = 0; y < h; y += EVERY) {
    const floor: number[] = [],
      back: number[] = [];
    for (let x = 0; x < w; x += EVERY) {
      const i = y * w + x;
      if (inside[i]! < 0.99) continue;
      const dx = (x + 0.5 - g.principal[0]) / g.focalPx,
        dy = (y + 0.5 - g.principal[1]) / g.focalPx,
        l = Math.hypot(dx, dy, 1);
      const facing = dx * g.up[0] + dy * g.up[1] + g.up[2];
      if (facing >= -1e-6) continue;
      const bz = 1 - 2 * facing * g.up[2];
      if (bz <= 1e-3) continue;
      const u = Math.floor(g.principal[0] + (g.focalPx * (dx - 2 * facing * g.up[0])) / bz),
        v = Math.floor(g.principal[1] + (g.focalPx * (dy - 2 * facing * g.up[1])) / bz);
      if (u < 0 || u >= w || v >= h) continue;
      const j = Math.max(0, v) * w + u;
      // What mirrors itself tells nothing.
      if (inside[j]! > 0) continue;
      floor.push(lum(i));
      back.push((lum(j) * schlick(-facing / l)) / atFoot);
    }
    if (floor.length < LEAST_ROW) continue;
    const mf = floor.reduce((a, v) => a + v, 0) / floor.length,
      mb = back.reduce((a, v) => a + v, 0) / back.length;
    rows++;
    for (let k = 0; k < floor.length; k++) {
      const p = floor[k]! - mf,
        q = back[k]! - mb;
      ff += p * p;
      fb += p * q;
      bb += q * q;
      mean += back[k]!;
      count++;
    }
  }
  if (rows < LEAST_ROWS || !(bb > 0) || !(ff > 0)) return null;
  if (Math.sqrt(bb / count) < (LEAST_CONTRAST * mean) / count || fb / Math.sqrt(ff * bb) < LEAST_CORRELATION)
    return null;
  return Math.min(1, fb / bb);
}
