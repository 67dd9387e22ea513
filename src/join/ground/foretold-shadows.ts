/**
 * Whether anything dark lies where a lamp that is told only roughly would throw the shadows of marked uprights. On
 * every way from an upright's foot that the lamp's direction leaves open, and for every breadth that the upright may
 * throw, the ground is held against the darker of its two sides (upright-darkness.ts), and the darkest of all is told.
 * So a joint or a plank may look like a shadow, but a shadow is hardly missed. The rule is our own.
 */
import { DEG_PER_RAD, RAD_PER_DEG } from '../../core/angles.js';
import type { Pinhole } from '../../geometry/camera.js';
import { median } from '../../image/statistics.js';
import type { Vec3 } from '../../geometry/mat3.js';
import type { Picture } from '../../image/picture.js';
import {
  BEHIND_DEG,
  darknessAt,
  type Foot,
  STOUT,
  type Way,
  wayOf,
  type Width,
} from '../../plate/light/upright-darkness.js';
import { widthsOf } from '../../plate/light/upright-feet.js';
import { thicknessOf } from './upright-thickness.js';

/**
 * Half widths of shadows looked for, px of a picture 854 wide; of the broader ones those that the upright may throw.
 */
const HALVES = [2, 4, 8, 14] as const;
const BROADER = [20, 28, 40, 56] as const;
/** A shadow's half width over the thickness of what throws it, at most (a wide lamp's spreads). */
const SPREADS = 0.6;
/** Directions looked at beside the lamp's, degrees: so many sd of its azimuth, within these bounds, in such steps. */
const SDS = 2;
const FAN_DEG = [15, 30] as const;
const STEP_DEG = 3;
/** Part of a shadow that is looked at, in heights of the upright: farther off a wide lamp's is faint. */
const LONGEST = 0.8;
/** Fewer points of a way tell nothing. */
const LEAST_POINTS = 6;
/** Share of the directions that must be seen, and half of each way. */
const MOST_SEEN = 0.75;
const LEAST_WAY = 0.5;
/** Thinner than this (px of a picture 854 wide), lens and coding spread a shadow until none is seen. */
const LEAST_THICK = 4;

/** Of one upright: what the darkest way shows, and whether enough of them are seen. */
interface Looked {
  readonly darkest: number;
  readonly enough: boolean;
}

/**
 * How much darker (ln) than both its sides the ground is at most where the uprights' shadows may lie; null where no
 * upright is thick enough and shows enough of its ground to tell.
 *
 * @param linear scene-linear RGB of the frame that `camera` sees
 * @param lamp in the view's world, metres
 * @param azimuthSd of the lamp's direction, degrees
 */
export function darkestForetold(
  linear: Picture,
  camera: Pinhole,
  uprights: readonly Foot[],
  lamp: Vec3,
  azimuthSd: number,
): number | null {
  const scale = linear.width / 854;
  const fan = Math.min(FAN_DEG[1], Math.max(FAN_DEG[0], SDS * azimuthSd));
  const widths = widthsOf(linear, [...HALVES, ...BROADER]);
  let darkest: number | null = null;
  let tells = false;
  for (const u of uprights) {
    const thick = thicknessOf(linear, u)?.thickPx ?? null;
    const broad = widths.filter((b, k) => k < HALVES.length || (thick !== null && b.half <= SPREADS * thick));
    const looked = lookAround(linear, camera, u, lamp, fan, broad);
    darkest = Math.max(darkest ?? -Infinity, looked.darkest);
    tells ||= looked.enough && thick !== null && thick >= LEAST_THICK * scale;
  }
  return tells ? darkest : null;
}

function lookAround(
  linear: Picture,
  camera: Pinhole,
  u: Foot,
  lamp: Vec3,
  fan: number,
  widths: readonly Width[],
): Looked {
  const aside = [lamp[0] - u.ground[0], lamp[2] - u.ground[2]] as const;
  const azimuth = Math.atan2(aside[0], -aside[1]) * DEG_PER_RAD;
  const long =
    lamp[1] > u.height
      ? Math.min(LONGEST * u.height, (Math.hypot(...aside) * u.height) / (lamp[1] - u.height))
      : LONGEST * u.height;
  let darkest = -Infinity;
  let tried = 0;
  let seen = 0;
  for (let off = -fan; off <= fan; off += STEP_DEG) {
    tried += 1;
    const way = wayOf(camera, u, azimuth + off, long, linear.width, linear.height);
    const hidden = hiddenPx(u, way);
    if (hidden === null || !((way.gone.at(-1) ?? 0) >= LEAST_WAY * long)) continue;
    const most = Math.max(...widths.map((b) => along(linear, way, hidden, b)));
    if (most === -Infinity) continue;
    seen += 1;
    darkest = Math.max(darkest, most);
  }
  return { darkest, enough: seen >= MOST_SEEN * tried };
}

/** Px of a way that the upright itself may hide; null where it hides all, or there is no way. */
function hiddenPx(u: Foot, way: Way): number | null {
  if (way.x.length < LEAST_POINTS) return null;
  const up = [u.top[0] - u.foot[0], u.top[1] - u.foot[1]] as const;
  const on = [way.x.at(-1)! - u.foot[0], way.y.at(-1)! - u.foot[1]] as const;
  const tall = Math.hypot(...up);
  const rising = (on[0] * up[0] + on[1] * up[1]) / (Math.hypot(...on) * tall);
  if (rising > Math.cos(BEHIND_DEG * RAD_PER_DEG)) return null;
  return rising <= 0 ? 0 : (STOUT * tall) / Math.sqrt(1 - rising * rising);
}

/** Middle darkness along a way for one width; −Infinity where too little of it shows. */
function along({ width: w, height: h }: Picture, way: Way, hidden: number, width: Width): number {
  const from = Math.ceil(Math.max(hidden, 1.5 * width.half));
  if (way.x.length - from < LEAST_POINTS) return -Infinity;
  const dark = new Float64Array(way.x.length - from);
  for (let k = from; k < way.x.length; k += 1) dark[k - from] = darknessAt(w, h, way, k, width);
  return median(dark);
}
