/**
 * Where in depth the parts of a body stand, from its outline and the shadow that it throws on the take's floor: shadow
 * carving (Savarese, Andreetto, Rushmeier, Bernardini & Perona, "3D reconstruction by shadow carving", IJCV 71, 2007), or from
 * other outlines of a body that turns (turn-carve.ts): both are screens that show it from another side (carve-screens.ts). Each
 * ball of the outline is pushed along its line of sight; where its own shadow would fall on lit floor it can't stand. Of the
 * places left it takes the one nearest to its neighbours' and to the plane of the feet. What then of the shadow is thrown by
 * none is given to the nearest ball that may throw it, so that the body becomes as deep as its shadow says and no deeper: a
 * hull of two outlines holds far more than the body (Laurentini, PAMI 16, 1994). A ball that finds no place is deeper than
 * the body there and is broken into smaller ones.
 *
 * All lengths along the picture in cells of the shadow's grid; depths in shares of the body's height, positive towards the camera.
 */
import { cross, dot, type Vec3 } from '../../geometry/mat3.js';
import type { Ball } from './body-volume.js';
import type { Screen } from './carve-screens.js';
import type { GroundGeometry } from '../ground/ground.js';
import { facing, nearer, pieces } from './solid-body.js';
import type { BodyDepth, BodyPart } from '../types.js';

/** Step and ends of the depths tried, in heights: no body is longer than one and a half of its heights. */
const STEP = 0.03,
  NEAREST = 0.75,
  FARTHEST = -1.2;
const COUNT = Math.round((NEAREST - FARTHEST) / STEP) + 1;
/** How much of a ball's shadow must be dark, or of its outline turned lie within the body's: marks, key and poses are known within a degree or two. */
const INSIDE = 0.85;
/** By outlines alone, which are sharper than a shadow, a place is as good as the best one where so much less of the ball lies inside (own choice: made bodies did not tell .02 from .05). */
const WORSE = 0.05;
/** Share of a ball that a screen must show, or its place is neither told nor forbidden by it. */
const LEAST_SEEN = 0.25;
/** A ball's own share of what is newly filled, or it is not set up a second time. */
const LEAST_NEW = 0.06;
/** Smaller balls are not broken up, in heights. */
const LEAST_RADIUS = 0.03;
/** Rounds in which each ball draws nearer to its neighbours' depth. */
const ROUNDS = 3;
/**
 * How far behind the plane of the feet a part may stand, in heights: up to LOW of the body's height as far as is tried, from
 * HIGH on hardly. A shadow that climbs the wall behind would make a man's chest a beam (own choice: an animal's trunk goes on behind its
 * head, which stands over it).
 */
const LOW = 0.3,
  HIGH = 0.7,
  MOST_AWAY = 0.1;
const awayAt = (u: number): number =>
  MOST_AWAY + (-FARTHEST - MOST_AWAY) * Math.max(0, Math.min(1, (HIGH - u) / (HIGH - LOW)));
/** As solid-body.ts has it. */
const RESTS = 0.5;
/** Radius of the balls that throw what is left, in heights. */
const SMALL = 0.025;
/** A body hangs together: no part stands farther in depth from those about it, in heights. */
const MOST_APART = 0.1,
  MOST_JUMP = 0.3;

/** How far along a line the body is sought, in heights. */
const LONGEST = 2;

interface Solid {
  readonly at: Vec3;
  readonly r: number;
}
interface Plane {
  readonly u: number;
  readonly at: number;
}
interface Placed {
  readonly ball: Ball;
  readonly may: Uint8Array;
  readonly plane: number;
  at: number[];
}

/** The performer's alpha in the camera's own picture, in cells. */
export interface OwnOutline {
  readonly matte: Float32Array;
  readonly width: number;
  readonly height: number;
}

