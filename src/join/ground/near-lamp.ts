/**
 * A lamp that stands near throws shadows that fan out: two marked shadows point elsewhere, though one lamp made them.
 * The ray from each shadow's tip through the top that throws it goes through the lamp, so that the rays of one near
 * lamp meet in a point and those of a sun are parallel; two lamps' rays pass each other. The point is the one least far
 * from all rays (least squares, each ray weighed by its angular error at its distance); tip and top stand for the
 * shadow's length as well as its direction.
 *
 * World of the view: x right, y up, z away from the camera along the ground, metres.
 */
import { three } from '../../core/tuples.js';
import { DEG_PER_RAD, RAD_PER_DEG } from '../../core/angles.js';
import { groundPoint } from '../../geometry/camera.js';
import { dot, type Vec3 } from '../../geometry/mat3.js';
import { sunOfShadow } from '../../plate/light/light-shadow.js';
import type { MarksFile } from '../../plate/marks/marks.js';
import { isCarried } from '../../plate/marks/seat.js';
import type { FoundLamp, PlateMeasures, View } from '../../plate/types.js';
import { viewCamera } from '../../plate/view/view-derived.js';
import { marksOf, type MarkOf } from '../proposal-input.js';
import type { SolidBall } from './shadow-map.js';

/**
 * χ² by which one point must explain the rays better than one direction (own choice, beyond three sd), and 99 % points
 * of χ² of 1, 3, 5 … degrees of freedom.
 */
const BETTER = 11.3,
  CHI2_99 = [6.63, 11.34, 15.09, 18.48] as const;
/** Floor of a ray's error, degrees, as light-shadow.ts has it. */
const LEAST_SD = 0.5;
/**
 * No lamp that is told so stands farther from what it lights than this, metres (own choice): beyond, its rays are as
 * good as parallel.
 */
const FARTHEST = 15;

/** A part of the body nearer to the lamp's own height throws its shadow past all that is seen (own choice). */
const MOST_HEIGHT = 0.9;

/** Lowest key (degrees) whose shadow is cast on the ground: it would lie twenty-nine heights long. */
export const LEAST_ELEVATION = 2;

export interface NearLamp {
  readonly at: Vec3;
}

/**
 * The near lamp that the shadow marks of the view's frame tell; null where they are one sun's, two lamps' or too few.
 * Marks without a height tell nothing.
 */
export function nearLampOf(marks: readonly MarkOf<'shadow'>[], view: View, sdPx: number): NearLamp | null {
  const camera = viewCamera(view),
    rays: { top: Vec3; to: Vec3; sd: number }[] = [];
  if (view.cameraHeight.value === null) return null;
  marks.forEach((m, i) => {
    const sun = sunOfShadow(view, m, i, sdPx),
      foot = groundPoint(camera, ...m.foot),
      tip = groundPoint(camera, ...m.tip);
    if (m.height === undefined || sun?.elevationDeg == null || foot === null || tip === null) return;
    const d: Vec3 = [foot[0] - tip[0], m.height, foot[2] - tip[2]],
      long = Math.hypot(...d),
      c = Math.cos(sun.elevationDeg * RAD_PER_DEG);
    rays.push({
      top: [foot[0], m.height, foot[2]],
      to: [d[0] / long, d[1] / long, d[2] / long],
      sd: Math.max(LEAST_SD, Math.sqrt((sun.own[0]! * c * c + sun.own[3]!) / 2)) * RAD_PER_DEG,
    });
  });
  if (rays.length < 2) return null;
  let at: Vec3 | null = null,
    weights = rays.map((r) => 1 / (r.sd * r.sd));
  for (let round = 0; round < 6; round++) {
    at = nearestTo(rays, weights);
    if (at === null) return null;
    const p = at;
    weights = rays.map((r) => 1 / (r.sd * Math.max(0.1, distance(p, r.top))) ** 2);
  }
  if (at === null) return null;
  const p = at,
    meet = rays.reduce((s, r) => s + (angle(r.to, between(r.top, p)) / r.sd) ** 2, 0),
    mean = direction(rays),
    parallel = rays.reduce((s, r) => s + (angle(r.to, mean) / r.sd) ** 2, 0);
  if (p[1] <= Math.max(...rays.map((r) => r.top[1])) || rays.some((r) => distance(p, r.top) > FARTHEST)) return null;
  return meet < CHI2_99[Math.min(CHI2_99.length - 1, rays.length - 2)]! && parallel - meet > BETTER ? { at: p } : null;
}

/** The key's direction at a place of the world: azimuth 0 from behind the camera, positive from its right; degrees. */
export function keyFrom(lamp: NearLamp, place: Vec3): { readonly azimuthDeg: number; readonly elevationDeg: number } {
  const d: Vec3 = [lamp.at[0] - place[0], lamp.at[1] - place[1], lamp.at[2] - place[2]];
  return {
    azimuthDeg: Math.atan2(d[0], -d[2]) * DEG_PER_RAD,
    elevationDeg: Math.atan2(d[1], Math.hypot(d[0], d[2])) * DEG_PER_RAD,
  };
}

/**
 * The key at the performer's foot where the marked shadows are those of one near lamp, or one of them and others that
 * were found; null where they are not. Distance in metres.
 */
