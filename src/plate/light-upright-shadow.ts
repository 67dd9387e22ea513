/**
 * The shadows of marked uprights, looked for in the picture where nobody marked one. A shadow on flat ground
 * begins at the foot of what casts it, is darker than the ground on both its sides, does not go on behind the
 * foot as a joint or a kerb does, and ends where direction and height of the key say; all uprights' shadows
 * share one key. So every direction and elevation is tried on all uprights together, along the ground as the
 * view shows it, with several widths of shadow. How dark the best comes out is held against the same search with
 * feet put at random places of the same ground: only what stands out from these is told (a randomization test:
 * E. S. Edgington, Randomization Tests, 1980; the best prefix of a running sum: J. Bentley, CACM 27, 1984). The
 * search by ends of lines of a known camera is our own.
 */
import { DEG_PER_RAD, RAD_PER_DEG, differenceDeg, wrapDeg } from '../core/angles.js';
import { RandomStream } from '../core/random.js';
import { groundPoint, project, type Pinhole } from '../geometry/camera.js';
import { boxMean } from '../image/box.js';
import { median } from '../image/statistics.js';
import type { Picture } from '../image/picture.js';
import type { Mark, MarksFile } from './marks.js';
import type { FoundShadow, View } from './types.js';
import { heightOfUpright, viewCamera } from './view-derived.js';

export interface UprightShadows {
  /** One for each upright whose own shadow was seen, at the common key. */
  readonly shadows: readonly FoundShadow[];
  readonly azimuthDeg: number;
  readonly elevationDeg: number;
  /** One standard deviation of each: where the search would have done nearly as well. */
  readonly azimuthSd: number;
  readonly elevationSd: number;
  /** Its score over the best of the random places' (more than 1). */
  readonly clear: number;
}

interface Foot {
  readonly foot: readonly [number, number];
  readonly top: readonly [number, number];
  readonly ground: readonly [number, number, number];
  readonly height: number;
}

/** Directions tried on the ground, degrees. */
const STEP_DEG = 3;
/** Elevations tried: even steps of the shadow's length in logarithm, from high to low. */
const ELEVATIONS = Array.from(
  { length: 36 },
  (_, k) => Math.atan(Math.exp(Math.log(4) - (k / 35) * Math.log(4 / 0.16))) * DEG_PER_RAD,
);
/** Half widths of the shadow at the foot, pixels of a picture 854 wide. */
const HALF_PX = [1, 2, 4, 8];
/** Random feet in whose company the found ones must stand out. */
const PLACES = 60;
const DRAWS = 120;
/** What is asked over the best of nineteen in twenty draws. */
const CLEARER = 1.25;
/**
 * A pixel of the way counts for so much less than its darkness in noise: a shadow must be darker than this on average.
 */
const TOLL = 0.8;
/** Darkness a pixel counts for at most, in noise: one dark joint is no shadow. */
const MOST = 2.5;
/** In linear light's logarithm: what is hardly darker is no key's shadow, however smooth the ground. */
const LEAST_NOISE = 0.06;
/** What scores nearly as well farther off than this is another answer, degrees. */
const ABOUT_DEG = 15;
/**
 * The spread of what scores nearly as well, to one standard deviation of the errors seen (bench/upright-shadows.ts).
 */
const DOUBT = 1.7;
/** A direction within this of the upright as it stands in the picture is hidden by it, degrees. */
const BEHIND_DEG = 25;
/** Half width of what stands there, as a share of its height: behind its foot nothing so near its axis counts. */
const STOUT = 0.12;

/**
 * @param linear scene-linear RGB of the view's frame
 * @param marks with uprights at the view's frame
 * @returns null where no upright stands on the ground or nothing stands out
 */
