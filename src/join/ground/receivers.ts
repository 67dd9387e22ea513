/**
 * Surfaces that a person marked for the performer's shadow to fall on: a wall (upright plane over a line on the
 * ground), a step (level plane some way over or under the ground), a face (a rounded body, filled from its outline as
 * the performer's own is). Each pixel of the outline is followed along its line of sight to the surface, and from there
 * to the key in the shadow map (Williams, "Casting curved shadows on curved surfaces", SIGGRAPH 1978). The key falls on
 * each surface at an angle of its own: how strongly beside level ground is given along (Lambert's law), because that
 * much of it is there to be hidden.
 *
 * Camera frame: x right, y down, z forward; lengths in metres (or, where no height is known, in performer heights).
 */
import { cross, dot, unit, type Vec3 } from '../../geometry/mat3.js';
import { rasterizePolygon } from '../../image/polygon.js';
import { nearestInSet } from '../../image/distance.js';
import { ballsOfMatte } from '../body/body-volume.js';
import { contactAt, type ContactBalls } from './contact.js';
import type { Box, GroundGeometry } from './ground.js';
import { shadowAt, type ShadowMap, type SolidBall } from './shadow-map.js';
import { spreadWithin } from './spread-within.js';
import type { ReceiverFrame, ShadowReceiver } from './types.js';

type Point = readonly [number, number];

/** n · x = d, n of unit length towards the camera's side. */
export interface Plane {
  readonly n: Vec3;
  readonly d: number;
}

/** A marked surface as it stands at one frame. */
export interface PlacedReceiver {
  /** Place in the step's list, from 1; 0 for the carrier itself. */
  readonly number: number;
  readonly polygon: readonly Point[];
  readonly surface: Plane | readonly SolidBall[];
  /**
   * Cosine of the sight on a rounded body from which on it takes less, to nothing where it turns away: its true outline
   * is not known.
   */
  readonly fadesFrom?: number;
}

/** What the marked surfaces say over a box: planes of its size. */
export interface MarkedShade {
  /** Share of the pixel that a marked surface takes up, 0..1. */
  readonly share: Float32Array;
  /** The key's strength on the surface over its strength on level ground. */
  readonly key: Float32Array;
  /** Which receiver, from 1; 0 for none. */
  readonly number: Uint8Array;
}

/** Least sine of the key's height that strengths are set against: below it level ground hardly has any key. */
const LEAST_SINE = 0.09;
const MOST_KEY = 6;
/** Cosine below which the key only grazes a plane. */
export const GRAZING = 0.03;

/** A receiver's outline and foot line at a frame; the nearest frame's where it has none of its own. */
export function receiverAt(receiver: ShadowReceiver, frame: number): ReceiverFrame | null {
  let best: ReceiverFrame | null = null;
  for (const f of receiver.frames)
    if (best === null || Math.abs(f.frame - frame) < Math.abs(best.frame - frame)) best = f;
  return best;
}

/**
 * Where the line of sight through a pixel meets the level plane `height` over the ground; null at or beyond its
 * horizon.
 */
function onLevel(g: GroundGeometry, p: Point, height: number): Vec3 | null {
  const d: Vec3 = [(p[0] - g.principal[0]) / g.focalPx, (p[1] - g.principal[1]) / g.focalPx, 1];
  const k = (dot(g.up, g.foot) + height) / dot(g.up, d);
  return k > 0 && Number.isFinite(k) ? [d[0] * k, d[1] * k, k] : null;
}

/**
 * Upright plane over a foot line on the ground, or on the level `height` over it; null where the line can't be the foot
 * of anything seen.
 */
export function wallPlane(g: GroundGeometry, base: readonly [Point, Point], height: number): Plane | null {
  const a = onLevel(g, base[0], height),
    b = onLevel(g, base[1], height);
  if (a === null || b === null) return null;
  const along: Vec3 = [b[0] - a[0], b[1] - a[1], b[2] - a[2]];
  const across = cross(along, g.up);
  if (!(Math.hypot(...across) > 1e-6)) return null;
  const n = unit(across),
    d = dot(n, a);
  // The camera, at the origin, sees the side that the normal points to: n · 0 > d.
  return d < 0 ? { n, d } : { n: [-n[0], -n[1], -n[2]], d: -d };
}

/** Level plane over the ground; null where the camera does not look down on it. */
export function stepPlane(g: GroundGeometry, height: number): Plane | null {
  const d = dot(g.up, g.foot) + height;
  return d < 0 ? { n: g.up, d } : null;
}

/**
 * The outlined body as balls, standing in the upright plane that faces the camera: through the middle of its foot line,
 * or at the performer's own distance where none is given.
 */
