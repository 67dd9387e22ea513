/**
 * What moves by itself: dense motion from a frame to others near it, less what the camera's own move gives every place
 * (a homography fitted robustly to the motion of the whole picture, so that the performer's is outvoted). As log odds:
 * how far the rest exceeds what the fit leaves elsewhere. A performer who holds quite still shows nothing, and a near
 * post of a travelling camera does.
 */
import { apply } from '../../geometry/mat3.js';
import { robustHomography } from '../../geometry/robust-homography.js';
import { boxMean } from '../../image/box.js';
import { FlowPicture, motionAt } from '../../image/flow.js';
import { percentiles } from '../../image/statistics.js';
import type { SmallFrame } from './small-frame.js';

/** Small pixels between places that vote for the camera's move, and from the picture's edge. */
const STEP = 9,
  EDGE = 5;
/** Least rest (small pixels) that counts as motion, and times the usual rest. */
const LEAST = 0.6,
  TIMES = 3.5;
/**
 * Most that motion and stillness say: somebody holds still for a while, but what moves beside the set is rarely set.
 */
const MOST_MOVED = 3,
  MOST_STILL = -0.8;

/**
 * Log odds of each small pixel.
 *
 * @param others frames so many frames away, best in pairs before and after.
 * @returns null where no frame near by tells a camera's move.
 */
export function ownMotion(
  now: SmallFrame,
  others: readonly { readonly away: number; readonly frame: SmallFrame }[],
): Float32Array | null {
  const { width: w, height: h } = now,
    n = w * h,
    pairs = new Map<number, Float32Array>();
  if (w < 32 || h < 32) return null;
  const luma = new FlowPicture(now.data.slice(0, n), w, h);
  try {
    for (const o of others) {
      const other = new FlowPicture(o.frame.data.slice(0, n), w, h);
      try {
        const { u, v } = motionAt(luma, other, 0, { finest: 1 }),
          from: [number, number][] = [],
          to: [number, number][] = [];
        for (let y = EDGE; y < h - EDGE; y += STEP)
          for (let x = EDGE; x < w - EDGE; x += STEP) {
            const i = y * w + x;
            from.push([x + 0.5, y + 0.5]);
            to.push([x + 0.5 + u[i]!, y + 0.5 + v[i]!]);
          }
        const move = robustHomography(from, to, { seed: 1, maxSigmaPx: 1 });
        if (move === null) continue;
        const rest = new Float32Array(n);
        for (let y = 0, i = 0; y < h; y++)
          for (let x = 0; x < w; x++, i++) {
            const p = apply(move.homography, x + 0.5, y + 0.5);
            rest[i] = Math.hypot(x + 0.5 + u[i]! - p[0], y + 0.5 + v[i]! - p[1]);
          }
        const smooth = boxMean(rest, w, h, 1),
          usual = percentiles(smooth, [40])[0]!,
          least = Math.max(LEAST, TIMES * usual);
        for (let i = 0; i < n; i++) smooth[i] = smooth[i]! / least;
        // What is uncovered seems to move, on one side before and on the other after: both must say so.
        const pair = pairs.get(Math.abs(o.away));
        if (pair === undefined) pairs.set(Math.abs(o.away), smooth);
        else for (let i = 0; i < n; i++) pair[i] = Math.min(pair[i]!, smooth[i]!);
      } finally {
        other.close();
      }
    }
  } finally {
    luma.close();
  }
  if (pairs.size === 0) return null;
  const best = new Float32Array(n);
  for (const p of pairs.values()) for (let i = 0; i < n; i++) best[i] = Math.max(best[i]!, p[i]!);
  return best.map((v) => Math.max(MOST_STILL, Math.min(MOST_MOVED, 2 * (v - 1))));
}
