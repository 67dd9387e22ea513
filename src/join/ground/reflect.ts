/**
 * The performer mirrored in the floor, water or glass it stands on or beside. Each point of the mirroring plane sees
 * the mirrored upright of the performer, and no longer what it saw there before: seen = plate + R (performer − α
 * behind), R being the share that the surface throws back. `behind` is what the plate shows in the mirrored direction,
 * taken to be far off. R grows as the plane is seen more flatly (Schlick, "An inexpensive BRDF model for
 * physically-based rendering", Computer Graphics Forum 13, 1994, for clear coats, water and glass); the step's `share`
 * is R at the performer's foot.
 *
 * A rough surface is one of small slopes: a slope of δ turns the mirrored ray by 2δ in the plane of sight, but only by
 * 2δ sin(e) across it, e being how flatly the surface is seen (Cox & Munk, "Measurement of the roughness of the sea
 * surface from photographs of the sun's glitter", JOSA 44, 1954). So a point at height u over the floor is spread over
 * 2σu aside and 2σu / sin(e) up and down, and a wet street shows streaks. Slopes of `roughness` have an sd of σ = .2 ×
 * roughness.
 */
import { applyVector, cross, dot, unit, type Vec3 } from '../../geometry/mat3.js';
import { worldToCamera } from '../../geometry/camera.js';
import { gaussianPlane } from '../../image/gaussian.js';
import { createPicture, plane, type Picture } from '../../image/picture.js';
import { rasterizePolygon } from '../../image/polygon.js';
import { sampleBilinear } from '../../image/sampling.js';
import { groundGeometry, type Box, type GroundGeometry } from './ground.js';
import type { Placed } from '../render/place-performer.js';
import { wallPlane } from './receivers.js';
import type { GroundFrame, GroundStep } from '../types.js';

type Outline = readonly (readonly [number, number])[];

/** What is mirrored over its box. */
export interface Mirrored {
  /** Premultiplied linear RGBA of the performer in the mirror, times the share that is thrown back. */
  readonly picture: Picture;
  readonly box: Box;
  /**
   * Plate pixel (x, y) in the direction that each pixel mirrors; the nearest one where that is not in the picture, NaN
   * where it lies behind the camera.
   */
  readonly behind: Float32Array;
}

/** Reflectance of clear coats, glass and water seen straight on (refractive index 1.33 to 1.5). */
const HEAD_ON = 0.04;
/** Sd of a surface's slopes at roughness 1. */
export const SLOPE_SD = 0.2;
/** Streaks are drawn no longer than so many times as long as they are wide, and no longer than the performer. */
const LONGEST = 12;
const STEPS = 5;

/** Share thrown back by a clear surface seen under the cosine `c` of its normal (Schlick). */
export function schlick(c: number, headOn = HEAD_ON): number {
  return headOn + (1 - headOn) * (1 - Math.min(1, Math.max(0, c))) ** 5;
}

/** Share that a clear level surface throws back where a foot stands, by how flatly the camera sees it there. */
export function levelShare(
  foot: readonly [number, number],
  tiltDeg: number,
  rollDeg: number,
  focalPx: number,
  widthPx: number,
  heightPx: number,
): number {
  const up = unit(applyVector(worldToCamera(0, tiltDeg, rollDeg), [0, 1, 0]));
  return schlick(-dot(up, unit([(foot[0] - widthPx / 2) / focalPx, (foot[1] - heightPx / 2) / focalPx, 1])));
}

/**
 * The mirroring plane n · x = d, and the upright of the performer as the mirror shows it: `axis` is its way to the
 * right, sign −1 where it is turned about.
 */
interface Mirror {
  readonly n: Vec3;
  readonly d: number;
  readonly foot: Vec3;
  readonly sign: 1 | -1;
}