export function findUprightShadows(linear: Picture, view: View, marks: MarksFile): UprightShadows | null {
  const cam = viewCamera(view);
  const w = linear.width;
  const h = linear.height;
  const feet = uprightsOf(view, marks, cam);
  if (feet.length === 0) return null;
  const scale = w / 854;
  const log = logLuminance(linear);
  const widths = HALF_PX.map(
    (p): Width => ({
      half: p * scale,
      core: boxMean(log, w, h, Math.floor(0.6 * p * scale)),
      beside: boxMean(log, w, h, Math.max(1, Math.floor(0.6 * p * scale))),
    }),
  );
  const rows = feet.map((f) => f.foot[1]);
  const random = new RandomStream(1);
  const places: Foot[] = [];
  for (let tries = 0; tries < 20 * PLACES && places.length < PLACES; tries += 1) {
    const like = feet[random.below(feet.length)]!;
    const x = random.uniform() * w;
    const y = rows[random.below(rows.length)]! + (random.uniform() - 0.5) * 0.12 * h;
    if (
      x < 4 ||
      y < 4 ||
      x > w - 4 ||
      y > h - 4 ||
      feet.some((f) => Math.hypot(f.foot[0] - x, f.foot[1] - y) < 24 * scale)
    )
      continue;
    const g = groundPoint(cam, x, y);
    if (g === null) continue;
    places.push({ foot: [x, y], top: [x, y - Math.abs(like.foot[1] - like.top[1])], ground: g, height: like.height });
  }
  if (places.length < PLACES / 4) return null;
  const azimuths = Array.from({ length: 360 / STEP_DEG }, (_, k) => k * STEP_DEG - 180);
  const noise = widths.map((b) => noiseOf(w, h, cam, places, azimuths, b));
  const search = (f: Foot): Float64Array => scores(w, h, cam, f, azimuths, widths, noise);
  const own = feet.map(search);
  const others = places.map(search);
  const best = bestOf(own, azimuths.length);
  const drawn = Array.from(
    { length: DRAWS },
    () =>
      bestOf(
        feet.map(() => others[random.below(others.length)]!),
        azimuths.length,
      ).score,
  ).sort((a, b) => a - b);
  const usual = Math.max(1, drawn[Math.floor(0.95 * DRAWS)]!);
  const clear = best.score / usual;
  if (clear < CLEARER) return null;
  const { azimuthDeg, elevationDeg, ...spread } = middleOf(own, azimuths, best);
  const each = own.map((s) => s[best.azimuth * ELEVATIONS.length + best.elevation]!);
  const seen = feet.filter((_, i) => each[i]! > 0.25 * Math.max(...each));
  return {
    shadows: seen.flatMap((f) => shadowOf(cam, f, view.frame, azimuthDeg, elevationDeg)),
    azimuthDeg,
    elevationDeg,
    ...spread,
    clear,
  };
}

function uprightsOf(view: View, marks: MarksFile, cam: Pinhole): Foot[] {
  const out: Foot[] = [];
  marks.marks.forEach((m: Mark) => {
    if (m.kind !== 'upright' || (m.frame ?? marks.frame) !== view.frame) return;
    const ground = groundPoint(cam, m.foot[0], m.foot[1]);
    const height =
      view.cameraHeight.value !== null && m.height !== undefined ? m.height : heightOfUpright(cam, m.foot, m.top);
    if (ground === null || height === null || !(height > 0)) return;
    out.push({ foot: [m.foot[0], m.foot[1]], top: [m.top[0], m.top[1]], ground, height });
  });
  return out;
}

function logLuminance(p: Picture): Float32Array {
  const n = p.width * p.height;
  const out = new Float32Array(n);
  for (let i = 0; i < n; i += 1)
    out[i] = Math.log(0.002 + Math.max(0, 0.2126 * p.data[i]! + 0.7152 * p.data[n + i]! + 0.0722 * p.data[2 * n + i]!));
  return out;
}

/** Points of the way that a shadow takes, one about every pixel, with what it has gone on the ground. */
interface Way {
  readonly x: readonly number[];
  readonly y: readonly number[];
  readonly gone: readonly number[];
  readonly near: readonly number[];
  readonly nx: number;
  readonly ny: number;
}

/**
 * The way is a straight line of the picture, on which the ground's metres run projectively. @param
 * longest of the way on the ground, in the view's metres
 */
function wayOf(cam: Pinhole, f: Foot, azimuthDeg: number, longest: number, w: number, h: number): Way {
  // Away from the light: azimuth 0 comes from behind the camera and throws away from it.
  const a = azimuthDeg * RAD_PER_DEG;
  const ux = -Math.sin(a);
  const uz = Math.cos(a);
  const x: number[] = [];
  const y: number[] = [];
  const gone: number[] = [];
  const near: number[] = [];
  const from = project(cam, f.ground);
  const on = project(cam, [f.ground[0] + ux * 1e-3, 0, f.ground[2] + uz * 1e-3]);
  if (from === null || on === null) return { x, y, gone, near, nx: 0, ny: 0 };
  // p(s) = p0 + v s z0 / (z0 + s dz), v the speed at the foot in px a metre.
  const z0 = from.depth;
  const dz = (on.depth - z0) / 1e-3;
  const vx = ((on.x - from.x) / 1e-3) * (on.depth / z0);
  const vy = ((on.y - from.y) / 1e-3) * (on.depth / z0);
  const v = Math.hypot(vx, vy);
  const dx = vx / v;
  const dy = vy / v;
  for (let q = 1; q < 600; q += 1) {
    const left = v * z0 - q * dz;
    const s = (q * z0) / left;
    const px = from.x + dx * q;
    const py = from.y + dy * q;
    if (!(left > 1e-9) || s > longest || px < 2 || py < 2 || px > w - 2 || py > h - 2) break;
    x.push(px);
    y.push(py);
    gone.push(s);
    near.push(z0 / (z0 + s * dz));
  }
  return { x, y, gone, near, nx: -dy, ny: dx };
}

/** One width of shadow, with the picture smoothed for its core and for the ground beside it. */
interface Width {
  readonly half: number;
  readonly core: Float32Array;
  readonly beside: Float32Array;
}

/**
 * How much darker a point of the way is than the darker of its two sides, so that a border between two grounds is none.
 */
