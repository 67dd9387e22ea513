/** Whether the shadow that the recipe's key asks for is there, on its side, and as dark as the plate's own; and the key's side on the performer. */
import { gaussianPlane } from '../image/gaussian.js';
import { groundGeometry } from '../join/ground.js';
import { normalsOfMatte } from '../join/relight.js';
import type { GroundStep } from '../join/types.js';
import { dot, type Vec3 } from '../geometry/mat3.js';
import { grow, lumaAt, type SeenFrame } from './frame.js';

export interface ShadowReading {
  /** Degrees on the picture between where the shadow lies and where the key throws it; 180 where there is none. */
  readonly offDeg: number;
  /** Darkness found over darkness asked, in stops. */
  readonly stops: number;
}

/** Null where no shadow is to be seen by rights (hidden behind the performer, or out of the picture). */
export function readShadow(f: SeenFrame, step: GroundStep): ShadowReading | null {
  const at = step.frames.find((g) => g.frame === f.frame);
  if (f.box === null || at === undefined || !step.shadow || step.receiver !== 'ground') return null;
  const { width: W, height: H } = f.join;
  const g = groundGeometry(step, at, W, H);
  // Middle of the shadow: half the performer's height over the foot, thrown along the key.
  const tall = (f.box[3] - f.box[1]) / at.pxPerMetre;
  const up = dot(g.light, g.up);
  if (up < 0.05) return null;
  const k = (0.55 * tall) / up;
  const p: Vec3 = [g.foot[0] + 0.55 * tall * g.up[0] - k * g.light[0], g.foot[1] + 0.55 * tall * g.up[1] - k * g.light[1], g.foot[2] + 0.55 * tall * g.up[2] - k * g.light[2]];
  if (!(p[2] > 0.05)) return null;
  const sx = g.principal[0] + (g.focalPx * p[0]) / p[2] - at.foot[0], sy = g.principal[1] + (g.focalPx * p[1]) / p[2] - at.foot[1];
  const long = Math.hypot(sx, sy);
  const wide = f.box[2] - f.box[0];
  if (long < 0.3 * wide) return null;
  const [x0, y0, x1, y1] = grow(f.box, 1.6 * (f.box[3] - f.box[1]), 0.4 * (f.box[3] - f.box[1]), W, H);
  const w = x1 - x0, h = y1 - y0;
  const a = new Float32Array(w * h), b = new Float32Array(w * h);
  for (let y = 0; y < h; y++) for (let x = 0; x < w; x++) { const i = (y0 + y) * W + x0 + x; a[y * w + x] = lumaAt(f.join, i); b[y * w + x] = lumaAt(f.plate, i); }
  const sa = gaussianPlane(a, w, h, 1.5), sb = gaussianPlane(b, w, h, 1.5);
  let mx = 0, my = 0, weight = 0, room = 0;
  const stops: number[] = [];
  const ux = sx / long, uy = sy / long;
  for (let y = 0; y < h; y++) {
    for (let x = 0; x < w; x++) {
      const i = (y0 + y) * W + x0 + x;
      if (f.matte[i]! > 0.03 || sb[y * w + x]! < 0.03) continue;
      const dx = x0 + x - at.foot[0], dy = y0 + y - at.foot[1];
      if (dx * ux + dy * uy > 0.3 * wide && Math.abs(dx * uy - dy * ux) < 0.25 * wide && dx * ux + dy * uy < 1.2 * long) room++;
      const r = sa[y * w + x]! / sb[y * w + x]!;
      if (r > 0.88) continue;
      const k2 = 1 - r;
      mx += k2 * dx; my += k2 * dy; weight += k2;
      stops.push(Math.log2(Math.max(0.02, r)) * 2.2);
    }
  }
  if (room < 60) return null;
  if (weight < 15) return { offDeg: 180, stops: 0 };
  const c = (mx * sx + my * sy) / (Math.hypot(mx, my) * long);
  stops.sort((p1, q) => p1 - q);
  const asked = Math.log2(0.2126 * step.transmission[0] + 0.7152 * step.transmission[1] + 0.0722 * step.transmission[2]);
  return { offDeg: (Math.acos(Math.min(1, Math.max(-1, c))) * 180) / Math.PI, stops: stops[Math.floor(0.3 * stops.length)]! - asked };
}

/**
 * Angle in the picture between the side from which the performer looks lit and the key's: luma regressed on the normals of its
 * filled matte. Null where the shading tells no side, or where the key comes from near the lens.
 */
export function readKeySide(f: SeenFrame, light: Vec3): number | null {
  if (f.box === null) return null;
  const across = Math.hypot(light[0], light[1]);
  if (across < 0.25) return null;
  const { width: W } = f.join;
  const [x0, y0, x1, y1] = f.box;
  const w = x1 - x0, h = y1 - y0, n = w * h;
  const alpha = new Float32Array(n), luma = new Float32Array(n);
  for (let y = 0; y < h; y++) for (let x = 0; x < w; x++) { const i = (y0 + y) * W + x0 + x; alpha[y * w + x] = f.matte[i]!; luma[y * w + x] = lumaAt(f.join, i); }
  const normals = normalsOfMatte(alpha, w, h);
  let s = 0, sx = 0, sy = 0, sz = 0, xx = 0, xy = 0, yy = 0, xz = 0, yz = 0, vv = 0;
  for (let i = 0; i < n; i++) {
    if (alpha[i]! < 0.97 || normals[2 * n + i] === 0) continue;
    const a = normals[i]!, b = normals[n + i]!, v = luma[i]!;
    s++; sx += a; sy += b; sz += v; xx += a * a; xy += a * b; yy += b * b; xz += a * v; yz += b * v; vv += v * v;
  }
  if (s < 300) return null;
  const cxx = xx - (sx * sx) / s, cxy = xy - (sx * sy) / s, cyy = yy - (sy * sy) / s, cxz = xz - (sx * sz) / s, cyz = yz - (sy * sz) / s, cvv = vv - (sz * sz) / s;
  const det = cxx * cyy - cxy * cxy;
  if (!(det > 1e-9) || !(cvv > 0)) return null;
  const gx = (cyy * cxz - cxy * cyz) / det, gy = (cxx * cyz - cxy * cxz) / det;
  // Share of the variance that the two slopes explain.
  const explained = (gx * cxz + gy * cyz) / cvv;
  if (explained < 0.03) return null;
  const c = (gx * light[0] + gy * light[1]) / (Math.hypot(gx, gy) * across);
  return (Math.acos(Math.min(1, Math.max(-1, c))) * 180) / Math.PI;
}
