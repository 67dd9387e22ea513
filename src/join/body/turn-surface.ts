/**
 * The front surface of a performer that turns, from how its coat moves in the take: of two frames a few degrees of turn
 * apart, what stands nearer than the axis goes one way and what stands farther goes the other, by as much as it stands
 * nearer (structure from motion about a known axis: Fremont & Chellali, "Turntable-based 3D object reconstruction",
 * IEEE CIS, 2004; the two views of a turned body are those of a camera that went round it, Hartley & Zisserman, 2004,
 * chapter 9). The body's outline tells no more than where it ends (turn-depth.ts).
 *
 * Dense motion both ways (image/flow.ts) on the peeled pictures; on each cell the depth along its line of sight whose
 * turned point comes nearest to where the cell went; what is left across that is zero of a rigid turn. The angle itself
 * is the one that leaves least, drawn to the poses': a turn that begins and ends at rest is not in proportion between
 * them.
 */
import { RAD_PER_DEG } from '../../core/angles.js';
import { cross, dot, type Vec3 } from '../../geometry/mat3.js';
import { FlowPicture, motionAt, type MotionField } from '../../image/flow.js';
import { kernels } from '../../image/kernels.js';
import { ontoBox } from '../pace/between-box.js';
import type { TakeGround } from './body-depth.js';
import type { Box } from '../ground/ground.js';
import { groundGeometry, type GroundGeometry } from '../ground/ground-geometry.js';
import type { PerformerPicture } from '../peel/performer.js';
import { facing } from './solid-body.js';
import type { FrontPoint } from '../ground/types.js';

/** Cells to a body's height. */
const CELLS = 44;
/**
 * A cell counts where the way there and back meets within this share of the way, or within so many pixels, and most of
 * it is covered.
 */
const MEETS = 0.15,
  MEETS_PX = 0.6,
  COVERED = 0.9;
/**
 * Angles tried about the poses' (factor from one to the next), and the sd of its logarithm: a turn begins and ends at
 * rest, and goes twice as fast between. An angle at the end of what is tried is none.
 */
const FACTOR = 1.08,
  TRIES = 20,
  PRIOR = 0.7;
/** What a whole sd of the prior costs in the logarithm of what is left over. */
const COST = 0.1;
/**
 * Cells that must tell, and what may be left across the line on which a rigid turn moves them, in parts of the motion
 * (median): else it does more than turn.
 */
const LEAST_CELLS = 80,
  MOST_LEFT = 0.2;
/** A smaller motion (median, pixels) drowns in the flow's own error. */
const LEAST_MOTION = 1.2;
/** No part stands farther from the axis, in heights. */
const FARTHEST = 1.2;

/**
 * Two take frames between which the performer turned; `turnDeg` as the poses have it (yaw grows as the front turns to
 * the picture's left).
 */
export interface TurningPair {
  readonly frame: number;
  readonly turnDeg: number;
  readonly first: PerformerPicture;
  readonly second: PerformerPicture;
}

/**
 * The front of the performer at `frame`: points in shares of `tall` pixels. `left`: what a rigid turn leaves over, in
 * parts of the motion.
 */
export interface TurnSurface {
  readonly frame: number;
  readonly points: readonly FrontPoint[];
  readonly turnDeg: number;
  readonly left: number;
}

type Ground = Omit<TakeGround, 'azimuthDeg' | 'elevationDeg' | 'softnessDeg'>;

/** The axis of the turn as the take's camera sees it. */
interface Axis {
  readonly g: GroundGeometry;
  readonly ahead: Vec3;
  readonly aside: Vec3;
  readonly reach: number;
}

function axisOf(ground: Ground): Axis {
  const g = groundGeometry(
    { focalPx: ground.focalPx, azimuthDeg: 0, elevationDeg: 45, principal: [ground.widthPx / 2, ground.heightPx / 2] },
    { ...ground.at, azimuthDeg: 0 },
    ground.widthPx,
    ground.heightPx,
  );
  const ahead = facing(g);
  return { g, ahead, aside: cross(g.up, ahead), reach: dot(ahead, g.foot) };
}

/**
 * Where the point of a line of sight that stands `near` (scene units) before the axis comes to lie when the body turns:
 * picture place, and how near it stands then.
 */
