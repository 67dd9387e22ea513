/**
 * At which pace a take's turning would meet the plate's: the p that makes yaw_take(t) = yaw_plate(p t + c), by a
 * weighted line through times of equal yaw. p below 1: the take turns too slowly and must be played faster (by 1/p).
 */
import type { Turn } from '../../plate/types.js';

export interface PaceFit {
  /** Take's rate over plate's rate. */
  readonly pace: number;
  readonly sd: number;
  /** Mean rate of the plate over the yaw range both pass through, degrees a second, always positive. */
  readonly plateDegPerSecond: number;
  /** Time (s, take) at which the take has the plate's first yaw of the common range. */
  readonly takeStartS: number;
  readonly plateStartS: number;
  readonly commonDeg: number;
}

/** Least range of yaw from which a rate is told. */
const LEAST_DEG = 12;

/** Longest monotone stretch of a turn as (seconds, degrees). */
function stretch(turn: Turn, fps: number): { t: number[]; y: number[]; sd: number } | null {
  const f = turn.frames;
  let best: [number, number] = [0, 0];
  for (const sign of [1, -1]) {
    let start = 0;
    for (let i = 1; i <= f.length; i++) {
      // Small steps back (half a degree) are noise, not a turn back.
      if (i === f.length || sign * (f[i]!.yawDeg - f[i - 1]!.yawDeg) < -0.5) {
        if (Math.abs(f[i - 1]!.yawDeg - f[start]!.yawDeg) > Math.abs(f[best[1]]!.yawDeg - f[best[0]]!.yawDeg))
          best = [start, i - 1];
        start = i;
      }
    }
  }
  if (best[1] <= best[0]) return null;
  const part = f.slice(best[0], best[1] + 1);
  return {
    t: part.map((q) => q.frame / fps),
    y: part.map((q) => q.yawDeg),
    sd: part.reduce((a, q) => a + q.sd, 0) / part.length,
  };
}

/** Time at which a monotone stretch passes yaw `v`. */
function timeAt(s: { t: number[]; y: number[] }, v: number): number {
  const up = s.y[s.y.length - 1]! > s.y[0]!;
  for (let i = 1; i < s.y.length; i++) {
    const a = s.y[i - 1]!;
    const b = s.y[i]!;
    if (up ? v >= a && v <= b : v <= a && v >= b)
      return s.t[i - 1]! + (b === a ? 0 : ((v - a) / (b - a)) * (s.t[i]! - s.t[i - 1]!));
  }
  return up === v > s.y[0]! ? s.t[s.t.length - 1]! : s.t[0]!;
}

/** Fits the pace; null where either does not turn, they turn opposite ways, or share too little of the turn. */
export function fitPace(plate: Turn, take: Turn, plateFps: number, takeFps: number): PaceFit | null {
  const a = stretch(plate, plateFps);
  const b = stretch(take, takeFps);
  if (a === null || b === null) return null;
  const upA = a.y[a.y.length - 1]! > a.y[0]!;
  const upB = b.y[b.y.length - 1]! > b.y[0]!;
  if (upA !== upB) return null;
  const lo = Math.max(Math.min(a.y[0]!, a.y[a.y.length - 1]!), Math.min(b.y[0]!, b.y[b.y.length - 1]!));
  const hi = Math.min(Math.max(a.y[0]!, a.y[a.y.length - 1]!), Math.max(b.y[0]!, b.y[b.y.length - 1]!));
  const common = hi - lo;
  if (common < LEAST_DEG) return null;
  const n = 41;
  let sx = 0;
  let sy = 0;
  let sxx = 0;
  let sxy = 0;
  for (let i = 0; i < n; i++) {
    // The outer twentieths are left out: where a turn starts and stops, its time hangs on a hair of yaw.
    const v = lo + common * (0.05 + (0.9 * i) / (n - 1));
    const x = timeAt(b, v);
    const y = timeAt(a, v);
    sx += x;
    sy += y;
    sxx += x * x;
    sxy += x * y;
  }
  const pace = (n * sxy - sx * sy) / (n * sxx - sx * sx);
  if (!(pace > 0)) return null;
  const offset = (sy - pace * sx) / n;
  const first = upA ? lo : hi;
  const last = upA ? hi : lo;
  const seconds = timeAt(a, last) - timeAt(a, first);
  const sd = pace * Math.min(1, (Math.SQRT2 * Math.hypot(a.sd, b.sd)) / common);
  return {
    pace,
    sd,
    plateDegPerSecond: common / Math.max(1e-6, seconds),
    takeStartS: (timeAt(a, first) - offset) / pace,
    plateStartS: timeAt(a, first),
    commonDeg: common,
  };
}
