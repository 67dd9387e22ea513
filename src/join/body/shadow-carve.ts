/**
 * Where in depth the parts of a body stand, from its outline and the shadow that it throws on the take's floor: shadow
 * carving (Savarese, Andreetto, Rushmeier, Bernardini & Perona, "3D reconstruction by shadow carving", IJCV 71, 2007),
 * or from other outlines of a body that turns (turn-carve.ts): both are screens that show it from another side
 * (carve-screens.ts). Each ball of the outline is pushed along its line of sight; where its own shadow would fall on
 * lit floor it can't stand. Of the places left it takes the one nearest to its neighbours' and to the plane of the
 * feet. What then of the shadow is thrown by none is given to the nearest ball that may throw it, so that the body
 * becomes as deep as its shadow says and no deeper: a hull of two outlines holds far more than the body (Laurentini,
 * PAMI 16, 1994). A ball that finds no place is deeper than the body there and is broken into smaller ones.
 *
 * All lengths along the picture in cells of the shadow's grid; depths in shares of the body's height, positive towards
 * the camera.
 */
import type { Vec3 } from '../../geometry/mat3.js';
import { CarvePlaces, COUNT, NEAREST, STEP, type CarvedSight, type Plane, type Solid } from './carve-places.js';
import type { Ball } from './body-volume.js';
import type { Line, Screen } from './carve-screens.js';
import { pieces } from './solid-body.js';
import type { BodyPart } from '../ground/types.js';

/**
 * How much of a ball's shadow must be dark, or of its outline turned lie within the body's: marks, key and poses are
 * known within a degree or two.
 */
const INSIDE = 0.85;
/**
 * By outlines alone, which are sharper than a shadow, a place is as good as the best one where so much less of the ball
 * lies inside (own choice: made bodies did not tell .02 from .05).
 */
const WORSE = 0.05;
/** Share of a ball that a screen must show, or its place is neither told nor forbidden by it. */
const LEAST_SEEN = 0.25;
/** A ball's own share of what is newly filled, or it is not set up a second time. */
const LEAST_NEW = 0.06;
/** Smaller balls are not broken up, in heights. */
const LEAST_RADIUS = 0.03;
/** Rounds in which each ball draws nearer to its neighbours' depth. */
const ROUNDS = 3;
/** Radius of the balls that throw what is left, in heights. */
const SMALL = 0.025;
/** A body hangs together: no part stands farther in depth from those about it, in heights. */
const MOST_APART = 0.1,
  MOST_JUMP = 0.3;

/** How far along a line the body is sought, in heights. */
const LONGEST = 2;

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

/** What is carved, and against what. */
export interface Carving extends CarvedSight {
  /** The outline's balls (body-volume.ts). */
  readonly balls: readonly Ball[];
  readonly screens: readonly Screen[];
  readonly own: OwnOutline;
}

export interface Carved {
  /** Parts of the body with their depths. */
  readonly parts: BodyPart[];
  /** Small ones for what the rest of the screens asks for. */
  readonly small: BodyPart[];
}

/** Carves a body. */
export function carveDepth(carving: Carving): Carved {
  const carver = new Carver(carving);
  carver.settleAll();
  for (let round = 0; round < ROUNDS; round++) carver.drawTogether();
  carver.deepen();
  carver.fillOwn();
  carver.grow();
  const parts = carver.parts();
  return { parts, small: carver.throwRest(parts) };
}

class Carver {
  private readonly placed: Placed[] = [];
  private readonly places: CarvePlaces;
  private readonly c: Carving;

  constructor(c: Carving) {
    this.c = c;
    this.places = new CarvePlaces(c);
  }

  /** Each ball where it may stand nearest to the plane of the feet; one that may nowhere is broken up. */
  settleAll(): void {
    for (const b of this.c.balls) this.settle(b, 0);
  }

