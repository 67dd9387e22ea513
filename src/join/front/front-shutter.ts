/**
 * How long the shutter stood open for a thing that passes in front, read from its own edges: a straight edge that moves
 * v pixels a frame across itself shows as a ramp over the share of v that the shutter was open. Along the motion
 * through each edge that lies across it, the plate is fitted by such a ramp (its place, the light on both sides by
 * least squares, its length tried); the median over edges counts. A camera that stands still tells no shutter
 * otherwise.
 */
import type { Picture } from '../../image/picture.js';
import { medianOf } from '../ground/plate-shadow.js';

export type Outline = readonly (readonly [number, number])[];

/** Slower edges tell nothing: their own softness is as wide. */
const LEAST_SPEED = 5;
/** Edges must run within this of square to the motion (cosine of their normal). */
const LEAST_ACROSS = 0.5;
/** Least contrast of an edge, linear light over the mean. */
const LEAST_CONTRAST = 0.15;
/** A shutter open for less than this share is not told from the lens's own softness. */
const LEAST_SHARE = 0.12;
/** Softness of an edge that stands still, px (sd): the step's own, with what 4:2:0 adds. Own choice. */
const OWN_SOFT_PX = 0.8;
const SHARES = [0, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 1];
/** A ramp must fit that much better than a sharp edge. */
const LEAST_BETTER = 0.8;

/** Way of each corner in one frame about `frame`, px; null where the outline's corners are not the same ones. */
export function cornerSpeeds(outline: (frame: number) => Outline, frame: number): [number, number][] | null {
  const a = outline(frame - 1),
    m = outline(frame),
    b = outline(frame + 1);
  if (a.length !== m.length || b.length !== m.length) return null;
  return m.map(([x, y], i) => {
    const back = [x - a[i]![0], y - a[i]![1]] as const,
      on = [b[i]![0] - x, b[i]![1] - y] as const,
      p = Math.hypot(...back),
      q = Math.hypot(...on);
    // Beyond the first and the last mark nothing moves: the other side tells.
    return p < 0.05 * q
      ? [on[0], on[1]]
      : q < 0.05 * p
        ? [back[0], back[1]]
        : [(back[0] + on[0]) / 2, (back[1] + on[1]) / 2];
  });
}

/** Shares of a frame that the shutter was open, one for each edge of the outline that tells it. */
function edgeShares(linear: Picture, outline: Outline, speeds: readonly (readonly [number, number])[]): number[] {
  const { width: w, height: h, data } = linear,
    n = w * h,
    out: number[] = [];
  const lum = (x: number, y: number): number => {
    const i = Math.min(h - 1, Math.max(0, Math.floor(y))) * w + Math.min(w - 1, Math.max(0, Math.floor(x)));
    return 0.2126 * data[i]! + 0.7152 * data[n + i]! + 0.0722 * data[2 * n + i]!;
  };
  for (let k = 0; k < outline.length; k++) {
    const j = (k + 1) % outline.length,
      p = outline[k]!,
      q = outline[j]!,
      ex = q[0] - p[0],
      ey = q[1] - p[1],
      long = Math.hypot(ex, ey);
    if (long < 12) continue;
    const vx = (speeds[k]![0] + speeds[j]![0]) / 2,
      vy = (speeds[k]![1] + speeds[j]![1]) / 2,
      speed = Math.hypot(vx, vy),
      across = Math.abs(vx * ey - vy * ex) / (long * Math.max(1e-6, speed));
    if (speed < LEAST_SPEED || across < LEAST_ACROSS) continue;
    const reach = Math.min(60, Math.ceil(0.5 * speed + 4));
    // The mean of several parallels: texture and grain weigh less, and each is brought to where the edge is.
    const profile = new Float64Array(2 * reach + 1);
    let count = 0;
    for (let s = 0.15; s <= 0.85; s += Math.max(0.02, 2 / long)) {
      const x = p[0] + s * ex,
        y = p[1] + s * ey;
      if (x < reach || y < 0 || x > w - reach || y > h) continue;
      for (let t = -reach; t <= reach; t++)
        profile[t + reach] = profile[t + reach]! + lum(x + (t * vx) / speed, y + (t * vy) / speed);
      count++;
    }
    if (count < 4) continue;
    const share = rampOf(
      profile.map((v) => v / count),
      reach,
      speed,
    );
    // A lens and a coder make a ramp of their own: one of the same spread, taken off as spreads are (variances add; a
    // ramp of length l has l²/12).
    if (share !== null) out.push(Math.sqrt(Math.max(0, share * share - (12 * OWN_SOFT_PX ** 2) / (speed * speed))));
  }
  return out;
}

/** Share of `speed` that the ramp in the profile is long; null where no edge stands out. */
function rampOf(profile: Float64Array, reach: number, speed: number): number | null {
  // As far as an edge may be marked beside itself.
  const off = Math.max(3, 0.15 * speed);
  let best = Infinity,
    share = 0,
    sharp = Infinity,
    contrast = 0;
  for (const s of SHARES) {
    const half = Math.max(0.5, (s * speed) / 2);
    for (let at = -off; at <= off; at += 0.5) {
      // Least squares of lower and upper level under a ramp r(t) in 0..1.
      let aa = 0,
        ab = 0,
        bb = 0,
        ay = 0,
        by = 0,
        yy = 0;
      for (let t = -reach; t <= reach; t++) {
        const r = Math.min(1, Math.max(0, (t - at + half) / (2 * half))),
          o = 1 - r,
          y = profile[t + reach]!;
        aa += o * o;
        ab += o * r;
        bb += r * r;
        ay += o * y;
        by += r * y;
        yy += y * y;
      }
      const det = aa * bb - ab * ab;
      if (!(det > 1e-9)) continue;
      const a = (ay * bb - by * ab) / det,
        b = (by * aa - ay * ab) / det,
        left = yy - a * ay - b * by;
      if (s === 0) sharp = Math.min(sharp, left);
      if (left < best) {
        best = left;
        share = s;
        contrast = (Math.abs(a - b) / Math.max(1e-6, Math.abs(a) + Math.abs(b))) * 2;
      }
    }
  }
  return contrast < LEAST_CONTRAST || !Number.isFinite(best) ? null : best < LEAST_BETTER * sharp ? share : 0;
}

/**
 * Degrees of shutter that a passing thing shows on the frames looked at; 0 where it is as good as closed or nothing
 * moves fast enough to tell.
 */
export async function frontShutterDeg(
  outlines: readonly ((frame: number) => Outline)[],
  frames: readonly number[],
  linear: (frame: number) => Promise<Picture>,
): Promise<number> {
  const all: number[] = [];
  for (const outline of outlines) {
    const fast = frames
      .map((f) => ({ f, v: cornerSpeeds(outline, f) }))
      .filter(
        (q): q is { f: number; v: [number, number][] } =>
          q.v !== null && q.v.some((p) => Math.hypot(...p) >= LEAST_SPEED),
      );
    for (const { f, v } of fast.length <= 4
      ? fast
      : [0, 1, 2, 3].map((k) => fast[Math.round((k * (fast.length - 1)) / 3)]!))
      all.push(...edgeShares(await linear(f), outline(f), v));
  }
  const share = all.length === 0 ? 0 : medianOf(all);
  return share < LEAST_SHARE ? 0 : Math.round(360 * share);
}
