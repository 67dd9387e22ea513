/**
 * How dark the shadow of a thin upright is, where lens, coding and lamp spread it wider than it is: its middle then
 * looks lighter than it was. What spreading leaves alone is how much light is missing across it: the integral of the
 * missing share, a line's equivalent width (Minnaert & Mulders, Zeitschrift für Astrophysik 1, 1930, for lines of a
 * spectrum). An upright as thick as it is seen to be throws a shadow as wide as itself, so that missing share over
 * thickness is the share of the light that the key gave.
 *
 * World of the view: x right, y up, z away from the camera along the ground, metres.
 */
import { groundPoint, project, type Pinhole } from '../../geometry/camera.js';
import type { Vec3 } from '../../geometry/mat3.js';
import type { Picture } from '../../image/picture.js';
import { medianOf } from './plate-shadow.js';

type Point = readonly [number, number];

export interface ThinUpright {
  readonly foot: Point;
  readonly top: Point;
}

export interface ThinShadow {
  /** Linear light missing in the shadow as a share of the lit ground's, per channel; beside noise between 0 and 1. */
  readonly missing: readonly [number, number, number];
  /** Linear light of the lit ground beside it, per channel. */
  readonly litLinear: readonly [number, number, number];
  readonly places: number;
  /** Thickness of the upright at its foot, px, and the middle width of its shadow across on the picture, px. */
  readonly thickPx: number;
  readonly widePx: number;
  /** Sd of the middle of the missing share over the places, per channel. */
  readonly sd: readonly [number, number, number];
  /**
   * Light missing along its darkest line, over `px` of its breadth, as a share, per channel; null where it was not
   * looked for.
   */
  readonly peak: {
    readonly missing: readonly [number, number, number];
    readonly sd: readonly [number, number, number];
    readonly px: number;
  } | null;
}

/**
 * Part of the shadow's length that is looked at: beyond the foot, and not far towards the tip, where a near lamp's
 * shadow grows and a wide lamp's spreads.
 */
const FROM = 0.1,
  TO = 0.6,
  PLACES = 48;
/** Half the breadth looked at for the upright's own edges, share of its height, and the part of its height. */
const STOUT = 0.14,
  LOW = 0.08,
  HIGH = 0.8,
  BLOCKS = 6;
/**
 * An edge stands out by this share of the strongest; the middle between two may lie so many half pixels aside of the
 * marked line.
 */
const EDGE = 0.2,
  ASIDE = 10;
/**
 * The darkest line is sought in so many parts of the shadow's length, each end moved by so many px of a picture 640
 * wide at most, in such steps.
 */
const PARTS = 4,
  MOVED = 2,
  MOVE = 0.5;
/** Share of the shadow's breadth that its darkest line is read over. */
const PEAK = 0.4,
  PEAK_REACH = 3;
/**
 * Px beside the shadow's own half width that spreading reaches, and px on which the lit ground is read, of a picture
 * 640 wide.
 */
const SPREAD = 4,
  BESIDE = 8;
const LEAST_PLACES = 10;

const sample = (p: Picture, c: number, x: number, y: number): number => {
  const fx = x - 0.5,
    fy = y - 0.5,
    ix = Math.floor(fx),
    iy = Math.floor(fy),
    tx = fx - ix,
    ty = fy - iy,
    d = p.data,
    o = c * p.width * p.height + iy * p.width + ix;
  return (d[o]! * (1 - tx) + d[o + 1]! * tx) * (1 - ty) + (d[o + p.width]! * (1 - tx) + d[o + p.width + 1]! * tx) * ty;
};

/**
 * Thickness of an upright across its axis, px, and how far its middle lies aside of the line marked; null where its two
 * edges do not stand out.
 */
