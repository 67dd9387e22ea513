/**
 * Where in depth the parts of a body stand, from its outline and the shadow that it throws on the take's floor: shadow
 * carving (Savarese, Andreetto, Rushmeier, Bernardini & Perona, "3D reconstruction by shadow carving", IJCV 71, 2007). Each
 * ball of the outline is pushed along its line of sight; where its own shadow would fall on lit floor it can't stand. Of the
 * places left it takes the one nearest to its neighbours' and to the plane of the feet. What then of the shadow is thrown by
 * none is given to the nearest ball that may throw it, so that the body becomes as deep as its shadow says and no deeper: a
 * hull of two outlines holds far more than the body (Laurentini, PAMI 16, 1994). A ball that finds no place is deeper than
 * the body there and is broken into smaller ones.
 *
 * All lengths along the picture in cells of the shadow's grid; depths in shares of the body's height, positive towards the camera.
 */
import { cross, dot, unit, type Vec3 } from '../geometry/mat3.js';
import type { Ball } from './body-volume.js';
import type { GroundGeometry } from './ground.js';
import { facing, nearer, pieces } from './solid-body.js';
import type { BodyDepth, BodyPart } from './types.js';

/** Step and ends of the depths tried, in heights: no body is longer than one and a half of its heights. */
const STEP = 0.03, NEAREST = 0.75, FARTHEST = -1.2;
const COUNT = Math.round((NEAREST - FARTHEST) / STEP) + 1;
/** Cells of the floor that shadows are compared on, in heights. */
const CELL = 0.02;
/** How much of a ball's shadow must be dark (marks and key are known within a degree or two), and of the full shadow's darkness what counts as dark. */
const DARK_SHARE = 0.85, DARK = 0.5;
/** Share of a ball's shadow that must be seen, or its place is neither told nor forbidden. */
const LEAST_SEEN = 0.25;
/** A ball's own share of newly thrown shadow, or it is not set up a second time. */
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
const LOW = 0.3, HIGH = 0.7, MOST_AWAY = 0.1;
const awayAt = (u: number): number => MOST_AWAY + (-FARTHEST - MOST_AWAY) * Math.max(0, Math.min(1, (HIGH - u) / (HIGH - LOW)));
/** As solid-body.ts has it. */
const RESTS = 0.5;
/** Radius of the balls that throw what is left, in heights. */
const SMALL = 0.025;
/** A body hangs together: no part stands farther in depth from those about it, in heights. */
const MOST_APART = 0.1, MOST_JUMP = 0.3;

interface Plane { readonly u: number; readonly at: number }
interface Placed { readonly ball: Ball; readonly may: Uint8Array; readonly plane: number; at: number[] }

/** What a shadow on the floor shows: darkness over full shadow, and 1 where it is seen beside the performer; the performer's alpha. All over the same cells. */
export interface SeenShadow { readonly share: Float32Array; readonly use: Uint8Array; readonly matte: Float32Array; readonly width: number; readonly height: number }