function turnedPoint(
  { g, ahead, aside, reach }: Axis,
  x: number,
  y: number,
  near: number,
  cos: number,
  sin: number,
): readonly [number, number, number] {
  const d: Vec3 = [(x - g.principal[0]) / g.focalPx, (y - g.principal[1]) / g.focalPx, 1],
    k = (reach - near) / dot(ahead, d);
  const v: Vec3 = [d[0] * k - g.foot[0], d[1] * k - g.foot[1], k - g.foot[2]];
  const a = dot(v, ahead),
    s = dot(v, aside),
    u = dot(v, g.up),
    far = a * cos - s * sin,
    wide = a * sin + s * cos;
  const px = g.foot[0] + far * ahead[0] + wide * aside[0] + u * g.up[0],
    py = g.foot[1] + far * ahead[1] + wide * aside[1] + u * g.up[1],
    pz = g.foot[2] + far * ahead[2] + wide * aside[2] + u * g.up[2];
  return [g.principal[0] + (g.focalPx * px) / pz, g.principal[1] + (g.focalPx * py) / pz, -far];
}

interface Moved {
  readonly x: number;
  readonly y: number;
  readonly toX: number;
  readonly toY: number;
}

/**
 * Null where the two frames tell nothing: too little motion, or one that is no turn. `tall` is the height (px) that the
 * shares are of.
 */
export function surfaceFromTurn(pair: TurningPair, ground: Ground, tall: number): TurnSurface | null {
  const axis = axisOf(ground),
    moved = movedCells(pair, Math.max(2, Math.round(tall / CELLS)));
  if (moved.length < LEAST_CELLS) return null;
  const motion = median(moved.map((m) => Math.hypot(m.toX - m.x, m.toY - m.y)));
  if (motion < LEAST_MOTION) return null;
  const unit = axis.g.foot[2] / axis.g.focalPx,
    most = FARTHEST * tall * unit;
  let best: { cost: number; left: number; turnDeg: number; near: Float64Array; atEnd: boolean } | null = null;
  for (let t = -TRIES; t <= TRIES; t++) {
    const turnDeg = pair.turnDeg * FACTOR ** t,
      cos = Math.cos(turnDeg * RAD_PER_DEG),
      sin = Math.sin(turnDeg * RAD_PER_DEG);
    const near = new Float64Array(moved.length),
      left = new Array<number>(moved.length);
    moved.forEach((m, i) => {
      const d = depthOfCell(axis, m, cos, sin, most, unit);
      near[i] = d.near;
      left[i] = d.left;
    });
    const typical = median(left),
      cost = Math.log(typical + 0.02 * motion) + COST * ((t * Math.log(FACTOR)) / PRIOR) ** 2;
    if (best === null || cost < best.cost) best = { cost, left: typical, turnDeg, near, atEnd: Math.abs(t) === TRIES };
  }
  if (best === null || best.atEnd || best.left > MOST_LEFT * motion) return null;
  const foot = ground.at.foot;
  const points = moved
    .map((m, i): FrontPoint => [(m.x - foot[0]) / tall, (foot[1] - m.y) / tall, best.near[i]! / unit / tall])
    .filter((p) => Math.abs(p[2]) < 0.98 * FARTHEST);
  return points.length < LEAST_CELLS
    ? null
    : { frame: pair.frame, points, turnDeg: best.turnDeg, left: best.left / motion };
}

/** The points turned by so much more, as the same camera sees them. */
export function turnSurface(points: readonly FrontPoint[], byDeg: number, ground: Ground, tall: number): FrontPoint[] {
  const axis = axisOf(ground),
    unit = axis.g.foot[2] / axis.g.focalPx,
    cos = Math.cos(byDeg * RAD_PER_DEG),
    sin = Math.sin(byDeg * RAD_PER_DEG),
    foot = ground.at.foot;
  return points.map((p) => {
    const [x, y, near] = turnedPoint(axis, foot[0] + p[0] * tall, foot[1] - p[1] * tall, p[2] * tall * unit, cos, sin);
    return [(x - foot[0]) / tall, (foot[1] - y) / tall, near / unit / tall];
  });
}

/** Spacing and sd of the points that a surface is brought to, in heights. */
const GRID = 0.06,
  SMOOTH = 0.035;
/** Less weight than this is no surface. */
const LEAST_WEIGHT = 1.5;

/**
 * Points averaged onto a regular grid (Gaussian weights, Nadaraya and Watson, 1964), where enough of them lie; rounded.
 */
