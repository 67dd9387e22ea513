/** How much of the true shadow a body's cast one covers, and what its true body would cover. */
import type { Vec3 } from '../demo/scenes/vector.js';
import { dilate } from '../src/image/morphology.js';
import { shadeGround } from '../src/join/ground/ground.js';
import { groundGeometry } from '../src/join/ground/ground-geometry.js';
import { fillShade } from '../src/join/ground/shade-plane.js';
import { buildShadowMap, type SolidBall } from '../src/join/ground/shadow-map.js';
import { dot } from '../src/geometry/mat3.js';
import type { BodyDepth } from '../src/join/ground/types.js';
import { type ShadowExam, add, sub } from './shadow-exam-casting.js';

/**
 * Overlap over union of a shadow with the true one outside the performer and its soft edge; not a
 * number where only a rim of the true one is seen.
 */
export function overlap(s: ShadowExam, cover: Float32Array): number {
  const { widthPx: w, heightPx: h } = s.plateView.camera;
  const n = w * h;
  const kept = dilate(
    s.plate.matte.map((v) => (v > 0.02 ? 1 : 0)),
    w,
    h,
    3,
  );
  const there = new Uint8Array(n);
  let both = 0;
  let either = 0;
  let all = 0;
  let inside = 0;
  for (let i = 0; i < n; i++) if (kept[i]! <= 0.5 && s.plate.shadow[i]! > 0.45) there[i] = 1;
  for (let i = w; i < n - w; i++) {
    if (kept[i]! > 0.5) continue;
    const a = cover[i]! > 0.45;
    const b = there[i] === 1;
    if (a && b) both++;
    if (a || b) either++;
    if (b) {
      all++;
      if (there[i - 1]! + there[i + 1]! + there[i - w]! + there[i + w]! === 4) inside++;
    }
  }
  return inside > 0.5 * all && all > 60 ? both / either : NaN;
}

export function coverOf(
  s: ShadowExam,
  body: BodyDepth | undefined,
  key: { azimuthDeg: number; elevationDeg: number } | null = null,
  alpha = s.placed,
): Float32Array {
  const { widthPx: w, heightPx: h } = s.plateView.camera;
  const out = new Float32Array(w * h);
  const step = { ...s.step, ...(key ?? {}), ...(body === undefined ? {} : { body }) };
  const at = key === null ? s.at : { ...s.at, azimuthDeg: key.azimuthDeg };
  const shade = shadeGround(step, at, { alpha, matteBox: [0, 0, w, h], widthPx: w, heightPx: h, softEdgePx: 0.6 });
  if (shade !== null) {
    const [x0, y0, x1, y1] = shade.box;
    for (let y = y0; y < y1; y++)
      for (let x = x0; x < x1; x++) out[y * w + x] = shade.cover[(y - y0) * (x1 - x0) + x - x0]!;
  }
  return out;
}

/** The true body's shadow by the product's map, under the key's one direction. */
export function trueBodyCover(s: ShadowExam, key: { azimuthDeg: number; elevationDeg: number }): Float32Array {
  const { camera: c } = s.plateView;
  const w = c.widthPx;
  const h = c.heightPx;
  const out = new Float32Array(w * h);
  const g = groundGeometry({ ...s.step, ...key }, { ...s.at, azimuthDeg: key.azimuthDeg }, w, h);
  const balls: SolidBall[] = [];
  for (const e of s.plateView.parts)
    for (let i = -6; i <= 6; i++) {
      // An ellipsoid as balls along its longest axis.
      const axes = e.a.map((row) => {
        const q = row[0] ** 2 + row[1] ** 2 + row[2] ** 2;
        return [row[0] / q, row[1] / q, row[2] / q] as Vec3;
      });
      const long = axes.map((a) => Math.hypot(...a));
      const k = long.indexOf(Math.max(...long));
      const t = i / 6.5;
      const rest = long.filter((_, j) => j !== k);
      const radius = (Math.sqrt(1 - t * t) * (rest[0]! + rest[1]!)) / 2;
      const q = sub(add(e.c, axes[k]!, t * (1 - (Math.min(...long) / long[k]!) * 0.5)), c.position);
      balls.push({ centre: [dot(q, c.right), dot(q, c.down), dot(q, c.forward)], radius });
    }
  const map = buildShadowMap(balls, g.light, g.up, s.step.softnessDeg, 0.6 / s.at.pxPerMetre, 0.6 / s.at.pxPerMetre);
  if (map !== null)
    fillShade(g, { n: g.up, d: dot(g.up, g.foot) }, map, [], [0, 0, w, h], out, new Float32Array(w * h));
  return out;
}