/** Parts of the body with their depths, and small ones for what the rest of the shadow asks for. `slope`: far over aside of the feet's line; `tall`: the body's height in cells. */
export function carveDepth(balls: readonly Ball[], g: GroundGeometry, seen: SeenShadow, slope: number, tall: number, start: BodyDepth): { readonly parts: BodyPart[]; readonly small: BodyPart[] } {
  const ahead = facing(g), aside = cross(g.up, ahead), size = (tall / g.focalPx) * g.foot[2], reach = dot(ahead, g.foot), ground = dot(g.foot, g.up);
  const floor = floorOf(g, seen, size);
  const rayOf = (x: number, y: number): Vec3 => [(x - g.principal[0]) / g.focalPx, (y - g.principal[1]) / g.focalPx, 1];
  /** Where a ball's shadow falls, in cells of the floor: p along the key, q across, and its radius across; null where the ball would sink in. */
  const thrown = (ball: Ball, j: number): Disc | null => {
    const d = rayOf(ball.x, ball.y), k = (reach / dot(ahead, d)) * (1 - ((NEAREST - j * STEP) * size) / g.foot[2]), r = (ball.r / g.focalPx) * k;
    if (!(k > 0) || k * dot(d, g.up) - ground < RESTS * r) return null;
    return floor.below([d[0] * k, d[1] * k, d[2] * k], r);
  };
  /** 0 where a ball can't stand, 1 where nothing is told, 2 where its shadow is seen. */
  const mayStand = (ball: Ball, plane: Plane): Uint8Array => Uint8Array.from({ length: COUNT }, (_, j) => {
    const s = thrown(ball, j);
    if (s === null || j > plane.at + awayAt(plane.u) / STEP) return 0;
    const { all, known, dark } = floor.count(s);
    return dark < DARK_SHARE * known ? 0 : known < LEAST_SEEN * all ? 1 : 2;
  });
  /** How high a point of the picture lies on the plane of the feet, and where that stands, as a step. */
  const planeAt = (x: number, y: number): Plane => {
    const d = rayOf(x, y), k = reach / dot(ahead, d), far = (slope * (k * dot(aside, d) - dot(aside, g.foot))) / size;
    const u = (k * dot(d, g.up) - ground) / size;
    return { u, at: (NEAREST + far - nearer(start, Math.max(0, Math.min(1, u)))) / STEP };
  };
  const placed: Placed[] = [];
  const settle = (ball: Ball, broken: number): void => {
    const plane = planeAt(ball.x, ball.y), may = mayStand(ball, plane);
    if (!may.some((v) => v > 0) && ball.r > LEAST_RADIUS * tall && broken < 2) for (const b of pieces(ball)) settle(b, broken + 1);
    else placed.push({ ball, may, plane: plane.at, at: [nearest(may, plane.at)] });
  };
  for (const b of balls) settle(b, 0);
  for (let round = 0; round < ROUNDS; round++) {
    const mean = placed.map((p) => {
      let sum = 0, weight = 0;
      for (const q of placed) {
        const d = Math.hypot(p.ball.x - q.ball.x, p.ball.y - q.ball.y) / (p.ball.r + q.ball.r + 0.04 * tall);
        if (d >= 1) continue;
        const v = (1 - d * d) * q.ball.r;
        sum += v * (q.at[0]! - q.plane); weight += v;
      }
      return p.plane + sum / weight;
    });
    placed.forEach((p, i) => { p.at = [nearest(p.may, mean[i]!)]; });
  }
  const by = placed.map((p) => placed.map((_, i) => i).filter((i) => Math.hypot(p.ball.x - placed[i]!.ball.x, p.ball.y - placed[i]!.ball.y) < p.ball.r + placed[i]!.ball.r + 0.04 * tall));
  for (const p of placed) for (const way of start.deep > 0.02 ? [-1, 1] : []) {
    const j = Math.round(p.at[0]! + (way * start.deep * p.ball.r) / tall / STEP);
    if (j >= 0 && j < COUNT && j !== p.at[0] && p.may[j]! > 0) p.at.push(j);
  }
  for (const p of placed) for (const j of p.at) { const s = thrown(p.ball, j); if (s !== null) floor.cover(s); }
  const order = placed.map((_, i) => i).sort((a, b) => placed[b]!.ball.r - placed[a]!.ball.r || a - b);
  for (let shell = 1; shell < COUNT; shell++) {
    for (const i of order) {
      const p = placed[i]!;
      for (const j of [p.at[0]! - shell, p.at[0]! + shell]) {
        if (j < 0 || j >= COUNT || p.may[j] !== 2 || !by[i]!.some((o) => placed[o]!.at.some((k) => Math.abs(k - j) * STEP <= MOST_APART))) continue;
        const s = thrown(p.ball, j)!, { all, fresh } = floor.count(s);
        if (fresh < Math.max(2, LEAST_NEW * all)) continue;
        floor.cover(s);
        p.at.push(j);
      }
    }
  }
  const [x0, y0] = [g.principal[0] + (g.focalPx * g.foot[0]) / g.foot[2], g.principal[1] + (g.focalPx * g.foot[1]) / g.foot[2]];
  const round3 = (v: number): number => Math.round(1000 * v) / 1000;
  const parts = placed.map((p): BodyPart => ({ x: round3((p.ball.x - x0) / tall), u: round3((y0 - p.ball.y) / tall), r: round3(p.ball.r / tall), at: p.at.map((j) => round3(NEAREST - j * STEP)) }));
  const small: BodyPart[] = [];
  for (const point of floor.uncovered()) {
    // Along the ray from the floor to the key, where it passes behind the outline: nearest to what stands already.
    let best: BodyPart | null = null, least = Infinity, at: Vec3 | null = null;
    for (let t = 0.02 * size; t < 1.6 * size; t += 0.02 * size) {
      const p: Vec3 = [point[0] + t * g.light[0], point[1] + t * g.light[1], point[2] + t * g.light[2]];
      if (!(p[2] > 1e-6)) break;
      const x = g.principal[0] + (g.focalPx * p[0]) / p[2], y = g.principal[1] + (g.focalPx * p[1]) / p[2];
      if (x < 0 || y < 0 || x >= seen.width || y >= seen.height || seen.matte[Math.floor(y) * seen.width + Math.floor(x)]! < 0.5) continue;
      const px = (x - x0) / tall, pu = (y0 - y) / tall, near = ((1 - p[2] / (reach / dot(ahead, rayOf(x, y)))) * g.foot[2]) / size, plane = planeAt(x, y);
      if ((NEAREST - near) / STEP > plane.at + awayAt(plane.u) / STEP) continue;
      for (const q of parts) for (const a of q.at) {
        const away = Math.abs(near - a) + 2 * Math.max(0, Math.hypot(px - q.x, pu - q.u) - q.r);
        if (away < least) { least = away; best = { x: round3(px), u: round3(pu), r: SMALL, at: [round3(near)] }; at = p; }
      }
    }
    if (best === null || at === null || least > MOST_APART) continue;
    const s = floor.below(at, SMALL * size), { known, dark } = floor.count(s);
    if (dark < DARK_SHARE * known) continue;
    small.push(best);
    floor.cover(s);
  }
  return { parts, small };
}