export function thicknessOf(
  linear: Picture,
  { foot, top }: ThinUpright,
): { readonly thickPx: number; readonly aside: number } | null {
  const dx = top[0] - foot[0],
    dy = top[1] - foot[1],
    tall = Math.hypot(dx, dy),
    nx = -dy / tall,
    ny = dx / tall,
    reach = Math.max(6, STOUT * tall),
    m = Math.ceil(2 * reach) + 4;
  if (!(tall > 20)) return null;
  const steps = 2 * m + 1,
    G = new Float64Array(steps);
  for (let b = 0; b < BLOCKS; b++)
    for (let c = 0; c < 3; c++) {
      const profile = new Float64Array(steps);
      let rows = 0;
      for (let q = 0; q < (tall * (HIGH - LOW)) / BLOCKS; q++) {
        const t = LOW + (b / BLOCKS) * (HIGH - LOW) + q / tall,
          x0 = foot[0] + t * dx,
          y0 = foot[1] + t * dy;
        if (x0 - m / 2 < 2 || y0 < 2 || x0 + m / 2 > linear.width - 3 || y0 > linear.height - 3) continue;
        rows++;
        for (let k = 0; k < steps; k++) {
          const d = (k - m) / 2;
          profile[k] = profile[k]! + Math.sqrt(Math.max(0, sample(linear, c, x0 + nx * d, y0 + ny * d)));
        }
      }
      if (rows === 0) continue;
      for (let k = 2; k < steps - 2; k++) G[k] = G[k]! + Math.abs(profile[k + 2]! - profile[k - 2]!) / rows;
    }
  const sorted = Float64Array.from(G.subarray(2, steps - 2)).sort(),
    floor = sorted[sorted.length >> 1]!,
    most = sorted[sorted.length - 1]!,
    least = floor + EDGE * (most - floor);
  // The outermost pair of edges that lie alike beside the axis: the border between a round upright's lit and its dark
  // side lies within.
  let best = 0,
    left = 0,
    right = 0;
  const edge = (k: number): boolean => G[k]! >= least && G[k]! >= G[k - 1]! && G[k]! >= G[k + 1]!;
  for (let i = 3; i < m + 6; i++)
    for (let j = Math.max(i + 2, m - 6); j < steps - 3; j++) {
      if (!edge(i) || !edge(j) || Math.abs(i + j - 2 * m) > ASIDE || j - i > 4 * reach) continue;
      if (j - i > best) {
        best = j - i;
        left = i;
        right = j;
      }
    }
  if (best === 0) return null;
  const peak = (k: number): number => {
    const a = G[k - 1]!,
      b = G[k]!,
      c = G[k + 1]!,
      q = a - 2 * b + c;
    return q < -1e-9 ? k + Math.max(-0.5, Math.min(0.5, (0.5 * (a - c)) / q)) : k;
  };
  const l = peak(left),
    r = peak(right);
  return { thickPx: (r - l) / 2, aside: (l + r) / 4 - m / 2 };
}

/**
 * @param lamp where it stands near: its shadows grow with their length
 * @param linear scene-linear RGB of the frame that `camera` sees
 * @param tip where the shadow ends on the picture, or would; null where nothing can be told
 */
export function measureThinShadow(
  linear: Picture,
  camera: Pinhole,
  upright: ThinUpright,
  tip: Vec3,
  lamp: Vec3 | null = null,
): ThinShadow | null {
  const ground = groundPoint(camera, ...upright.foot),
    thick = thicknessOf(linear, upright);
  if (ground === null || thick === null) return null;
  const at = project(camera, ground)!,
    metres = (thick.thickPx * at.depth) / camera.focalPx;
  const gx = tip[0] - ground[0],
    gz = tip[2] - ground[2],
    long = Math.hypot(gx, gz);
  if (!(long > 2 * metres)) return null;
  // Where the shadow's way and the lamp's from the foot are s and d, what throws it is seen (d + s) / d times as wide.
  const grows = lamp === null ? 0 : long / Math.max(0.1, Math.hypot(lamp[0] - ground[0], lamp[2] - ground[2]));
  const sx = -gz / long,
    sz = gx / long,
    scale = linear.width / 640,
    { foot, top } = upright;
  const ux = top[0] - foot[0],
    uy = top[1] - foot[1],
    tall = Math.hypot(ux, uy);
  const shares: [number[], number[], number[]] = [[], [], []],
    lits: [number[], number[], number[]] = [[], [], []],
    widths: number[] = [];
  // Missing share by how far off the foretold line, a profile a place: columns of a quarter px.
  const reach = Math.ceil(4 * (MOVED * scale + PEAK_REACH)),
    profiles: { readonly part: number; readonly of: readonly Float64Array[] }[] = [];
  for (let k = 0; k < PLACES; k++) {
    const s = FROM + ((TO - FROM) * k) / (PLACES - 1),
      p: Vec3 = [ground[0] + s * gx, 0, ground[2] + s * gz],
      q = project(camera, p),
      e = project(camera, [p[0] + 1e-3 * sx, 0, p[2] + 1e-3 * sz]);
    if (q === null || e === null) continue;
    // Square to the shadow on the picture: so its breadth is least, and what spreads it is told apart best.
    const on = project(camera, [p[0] + (1e-3 * gx) / long, 0, p[2] + (1e-3 * gz) / long]);
    if (on === null) continue;
    const run = Math.hypot(on.x - q.x, on.y - q.y),
      ax = -(on.y - q.y) / run,
      ay = (on.x - q.x) / run,
      wide = (metres * (1 + s * grows) * Math.abs((e.x - q.x) * ax + (e.y - q.y) * ay)) / 1e-3;
    const inner = 0.5 * wide + Math.max(SPREAD * scale, 0.5 * wide),
      outer = inner + Math.max(BESIDE * scale, 0.5 * wide);
    // Nothing of the upright itself may lie there, and all of it in the picture.
    let clear = true;
    for (let d = -outer; d <= outer && clear; d += 1) {
      const x = q.x + ax * d,
        y = q.y + ay * d,
        t = ((x - foot[0]) * ux + (y - foot[1]) * uy) / (tall * tall),
        off = Math.abs((x - foot[0]) * uy - (y - foot[1]) * ux) / tall;
      if (
        x < 2 ||
        y < 2 ||
        x > linear.width - 3 ||
        y > linear.height - 3 ||
        (t > -0.05 && t < 1.1 && off < 0.7 * thick.thickPx + 3 * scale)
      )
        clear = false;
    }
    if (!clear) continue;
    widths.push(wide);
    const profile = [0, 1, 2].map(() => new Float64Array(2 * reach + 1));
    profiles.push({ part: k / (PLACES - 1), of: profile });
    for (let c = 0; c < 3; c++) {
      const a: number[] = [],
        b: number[] = [];
      for (let d = inner; d <= outer; d += 0.5) {
        a.push(sample(linear, c, q.x - ax * d, q.y - ay * d));
        b.push(sample(linear, c, q.x + ax * d, q.y + ay * d));
      }
      const la = medianOf(a),
        lb = medianOf(b),
        mid = (inner + outer) / 2;
      let missing = 0;
      for (let d = -inner; d < inner; d += 0.25) {
        const lit = la + ((lb - la) * (d + mid)) / (2 * mid);
        missing += 0.25 * (1 - sample(linear, c, q.x + ax * (d + 0.125), q.y + ay * (d + 0.125)) / Math.max(1e-4, lit));
      }
      for (let m = -reach; m <= reach; m++) {
        const d = m / 4,
          lit = la + ((lb - la) * (d + mid)) / (2 * mid);
        profile[c]![m + reach] = 1 - sample(linear, c, q.x + ax * d, q.y + ay * d) / Math.max(1e-4, lit);
      }
      shares[c]!.push(missing / wide);
      lits[c]!.push((la + lb) / 2);
    }
  }
  if (widths.length < LEAST_PLACES) return null;
  const missing = shares.map((v) => medianOf(v)) as [number, number, number];
  return {
    missing,
    litLinear: lits.map((v) => medianOf(v)) as [number, number, number],
    places: widths.length,
    thickPx: thick.thickPx,
    widePx: medianOf(widths),
    peak: darkestLine(profiles, reach, medianOf(widths), scale),
    sd: shares.map(
      (v, c) => (1.4826 * medianOf(v.map((x) => Math.abs(x - missing[c]!)))) / Math.sqrt(widths.length / 4),
    ) as [number, number, number],
  };
}

