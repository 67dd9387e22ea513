/** Take frames that show a turning performer from several sides, and its yaw on any frame, from the marked poses. */
import { marksOf } from '../proposal-input.js';
import type { MarksFile } from '../../plate/marks/marks.js';

/** A smaller turn shows too little of what the outline hides; one frame for each so many degrees; at most so many. */
const LEAST_RANGE_DEG = 25,
  APART_DEG = 18,
  MOST = 4;

/** Yaw on any frame, in proportion between the poses; null with fewer than two. */
export function yawOfMarks(marks: MarksFile): ((frame: number) => number) | null {
  const poses = marksOf(marks, 'pose')
    .sort((a, b) => a.frame - b.frame)
    .filter((p, i, all) => i === 0 || p.frame > all[i - 1]!.frame);
  if (poses.length < 2) return null;
  const yaw = poses.map((p) => p.mark.yawDeg);
  for (let i = 1; i < yaw.length; i++) yaw[i] = yaw[i]! - 360 * Math.round((yaw[i]! - yaw[i - 1]!) / 360);
  return (frame) => {
    let k = 0;
    while (k < poses.length - 2 && poses[k + 1]!.frame < frame) k++;
    const a = poses[k]!.frame,
      b = poses[k + 1]!.frame,
      t = Math.min(1, Math.max(0, (frame - a) / (b - a)));
    return yaw[k]! + t * (yaw[k + 1]! - yaw[k]!);
  };
}

/** A frame so much of turn from another shows how the coat moved; more frames away other things move too. */
const BESIDE_DEG = 4.5,
  MOST_BESIDE = 12;

/**
 * A frame that shows the performer turned a little further than `frame`, towards the turn's middle; null where none
 * does.
 */
function besideFrame(yaws: readonly number[], frame: number): number | null {
  const way = frame < yaws.length / 2 ? 1 : -1;
  for (let k = 1; k <= MOST_BESIDE; k++) {
    const n = frame + way * k;
    if (n < 0 || n >= yaws.length) return null;
    if (Math.abs(yaws[n]! - yaws[frame]!) >= BESIDE_DEG) return n;
  }
  return null;
}

/**
 * Frames of 0 to `count` at yaws spread evenly over the turn, each with one beside it; none where it turns too little,
 * or stands on several marked places.
 */
export function turnedFrames(
  marks: MarksFile,
  count: number,
): { readonly frame: number; readonly yawDeg: number; readonly beside: number | null }[] {
  const yawAt = yawOfMarks(marks);
  if (yawAt === null || count < 2 || new Set(marksOf(marks, 'performer').map((m) => m.frame)).size !== 1) return [];
  const all = Array.from({ length: count }, (_, frame) => ({ frame, yawDeg: yawAt(frame) }));
  const low = Math.min(...all.map((f) => f.yawDeg)),
    range = Math.max(...all.map((f) => f.yawDeg)) - low;
  if (range < LEAST_RANGE_DEG) return [];
  const many = Math.max(2, Math.min(MOST, Math.round(range / APART_DEG) + 1));
  const yaws = all.map((f) => f.yawDeg);
  return Array.from({ length: many }, (_, i) => low + (range * i) / (many - 1))
    .map((want) => all.reduce((b, f) => (Math.abs(f.yawDeg - want) < Math.abs(b.yawDeg - want) ? f : b)))
    .map((f) => ({ ...f, beside: besideFrame(yaws, f.frame) }));
}