function mirrorOf(
  g: GroundGeometry,
  base: readonly [readonly [number, number], readonly [number, number]] | null,
): Mirror | null {
  const p = base === null ? { n: g.up, d: dot(g.up, g.foot) } : wallPlane(g, base, 0);
  if (p === null) return null;
  const off = dot(p.n, g.foot) - p.d;
  const foot: Vec3 = [g.foot[0] - 2 * off * p.n[0], g.foot[1] - 2 * off * p.n[1], g.foot[2] - 2 * off * p.n[2]];
  if (base === null) return { ...p, foot, sign: 1 };
  // Behind the pane there is no performer to be mirrored.
  if (off <= 0) return null;
  const ahead = level(g.foot, g.up),
    aside = cross(g.up, ahead),
    turned = 2 * dot(aside, p.n) ** 2 > 1;
  return { ...p, foot, sign: turned ? -1 : 1 };
}

const level = (v: Vec3, up: Vec3): Vec3 => {
  const h = dot(v, up);
  return unit([v[0] - h * up[0], v[1] - h * up[1], v[2] - h * up[2]]);
};

/** Foot line of an upright mirror at a frame: the nearest frame's; null for a level one. */
export function baseAt(
  base: NonNullable<GroundStep['reflection']>['base'],
  frame: number,
): readonly [readonly [number, number], readonly [number, number]] | null {
  return base === undefined || base.length === 0
    ? null
    : base.reduce((a, b) => (Math.abs(b.frame - frame) < Math.abs(a.frame - frame) ? b : a)).line;
}

/**
 * The performer in the mirror, and what it hides there; null where it is not seen. `base`: foot line of an upright
 * pane, null for the ground.
 */