function darknessAt(w: number, h: number, way: Way, k: number, width: Width): number {
  const x = way.x[k]!;
  const y = way.y[k]!;
  const nx = way.nx;
  const ny = way.ny;
  const b = width.half * way.near[k]!;
  const gap = b + 1.2 + 0.6 * Math.max(1.5, b);
  return (
    Math.min(
      nearest(width.beside, w, h, x + nx * gap, y + ny * gap),
      nearest(width.beside, w, h, x - nx * gap, y - ny * gap),
    ) - nearest(width.core, w, h, x, y)
  );
}

function nearest(plane: Float32Array, w: number, h: number, x: number, y: number): number {
  const u = x < 0 ? 0 : x >= w ? w - 1 : x | 0;
  const v = y < 0 ? 0 : y >= h ? h - 1 : y | 0;
  return plane[v * w + u]!;
}

/** Spread of a point's darkness where no shadow is looked for. */
function noiseOf(
  w: number,
  h: number,
  cam: Pinhole,
  places: readonly Foot[],
  azimuths: readonly number[],
  width: Width,
): number {
  const seen: number[] = [];
  places.forEach((f, i) => {
    const way = wayOf(cam, f, azimuths[(i * 37) % azimuths.length]!, 2 * f.height, w, h);
    for (let k = 0; k < way.x.length; k += 5) seen.push(Math.abs(darknessAt(w, h, way, k, width)));
  });
  return seen.length === 0 ? LEAST_NOISE : Math.max(LEAST_NOISE, 1.4826 * median(Float64Array.from(seen)));
}

/** Score of every direction × elevation for one foot, the best width each: rows of `ELEVATIONS.length`. */
function scores(
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

interface Best {
  readonly score: number;
  readonly azimuth: number;
  readonly elevation: number;
}

function bestOf(all: readonly Float64Array[], directions: number): Best {
  const n = ELEVATIONS.length;
  let best: Best = { score: 0, azimuth: 0, elevation: 0 };
  for (let a = 0; a < directions; a += 1)
    for (let e = 0; e < n; e += 1) {
      let s = 0;
      for (const f of all) s += f[a * n + e]!;
      if (s > best.score) best = { score: s, azimuth: a, elevation: e };
    }
  return best;
}

/** Middle and spread of the directions that score within a tenth of the best, about it. */
function middleOf(
  all: readonly Float64Array[],
  azimuths: readonly number[],
  best: Best,
): { azimuthDeg: number; elevationDeg: number; azimuthSd: number; elevationSd: number } {
  const n = ELEVATIONS.length;
  let m = 0;
  let a1 = 0;
  let a2 = 0;
  let e1 = 0;
  let e2 = 0;
  for (let a = 0; a < azimuths.length; a += 1)
    for (let e = 0; e < n; e += 1) {
      const da = differenceDeg(azimuths[a]!, azimuths[best.azimuth]!);
      const de = ELEVATIONS[e]! - ELEVATIONS[best.elevation]!;
      if (Math.abs(da) > ABOUT_DEG || Math.abs(de) > ABOUT_DEG) continue;
      let s = 0;
      for (const f of all) s += f[a * n + e]!;
      const k = s - 0.9 * best.score;
      if (k <= 0) continue;
      m += k;
      a1 += k * da;
      a2 += k * da * da;
      e1 += k * de;
      e2 += k * de * de;
    }
  return {
    azimuthDeg: wrapDeg(azimuths[best.azimuth]! + a1 / m),
    elevationDeg: ELEVATIONS[best.elevation]! + e1 / m,
    azimuthSd: DOUBT * Math.hypot(STEP_DEG / 2, Math.sqrt(Math.max(0, a2 / m - (a1 / m) ** 2))),
    elevationSd: DOUBT * Math.hypot(2, Math.sqrt(Math.max(0, e2 / m - (e1 / m) ** 2))),
  };
}

function shadowOf(cam: Pinhole, f: Foot, frame: number, azimuthDeg: number, elevationDeg: number): FoundShadow[] {
  const a = azimuthDeg * RAD_PER_DEG;
  const long = f.height / Math.tan(elevationDeg * RAD_PER_DEG);
  const p = project(cam, [f.ground[0] - Math.sin(a) * long, 0, f.ground[2] + Math.cos(a) * long]);
  return p === null ? [] : [{ frame, foot: f.foot, tip: [p.x, p.y], height: f.height }];
}

/** The marks with the found shadows among them, for what reads marked shadows. */
export function withFoundShadows(marks: MarksFile, found: readonly FoundShadow[] | undefined): MarksFile {
  if (found === undefined || found.length === 0) return marks;
  return {
    ...marks,
    marks: [
      ...marks.marks,
      ...found.map((s) => ({
        kind: 'shadow' as const,
        frame: s.frame,
        foot: [s.foot[0], s.foot[1]] as [number, number],
        tip: [s.tip[0], s.tip[1]] as [number, number],
        height: s.height,
      })),
    ],
  };
}
