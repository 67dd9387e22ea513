/**
 * Where a ball of an outline may be set up in depth along its line of sight (see shadow-carve.ts): the steps tried, the
 * plane of the feet among them, and what sinks into the ground.
 *
 * Lengths along the picture in cells of the shadow's grid; depths in shares of the body's height, positive towards the
 * camera.
 */
import { cross, dot, type Vec3 } from '../../geometry/mat3.js';
import type { Ball } from './body-volume.js';
import type { GroundGeometry } from '../ground/ground-geometry.js';
import { facing, nearer } from './solid-body.js';
import type { BodyDepth } from '../ground/types.js';

/** Step and ends of the depths tried, in heights: no body is longer than one and a half of its heights. */
export const STEP = 0.03,
  NEAREST = 0.75;
const FARTHEST = -1.2;
/** How many they are; step j stands at NEAREST − j STEP. */
export const COUNT = Math.round((NEAREST - FARTHEST) / STEP) + 1;
/**
 * How far behind the plane of the feet a part may stand, in heights: up to LOW of the body's height as far as is tried,
 * from HIGH on hardly. A shadow that climbs the wall behind would make a man's chest a beam (own choice: an animal's
 * trunk goes on behind its head, which stands over it).
 */
const LOW = 0.3,
  HIGH = 0.7,
  MOST_AWAY = 0.1;
const awayAt = (u: number): number =>
  MOST_AWAY + (-FARTHEST - MOST_AWAY) * Math.max(0, Math.min(1, (HIGH - u) / (HIGH - LOW)));
/** As solid-body.ts has it. */
const RESTS = 0.5;
/** A ball in the camera's frame, metres of the geometry. */
export interface Solid {
  readonly at: Vec3;
  readonly r: number;
}

/** A place on the plane of the feet: how high, in heights, and the step at which it stands. */
export interface Plane {
  readonly u: number;
  readonly at: number;
}

/** How the camera sees the body that is carved. */
export interface CarvedSight {
  readonly geometry: GroundGeometry;
  /** Far over aside of the feet's line. */
  readonly slope: number;
  /** The body's height in cells. */
  readonly tall: number;
  /** The depth that it is begun with. */
  readonly start: BodyDepth;
  /** Whether what stands high may lie far behind; as a shadow tells where absent. */
  readonly away?: 'anywhere' | 'as a shadow tells';
}

/** Places in depth for one sight. */
export class CarvePlaces {
  private readonly ahead: Vec3;
  private readonly aside: Vec3;
  /** The body's height in metres of the geometry, and the plane of the feet and the ground in it. */
  readonly size: number;
  private readonly reach: number;
  private readonly ground: number;
  /** The foot in the picture, cells. */
  readonly foot: readonly [number, number];
  private readonly sight: CarvedSight;

  constructor(sight: CarvedSight) {
    this.sight = sight;
    const g = sight.geometry;
    this.ahead = facing(g);
    this.aside = cross(g.up, this.ahead);
    this.size = (sight.tall / g.focalPx) * g.foot[2];
    this.reach = dot(this.ahead, g.foot);
    this.ground = dot(g.foot, g.up);
    this.foot = [
      g.principal[0] + (g.focalPx * g.foot[0]) / g.foot[2],
      g.principal[1] + (g.focalPx * g.foot[1]) / g.foot[2],
    ];
  }

  /** How far before the plane through the feet a point of the picture at such a depth (m) stands, in heights. */
  depthOf(x: number, y: number, z: number): number {
    const plane = this.reach / dot(this.ahead, this.rayOf(x, y));
    return ((1 - z / plane) * this.sight.geometry.foot[2]) / this.size;
  }

  private rayOf(x: number, y: number): Vec3 {
    const g = this.sight.geometry;
    return [(x - g.principal[0]) / g.focalPx, (y - g.principal[1]) / g.focalPx, 1];
  }

  /** How far behind the plane of the feet a part may stand that stands so high, in heights. */
  behind(u: number): number {
    return this.sight.away === 'anywhere' ? -FARTHEST : awayAt(u);
  }

  /** How high a point of the picture lies on the plane of the feet, and where that stands, as a step. */
  planeAt(x: number, y: number): Plane {
    const { geometry: g, slope, start } = this.sight,
      d = this.rayOf(x, y),
      k = this.reach / dot(this.ahead, d),
      far = (slope * (k * dot(this.aside, d) - dot(this.aside, g.foot))) / this.size;
    const u = (k * dot(d, g.up) - this.ground) / this.size;
    return { u, at: (NEAREST + far - nearer(start, Math.max(0, Math.min(1, u)))) / STEP };
  }

  /** A ball set up at a depth; null where it would sink in. */
  setUp(ball: Ball, j: number): Solid | null {
    const g = this.sight.geometry,
      d = this.rayOf(ball.x, ball.y),
      k = (this.reach / dot(this.ahead, d)) * (1 - ((NEAREST - j * STEP) * this.size) / g.foot[2]),
      r = (ball.r / g.focalPx) * k;
    if (!(k > 0) || k * dot(d, g.up) - this.ground < RESTS * r) return null;
    return { at: [d[0] * k, d[1] * k, d[2] * k], r };
  }
}