export function reflectPerformer(
  step: GroundStep,
  at: GroundFrame,
  placed: Placed,
  widthPx: number,
  heightPx: number,
  region: Outline | null,
  base: readonly [readonly [number, number], readonly [number, number]] | null = null,
): Mirrored | null {
  const r = step.reflection;
  if (r === undefined || !(r.share > 0)) return null;
  const g = groundGeometry(step, at, widthPx, heightPx),
    mirror = mirrorOf(g, base);
  if (mirror === null) return null;
  const tall = placed.box[3] - placed.box[1],
    wide = placed.box[2] - placed.box[0];
  const { n, d, foot } = mirror;
  if (!(foot[2] > 1e-6)) return null;
  const fx = g.principal[0] + (g.focalPx * foot[0]) / foot[2],
    fy = g.principal[1] + (g.focalPx * foot[1]) / foot[2],
    scale = g.foot[2] / foot[2];
  // On the floor it hangs below the foot; in a pane it stands on the mirrored one.
  const reach: Box =
    base === null
      ? [placed.box[0] - 8, at.foot[1] - 0.15 * tall, placed.box[2] + 8, at.foot[1] + 1.4 * tall]
      : [fx - wide * scale, fy - 1.3 * tall * scale, fx + wide * scale, fy + 0.3 * tall * scale];
  const box: Box = [
    Math.max(0, Math.floor(reach[0])),
    Math.max(0, Math.floor(reach[1])),
    Math.min(widthPx, Math.ceil(reach[2])),
    Math.min(heightPx, Math.ceil(reach[3])),
  ];
  const w = box[2] - box[0],
    h = box[3] - box[1],
    m = w * h;
  if (w <= 0 || h <= 0) return null;
  // The upright that the mirror shows, and how high over the mirrored point of contact each pixel looks at it (pane:
  // how far behind the pane).
  const sharp = createPicture(w, h, 4),
    away = new Float32Array(m),
    share = new Float32Array(m),
    behind = new Float32Array(2 * m).fill(NaN);
  const wallAhead = level(g.foot, g.up),
    wallReach = dot(wallAhead, g.foot),
    mirroredReach = dot(wallAhead, foot);
  const rise = dot(g.up, g.foot);
  const sw = placed.picture.width,
    sh = placed.picture.height;
  const from = [0, 1, 2, 3].map((c) => plane(placed.picture, c)),
    seenAtFoot = schlick(-dot(n, unit(base === null ? g.foot : sightTo(n, d, foot))));
  const bound =
    region === null
      ? null
      : rasterizePolygon(
          region.map(([x, y]) => [x - box[0], y - box[1]] as const),
          w,
          h,
        );
  let any = false;
  for (let y = 0, i = 0; y < h; y++) {
    for (let x = 0; x < w; x++, i++) {
      if (bound !== null && bound[i]! <= 0) continue;
      const dx = (box[0] + x + 0.5 - g.principal[0]) / g.focalPx,
        dy = (box[1] + y + 0.5 - g.principal[1]) / g.focalPx,
        l = Math.hypot(dx, dy, 1);
      const facing = dx * n[0] + dy * n[1] + n[2];
      if (facing >= -1e-6) continue;
      const toPlane = d / facing;
      if (!(toPlane > 0)) continue;
      // Where the mirrored upright is met, past the plane.
      const k =
        base === null
          ? wallReach / (dx * wallAhead[0] + dy * wallAhead[1] + wallAhead[2])
          : mirroredReach / (dx * wallAhead[0] + dy * wallAhead[1] + wallAhead[2]);
      if (!(k > toPlane) || !Number.isFinite(k)) continue;
      const q: Vec3 = [dx * k, dy * k, k];
      let u: number, v: number;
      if (base === null) {
        const deep = rise - dot(q, g.up);
        const c: Vec3 = [q[0] + 2 * deep * g.up[0], q[1] + 2 * deep * g.up[1], q[2] + 2 * deep * g.up[2]];
        if (!(c[2] > 1e-6)) continue;
        u = g.principal[0] + (g.focalPx * c[0]) / c[2];
        v = g.principal[1] + (g.focalPx * c[1]) / c[2];
        away[i] = deep * at.pxPerMetre;
      } else {
        u = at.foot[0] + (mirror.sign * (box[0] + x + 0.5 - fx)) / scale;
        v = at.foot[1] + (box[1] + y + 0.5 - fy) / scale;
        away[i] = (k - toPlane) * l * at.pxPerMetre;
      }
      share[i] = ((r.share * schlick(-facing / l)) / seenAtFoot) * (bound === null ? 1 : bound[i]!);
      const bx = dx - 2 * facing * n[0],
        by = dy - 2 * facing * n[1],
        bz = 1 - 2 * facing * n[2];
      if (bz > 1e-3) {
        const px = g.principal[0] + (g.focalPx * bx) / bz,
          py = g.principal[1] + (g.focalPx * by) / bz;
        // Beyond the picture's edge it goes on as at the edge: walls, sky.
        behind[i] = Math.min(widthPx - 1, Math.max(0, px));
        behind[m + i] = Math.min(heightPx - 1, Math.max(0, py));
      }
      u -= placed.box[0];
      v -= placed.box[1];
      if (u < 0.5 || v < 0.5 || u > sw - 0.5 || v > sh - 0.5) continue;
      for (let c = 0; c < 4; c++) sharp.data[c * m + i] = sampleBilinear(from[c]!, sw, sh, u, v);
      any = true;
    }
  }
  if (!any) return null;
  roughen(
    sharp,
    away,
    2 * SLOPE_SD * r.roughness,
    base === null ? Math.max(1 / LONGEST, -dot(n, unit(g.foot))) : 1,
    tall,
  );
  for (let i = 0; i < m; i++) {
    const s = Math.min(1, share[i]!);
    for (let c = 0; c < 4; c++) sharp.data[c * m + i] = sharp.data[c * m + i]! * s;
  }
  return { picture: sharp, box, behind };
}

/** Where the line of sight to a point behind the plane meets it. */
function sightTo(n: Vec3, d: number, p: Vec3): Vec3 {
  const k = d / dot(n, p);
  return [p[0] * k, p[1] * k, p[2] * k];
}

/**
 * Blurs `p` in place by `slope` × `away` px aside and that over `flat` up and down: read between pictures blurred ever
 * more.
 */
