/**
 * Yaw between a few key poses, by the monotone cubic of F. N. Fritsch & R. E. Carlson (*Monotone Piecewise Cubic
 * Interpolation*, SIAM J. Numer. Anal. 17, 1980): no overshoot between poses. The plainest turn measure: what poses
 * alone tell; tracked parallax is added elsewhere.
 *
 * Poses do not tell whether a turn is even or begins and ends at rest, as movements of the body
 * do (T. Flash & N. Hogan, *The Coordination of Arm Movements*, J. Neurosci. 5, 1985). The curve
 * lies between the two, so that neither is far off.
 */
import { framesPerSecond, type Rate } from '../../core/rational.js';
import { cubicCurve, monotoneSlopes } from '../../geometry/cubic-curve.js';
import type { MarksFile } from '../marks/marks.js';
import type { Turn } from '../types.js';

/** How far somebody is turned on a frame, degrees; 0 faces the camera. */
export interface Pose {
  readonly frame: number;
  readonly yawDeg: number;
}

/** Pose marks, and head marks that say their yaw where no pose is marked on their frame; in the order of the marks. */
export function posesOf(marks: MarksFile): Pose[] {
  const poses = marks.marks.flatMap((m) => (m.kind === 'pose' ? [{ frame: m.frame, yawDeg: m.yawDeg }] : []));
  for (const m of marks.marks) {
    if (m.kind !== 'head' || m.yawDeg === undefined) continue;
    const frame = m.frame ?? marks.frame;
    if (!poses.some((p) => p.frame === frame)) poses.push({ frame, yawDeg: m.yawDeg });
  }
  return poses;
}

/** Rate at the first and the last pose as a share of an even turn's. */
const END_SHARE = 0.3;
/** With one pose between them: its rate against the mean beside it; 1 in an even turn, π/2 in one eased by a cosine. */
const MIDDLE_SHARE = 1.25;

/** Monotone cubic through (x, y), x rising, slower at the ends; constant beyond them. */
function monotoneCubic(x: readonly number[], y: readonly number[]): (t: number) => number {
  const slopes = monotoneSlopes(x, y),
    last = slopes.length - 1;
  slopes[0]! *= END_SHARE;
  slopes[last]! *= END_SHARE;
  if (last === 2) {
    // Three times the lesser slope beside it is the most that keeps the curve monotone.
    const beside = [0, 1].map((i) => Math.abs((y[i + 1]! - y[i]!) / (x[i + 1]! - x[i]!)));
    slopes[1] = Math.sign(slopes[1]!) * Math.min(MIDDLE_SHARE * Math.abs(slopes[1]!), 3 * Math.min(...beside));
  }
  return cubicCurve(x, y, slopes);
}

/**
 * Turn from poses alone; fewer than two different frames give null. Yaw is unwrapped: a pose is
 * never more than half a turn from the one before.
 */
export function turnFromPoses(poses: readonly Pose[], frameCount: number, rate: Rate): Turn | null {
  const sorted = [...poses]
    .sort((a, b) => a.frame - b.frame)
    .filter((p, i, all) => i === 0 || p.frame !== all[i - 1]!.frame);
  if (sorted.length < 2) return null;
  const x = sorted.map((p) => p.frame);
  const y: number[] = [];
  for (const p of sorted) {
    let v = p.yawDeg;
    const last = y[y.length - 1];
    if (last !== undefined) while (v - last > 180) v -= 360;
    if (last !== undefined) while (v - last < -180) v += 360;
    y.push(v);
  }
  const at = monotoneCubic(x, y);
  const from = x[0]!;
  const to = Math.min(frameCount - 1, x[x.length - 1]!);
  const frames: { frame: number; yawDeg: number; sd: number }[] = [];
  let peak = 0;
  const fps = framesPerSecond(rate);
  for (let f = from; f <= to; f++) {
    const gap = Math.min(...x.map((k) => Math.abs(k - f)));
    const span = (x[x.length - 1]! - x[0]!) / Math.max(1, x.length - 1);
    const step = Math.abs(y[y.length - 1]! - y[0]!) / Math.max(1, x.length - 1);
    // Three degrees for a pose read by eye, and up to a tenth of a step between poses.
    frames.push({ frame: f, yawDeg: at(f), sd: Math.hypot(3, 0.2 * step * Math.min(1, gap / Math.max(1, span))) });
    if (f > from) peak = Math.max(peak, Math.abs(at(f) - at(f - 1)) * fps);
  }
  return { frames, peakDegPerSecond: peak, startFrame: from, stopFrame: to };
}