export function evenPoints(points: readonly (readonly [number, number, number, number])[]): FrontPoint[] {
  const sums = new Map<string, { i: number; j: number; w: number; front: number }>(),
    reach = Math.ceil((2.5 * SMOOTH) / GRID);
  for (const [x, u, front, weight] of points) {
    const ci = Math.round(x / GRID),
      cj = Math.round(u / GRID);
    for (let j = cj - reach; j <= cj + reach; j++)
      for (let i = ci - reach; i <= ci + reach; i++) {
        const w = weight * Math.exp(-((i * GRID - x) ** 2 + (j * GRID - u) ** 2) / (2 * SMOOTH * SMOOTH)),
          key = `${i},${j}`,
          at = sums.get(key) ?? { i, j, w: 0, front: 0 };
        at.w += w;
        at.front += w * front;
        sums.set(key, at);
      }
  }
  const round3 = (v: number): number => Math.round(1000 * v) / 1000;
  return [...sums.values()]
    .filter((s) => s.w > LEAST_WEIGHT)
    .sort((a, b) => a.j - b.j || a.i - b.i)
    .map((s): FrontPoint => [round3(s.i * GRID), round3(s.j * GRID), round3(s.front / s.w)]);
}

/**
 * How near a cell stands: Gauss-Newton on the one unknown, where its turned point comes nearest to where it went; and
 * how far that stays off (px).
 */
function depthOfCell(
  axis: Axis,
  m: Moved,
  cos: number,
  sin: number,
  most: number,
  unit: number,
): { readonly near: number; readonly left: number } {
  let near = 0,
    left = Infinity;
  for (let k = 0; k < 4; k++) {
    const [x, y] = turnedPoint(axis, m.x, m.y, near, cos, sin),
      [x1, y1] = turnedPoint(axis, m.x, m.y, near + unit, cos, sin);
    const jx = x1 - x,
      jy = y1 - y,
      j2 = jx * jx + jy * jy,
      ex = m.toX - x,
      ey = m.toY - y;
    if (j2 < 1e-9) break;
    const step = (jx * ex + jy * ey) / j2;
    left = Math.abs(jx * ey - jy * ex) / Math.sqrt(j2);
    near = Math.max(-most, Math.min(most, near + step * unit));
  }
  return { near, left };
}

/**
 * Cells of the first picture and where they went, in take pixels; those that the way back does not lead home are left
 * out.
 */
function movedCells({ first, second }: TurningPair, cell: number): Moved[] {
  const box: Box = [
    Math.min(first.box[0], second.box[0]),
    Math.min(first.box[1], second.box[1]),
    Math.max(first.box[2], second.box[2]),
    Math.max(first.box[3], second.box[3]),
  ];
  const scope = kernels().scope(),
    open: FlowPicture[] = [];
  try {
    const a = ontoBox(first, box, scope),
      b = ontoBox(second, box, scope),
      { width: w, height: h } = a;
    if (w < 16 || h < 16) return [];
    const pa = new FlowPicture(a.luma.slice(), w, h),
      pb = new FlowPicture(b.luma.slice(), w, h);
    open.push(pa, pb);
    const there = motionAt(pa, pb, 0),
      back = motionAt(pa, pb, 1),
      out: Moved[] = [];
    for (let y0 = 0; y0 + cell <= h; y0 += cell)
      for (let x0 = 0; x0 + cell <= w; x0 += cell) {
        const m = cellMotion(there, back, a.data, w, h, x0, y0, cell);
        if (m !== null) {
          const x = box[0] + x0 + cell / 2,
            y = box[1] + y0 + cell / 2;
          out.push({ x, y, toX: x + m[0], toY: y + m[1] });
        }
      }
    return out;
  } finally {
    for (const p of open) p.close();
    scope.close();
  }
}

/** Mean motion of a cell's covered pixels that come home; null where too few do. `data`: interleaved RGBA. */
function cellMotion(
  there: MotionField,
  back: MotionField,
  data: Float32Array,
  w: number,
  h: number,
  x0: number,
  y0: number,
  cell: number,
): readonly [number, number] | null {
  let su = 0,
    sv = 0,
    count = 0;
  for (let y = y0; y < y0 + cell; y++)
    for (let x = x0; x < x0 + cell; x++) {
      const i = y * w + x;
      if (data[4 * i + 3]! < COVERED) continue;
      const u = there.u[i]!,
        v = there.v[i]!,
        xx = Math.round(x + u),
        yy = Math.round(y + v);
      if (xx < 0 || yy < 0 || xx >= w || yy >= h) continue;
      // `back` is given on the second picture: the same point's motion from the first to it.
      const k = yy * w + xx,
        off = Math.hypot(back.u[k]! - u, back.v[k]! - v);
      if (off > Math.max(MEETS_PX, MEETS * Math.hypot(u, v))) continue;
      su += u;
      sv += v;
      count++;
    }
  return count < 0.5 * cell * cell ? null : [su / count, sv / count];
}

function median(v: readonly number[]): number {
  const s = [...v].sort((a, b) => a - b);
  return s[s.length >> 1] ?? 0;
}