export function faceBalls(
  g: GroundGeometry,
  polygon: readonly Point[],
  base: readonly [Point, Point] | undefined,
  height: number,
): SolidBall[] {
  const place =
    base === undefined ? g.foot : onLevel(g, [(base[0][0] + base[1][0]) / 2, (base[0][1] + base[1][1]) / 2], height);
  if (place === null) return [];
  const x0 = Math.floor(Math.min(...polygon.map((p) => p[0]))) - 1,
    y0 = Math.floor(Math.min(...polygon.map((p) => p[1]))) - 1;
  const w = Math.ceil(Math.max(...polygon.map((p) => p[0]))) + 1 - x0,
    h = Math.ceil(Math.max(...polygon.map((p) => p[1]))) + 1 - y0;
  const matte = rasterizePolygon(
    polygon.map(([x, y]) => [x - x0, y - y0] as const),
    w,
    h,
  );
  const rise = dot(place, g.up);
  const n = unit([place[0] - rise * g.up[0], place[1] - rise * g.up[1], place[2] - rise * g.up[2]]);
  const reach = dot(n, place);
  const out: SolidBall[] = [];
  for (const ball of ballsOfMatte(matte, w, h)) {
    const d: Vec3 = [(ball.x + x0 - g.principal[0]) / g.focalPx, (ball.y + y0 - g.principal[1]) / g.focalPx, 1];
    const k = reach / dot(n, d);
    if (k > 0 && Number.isFinite(k)) out.push({ centre: [d[0] * k, d[1] * k, k], radius: (ball.r / g.focalPx) * k });
  }
  return out;
}

/** The marked surfaces at one frame; those that can't stand where they were marked are left out. */
export function placeReceivers(
  receivers: readonly ShadowReceiver[],
  g: GroundGeometry,
  frame: number,
): PlacedReceiver[] {
  const out: PlacedReceiver[] = [];
  receivers.forEach((r, i) => {
    const at = receiverAt(r, frame);
    if (at === null || at.polygon.length < 3) return;
    const height = r.height ?? 0;
    const surface =
      r.surface === 'face'
        ? faceBalls(g, at.polygon, at.base, height)
        : r.surface === 'step'
          ? stepPlane(g, height)
          : at.base === undefined
            ? null
            : wallPlane(g, at.base, height);
    if (surface === null || (isBalls(surface) && surface.length === 0)) return;
    out.push({ number: i + 1, polygon: at.polygon, surface });
  });
  return out;
}

export function isBalls(surface: Plane | readonly SolidBall[]): surface is readonly SolidBall[] {
  return Array.isArray(surface);
}

/** Whether the key reaches the surface at all. */
export function isLit(r: PlacedReceiver, light: Vec3): boolean {
  return isBalls(r.surface) || dot(light, r.surface.n) > GRAZING;
}

/** Coverage below this is none: the outline's running sums leave a trace of rounding beyond it. */
const TRACE = 1e-4;

/**
 * Writes the shade of the marked surfaces over that of the ground. A pixel under two outlines takes the later one's; at
 * the seam of two that meet each has its own share.
 * @param map null where nothing throws a shadow @param cover, contact the ground's own over `box`, mixed in place
 * @param lensPx sd of the plate's own softness: each surface's shadow is spread by it within its own outline
 */
export function fillReceivers(
  list: readonly PlacedReceiver[],
  g: GroundGeometry,
  map: ShadowMap | null,
  near: ContactBalls,
  box: Box,
  cover: Float32Array,
  contact: Float32Array,
  lensPx = 0,
): MarkedShade {
  const w = box[2] - box[0],
    h = box[3] - box[1];
  const share = new Float32Array(w * h),
    key = new Float32Array(w * h),
    number = new Uint8Array(w * h);
  const hidden = new Float32Array(w * h),
    closed = new Float32Array(w * h);
  const level = Math.max(LEAST_SINE, dot(g.light, g.up));
  const hit = new Float64Array(6);
  const fallen = new Float32Array(w * h),
    lies = new Float32Array(w * h);
  for (const { polygon, surface, number: own, fadesFrom } of list) {
    fallen.fill(0);
    lies.fill(0);
    const inside = rasterizePolygon(
      polygon.map(([x, y]) => [x - box[0], y - box[1]] as const),
      w,
      h,
    );
    const front = isBalls(surface) ? frontOf(surface, g, inside, box) : null;
    // The outermost pixels of a body may pass its balls by: they take what the nearest ball's pixel has.
    const instead =
      front === null
        ? null
        : nearestInSet(
            Uint8Array.from(front, (b) => (b < 0 ? 0 : 1)),
            w,
            h,
          ).nearest;
    for (let y = 0; y < h; y++) {
      const dy = (y + box[1] + 0.5 - g.principal[1]) / g.focalPx;
      for (let x = 0; x < w; x++) {
        const o = y * w + x;
        let s = inside[o]!;
        if (s <= TRACE) continue;
        if (front === null) {
          if (!meetPlane(surface as Plane, (x + box[0] + 0.5 - g.principal[0]) / g.focalPx, dy, hit)) continue;
        } else {
          const i = instead![o]!,
            q = i % w;
          if (
            !meetBall(
              surface as readonly SolidBall[],
              front[i]!,
              (q + box[0] + 0.5 - g.principal[0]) / g.focalPx,
              ((i - q) / w + box[1] + 0.5 - g.principal[1]) / g.focalPx,
              hit,
            )
          )
            continue;
        }
        const px = hit[0]!,
          py = hit[1]!,
          pz = hit[2]!,
          nx = hit[3]!,
          ny = hit[4]!,
          nz = hit[5]!;
        const slant = g.light[0] * nx + g.light[1] * ny + g.light[2] * nz;
        if (fadesFrom !== undefined)
          s *= Math.min(1, Math.max(0, -(px * nx + py * ny + pz * nz) / (Math.hypot(px, py, pz) * fadesFrom)));
        // What the ground still had of the pixel goes first, then what the surfaces before had.
        const had = share[o]!,
          left = Math.min(had, 1 - s),
          k = had > 0 ? left / had : 0;
        hidden[o] = hidden[o]! * k;
        fallen[o] = s * (slant > GRAZING && map !== null ? shadowAt(map, px, py, pz) : 0);
        lies[o] = s;
        closed[o] = closed[o]! * k + s * contactAt(near, px, py, pz, nx, ny, nz);
        key[o] = key[o]! * k + s * Math.min(MOST_KEY, Math.max(0, slant) / level);
        share[o] = left + s;
        if (s >= left) number[o] = own;
      }
    }
    const soft = lensPx > 0 && map !== null ? spreadWithin(fallen, lies, w, h, lensPx) : fallen;
    for (let o = 0; o < hidden.length; o++) hidden[o] = hidden[o]! + soft[o]!;
  }
  for (let o = 0; o < share.length; o++) {
    const s = share[o]!;
    if (s === 0) continue;
    cover[o] = cover[o]! * (1 - s) + hidden[o]!;
    contact[o] = contact[o]! * (1 - s) + closed[o]!;
    key[o] = key[o]! / s;
  }
  return { share, key, number };
}