export function keyOfLamp(
  view: View,
  marks: MarksFile,
  ground: readonly [number, number],
  sdPx: number,
  found?: FoundLamp,
): {
  readonly azimuthDeg: number;
  readonly elevationDeg: number;
  readonly far: number;
  readonly lamp: NearLamp;
} | null {
  const lamp =
      nearLampOf(
        marksOf(marks, 'shadow')
          .filter((m) => m.frame === view.frame)
          .map((m) => m.mark),
        view,
        sdPx,
      ) ??
      found ??
      null,
    foot = groundPoint(viewCamera(view), ground[0], ground[1]);
  if (lamp === null || foot === null) return null;
  const place: Vec3 = [foot[0], 0, foot[2]],
    far = Math.hypot(lamp.at[0] - place[0], lamp.at[1] - place[1], lamp.at[2] - place[2]),
    key = keyFrom(lamp, place);
  return key.elevationDeg < LEAST_ELEVATION ? null : { ...key, far, lamp };
}

/**
 * The same where the performer stands on the view's frame, from the marks as they were set; null where no lamp stands
 * near or no stand is marked there.
 */
export function keyAtStand(
  pm: PlateMeasures,
  marks: MarksFile,
): { readonly azimuthDeg: number; readonly elevationDeg: number } | null {
  const { view } = pm,
    stand =
      view === undefined || isCarried(marks) ? undefined : marksOf(marks, 'stand').find((s) => s.frame === view.frame);
  return view === undefined || stand === undefined
    ? null
    : keyOfLamp(view, marks, stand.mark.ground, pm.widthPx / 1000, pm.foundLamp);
}

/**
 * Balls that throw under parallel light the shadow on the ground that these throw by a lamp `far` from the foot: each
 * keeps its height, is set aside and grows as its shadow does. Camera frame; `light` points from the foot to the lamp.
 * A ball as high as the lamp throws none.
 */
export function asUnderParallel(
  balls: readonly SolidBall[],
  g: { readonly up: Vec3; readonly foot: Vec3; readonly light: Vec3 },
  far: number,
): SolidBall[] {
  const { up, foot, light } = g,
    slant = dot(light, up),
    high = far * slant,
    lamp: Vec3 = [foot[0] + far * light[0], foot[1] + far * light[1], foot[2] + far * light[2]];
  return balls.flatMap((b) => {
    const { centre: c } = b,
      h = dot(c, up) - dot(foot, up);
    if (h > MOST_HEIGHT * high) return [];
    const t = high / (high - h),
      k = h / slant;
    return [
      {
        centre: three((i) => lamp[i]! + t * (c[i]! - lamp[i]!) + k * light[i]!),
        radius: t * b.radius,
      },
    ];
  });
}

const distance = (a: Vec3, b: Vec3): number => Math.hypot(a[0] - b[0], a[1] - b[1], a[2] - b[2]);
function between(a: Vec3, b: Vec3): Vec3 {
  const d = distance(a, b) || 1;
  return [(b[0] - a[0]) / d, (b[1] - a[1]) / d, (b[2] - a[2]) / d];
}
const angle = (a: Vec3, b: Vec3): number =>
  Math.acos(Math.max(-1, Math.min(1, a[0] * b[0] + a[1] * b[1] + a[2] * b[2])));
function direction(rays: readonly { readonly to: Vec3; readonly sd: number }[]): Vec3 {
  const m: [number, number, number] = [0, 0, 0];
  for (const r of rays) for (let k = 0; k < 3; k++) m[k] = m[k]! + r.to[k]! / (r.sd * r.sd);
  return between([0, 0, 0], m);
}

/** Point with the least weighted squares of distances from lines; null where they are parallel. */
function nearestTo(
  rays: readonly { readonly top: Vec3; readonly to: Vec3 }[],
  weights: readonly number[],
): Vec3 | null {
  const a = [0, 0, 0, 0, 0, 0, 0, 0, 0],
    b: [number, number, number] = [0, 0, 0];
  rays.forEach((r, n) => {
    for (let i = 0; i < 3; i++)
      for (let j = 0; j < 3; j++) {
        const v = weights[n]! * ((i === j ? 1 : 0) - r.to[i]! * r.to[j]!);
        a[3 * i + j] = a[3 * i + j]! + v;
        b[i] = b[i]! + v * r.top[j]!;
      }
  });
  const m = (i: number, j: number): number => a[3 * i + j]!,
    minor = (i: number, j: number): number =>
      m((i + 1) % 3, (j + 1) % 3) * m((i + 2) % 3, (j + 2) % 3) -
      m((i + 1) % 3, (j + 2) % 3) * m((i + 2) % 3, (j + 1) % 3);
  const det = m(0, 0) * minor(0, 0) + m(0, 1) * minor(0, 1) + m(0, 2) * minor(0, 2),
    scale = (m(0, 0) + m(1, 1) + m(2, 2)) ** 3;
  if (!(Math.abs(det) > 1e-9 * scale)) return null;
  return three((i) => (b[0] * minor(0, i) + b[1] * minor(1, i) + b[2] * minor(2, i)) / det);
}
