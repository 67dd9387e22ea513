/**
 * The performer's shadow on marked surfaces (receivers.ts): each pixel of an outline is followed along its line of
 * sight to the surface, and from there to the key in the shadow map (Williams, "Casting curved shadows on curved
 * surfaces", SIGGRAPH 1978). The key falls on each surface at an angle of its own: how strongly beside level ground is
 * given along (Lambert's law), because that much of it is there to be hidden.
 *
 * Camera frame: x right, y down, z forward; lengths in metres (or, where no height is known, in performer heights).
 */
import { three } from '../../core/tuples.js';
import { dot, type Vec3 } from '../../geometry/mat3.js';
import { rasterizePolygon } from '../../image/polygon.js';
import { nearestInSet } from '../../image/distance.js';
import { contactAt, type ContactBalls } from './contact.js';
import type { Box } from './ground.js';
import type { GroundGeometry } from './ground-geometry.js';
import { GRAZING, isBalls, type PlacedReceiver, type Plane, type Torso } from './receivers.js';
import { shadowAt, type ShadowMap, type SolidBall } from './shadow-map.js';
import { spreadWithin } from './spread-within.js';

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
/** Coverage below this is none: the outline's running sums leave a trace of rounding beyond it. */
const TRACE = 1e-4;

/** What lies on the marked surfaces over a box of the picture. */
export interface OnReceivers {
  readonly geometry: GroundGeometry;
  readonly box: Box;
  /** Null where nothing throws a shadow. */
  readonly map: ShadowMap | null;
  readonly near: ContactBalls;
  /** Sd of the plate's own softness: each surface's shadow is spread by it within its own outline. Default 0. */
  readonly lensPx?: number;
}

/**
 * Writes the shade of the marked surfaces over that of the ground. A pixel under two outlines takes the later one's; at
 * the seam of two that meet each has its own share.
 * @param ground its own shadow and contact over the box, mixed in place
 */
export function fillReceivers(
  list: readonly PlacedReceiver[],
  on: OnReceivers,
  ground: { readonly cover: Float32Array; readonly contact: Float32Array },
): MarkedShade {
  const shade = new ReceiverShade(on);
  for (const receiver of list) shade.lay(receiver);
  return shade.mixInto(ground.cover, ground.contact);
}

/** The shade of several surfaces over one box while they are laid one over the other. */
class ReceiverShade {
  private readonly on: OnReceivers;
  private readonly width: number;
  private readonly height: number;
  private readonly share: Float32Array;
  private readonly key: Float32Array;
  private readonly number: Uint8Array;
  /** Shadow and contact, each times the surface's share of the pixel. */
  private readonly hidden: Float32Array;
  private readonly closed: Float32Array;
  /** The surface being laid: its shadow before it is spread, and its share of the pixel. */
  private readonly fallen: Float32Array;
  private readonly lies: Float32Array;
  /** Where a line of sight meets the surface, and its normal there: x, y, z, nx, ny, nz. */
  private readonly hit = new Float64Array(6);
  /** The key on level ground. */
  private readonly level: number;

  constructor(on: OnReceivers) {
    const { box, geometry } = on;
    this.on = on;
    this.width = box[2] - box[0];
    this.height = box[3] - box[1];
    const count = this.width * this.height;
    this.share = new Float32Array(count);
    this.key = new Float32Array(count);
    this.number = new Uint8Array(count);
    this.hidden = new Float32Array(count);
    this.closed = new Float32Array(count);
    this.fallen = new Float32Array(count);
    this.lies = new Float32Array(count);
    this.level = Math.max(LEAST_SINE, dot(geometry.light, geometry.up));
  }

  lay(receiver: PlacedReceiver): void {
    const { width, height, fallen, lies, hidden } = this;
    const { box, map, lensPx = 0 } = this.on;
    fallen.fill(0);
    lies.fill(0);
    const outline = receiver.polygon.map(([x, y]) => [x - box[0], y - box[1]] as const);
    const inside = rasterizePolygon(outline, width, height);
    const meets = isBalls(receiver.surface)
      ? this.sightsOnBalls(receiver.surface, inside)
      : this.sightsOnPlane(receiver.surface);
    for (let y = 0, o = 0; y < height; y++)
      for (let x = 0; x < width; x++, o++)
        if (inside[o]! > TRACE && meets(x, y)) this.layPixel(o, inside[o]!, receiver);
    const soft = lensPx > 0 && map !== null ? spreadWithin(fallen, lies, width, height, lensPx) : fallen;
    for (let o = 0; o < hidden.length; o++) hidden[o] = hidden[o]! + soft[o]!;
  }

