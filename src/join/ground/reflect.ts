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
import { createPicture, plane, type Picture } from '../../image/picture.js';
import { rasterizePolygon } from '../../image/polygon.js';
import { sampleBilinear } from '../../image/sampling.js';
import type { Box } from './ground.js';
import { groundGeometry, type GroundGeometry } from './ground-geometry.js';
import type { Placed } from '../render/place-performer.js';
import { wallPlane } from './receivers.js';
import { roughen } from './mirror-rough.js';
import type { GroundStep } from '../types.js';
import type { GroundFrame } from './types.js';

type Outline = readonly (readonly [number, number])[];
/** Where an upright pane stands on the ground, px. */
type FootLine = readonly [readonly [number, number], readonly [number, number]];

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
  /** How far (x, y) beyond the picture the plate would have had to be looked up, px; 0 within. */
  readonly beyond: Float32Array;
}

/** Reflectance of clear coats, glass and water seen straight on (refractive index 1.33 to 1.5). */
const HEAD_ON = 0.04;
/** Sd of a surface's slopes at roughness 1. */
const SLOPE_SD = 0.2;
/** Streaks are drawn no longer than so many times as long as they are wide, and no longer than the performer. */
const LONGEST = 12;

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

function mirrorOf(g: GroundGeometry, base: FootLine | null): Mirror | null {
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
export function baseAt(base: NonNullable<GroundStep['reflection']>['base'], frame: number): FootLine | null {
  return base === undefined || base.length === 0
    ? null
    : base.reduce((a, b) => (Math.abs(b.frame - frame) < Math.abs(a.frame - frame) ? b : a)).line;
}

/** What is mirrored, in which picture, and in what. */
export interface ReflectFrom {
  readonly placed: Placed;
  /** Of the plate. */
  readonly widthPx: number;
  readonly heightPx: number;
  /** Outline of what mirrors; null where all of the plane does. */
  readonly region: Outline | null;
  /** Foot line of an upright pane; null for the ground. */
  readonly base?: FootLine | null;
}

/** The performer in the mirror, and what it hides there; null where it is not seen. */
export function reflectPerformer(step: GroundStep, at: GroundFrame, from: ReflectFrom): Mirrored | null {
  const { placed, widthPx, heightPx, region, base = null } = from,
    r = step.reflection;
  if (r === undefined || !(r.share > 0)) return null;
  const g = groundGeometry(step, at, widthPx, heightPx),
    mirror = mirrorOf(g, base);
  if (mirror === null || !(mirror.foot[2] > 1e-6)) return null;
  const pane = base === null ? null : paneOf(g, mirror),
    box = within(pane === null ? reachOnFloor(placed.box, at) : reachInPane(placed.box, pane), widthPx, heightPx);
  if (box === null) return null;
  const shown = draw({
    g,
    n: mirror.n,
    d: mirror.d,
    met: pane === null ? metOnFloor(g, at) : metInPane(g, mirror, at, pane),
    // Share thrown back over that of a clear surface, seen as at the foot.
    shareAtFoot: r.share,
    clearAtFoot: schlick(-dot(mirror.n, unit(pane === null ? g.foot : sightTo(mirror, mirror.foot)))),
    placed,
    widthPx,
    heightPx,
    box,
    bound: region === null ? null : boundIn(region, box),
  });
  if (shown === null) return null;
  const { picture, away, share, behind, beyond } = shown,
    m = share.length,
    flat = pane === null ? Math.max(1 / LONGEST, -dot(mirror.n, unit(g.foot))) : 1;
  roughen(picture, away, 2 * SLOPE_SD * r.roughness, flat, placed.box[3] - placed.box[1]);
  for (let i = 0; i < m; i++) {
    const s = Math.min(1, share[i]!);
    for (let c = 0; c < 4; c++) picture.data[c * m + i] = picture.data[c * m + i]! * s;
  }
  return { picture, box, behind, beyond };
}

/** Where the mirrored foot shows in a pane, px, and how much smaller the performer shows there than it stands. */
interface Pane {
  readonly fx: number;
  readonly fy: number;
  readonly scale: number;
}

const paneOf = (g: GroundGeometry, { foot }: Mirror): Pane => ({
  fx: g.principal[0] + (g.focalPx * foot[0]) / foot[2],
  fy: g.principal[1] + (g.focalPx * foot[1]) / foot[2],
  scale: g.foot[2] / foot[2],
});

/** On the floor it hangs below the foot. */
function reachOnFloor([x0, y0, x1, y1]: Box, { foot }: GroundFrame): Box {
  const tall = y1 - y0;
  return [x0 - 8, foot[1] - 0.15 * tall, x1 + 8, foot[1] + 1.4 * tall];
}

/** In a pane it stands on the mirrored foot. */
function reachInPane([x0, y0, x1, y1]: Box, { fx, fy, scale }: Pane): Box {
  const tall = y1 - y0,
    wide = x1 - x0;
  return [fx - wide * scale, fy - 1.3 * tall * scale, fx + wide * scale, fy + 0.3 * tall * scale];
}

function within(reach: Box, widthPx: number, heightPx: number): Box | null {
  const box: Box = [
    Math.max(0, Math.floor(reach[0])),
    Math.max(0, Math.floor(reach[1])),
    Math.min(widthPx, Math.ceil(reach[2])),
    Math.min(heightPx, Math.ceil(reach[3])),
  ];
  return box[2] > box[0] && box[3] > box[1] ? box : null;
}

const boundIn = (region: Outline, [x0, y0, x1, y1]: Box): Float32Array =>
  rasterizePolygon(
    region.map(([x, y]) => [x - x0, y - y0] as const),
    x1 - x0,
    y1 - y0,
  );

/**
 * Where the sight (dx, dy, 1) of the plate's place (x, y) meets the mirrored upright, past the plane at depth
 * `toPlane`: plate pixel of the performer that shows there, and how high over the mirrored point of contact it looks,
 * px (pane: how far behind the pane). Written to `out` as (u, v, away); false where it does not meet it.
 */
type Met = (x: number, y: number, dx: number, dy: number, toPlane: number, out: Float64Array) => boolean;

function metOnFloor(g: GroundGeometry, at: GroundFrame): Met {
  const ahead = level(g.foot, g.up),
    reach = dot(ahead, g.foot),
    rise = dot(g.up, g.foot);
  return (_x, _y, dx, dy, toPlane, out) => {
    const k = reach / (dx * ahead[0] + dy * ahead[1] + ahead[2]);
    if (!(k > toPlane) || !Number.isFinite(k)) return false;
    const q: Vec3 = [dx * k, dy * k, k];
    const deep = rise - dot(q, g.up);
    const c: Vec3 = [q[0] + 2 * deep * g.up[0], q[1] + 2 * deep * g.up[1], q[2] + 2 * deep * g.up[2]];
    if (!(c[2] > 1e-6)) return false;
    out[0] = g.principal[0] + (g.focalPx * c[0]) / c[2];
    out[1] = g.principal[1] + (g.focalPx * c[1]) / c[2];
    out[2] = deep * at.pxPerMetre;
    return true;
  };
}

function metInPane(g: GroundGeometry, mirror: Mirror, at: GroundFrame, { fx, fy, scale }: Pane): Met {
  const ahead = level(g.foot, g.up),
    reach = dot(ahead, mirror.foot);
  return (x, y, dx, dy, toPlane, out) => {
    const k = reach / (dx * ahead[0] + dy * ahead[1] + ahead[2]);
    if (!(k > toPlane) || !Number.isFinite(k)) return false;
    out[0] = at.foot[0] + (mirror.sign * (x - fx)) / scale;
    out[1] = at.foot[1] + (y - fy) / scale;
    out[2] = (k - toPlane) * Math.hypot(dx, dy, 1) * at.pxPerMetre;
    return true;
  };
}

/** The plane n · x = d, what it mirrors of what, and over which box of the plate. */
interface Drawing {
  readonly g: GroundGeometry;
  readonly n: Vec3;
  readonly d: number;
  readonly met: Met;
  readonly shareAtFoot: number;
  readonly clearAtFoot: number;
  readonly placed: Placed;
  readonly widthPx: number;
  readonly heightPx: number;
  readonly box: Box;
  /** Share of each pixel that mirrors; null where all do. */
  readonly bound: Float32Array | null;
}

/** The upright that the mirror shows, sharp and whole; how far each pixel looks and what share it throws back. */
interface Shown {
  readonly picture: Picture;
  readonly away: Float32Array;
  readonly share: Float32Array;
  readonly behind: Float32Array;
  readonly beyond: Float32Array;
}

/** Null where nothing of the performer shows. */
function draw({ g, n, d, met, placed, box, bound, ...of }: Drawing): Shown | null {
  const w = box[2] - box[0],
    h = box[3] - box[1],
    m = w * h,
    picture = createPicture(w, h, 4),
    away = new Float32Array(m),
    share = new Float32Array(m),
    behind = new Float32Array(2 * m).fill(NaN),
    beyond = new Float32Array(2 * m);
  const sw = placed.picture.width,
    sh = placed.picture.height,
    from = [0, 1, 2, 3].map((c) => plane(placed.picture, c)),
    at = new Float64Array(3);
  let any = false;
  for (let y = 0, i = 0; y < h; y++) {
    for (let x = 0; x < w; x++, i++) {
      if (bound !== null && bound[i]! <= 0) continue;
      const px = box[0] + x + 0.5,
        py = box[1] + y + 0.5,
        dx = (px - g.principal[0]) / g.focalPx,
        dy = (py - g.principal[1]) / g.focalPx;
      const facing = dx * n[0] + dy * n[1] + n[2];
      if (facing >= -1e-6) continue;
      const toPlane = d / facing;
      if (!(toPlane > 0) || !met(px, py, dx, dy, toPlane, at)) continue;
      away[i] = at[2]!;
      share[i] =
        ((of.shareAtFoot * schlick(-facing / Math.hypot(dx, dy, 1))) / of.clearAtFoot) *
        (bound === null ? 1 : bound[i]!);
      const bx = dx - 2 * facing * n[0],
        by = dy - 2 * facing * n[1],
        bz = 1 - 2 * facing * n[2];
      if (bz > 1e-3) {
        // Beyond the picture's edge it goes on as about the edge: walls, sky.
        const px = g.principal[0] + (g.focalPx * bx) / bz,
          py = g.principal[1] + (g.focalPx * by) / bz;
        behind[i] = Math.min(of.widthPx - 1, Math.max(0, px));
        behind[m + i] = Math.min(of.heightPx - 1, Math.max(0, py));
        beyond[i] = Math.abs(px - behind[i]!);
        beyond[m + i] = Math.abs(py - behind[m + i]!);
      }
      const u = at[0]! - placed.box[0],
        v = at[1]! - placed.box[1];
      if (u < 0.5 || v < 0.5 || u > sw - 0.5 || v > sh - 0.5) continue;
      for (let c = 0; c < 4; c++) picture.data[c * m + i] = sampleBilinear(from[c]!, sw, sh, u, v);
      any = true;
    }
  }
  return any ? { picture, away, share, behind, beyond } : null;
}

/** Where the line of sight to a point behind the plane meets it. */
function sightTo({ n, d }: Mirror, p: Vec3): Vec3 {
  const k = d / dot(n, p);
  return [p[0] * k, p[1] * k, p[2] * k];
}