/** The darkest line along the profiles: both its ends moved aside until most light is missing along it. */
function darkestLine(
  profiles: readonly { readonly part: number; readonly of: readonly Float64Array[] }[],
  reach: number,
  wide: number,
  scale: number,
): NonNullable<ThinShadow['peak']> {
  const half = Math.min(4 * PEAK_REACH, Math.round(2 * PEAK * wide)),
    far = Math.round(4 * MOVED * scale),
    by = Math.max(1, Math.round(4 * MOVE * scale));
  const sums = profiles.map((p) => p.of.map((row) => runningSum(row))),
    window = (k: number, c: number, m: number): number =>
      (sums[k]![c]![m + reach + half + 1]! - sums[k]![c]![m + reach - half]!) / (2 * half + 1);
  const aside = (k: number, a: number, b: number): number => Math.round(a + (b - a) * profiles[k]!.part);
  let best = -Infinity,
    ends: readonly [number, number] = [0, 0];
  for (let a = -far; a <= far; a += by)
    for (let b = -far; b <= far; b += by) {
      let sum = 0;
      for (let k = 0; k < profiles.length; k++) {
        const m = aside(k, a, b);
        sum += 0.2126 * window(k, 0, m) + 0.7152 * window(k, 1, m) + 0.0722 * window(k, 2, m);
      }
      // As far as marks and key stray, and little beyond.
      const score = (sum / profiles.length) * (1 - (0.02 / 16 / scale ** 2) * (a * a + b * b));
      if (score > best) {
        best = score;
        ends = [a, b];
      }
    }
  const parts = [0, 1, 2].map((c) =>
    Array.from({ length: PARTS }, (_, q) =>
      medianOf(
        profiles.flatMap((_p, k) =>
          Math.floor((k * PARTS) / profiles.length) === q ? [window(k, c, aside(k, ...ends))] : [],
        ),
      ),
    ),
  );
  const missing = parts.map((v) => v.reduce((s, x) => s + x, 0) / PARTS),
    sd = parts.map((v, c) => Math.sqrt(v.reduce((s, x) => s + (x - missing[c]!) ** 2, 0) / (PARTS - 1) / PARTS));
  return {
    missing: missing as [number, number, number],
    sd: sd as [number, number, number],
    px: (2 * half + 1) / 4,
  };
}

function runningSum(row: Float64Array): Float64Array {
  const out = new Float64Array(row.length + 1);
  for (let k = 0; k < row.length; k++) out[k + 1] = out[k]! + row[k]!;
  return out;
}
