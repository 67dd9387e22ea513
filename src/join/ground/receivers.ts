/**
 * Surfaces that a person marked for the performer's shadow to fall on: a wall (upright plane over a line on the
 * ground), a step (level plane some way over or under the ground), a face (a rounded body, filled from its outline as
 * the performer's own is); where they stand at a frame. Their shade is drawn in receiver-shade.ts.
 *
 * Camera frame: x right, y down, z forward; lengths in metres (or, where no height is known, in performer heights).
 */
import { cross, dot, unit, type Vec3 } from '../../geometry/mat3.js';
import { rasterizePolygon } from '../../image/polygon.js';
import { ballsOfMatte } from '../body/body-volume.js';
import type { GroundGeometry } from './ground-geometry.js';
import { type SolidBall } from './shadow-map.js';
import type { ReceiverFrame, ShadowReceiver } from './types.js';

type Point = readonly [number, number];

/** n · x = d, n of unit length towards the camera's side. */
export interface Plane {
  readonly n: Vec3;
  readonly d: number;
}

/**
 * An upright body, round at both sides and flat between them: all that lies within a radius of a level line of half the
 * length `half` about `middle`, at any height. Its normals lie level. A ball's looks up above its middle and down
 * below, and two balls side by side meet in a crease, so that a key from the side would light them in bands and
 * stripes.
 */
export interface Torso {
  readonly up: Vec3;
  readonly middle: Vec3;
  /** Of unit length. */
  readonly across: Vec3;
  readonly half: number;
  /** Height over `middle` from which on the shoulders round off: there a ball's own normal holds. */
  readonly high: number;
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
  /** Where balls stand for an upright body that is broad and round: its own normals in place of each ball's. */
  readonly torso?: Torso;
}

/** Cosine below which the key only grazes a plane. */
export const GRAZING = 0.03;

/** A receiver's outline and foot line at a frame; the nearest frame's where it has none of its own. */
function receiverAt(receiver: ShadowReceiver, frame: number): ReceiverFrame | null {
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
function stepPlane(g: GroundGeometry, height: number): Plane | null {
  const d = dot(g.up, g.foot) + height;
  return d < 0 ? { n: g.up, d } : null;
}

/**
 * The outlined body as balls, standing in the upright plane that faces the camera: through the middle of its foot line,
 * or at the performer's own distance where none is given.
 */
function faceBalls(
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
  return receivers.flatMap((receiver, i) => {
    const at = receiverAt(receiver, frame);
    if (at === null || at.polygon.length < 3) return [];
    const surface = surfaceOf(receiver, at, g);
    if (surface === null || (isBalls(surface) && surface.length === 0)) return [];
    return [{ number: i + 1, polygon: at.polygon, surface }];
  });
}

function surfaceOf(receiver: ShadowReceiver, at: ReceiverFrame, g: GroundGeometry): PlacedReceiver['surface'] | null {
  const height = receiver.height ?? 0;
  if (receiver.surface === 'face') return faceBalls(g, at.polygon, at.base, height);
  if (receiver.surface === 'step') return stepPlane(g, height);
  return at.base === undefined ? null : wallPlane(g, at.base, height);
}

/** Is the surface a rounded body, given by its balls, rather than a plane? */
export function isBalls(surface: Plane | readonly SolidBall[]): surface is readonly SolidBall[] {
  return Array.isArray(surface);
}

/** Whether the key reaches the surface at all. */
export function isLit(r: PlacedReceiver, light: Vec3): boolean {
  return isBalls(r.surface) || dot(light, r.surface.n) > GRAZING;
}
