/**
 * How dark the shadow of a thin upright is, where lens, coding and lamp spread it wider than it is: its middle then
 * looks lighter than it was. What spreading leaves alone is how much light is missing across it: the integral of the
 * missing share, a line's equivalent width (Minnaert & Mulders, Zeitschrift für Astrophysik 1, 1930, for lines of a
 * spectrum). An upright as thick as it is seen to be throws a shadow as wide as itself, so that missing share over
 * thickness is the share of the light that the key gave.
 *
 * World of the view: x right, y up, z away from the camera along the ground, metres.
 */
import { mapTuple, three } from '../../core/tuples.js';
import { groundPoint, project, type Pinhole } from '../../geometry/camera.js';
import type { Vec3 } from '../../geometry/mat3.js';
import type { Picture } from '../../image/picture.js';
import { medianOf } from './plate-shadow.js';
import { sample, thicknessOf, type Upright } from './upright-thickness.js';

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
 * shadow grows and a wide lamp's spreads; and at how many places of it.
 */
const FROM = 0.1;
const TO = 0.6;
const PLACES = 48;
const LEAST_PLACES = 10;
/**
 * The darkest line is sought in so many parts of the shadow's length, each end moved by so many px of a picture 640
 * wide at most, in such steps.
 */
const PARTS = 4;
const MOVED = 2;
const MOVE = 0.5;
/** Share of the shadow's breadth that its darkest line is read over, and px to either side at most. */
const PEAK = 0.4;
const PEAK_REACH = 3;
/** Px beside the shadow's own half width that spreading reaches, of a picture 640 wide. */
const SPREAD = 4;
/** Px on which the lit ground is read, of a picture 640 wide. */
const BESIDE = 8;

/** A shadow across its way at one place: on the picture, square to the shadow there. */
interface Across {
  readonly x: number;
  readonly y: number;
  /** Unit vector across. */
  readonly ax: number;
  readonly ay: number;
  /** Breadth, px, that the shadow has there without being spread. */
  readonly widePx: number;
  /** How far across spreading reaches, and how far the ground is read. */
  readonly inner: number;
  readonly outer: number;
}

/** A shadow's way on the ground, from the upright's foot. */
interface ShadowWay {
  readonly foot: Vec3;
  /** From the foot to the tip. */
  readonly along: readonly [x: number, z: number];
  readonly metresWide: number;
  /** How much wider it is at the tip than at the foot, as a share: a near lamp's grows. */
  readonly grows: number;
}

/** What was read of the shadow so far, per channel and a place each. */
interface Readings {
  readonly shares: readonly [number[], number[], number[]];
  readonly lits: readonly [number[], number[], number[]];
  readonly widths: number[];
  readonly profiles: Profile[];
}

/** Missing share by how far off the foretold line, a channel each, in columns of a quarter px. */
interface Profile {
  /** Part of the way that is looked at, 0..1. */
  readonly part: number;
  readonly of: readonly Float64Array[];
}

/**
 * @param lamp where it stands near: its shadows grow with their length
 * @param linear scene-linear RGB of the frame that `camera` sees
 * @param tip where the shadow ends on the picture, or would; null where nothing can be told
 */
export function measureThinShadow(
  linear: Picture,
  camera: Pinhole,
  upright: Upright,
  tip: Vec3,
  lamp: Vec3 | null = null,
): ThinShadow | null {
  const foot = groundPoint(camera, ...upright.foot);
  const thick = thicknessOf(linear, upright);
  if (foot === null || thick === null) return null;
  const { thickPx } = thick;
  const metresWide = (thickPx * project(camera, foot)!.depth) / camera.focalPx;
  const along = [tip[0] - foot[0], tip[2] - foot[2]] as const;
  const long = Math.hypot(...along);
  if (!(long > 2 * metresWide)) return null;
  // Where the shadow's way and the lamp's from the foot are s and d, what throws it is seen (d + s) / d times as wide.
  const grows = lamp === null ? 0 : long / Math.max(0.1, Math.hypot(lamp[0] - foot[0], lamp[2] - foot[2]));
  const way: ShadowWay = { foot, along, metresWide, grows };
  const scale = linear.width / 640;
  const reach = Math.ceil(4 * (MOVED * scale + PEAK_REACH));
  const found: Readings = { shares: [[], [], []], lits: [[], [], []], widths: [], profiles: [] };
  for (let k = 0; k < PLACES; k++) {
    const part = k / (PLACES - 1);
    const across = acrossAt(camera, way, FROM + ((TO - FROM) * k) / (PLACES - 1), scale);
    if (across !== null && isClear(linear, across, upright, 0.7 * thickPx + 3 * scale))
      readAcross(linear, across, { part, reach }, found);
  }
  return found.widths.length < LEAST_PLACES ? null : summedUp(found, { thickPx, reach, scale });
}

/** The shadow's cross-section at a share of its way; null where the camera does not see it. */
function acrossAt(camera: Pinhole, way: ShadowWay, share: number, scale: number): Across | null {
  const [gx, gz] = way.along;
  const long = Math.hypot(gx, gz);
  const p: Vec3 = [way.foot[0] + share * gx, 0, way.foot[2] + share * gz];
  const here = project(camera, p);
  const aside = project(camera, [p[0] + 1e-3 * (-gz / long), 0, p[2] + 1e-3 * (gx / long)]);
  const on = project(camera, [p[0] + (1e-3 * gx) / long, 0, p[2] + (1e-3 * gz) / long]);
  if (here === null || aside === null || on === null) return null;
  // Square to the shadow on the picture: so its breadth is least, and what spreads it is told apart best.
  const run = Math.hypot(on.x - here.x, on.y - here.y);
  const ax = -(on.y - here.y) / run;
  const ay = (on.x - here.x) / run;
  const metres = way.metresWide * (1 + share * way.grows);
  const widePx = (metres * Math.abs((aside.x - here.x) * ax + (aside.y - here.y) * ay)) / 1e-3;
  const inner = 0.5 * widePx + Math.max(SPREAD * scale, 0.5 * widePx);
  const outer = inner + Math.max(BESIDE * scale, 0.5 * widePx);
  return { x: here.x, y: here.y, ax, ay, widePx, inner, outer };
}

