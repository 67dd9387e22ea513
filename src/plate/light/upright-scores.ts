/**
 * Every direction and elevation of a key scored by the shadows that uprights would
 * throw: the best prefix of a running sum.
 */
import { DEG_PER_RAD, RAD_PER_DEG } from '../../core/angles.js';
import type { Pinhole } from '../../geometry/camera.js';
import { BEHIND_DEG, type Foot, STOUT, type Way, type Width, darknessAt, wayOf } from './upright-darkness.js';

/** Directions tried on the ground, degrees. */
export const STEP_DEG = 3;
/** Elevations tried: even steps of the shadow's length in logarithm, from high to low. */
export const ELEVATIONS = Array.from(
  { length: 36 },
  (_, k) => Math.atan(Math.exp(Math.log(4) - (k / 35) * Math.log(4 / 0.16))) * DEG_PER_RAD,
);

/**
 * A pixel of the way counts for so much less than its darkness in noise: a shadow must be darker than this on average.
 */
const TOLL = 0.8;
/** Darkness a pixel counts for at most, in noise: one dark joint is no shadow. */
const MOST = 2.5;

/** Score of every direction × elevation for one foot, the best width each: rows of `ELEVATIONS.length`. */
export function scores(
  w: number,
  h: number,
  cam: Pinhole,
  f: Foot,
  azimuths: readonly number[],
  widths: readonly Width[],
  noise: readonly number[],
): Float64Array {
  const n = ELEVATIONS.length;
  const out = new Float64Array(azimuths.length * n);
  const longest = f.height / Math.tan(ELEVATIONS[n - 1]! * RAD_PER_DEG);
  const upX = f.top[0] - f.foot[0];
  const upY = f.top[1] - f.foot[1];
  const up = Math.hypot(upX, upY) || 1;
  const sums = azimuths.map((a) => {
    const way = wayOf(cam, f, a, longest, w, h);
    if (way.x.length < 4) return null;
    const dx = way.x[3]! - f.foot[0];
    const dy = way.y[3]! - f.foot[1];
    const d = Math.hypot(dx, dy) || 1;
    const rising = (dx * upX + dy * upY) / (d * up);
    if (rising > Math.cos(BEHIND_DEG * RAD_PER_DEG)) return null;
    return {
      way,
      of: widths.map((b, j) =>
        runningSum(w, h, way, b, noise[j]!, rising <= 0 ? 0 : (STOUT * up) / Math.sqrt(1 - rising * rising)),
      ),
    };
  });
  sums.forEach((s, i) => {
    if (s === null) return;
    const back = sums[(i + azimuths.length / 2) % azimuths.length] ?? null;
    for (let e = 0; e < n; e += 1) {
      const long = f.height / Math.tan(ELEVATIONS[e]! * RAD_PER_DEG);
      let k = s.way.gone.length - 1;
      // A shadow that leaves the picture shows its length no more.
      if (s.way.gone[k]! < 0.7 * long) continue;
      while (k > 0 && s.way.gone[k]! > long) k -= 1;
      let best = 0;
      for (let j = 0; j < widths.length; j += 1) {
        // What goes on behind the foot is a joint or a kerb; where little of that side is
        // seen, what is seen stands for as much.
        const m = back === null ? 0 : Math.min(k, back.of[j]!.length - 1);
        const behind = m < 6 ? 0 : Math.max(0, (back!.of[j]![m]! * (k + 1)) / (m + 1));
        best = Math.max(best, s.of[j]![k]! - behind);
      }
      out[i * n + e] = best;
    }
  });
  return out;
}

/**
 * Darkness along the way summed from the foot, in noise, each point's toll paid. @param
 * hidden pixels of it that what stands there may cover
 */
function runningSum(w: number, h: number, way: Way, width: Width, noise: number, hidden: number): Float64Array {
  const out = new Float64Array(way.x.length);
  let sum = 0;
  for (let k = 0; k < out.length; k += 1) {
    // The caster's own base covers the first of it.
    if (k >= 1.5 * width.half && k >= hidden)
      sum += Math.max(-MOST, Math.min(MOST, darknessAt(w, h, way, k, width) / noise)) - TOLL;
    out[k] = sum;
  }
  return out;
}
