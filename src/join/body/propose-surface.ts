/**
 * The front of a performer that turns, for any frame of its take: measured on a few frames (turn-surface.ts), turned
 * from the two nearest to the frame asked. How far it turned between them is told by the poses and by the turns that
 * were measured: the rate between two poses goes as the measured ones do, scaled to what the poses have between them.
 */
import { plane } from '../../image/picture.js';
import { ballsOfMatte } from './body-volume.js';
import { marksOf, type ProposalInput } from '../proposal-input.js';
import { yawOfMarks } from './turned-frames.js';
import { evenPoints, surfaceFromTurn, turnSurface, type TurnSurface } from './turn-surface.js';
import type { TakeGround } from './body-depth.js';
import type { FrontPoint } from '../ground/types.js';

/** One front for so many degrees of turn, so many at most. */
const APART_DEG = 8,
  MOST = 10;
/** Frames farther round than this see other sides. */
const MOST_ROUND_DEG = 40;

export interface FrontsFound {
  /** Take frames in order, and the front on each. */
  readonly frames: readonly number[];
  readonly fronts: readonly (readonly FrontPoint[])[];
  /** On how many frames it was measured, and what a rigid turn leaves over there, in parts of the motion (mean). */
  readonly measured: number;
  readonly left: number;
}

/** Null where fewer than two frames of the turn tell it. */
export function frontsOfTurn(
  input: ProposalInput,
  ground: Omit<TakeGround, 'azimuthDeg' | 'elevationDeg' | 'softnessDeg'>,
): FrontsFound | null {
  const poses = yawOfMarks(input.take.marks),
    found: { readonly surface: TurnSurface; readonly rate: number; readonly middle: number }[] = [];
  if (poses === null) return null;
  const tall = Math.max(
    0,
    ...(input.seen?.turned ?? []).map((t) =>
      rowsOf(plane(t.performer.picture, 3), t.performer.picture.width, t.performer.picture.height),
    ),
  );
  if (!(tall > 0)) return null;
  for (const t of input.seen?.turned ?? []) {
    if (
      t.beside === undefined ||
      (t.performer.unit ?? 1) !== 1 ||
      t.performer.box[2] <= t.performer.box[0] ||
      t.beside.performer.box[2] <= t.beside.performer.box[0]
    )
      continue;
    const n = t.beside.frame,
      surface = surfaceFromTurn(
        { frame: t.frame, turnDeg: poses(t.frame) - poses(n), first: t.performer, second: t.beside.performer },
        ground,
        tall,
      );
    if (surface !== null) found.push({ surface, rate: surface.turnDeg / (t.frame - n), middle: (t.frame + n) / 2 });
  }
  if (found.length < 2) return null;
  const frameCount = Math.max(input.take.measures.span.out, ...(input.seen?.turned ?? []).map((t) => t.frame + 1)),
    yaws = turnedBy(
      frameCount,
      marksOf(input.take.marks, 'pose').map((m) => m.frame),
      poses,
      found,
    );
  const low = Math.min(...yaws),
    high = Math.max(...yaws),
    many = Math.max(2, Math.min(MOST, Math.ceil((high - low) / APART_DEG) + 1));
  const frames = [
    ...new Set(Array.from({ length: many }, (_, i) => nearestTo(yaws, low + ((high - low) * i) / (many - 1)))),
  ].sort((a, b) => a - b);
  const fronts = frames.map((f) =>
    frontAt(
      found.map((x) => x.surface),
      yaws,
      f,
      ground,
      tall,
    ),
  );
  return { frames, fronts, measured: found.length, left: found.reduce((s, f) => s + f.surface.left / found.length, 0) };
}

/** Rows of the body without its hairs, as the view's shift counts them. */
function rowsOf(alpha: Float32Array, width: number, height: number): number {
  let top = Infinity,
    low = -Infinity;
  for (const b of ballsOfMatte(alpha, width, height)) {
    top = Math.min(top, b.y - b.r);
    low = Math.max(low, b.y + b.r);
  }
  return Math.max(0, low - top);
}

function nearestTo(yaws: readonly number[], yaw: number): number {
  let best = 0;
  yaws.forEach((y, i) => {
    if (Math.abs(y - yaw) < Math.abs(yaws[best]! - yaw)) best = i;
  });
  return best;
}

/** Yaw on every frame: the measured rates, between them in proportion, scaled to what the poses have. */
function turnedBy(
  count: number,
  posed: readonly number[],
  poses: (frame: number) => number,
  found: readonly { readonly rate: number; readonly middle: number }[],
): number[] {
  const sorted = [...found].sort((a, b) => a.middle - b.middle);
  const rateAt = (frame: number): number => {
    let k = 0;
    while (k < sorted.length - 2 && sorted[k + 1]!.middle < frame) k++;
    const a = sorted[k]!,
      b = sorted[k + 1]!,
      t = Math.min(1, Math.max(0, (frame - a.middle) / Math.max(1e-6, b.middle - a.middle)));
    return a.rate + t * (b.rate - a.rate);
  };
  const ends = [...new Set([0, ...posed.filter((f) => f > 0 && f < count - 1), count - 1])].sort((a, b) => a - b),
    out = new Array<number>(count).fill(poses(0));
  for (let s = 0; s < ends.length - 1; s++) {
    const from = ends[s]!,
      to = ends[s + 1]!,
      rates = Array.from({ length: to - from }, (_, i) => rateAt(from + i + 0.5)),
      sum = rates.reduce((a, b) => a + b, 0),
      turn = poses(to) - poses(from);
    // Where the measured rates do not go the poses' way the poses stand alone.
    const even = sum * turn <= 0 || Math.abs(Math.log(sum / turn)) > Math.LN2;
    for (let i = from; i < to; i++) out[i + 1] = even ? poses(i + 1) : out[i]! + (rates[i - from]! * turn) / sum;
  }
  return out;
}

/** From the nearest measured frame on either side in yaw, each turned to it, the nearer counting more. */
function frontAt(
  surfaces: readonly TurnSurface[],
  yaws: readonly number[],
  frame: number,
  ground: Omit<TakeGround, 'azimuthDeg' | 'elevationDeg' | 'softnessDeg'>,
  tall: number,
): FrontPoint[] {
  const yaw = yaws[frame]!,
    by = surfaces
      .map((s) => ({ s, off: yaws[s.frame]! - yaw }))
      .filter((x) => Math.abs(x.off) <= MOST_ROUND_DEG)
      .sort((a, b) => Math.abs(a.off) - Math.abs(b.off));
  const first = by[0],
    other = first === undefined ? undefined : by.find((x) => x.off * first.off < 0);
  const points: (readonly [number, number, number, number])[] = [];
  for (const x of [first, other]) {
    if (x === undefined) continue;
    const weight = other === undefined ? 1 : 1 - Math.abs(x.off) / (Math.abs(first!.off) + Math.abs(other.off));
    for (const [px, pu, front] of turnSurface(x.s.points, x.off, ground, tall)) points.push([px, pu, front, weight]);
  }
  return evenPoints(points);
}
