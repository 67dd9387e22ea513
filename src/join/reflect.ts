/**
 * The performer mirrored in the floor, water or glass it stands on: each point of the reflecting plane sees the mirrored
 * upright of the performer. Roughness blurs it the more the farther from the contact; `share` is what the surface throws back
 * (polished stone some 0.1, still water seen at a low angle up to 0.4: common practice, no source).
 */
import { gaussianPlane } from '../image/gaussian.js';
import { dot, type Vec3 } from '../geometry/mat3.js';
import { createPicture, plane, type Picture } from '../image/picture.js';
import { rasterizePolygon } from '../image/polygon.js';
import { sampleBilinear } from '../image/sampling.js';
import { groundGeometry, type Box } from './ground.js';
import type { Placed } from './place-performer.js';
import type { GroundFrame, GroundStep } from './types.js';

/** Reflection as premultiplied RGBA over its box; null where the mirror image is not seen. */
export function reflectPerformer(step: GroundStep, at: GroundFrame, placed: Placed, widthPx: number, heightPx: number, region: readonly (readonly [number, number])[] | null): { picture: Picture; box: Box } | null {
  const r = step.reflection;
  if (r === undefined || !(r.share > 0)) return null;
  const g = groundGeometry(step, at, widthPx, heightPx);
  const h0 = dot(g.foot, g.up);
  const n: Vec3 = [g.foot[0] - h0 * g.up[0], g.foot[1] - h0 * g.up[1], g.foot[2] - h0 * g.up[2]];
  const reach = dot(n, g.foot);
  const [px0, , px1, py1] = placed.box;
  const tall = py1 - placed.box[1];
  const box: Box = [Math.max(0, px0), Math.max(0, Math.floor(at.foot[1] - 0.15 * tall)), Math.min(widthPx, px1), Math.min(heightPx, Math.ceil(at.foot[1] + 1.3 * tall))];
  const w = box[2] - box[0], h = box[3] - box[1];
  if (w <= 0 || h <= 0) return null;
  const out = createPicture(w, h, 4);
  const bound = region === null ? null : rasterizePolygon(region.map(([x, y]) => [x - box[0], y - box[1]] as const), w, h);
  // Three blurs of the upright picture, read by the height above the contact.
  const sw = placed.picture.width, sh = placed.picture.height;
  const sharp = [0, 1, 2, 3].map((c) => plane(placed.picture, c));
  const most = Math.max(0.5, r.roughness * 0.25 * tall);
  const soft = sharp.map((p) => gaussianPlane(p, sw, sh, most));
  let any = false;
  for (let y = 0; y < h; y++) {
    for (let x = 0; x < w; x++) {
      const dx = (box[0] + x + 0.5 - g.principal[0]) / g.focalPx, dy = (box[1] + y + 0.5 - g.principal[1]) / g.focalPx;
      const k = reach / (dx * n[0] + dy * n[1] + n[2]);
      if (!(k > 0)) continue;
      const depth = dx * k * g.up[0] + dy * k * g.up[1] + k * g.up[2] - h0;
      if (depth >= 0) continue;
      const cx = dx * k - 2 * depth * g.up[0], cy = dy * k - 2 * depth * g.up[1], cz = k - 2 * depth * g.up[2];
      if (!(cz > 1e-6)) continue;
      const u = g.principal[0] + (g.focalPx * cx) / cz - placed.box[0], v = g.principal[1] + (g.focalPx * cy) / cz - placed.box[1];
      if (u < 0.5 || v < 0.5 || u > sw - 0.5 || v > sh - 0.5) continue;
      const t = Math.min(1, (-depth * at.pxPerMetre) / Math.max(1, 0.6 * tall)) * Math.min(1, r.roughness * 4);
      const i = y * w + x;
      const share = r.share * (bound === null ? 1 : bound[i]!);
      for (let c = 0; c < 4; c++) {
        const a = sampleBilinear(sharp[c]!, sw, sh, u, v), b = sampleBilinear(soft[c]!, sw, sh, u, v);
        out.data[c * w * h + i] = share * (a + (b - a) * t);
      }
      if (out.data[3 * w * h + i]! > 0.002) any = true;
    }
  }
  return any ? { picture: out, box } : null;
}
