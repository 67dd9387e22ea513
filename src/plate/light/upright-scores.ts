/**
 * Every direction and elevation of a key scored by the shadows that uprights would throw: the best prefix of a running
 * sum.
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
  const sums = azimuths.map((a) => sumsAlong(w, h, cam, f, a, longest, widths, noise));
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
        best = Math.max(best, without(back, j, k, s.of[j]![k]!));
      }
      out[i * n + e] = best;
    }
  });
  return out;
}

interface Sums {
  readonly way: Way;
  /** Running sums, a width each. */
  readonly of: readonly Float64Array[];
}

/** Running sums of one foot's darkness in one direction; null where the picture shows nothing of it. */
function sumsAlong(
  w: number,
  h: number,
  cam: Pinhole,
  f: Foot,
  azimuthDeg: number,
  longest: number,
  widths: readonly Width[],
  noise: readonly number[],
  known?: Uint8Array,
): Sums | null {
  const upX = f.top[0] - f.foot[0];
  const upY = f.top[1] - f.foot[1];
  const up = Math.hypot(upX, upY) || 1;
  const way = wayOf(cam, f, azimuthDeg, longest, w, h);
  if (way.x.length < 4) return null;
  const dx = way.x[3]! - f.foot[0];
  const dy = way.y[3]! - f.foot[1];
  const d = Math.hypot(dx, dy) || 1;
  const rising = (dx * upX + dy * upY) / (d * up);
  if (rising > Math.cos(BEHIND_DEG * RAD_PER_DEG)) return null;
  const hidden = rising <= 0 ? 0 : (STOUT * up) / Math.sqrt(1 - rising * rising);
  return { way, of: widths.map((b, j) => runningSum(w, h, way, b, noise[j]!, hidden, known)) };
}

/** What of a sum up to point k is left when what goes on behind the foot is taken off: that is a joint or a kerb. */
function without(back: Sums | null, j: number, k: number, sum: number): number {
  // Where little of that side is seen, what is seen stands for as much.
  const m = back === null ? 0 : Math.min(k, back.of[j]!.length - 1);
  return m < 6 ? sum : sum - Math.max(0, (back!.of[j]![m]! * (k + 1)) / (m + 1));
}

/**
 * Darkness along the way summed from the foot, in noise, each point's toll paid. @param
 * hidden pixels of it that what stands there may cover @param known see ReadPicture
 */
function runningSum(
  w: number,
  h: number,
  way: Way,
  width: Width,
  noise: number,
  hidden: number,
  known?: Uint8Array,
): Float64Array {
  const out = new Float64Array(way.x.length);
  let sum = 0;
  for (let k = 0; k < out.length; k += 1) {
    // The caster's own base covers the first of it.
    if (k >= 1.5 * width.half && k >= hidden) {
      const other = known !== undefined && known[(way.y[k]! | 0) * w + (way.x[k]! | 0)] === 1;
      const dark = other ? 0 : darknessAt(w, h, way, k, width) / noise;
      sum += Math.max(-MOST, Math.min(MOST, dark)) - TOLL;
    }
    out[k] = sum;
  }
  return out;
}

/** Tangents of the elevations of open scores, highest and lowest, and how many between. */
const STEEPEST = 6;
const FLATTEST = 0.08;
const OPEN = 44;
/**
 * A shadow that breaks off before its end (a wall, a thing in its way, a wide lamp's spread tip) keeps so much of what
 * was seen of it (own choice).
 */
const BROKEN = 0.7;
const tangentOf = (e: number): number => STEEPEST * (FLATTEST / STEEPEST) ** (e / (OPEN - 1));

/** A picture as the search reads it (upright-feet.ts), with its own noise a width. */
export interface ReadPicture {
  readonly width: number;
  readonly height: number;
  readonly cam: Pinhole;
  readonly widths: readonly Width[];
  readonly noise: readonly number[];
  /** Pixels whose darkness is known to be another thing's: they count as lit ground. */
  readonly known?: Uint8Array;
}

/**
 * The shadow of one foot scored for any direction and elevation, where it need not be seen whole: it may leave the
 * picture or break off. Directions are looked at when they are first asked for.
 */
export class OpenScores {
  private readonly sums = new Map<number, Sums | null>();
  private readonly rows = new Map<number, Float64Array>();

  private readonly picture: ReadPicture;
  readonly foot: Foot;

  constructor(picture: ReadPicture, foot: Foot) {
    this.picture = picture;
    this.foot = foot;
  }

  /** Bilinear between the directions and elevations that were looked at. */
  at(azimuthDeg: number, elevationDeg: number): number {
    const u = (((azimuthDeg % 360) + 360) % 360) / STEP_DEG;
    const tangent = Math.tan(Math.max(0.1, Math.min(89.9, elevationDeg)) * RAD_PER_DEG);
    const v = Math.max(
      0,
      Math.min(OPEN - 1.001, (Math.log(tangent / STEEPEST) / Math.log(FLATTEST / STEEPEST)) * (OPEN - 1)),
    );
    const a = this.row(Math.floor(u));
    const b = this.row(Math.floor(u) + 1);
    const k = Math.floor(v);
    const s = u - Math.floor(u);
    const t = v - k;
    return (1 - s) * ((1 - t) * a[k]! + t * a[k + 1]!) + s * ((1 - t) * b[k]! + t * b[k + 1]!);
  }

  private along(i: number): Sums | null {
    const known = this.sums.get(i);
    if (known !== undefined) return known;
    const { width, height, cam, widths, noise, known: other } = this.picture;
    const longest = this.foot.height / FLATTEST;
    const made = sumsAlong(width, height, cam, this.foot, i * STEP_DEG, longest, widths, noise, other);
    this.sums.set(i, made);
    return made;
  }

  private row(n: number): Float64Array {
    const round = 360 / STEP_DEG;
    const i = n % round;
    const known = this.rows.get(i);
    if (known !== undefined) return known;
    const out = new Float64Array(OPEN);
    this.rows.set(i, out);
    const s = this.along(i);
    if (s === null) return out;
    const back = this.along((i + round / 2) % round);
    const most = s.of.map(() => 0);
    let k = -1;
    for (let e = 0; e < OPEN; e += 1) {
      const long = this.foot.height / tangentOf(e);
      while (k + 1 < s.way.gone.length && s.way.gone[k + 1]! <= long) {
        k += 1;
        for (let j = 0; j < most.length; j += 1) most[j] = Math.max(most[j]!, without(back, j, k, s.of[j]![k]!));
      }
      for (let j = 0; j < most.length; j += 1)
        if (k >= 0) out[e] = Math.max(out[e]!, without(back, j, k, s.of[j]![k]!), BROKEN * most[j]!);
    }
    return out;
  }
}