/** Parts of the body with their depths, and small ones for what the rest of the screens asks for. `slope`: far over aside of the feet's line; `tall`: the body's height in cells; `away`: whether what stands high may lie far behind. */
export function carveDepth(
  balls: readonly Ball[],
  g: GroundGeometry,
  screens: readonly Screen[],
  own: OwnOutline,
  slope: number,
  tall: number,
  start: BodyDepth,
  away: 'anywhere' | 'as a shadow tells' = 'as a shadow tells',
): { readonly parts: BodyPart[]; readonly small: BodyPart[] } {
  const ahead = facing(g),
    aside = cross(g.up, ahead),
    size = (tall / g.focalPx) * g.foot[2],
    reach = dot(ahead, g.foot),
    ground = dot(g.foot, g.up);
  const behind = away === 'anywhere' ? (): number => -FARTHEST : awayAt;
  const rayOf = (x: number, y: number): Vec3 => [(x - g.principal[0]) / g.focalPx, (y - g.principal[1]) / g.focalPx, 1];
  /** A ball set up at a depth; null where it would sink in. */
  const setUp = (ball: Ball, j: number): Solid | null => {
    const d = rayOf(ball.x, ball.y),
      k = (reach / dot(ahead, d)) * (1 - ((NEAREST - j * STEP) * size) / g.foot[2]),
      r = (ball.r / g.focalPx) * k;
    if (!(k > 0) || k * dot(d, g.up) - ground < RESTS * r) return null;
    return { at: [d[0] * k, d[1] * k, d[2] * k], r };
  };
  /** 0 where a ball can't stand, 1 where nothing is told, 2 where it is seen. */
  const mayStand = (ball: Ball, plane: Plane): Uint8Array => {
    const inside = new Float32Array(COUNT).fill(-1),
      told = new Uint8Array(COUNT);
    let best = 0;
    for (let j = 0; j < COUNT; j++) {
      const s = setUp(ball, j);
      if (s === null || j > plane.at + behind(plane.u) / STEP) continue;
      inside[j] = 1;
      for (const screen of screens) {
        const { all, known, body } = screen.count(screen.show(s.at, s.r));
        if (known > 0) inside[j] = Math.min(inside[j]!, body / known);
        if (known >= LEAST_SEEN * all) told[j] = 1;
      }
      best = Math.max(best, inside[j]!);
    }
    const least = away === 'anywhere' ? Math.max(INSIDE, best - WORSE) : INSIDE;
    return told.map((t, j) => (inside[j]! < least ? 0 : 1 + t));
  };
  const fill = (s: Solid): void => {
    for (const screen of screens) screen.fill(screen.show(s.at, s.r));
  };
  /** Does a ball fill enough of what a screen still lacks? */
  const fills = (s: Solid): boolean =>
    screens.some((screen) => {
      const { all, fresh } = screen.count(screen.show(s.at, s.r));
      return fresh >= Math.max(2, LEAST_NEW * all);
    });
  /** How high a point of the picture lies on the plane of the feet, and where that stands, as a step. */
  const planeAt = (x: number, y: number): Plane => {
    const d = rayOf(x, y),
      k = reach / dot(ahead, d),
      far = (slope * (k * dot(aside, d) - dot(aside, g.foot))) / size;
    const u = (k * dot(d, g.up) - ground) / size;
    return { u, at: (NEAREST + far - nearer(start, Math.max(0, Math.min(1, u)))) / STEP };
  };
  const placed: Placed[] = [];
  const settle = (ball: Ball, broken: number): void => {
    const plane = planeAt(ball.x, ball.y),
      may = mayStand(ball, plane);
    if (!may.some((v) => v > 0) && ball.r > LEAST_RADIUS * tall && broken < 2)
      for (const b of pieces(ball)) settle(b, broken + 1);
    else placed.push({ ball, may, plane: plane.at, at: [nearest(may, plane.at)] });
  };
  for (const b of balls) settle(b, 0);
  for (let round = 0; round < ROUNDS; round++) {
    const mean = placed.map((p) => {
      let sum = 0,
        weight = 0;
      for (const q of placed) {
        const d = Math.hypot(p.ball.x - q.ball.x, p.ball.y - q.ball.y) / (p.ball.r + q.ball.r + 0.04 * tall);
        if (d >= 1) continue;
        const v = (1 - d * d) * q.ball.r;
        sum += v * (q.at[0]! - q.plane);
        weight += v;
      }
      return p.plane + sum / weight;
    });
    placed.forEach((p, i) => {
      p.at = [nearest(p.may, mean[i]!)];
    });
  }
  const by = placed.map((p) =>
    placed
      .map((_, i) => i)
      .filter(
        (i) =>
          Math.hypot(p.ball.x - placed[i]!.ball.x, p.ball.y - placed[i]!.ball.y) <
          p.ball.r + placed[i]!.ball.r + 0.04 * tall,
      ),
  );
  for (const p of placed)
    for (const way of start.deep > 0.02 ? [-1, 1] : []) {
      const j = Math.round(p.at[0]! + (way * start.deep * p.ball.r) / tall / STEP);
      if (j >= 0 && j < COUNT && j !== p.at[0] && p.may[j]! > 0) p.at.push(j);
    }
  for (const p of placed)
    for (const j of p.at) {
      const s = setUp(p.ball, j);
      if (s !== null) fill(s);
    }
  const order = placed.map((_, i) => i).sort((a, b) => placed[b]!.ball.r - placed[a]!.ball.r || a - b);
  for (let shell = 1; shell < COUNT; shell++) {
    for (const i of order) {
      const p = placed[i]!;
      for (const j of [p.at[0]! - shell, p.at[0]! + shell]) {
        if (
          j < 0 ||
          j >= COUNT ||
          p.may[j] !== 2 ||
          !by[i]!.some((o) => placed[o]!.at.some((k) => Math.abs(k - j) * STEP <= MOST_APART))
        )
          continue;
        const s = setUp(p.ball, j)!;
        if (!fills(s)) continue;
        fill(s);
        p.at.push(j);
      }
    }
  }
  const [x0, y0] = [
    g.principal[0] + (g.focalPx * g.foot[0]) / g.foot[2],
    g.principal[1] + (g.focalPx * g.foot[1]) / g.foot[2],
  ];
  const round3 = (v: number): number => Math.round(1000 * v) / 1000;
  const parts = placed.map(
    (p): BodyPart => ({
      x: round3((p.ball.x - x0) / tall),
      u: round3((y0 - p.ball.y) / tall),
      r: round3(p.ball.r / tall),
      at: p.at.map((j) => round3(NEAREST - j * STEP)),
    }),
  );
  const small: BodyPart[] = [];
  for (const screen of screens)
    for (const line of screen.unfilled()) {
      // Along the line that throws this, where it passes behind the outline: nearest to what stands already.
      let best: BodyPart | null = null,
        least = Infinity,
        at: Vec3 | null = null;
      for (let t = 0.02 * size; t < LONGEST * size; t += 0.02 * size) {
        const p: Vec3 = [
          line.from[0] + t * line.along[0],
          line.from[1] + t * line.along[1],
          line.from[2] + t * line.along[2],
        ];
        if (!(p[2] > 1e-6)) continue;
        const x = g.principal[0] + (g.focalPx * p[0]) / p[2],
          y = g.principal[1] + (g.focalPx * p[1]) / p[2];
        if (
          x < 0 ||
          y < 0 ||
          x >= own.width ||
          y >= own.height ||
          own.matte[Math.floor(y) * own.width + Math.floor(x)]! < 0.5
        )
          continue;
        const px = (x - x0) / tall,
          pu = (y0 - y) / tall,
          near = ((1 - p[2] / (reach / dot(ahead, rayOf(x, y)))) * g.foot[2]) / size,
          plane = planeAt(x, y);
        if ((NEAREST - near) / STEP > plane.at + behind(plane.u) / STEP) continue;
        for (const q of parts)
          for (const a of q.at) {
            const away = Math.abs(near - a) + 2 * Math.max(0, Math.hypot(px - q.x, pu - q.u) - q.r);
            if (away < least) {
              least = away;
              best = { x: round3(px), u: round3(pu), r: SMALL, at: [round3(near)] };
              at = p;
            }
          }
      }
      if (best === null || at === null || least > MOST_APART) continue;
      const s: Solid = { at, r: SMALL * size };
      if (
        !screens.every((other) => {
          const { known, body } = other.count(other.show(s.at, s.r));
          return body >= INSIDE * known;
        })
      )
        continue;
      small.push(best);
      fill(s);
    }
  return { parts, small };
}

/** The allowed step nearest to one wanted; the wanted one where none is near. */
function nearest(may: Uint8Array, wanted: number): number {
  const at = Math.max(0, Math.min(COUNT - 1, Math.round(wanted)));
  for (let d = 0; d * STEP <= MOST_JUMP; d++) {
    if (at - d >= 0 && may[at - d]! > 0) return at - d;
    if (at + d < COUNT && may[at + d]! > 0) return at + d;
  }
  return at;
}