  private settle(ball: Ball, broken: number): void {
    const plane = this.places.planeAt(ball.x, ball.y),
      may = this.mayStand(ball, plane);
    if (!may.some((v) => v > 0) && ball.r > LEAST_RADIUS * this.c.tall && broken < 2)
      for (const b of pieces(ball)) this.settle(b, broken + 1);
    else this.placed.push({ ball, may, plane: plane.at, at: [nearest(may, plane.at)] });
  }

  /** Each ball goes where its neighbours stand beside their planes, as near as it may. */
  drawTogether(): void {
    const { placed } = this,
      { tall } = this.c;
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

  /** A body that was begun deep has each ball before and behind its place too. */
  deepen(): void {
    const { start, tall } = this.c;
    for (const p of this.placed)
      for (const way of start.deep > 0.02 ? [-1, 1] : []) {
        const j = Math.round(p.at[0]! + (way * start.deep * p.ball.r) / tall / STEP);
        if (j >= 0 && j < COUNT && j !== p.at[0] && p.may[j]! > 0) p.at.push(j);
      }
  }

  /** Fills on the screens what the balls throw where they stand. */
  fillOwn(): void {
    for (const p of this.placed)
      for (const j of p.at) {
        const s = this.places.setUp(p.ball, j);
        if (s !== null) this.fill(s);
      }
  }

  /** Sets balls up once more, step by step away from where they stand, where that fills what the screens still lack. */
  grow(): void {
    const { placed } = this,
      by = this.neighbours(),
      order = placed.map((_, i) => i).sort((a, b) => placed[b]!.ball.r - placed[a]!.ball.r || a - b);
    const hangsTogether = (i: number, j: number): boolean =>
      by[i]!.some((o) => placed[o]!.at.some((k) => Math.abs(k - j) * STEP <= MOST_APART));
    for (let shell = 1; shell < COUNT; shell++)
      for (const i of order) {
        const p = placed[i]!;
        for (const j of [p.at[0]! - shell, p.at[0]! + shell]) {
          if (j < 0 || j >= COUNT || p.may[j] !== 2 || !hangsTogether(i, j)) continue;
          const s = this.places.setUp(p.ball, j)!;
          if (!this.fills(s)) continue;
          this.fill(s);
          p.at.push(j);
        }
      }
  }

  /** The balls that each ball touches or nearly does, itself among them. */
  private neighbours(): number[][] {
    const { placed } = this,
      near = 0.04 * this.c.tall;
    return placed.map((p) =>
      placed
        .map((_, i) => i)
        .filter(
          (i) =>
            Math.hypot(p.ball.x - placed[i]!.ball.x, p.ball.y - placed[i]!.ball.y) <
            p.ball.r + placed[i]!.ball.r + near,
        ),
    );
  }

  /** The balls as parts of the body, in shares of its height from its foot. */
  parts(): BodyPart[] {
    const { tall } = this.c,
      [x0, y0] = this.places.foot;
    return this.placed.map((p) => ({
      x: round3((p.ball.x - x0) / tall),
      u: round3((y0 - p.ball.y) / tall),
      r: round3(p.ball.r / tall),
      at: p.at.map((j) => round3(NEAREST - j * STEP)),
    }));
  }

  /** Small parts that throw what no ball throws. */
  throwRest(parts: readonly BodyPart[]): BodyPart[] {
    const small: BodyPart[] = [];
    for (const screen of this.c.screens)
      for (const line of screen.unfilled()) {
        const found = this.behindOutline(line, parts);
        if (found === null) continue;
        const s: Solid = { at: found.at, r: SMALL * this.places.size };
        const allowed = this.c.screens.every((other) => {
          const { known, body } = other.count(other.show(s.at, s.r));
          return body >= INSIDE * known;
        });
        if (!allowed) continue;
        small.push(found.part);
        this.fill(s);
      }
    return small;
  }

  /** Along the line that throws something, where it passes behind the outline: nearest to what stands already. */
  private behindOutline(line: Line, parts: readonly BodyPart[]): { readonly part: BodyPart; readonly at: Vec3 } | null {
    const { geometry: g, own, tall } = this.c,
      { size } = this.places,
      [x0, y0] = this.places.foot;
    let best: { part: BodyPart; at: Vec3 } | null = null,
      least = Infinity;
    for (let t = 0.02 * size; t < LONGEST * size; t += 0.02 * size) {
      const p: Vec3 = [
        line.from[0] + t * line.along[0],
        line.from[1] + t * line.along[1],
        line.from[2] + t * line.along[2],
      ];
      if (!(p[2] > 1e-6)) continue;
      const x = g.principal[0] + (g.focalPx * p[0]) / p[2],
        y = g.principal[1] + (g.focalPx * p[1]) / p[2];
      if (!covers(own, x, y)) continue;
      const px = (x - x0) / tall,
        pu = (y0 - y) / tall,
        near = this.places.depthOf(x, y, p[2]),
        plane = this.places.planeAt(x, y);
      if ((NEAREST - near) / STEP > plane.at + this.places.behind(plane.u) / STEP) continue;
      for (const q of parts)
        for (const a of q.at) {
          const away = Math.abs(near - a) + 2 * Math.max(0, Math.hypot(px - q.x, pu - q.u) - q.r);
          if (away >= least) continue;
          least = away;
          best = { part: { x: round3(px), u: round3(pu), r: SMALL, at: [round3(near)] }, at: p };
        }
    }
    return least > MOST_APART ? null : best;
  }

  /** 0 where a ball can't stand, 1 where nothing is told, 2 where it is seen. */
  private mayStand(ball: Ball, plane: Plane): Uint8Array {
    const inside = new Float32Array(COUNT).fill(-1),
      told = new Uint8Array(COUNT);
    let best = 0;
    for (let j = 0; j < COUNT; j++) {
      const s = this.places.setUp(ball, j);
      if (s === null || j > plane.at + this.places.behind(plane.u) / STEP) continue;
      inside[j] = 1;
      for (const screen of this.c.screens) {
        const { all, known, body } = screen.count(screen.show(s.at, s.r));
        if (known > 0) inside[j] = Math.min(inside[j]!, body / known);
        if (known >= LEAST_SEEN * all) told[j] = 1;
      }
      best = Math.max(best, inside[j]!);
    }
    const least = this.c.away === 'anywhere' ? Math.max(INSIDE, best - WORSE) : INSIDE;
    return told.map((t, j) => (inside[j]! < least ? 0 : 1 + t));
  }

  private fill(s: Solid): void {
    for (const screen of this.c.screens) screen.fill(screen.show(s.at, s.r));
  }

  /** Does a ball fill enough of what a screen still lacks? */
  private fills(s: Solid): boolean {
    return this.c.screens.some((screen) => {
      const { all, fresh } = screen.count(screen.show(s.at, s.r));
      return fresh >= Math.max(2, LEAST_NEW * all);
    });
  }
}

/** Does the performer cover a place of the camera's own picture? */
function covers(own: OwnOutline, x: number, y: number): boolean {
  return (
    x >= 0 && y >= 0 && x < own.width && y < own.height && own.matte[Math.floor(y) * own.width + Math.floor(x)]! >= 0.5
  );
}

const round3 = (v: number): number => Math.round(1000 * v) / 1000;

/** The allowed step nearest to one wanted; the wanted one where none is near. */
function nearest(may: Uint8Array, wanted: number): number {
  const at = Math.max(0, Math.min(COUNT - 1, Math.round(wanted)));
  for (let d = 0; d * STEP <= MOST_JUMP; d++) {
    if (at - d >= 0 && may[at - d]! > 0) return at - d;
    if (at + d < COUNT && may[at + d]! > 0) return at + d;
  }
  return at;
}