function meetPlane(plane: Plane, dx: number, dy: number, hit: Float64Array): boolean {
  const facing = dx * plane.n[0] + dy * plane.n[1] + plane.n[2];
  if (facing >= -1e-6) return false;
  const k = plane.d / facing;
  if (!(k > 0)) return false;
  hit[0] = dx * k;
  hit[1] = dy * k;
  hit[2] = k;
  hit[3] = plane.n[0];
  hit[4] = plane.n[1];
  hit[5] = plane.n[2];
  return true;
}

/** Which ball each pixel of the outline sees first, from 0; −1 for none. Each ball is tried on its own pixels only. */
function frontOf(balls: readonly SolidBall[], g: GroundGeometry, inside: Float32Array, box: Box): Int32Array {
  const w = box[2] - box[0],
    h = box[3] - box[1];
  const front = new Int32Array(w * h).fill(-1),
    depth = new Float64Array(w * h).fill(Infinity);
  const hit = new Float64Array(6);
  for (let i = 0; i < balls.length; i++) {
    const { centre, radius } = balls[i]!;
    const cx = g.principal[0] + (g.focalPx * centre[0]) / centre[2],
      cy = g.principal[1] + (g.focalPx * centre[1]) / centre[2];
    const reach = (1.2 * g.focalPx * radius) / Math.max(0.05, centre[2] - radius) + 2;
    const xa = Math.max(0, Math.floor(cx - reach) - box[0]),
      xb = Math.min(w, Math.ceil(cx + reach) - box[0]);
    for (
      let y = Math.max(0, Math.floor(cy - reach) - box[1]), yb = Math.min(h, Math.ceil(cy + reach) - box[1]);
      y < yb;
      y++
    ) {
      const dy = (y + box[1] + 0.5 - g.principal[1]) / g.focalPx;
      for (let x = xa; x < xb; x++) {
        const o = y * w + x;
        if (inside[o]! <= 0 || !meetBall(balls, i, (x + box[0] + 0.5 - g.principal[0]) / g.focalPx, dy, hit)) continue;
        if (hit[2]! < depth[o]!) {
          depth[o] = hit[2]!;
          front[o] = i;
        }
      }
    }
  }
  return front;
}

function meetBall(balls: readonly SolidBall[], i: number, dx: number, dy: number, hit: Float64Array): boolean {
  if (i < 0) return false;
  const { centre: c, radius } = balls[i]!;
  const dd = dx * dx + dy * dy + 1,
    b = dx * c[0] + dy * c[1] + c[2];
  const root = b * b - dd * (c[0] * c[0] + c[1] * c[1] + c[2] * c[2] - radius * radius);
  if (root < 0) return false;
  const k = (b - Math.sqrt(root)) / dd;
  if (!(k > 0)) return false;
  hit[0] = dx * k;
  hit[1] = dy * k;
  hit[2] = k;
  hit[3] = (hit[0] - c[0]) / radius;
  hit[4] = (hit[1] - c[1]) / radius;
  hit[5] = (k - c[2]) / radius;
  return true;
}