function roughen(p: Picture, away: Float32Array, slope: number, flat: number, tall: number): void {
  const { width: w, height: h } = p,
    m = w * h,
    most = slope * tall;
  if (most < 0.3) return;
  const sharp = p.data.slice(),
    levels: Float32Array[] = [sharp],
    sigmas = [0];
  for (let s = 0; s < STEPS; s++) {
    const sigma = most / 2 ** (STEPS - 1 - s);
    if (sigma < 0.3) continue;
    const level = new Float32Array(4 * m);
    for (let c = 0; c < 4; c++)
      gaussianPlane(
        sharp.subarray(c * m, (c + 1) * m),
        w,
        h,
        sigma,
        Math.min(sigma / flat, 0.5 * tall),
        level.subarray(c * m, (c + 1) * m),
        'zero',
      );
    levels.push(level);
    sigmas.push(sigma);
  }
  for (let i = 0; i < m; i++) {
    const want = slope * away[i]!;
    let k = 0;
    while (k < levels.length - 2 && want > sigmas[k + 1]!) k++;
    const t = levels.length < 2 ? 0 : Math.min(1, Math.max(0, (want - sigmas[k]!) / (sigmas[k + 1]! - sigmas[k]!)));
    for (let c = 0; c < 4; c++) {
      const a = levels[k]![c * m + i]!,
        b = levels[Math.min(levels.length - 1, k + 1)]![c * m + i]!;
      p.data[c * m + i] = a + (b - a) * t;
    }
  }
}

/** Least share of its own light that a mirroring pixel keeps. */
const KEEPS = 0.02;

/**
 * Lays what is mirrored on `out` (linear RGB over `box`). `seen` gives the plate's linear light over `seenBox`, where
 * what the mirror showed before is looked up; what is not in it counts as bright as the pixel itself.
 */
export function layMirrored(
  out: Picture,
  mirrored: Mirrored,
  box: Box,
  seen: Picture,
  seenBox: Box,
  touched: Uint8Array,
  hidden: Float32Array | null,
): void {
  const w = box[2] - box[0],
    n = out.width * out.height,
    { picture, behind } = mirrored,
    mw = picture.width,
    m = mw * picture.height;
  const sw = seen.width,
    s = sw * seen.height;
  for (let i = 0; i < m; i++) {
    const a = picture.data[3 * m + i]!;
    if (!(a > 0.001)) continue;
    const o = (Math.floor(i / mw) + mirrored.box[1] - box[1]) * w + (i % mw) + mirrored.box[0] - box[0],
      k = hidden === null ? 1 : 1 - hidden[o]!;
    if (k <= 0) continue;
    const x = Math.floor(behind[i]!) - seenBox[0],
      y = Math.floor(behind[m + i]!) - seenBox[1],
      known = x >= 0 && y >= 0 && x < sw && y < seen.height;
    touched[o] = 1;
    for (let c = 0; c < 3; c++) {
      const had = out.data[c * n + o]!,
        lost = known ? seen.data[c * s + y * sw + x]! : had;
      out.data[c * n + o] = Math.max(KEEPS * had, had + k * (picture.data[c * m + i]! - a * lost));
    }
  }
}

/** Box that holds the plate pixels looked up; null where there are none. */
export function behindBox(mirrored: Mirrored, widthPx: number, heightPx: number): Box | null {
  const m = mirrored.picture.width * mirrored.picture.height;
  let x0 = Infinity,
    y0 = Infinity,
    x1 = -Infinity,
    y1 = -Infinity;
  for (let i = 0; i < m; i++) {
    const x = mirrored.behind[i]!,
      y = mirrored.behind[m + i]!;
    if (Number.isNaN(x) || !(mirrored.picture.data[3 * m + i]! > 0.001)) continue;
    x0 = Math.min(x0, x);
    x1 = Math.max(x1, x);
    y0 = Math.min(y0, y);
    y1 = Math.max(y1, y);
  }
  return x1 < x0
    ? null
    : [Math.floor(x0), Math.floor(y0), Math.min(widthPx, Math.floor(x1) + 1), Math.min(heightPx, Math.floor(y1) + 1)];
}
