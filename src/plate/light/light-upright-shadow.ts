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
import { RAD_PER_DEG, differenceDeg, wrapDeg } from '../../core/angles.js';
import { RandomStream } from '../../core/random.js';
import { project, type Pinhole } from '../../geometry/camera.js';
import type { Picture } from '../../image/picture.js';
import type { MarksFile } from '../marks/marks.js';
import type { FoundShadow, View } from '../types.js';
import { viewCamera } from '../view/view-derived.js';
import { type Foot, HALF_PX, noiseOf } from './upright-darkness.js';
import { placesLike, uprightsOf, widthsOf } from './upright-feet.js';
import { ELEVATIONS, STEP_DEG, scores } from './upright-scores.js';

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

/** Random feet in whose company the found ones must stand out. */
const PLACES = 60;
const DRAWS = 120;
/** What is asked over the best of nineteen in twenty draws. */
const CLEARER = 1.25;

/** What scores nearly as well farther off than this is another answer, degrees. */
const ABOUT_DEG = 15;
/**
 * The spread of what scores nearly as well, to one standard deviation of the errors seen (bench/upright-shadows.ts).
 */
const DOUBT = 1.7;

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
  const widths = widthsOf(linear, HALF_PX);
  const random = new RandomStream(1);
  const places = placesLike(random, {
    like: feet,
    rows: feet.map((f) => f.foot[1]),
    cam,
    width: w,
    height: h,
    most: PLACES,
    taken: (x, y) => feet.some((f) => Math.hypot(f.foot[0] - x, f.foot[1] - y) < 24 * scale),
  });
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