/** A ball's shadow on the floor: its middle along and across the key, and half its length and width, in cells. */
interface Disc { readonly p: number; readonly q: number; readonly long: number; readonly wide: number }

interface Floor {
  below(centre: Vec3, radius: number): Disc;
  count(s: Disc): { all: number; known: number; dark: number; fresh: number };
  cover(s: Disc): void;
  /** Dark points of the floor that no shadow covers, one after the other as they are left. */
  uncovered(): Generator<Vec3>;
}

/** The floor round the foot in cells along and across the key, with what is dark there. */
function floorOf(g: GroundGeometry, seen: SeenShadow, size: number): Floor {
  const sine = Math.max(0.05, dot(g.light, g.up)), cell = CELL * size;
  const flat = unit([g.light[0] - sine * g.up[0], g.light[1] - sine * g.up[1], g.light[2] - sine * g.up[2]]), across = cross(g.up, flat);
  const longest = Math.sqrt(1 - sine * sine) / sine, n = Math.ceil((longest + 3) / CELL), m = Math.ceil(3 / CELL), p0 = -(longest + 1.5) * size, q0 = -1.5 * size;
  const known = new Uint8Array(n * m), dark = new Uint8Array(n * m), covered = new Uint8Array(n * m);
  const pointAt = (i: number, j: number): Vec3 => { const a = p0 + (i + 0.5) * cell, b = q0 + (j + 0.5) * cell; return [g.foot[0] + a * flat[0] + b * across[0], g.foot[1] + a * flat[1] + b * across[1], g.foot[2] + a * flat[2] + b * across[2]]; };
  for (let j = 0; j < m; j++) for (let i = 0; i < n; i++) {
    const p = pointAt(i, j);
    if (!(p[2] > 1e-6)) continue;
    const x = Math.floor(g.principal[0] + (g.focalPx * p[0]) / p[2]), y = Math.floor(g.principal[1] + (g.focalPx * p[1]) / p[2]);
    if (x < 0 || y < 0 || x >= seen.width || y >= seen.height || seen.use[y * seen.width + x] === 0) continue;
    known[j * n + i] = 1;
    if (seen.share[y * seen.width + x]! > DARK) dark[j * n + i] = 1;
  }
  /** Rows of a shadow: calls back with the first and last cell of each. */
  const rows = (s: Disc, take: (from: number, to: number) => void): void => {
    for (let j = Math.max(0, Math.ceil(s.q - s.wide - 0.5)); j < m && j + 0.5 <= s.q + s.wide; j++) {
      const half = s.long * Math.sqrt(Math.max(0, 1 - ((j + 0.5 - s.q) / s.wide) ** 2));
      const a = Math.max(0, Math.ceil(s.p - half - 0.5)), b = Math.min(n - 1, Math.floor(s.p + half - 0.5));
      if (b >= a) take(j * n + a, j * n + b);
    }
  };
  return {
    below(centre, radius) {
      const t = (dot(centre, g.up) - dot(g.foot, g.up)) / sine, d: Vec3 = [centre[0] - t * g.light[0] - g.foot[0], centre[1] - t * g.light[1] - g.foot[1], centre[2] - t * g.light[2] - g.foot[2]];
      return { p: (dot(d, flat) - p0) / cell, q: (dot(d, across) - q0) / cell, wide: Math.max(0.6, radius / cell), long: Math.max(0.6, radius / sine / cell) };
    },
    count(s) {
      const c = { all: 0, known: 0, dark: 0, fresh: 0 };
      rows(s, (a, b) => { for (let i = a; i <= b; i++) { c.all++; if (known[i] === 1) { c.known++; if (dark[i] === 1) { c.dark++; if (covered[i] === 0) c.fresh++; } } } });
      return c;
    },
    cover(s) { rows(s, (a, b) => covered.fill(1, a, b + 1)); },
    *uncovered() { for (let i = 0; i < n * m; i++) if (dark[i] === 1 && covered[i] === 0) yield pointAt(i % n, Math.floor(i / n)); },
  };
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