  /** Lays the surface, which `hit` tells, on a pixel of which its outline covers a share. */
  private layPixel(o: number, covered: number, receiver: PlacedReceiver): void {
    const { hit, share, hidden, closed, key } = this;
    const { map, near } = this.on;
    const { light } = this.on.geometry;
    if (receiver.torso !== undefined) normalOfTorso(hit, receiver.torso);
    const px = hit[0]!;
    const py = hit[1]!;
    const pz = hit[2]!;
    const nx = hit[3]!;
    const ny = hit[4]!;
    const nz = hit[5]!;
    const slant = light[0] * nx + light[1] * ny + light[2] * nz;
    let s = covered;
    if (receiver.fadesFrom !== undefined) {
      const facing = -(px * nx + py * ny + pz * nz) / (Math.hypot(px, py, pz) * receiver.fadesFrom);
      s *= Math.min(1, Math.max(0, facing));
    }
    // What the ground still had of the pixel goes first, then what the surfaces before had.
    const had = share[o]!;
    const left = Math.min(had, 1 - s);
    const kept = had > 0 ? left / had : 0;
    hidden[o] = hidden[o]! * kept;
    this.fallen[o] = s * (slant > GRAZING && map !== null ? shadowAt(map, px, py, pz) : 0);
    this.lies[o] = s;
    closed[o] = closed[o]! * kept + s * contactAt(near, px, py, pz, nx, ny, nz);
    key[o] = key[o]! * kept + s * Math.min(MOST_KEY, Math.max(0, slant) / this.level);
    share[o] = left + s;
    if (s >= left) this.number[o] = receiver.number;
  }

  /** Mixes all that was laid into the ground's own shade. */
  mixInto(cover: Float32Array, contact: Float32Array): MarkedShade {
    const { share, key, number, hidden, closed } = this;
    for (let o = 0; o < share.length; o++) {
      const s = share[o]!;
      if (s === 0) continue;
      cover[o] = cover[o]! * (1 - s) + hidden[o]!;
      contact[o] = contact[o]! * (1 - s) + closed[o]!;
      key[o] = key[o]! / s;
    }
    return { share, key, number };
  }

  private sightsOnPlane(plane: Plane): (x: number, y: number) => boolean {
    const { box, geometry: g } = this.on;
    return (x, y) =>
      meetPlane(
        plane,
        (x + box[0] + 0.5 - g.principal[0]) / g.focalPx,
        (y + box[1] + 0.5 - g.principal[1]) / g.focalPx,
        this.hit,
      );
  }

  private sightsOnBalls(balls: readonly SolidBall[], inside: Float32Array): (x: number, y: number) => boolean {
    const { width, height } = this;
    const { box, geometry: g } = this.on;
    const front = frontOf(balls, g, inside, box);
    const met = Uint8Array.from(front, (b) => (b < 0 ? 0 : 1));
    // The outermost pixels of a body may pass its balls by: they take what the nearest ball's pixel has.
    const { nearest } = nearestInSet(met, width, height);
    return (x, y) => {
      const i = nearest[y * width + x]!;
      const column = i % width;
      return meetBall(
        balls,
        front[i]!,
        (column + box[0] + 0.5 - g.principal[0]) / g.focalPx,
        ((i - column) / width + box[1] + 0.5 - g.principal[1]) / g.focalPx,
        this.hit,
      );
    };
  }
}

/** Puts the torso's own normal in place of that of a hit (places 3 to 5). */
function normalOfTorso(hit: Float64Array, { up, middle, across, half, high }: Torso): void {
  const from: Vec3 = [hit[0]! - middle[0], hit[1]! - middle[1], hit[2]! - middle[2]],
    along = Math.min(half, Math.max(-half, dot(from, across))),
    rise = dot(from, up);
  const level = three((k) => from[k]! - along * across[k]! - rise * up[k]!),
    length = Math.hypot(...level);
  // On the line itself no direction leads away from it: the ball's stays.
  if (rise > high || length < 1e-6) return;
  for (let k = 0; k < 3; k++) hit[3 + k] = level[k]! / length;
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