/** Nothing of the upright itself may lie there, `away` px to its side, and all of it in the picture. */
function isClear(linear: Picture, across: Across, { foot, top }: Upright, away: number): boolean {
  const ux = top[0] - foot[0];
  const uy = top[1] - foot[1];
  const tall = Math.hypot(ux, uy);
  for (let d = -across.outer; d <= across.outer; d += 1) {
    const x = across.x + across.ax * d;
    const y = across.y + across.ay * d;
    if (x < 2 || y < 2 || x > linear.width - 3 || y > linear.height - 3) return false;
    const t = ((x - foot[0]) * ux + (y - foot[1]) * uy) / (tall * tall);
    const off = Math.abs((x - foot[0]) * uy - (y - foot[1]) * ux) / tall;
    if (t > -0.05 && t < 1.1 && off < away) return false;
  }
  return true;
}

/** Light missing across the shadow at one place, against the ground lit on both its sides. */
function readAcross(
  linear: Picture,
  across: Across,
  at: { readonly part: number; readonly reach: number },
  found: Readings,
): void {
  const { inner, outer, widePx } = across;
  const { reach } = at;
  const mid = (inner + outer) / 2;
  const profile = [0, 1, 2].map(() => new Float64Array(2 * reach + 1));
  found.widths.push(widePx);
  found.profiles.push({ part: at.part, of: profile });
  for (let c = 0; c < 3; c++) {
    const light = (d: number): number => sample(linear, c, across.x + across.ax * d, across.y + across.ay * d);
    const before: number[] = [];
    const behind: number[] = [];
    for (let d = inner; d <= outer; d += 0.5) {
      before.push(light(-d));
      behind.push(light(d));
    }
    const from = medianOf(before);
    const to = medianOf(behind);
    const lit = (d: number): number => Math.max(1e-4, from + ((to - from) * (d + mid)) / (2 * mid));
    let missing = 0;
    for (let d = -inner; d < inner; d += 0.25) missing += 0.25 * (1 - light(d + 0.125) / lit(d));
    for (let m = -reach; m <= reach; m++) profile[c]![m + reach] = 1 - light(m / 4) / lit(m / 4);
    found.shares[c]!.push(missing / widePx);
    found.lits[c]!.push((from + to) / 2);
  }
}

function summedUp(
  { shares, lits, widths, profiles }: Readings,
  { thickPx, reach, scale }: { readonly thickPx: number; readonly reach: number; readonly scale: number },
): ThinShadow {
  const missing = mapTuple(shares, medianOf);
  const widePx = medianOf(widths);
  const sdOf = (values: readonly number[], middle: number): number =>
    (1.4826 * medianOf(values.map((x) => Math.abs(x - middle)))) / Math.sqrt(widths.length / 4);
  return {
    missing,
    litLinear: mapTuple(lits, medianOf),
    places: widths.length,
    thickPx,
    widePx,
    peak: darkestLine(profiles, reach, widePx, scale),
    sd: three((c) => sdOf(shares[c], missing[c])),
  };
}

/** The darkest line along the profiles: both its ends moved aside until most light is missing along it. */
function darkestLine(
  profiles: readonly Profile[],
  reach: number,
  wide: number,
  scale: number,
): NonNullable<ThinShadow['peak']> {
  const half = Math.min(4 * PEAK_REACH, Math.round(2 * PEAK * wide));
  const far = Math.round(4 * MOVED * scale);
  const by = Math.max(1, Math.round(4 * MOVE * scale));
  const sums = profiles.map((p) => p.of.map((row) => runningSum(row)));
  const window = (k: number, c: number, m: number): number =>
    (sums[k]![c]![m + reach + half + 1]! - sums[k]![c]![m + reach - half]!) / (2 * half + 1);
  const aside = (k: number, a: number, b: number): number => Math.round(a + (b - a) * profiles[k]!.part);
  let best = -Infinity;
  let ends: readonly [number, number] = [0, 0];
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
  const partOf = (k: number): number => Math.floor((k * PARTS) / profiles.length);
  const along = (c: number, q: number): number =>
    medianOf(profiles.flatMap((_, k) => (partOf(k) === q ? [window(k, c, aside(k, ...ends))] : [])));
  const parts = three((c) => Array.from({ length: PARTS }, (_, q) => along(c, q)));
  const missing = mapTuple(parts, (v) => v.reduce((s, x) => s + x, 0) / PARTS);
  const sd = mapTuple(parts, (v, c) =>
    Math.sqrt(v.reduce((s, x) => s + (x - missing[c]!) ** 2, 0) / (PARTS - 1) / PARTS),
  );
  return { missing, sd, px: (2 * half + 1) / 4 };
}

function runningSum(row: Float64Array): Float64Array {
  const out = new Float64Array(row.length + 1);
  for (let k = 0; k < row.length; k++) out[k + 1] = out[k]! + row[k]!;
  return out;
}
