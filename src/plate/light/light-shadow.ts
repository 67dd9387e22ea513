/**
 * Direction of the key light from shadow marks: foot and tip of a shadow on the ground, seen through the solved view,
 * and the height of what casts it (known, or read from its top). The sun stands opposite to the shadow, at elevation
 * atan(height / length) (L = h / tan e; sloped ground is not allowed for).
 *
 * Several shadows of one sun are combined by generalised least squares: each has its own pixel noise, all share the
 * view's error. Shadows that point elsewhere than most (a second lamp, a foot misplaced) are left out and named.
 */
import { DEG_PER_RAD, RAD_PER_DEG, differenceDeg, wrapDeg } from '../../core/angles.js';
import { groundPoint } from '../../geometry/camera.js';
import type { Mark, MarksFile } from '../marks/marks.js';
import type { View } from '../types.js';
import { heightOfUpright, propagate } from '../view/view-derived.js';
import { MARK_NOISE } from '../view/view-observations.js';

export type ShadowMark = Extract<Mark, { kind: 'shadow' }>;

export interface ShadowSun {
  /** Index of the mark in the marks file. */
  readonly mark: number;
  readonly azimuthDeg: number;
  /** Null where neither a height nor a top was marked. */
  readonly elevationDeg: number | null;
  /** Own covariance (pixels, height) and the part that comes from the view; degrees², row-major 2 × 2. */
  readonly own: readonly number[];
  readonly viewPart: readonly number[];
}

/** Sun of one shadow mark; null where foot or tip lies at or above the horizon, or the shadow has no length. */
export function sunOfShadow(view: View, mark: ShadowMark, index: number, sdPx: number): ShadowSun | null {
  const known = mark.height !== undefined && view.cameraHeight.value !== null ? mark.height : null;
  const top = mark.top ?? null;
  if (known === null && top === null) {
    const r = propagate(view, pixels(mark, sdPx), (c, y) => {
      const a = shadowVector(groundPoint(c, y[0]!, y[1]!), groundPoint(c, y[2]!, y[3]!));
      return a === null ? null : [a.azimuth];
    });
    if (r === null) return null;
    return {
      mark: index,
      azimuthDeg: wrapDeg(r.values[0]!),
      elevationDeg: null,
      own: [r.covariance[0]! - r.viewPart[0]!, 0, 0, Infinity],
      viewPart: [r.viewPart[0]!, 0, 0, 0],
    };
  }
  const inputs = pixels(mark, sdPx);
  if (known !== null) inputs.push({ value: known, sd: MARK_NOISE.uprightHeight * known });
  else inputs.push({ value: top![0], sd: sdPx }, { value: top![1], sd: sdPx });
  const reference = { value: null as number | null };
  const r = propagate(view, inputs, (c, y) => {
    const foot = groundPoint(c, y[0]!, y[1]!);
    const tip = groundPoint(c, y[2]!, y[3]!);
    const v = shadowVector(foot, tip);
    const h = known !== null ? y[4]! : heightOfUpright(c, [y[0]!, y[1]!], [y[4]!, y[5]!]);
    if (v === null || h === null || !(h > 0)) return null;
    // Differences across ±180° would wreck the propagation: keep near the first value.
    reference.value ??= v.azimuth;
    return [reference.value + differenceDeg(v.azimuth, reference.value), Math.atan2(h, v.length) * DEG_PER_RAD];
  });
  if (r === null) return null;
  return {
    mark: index,
    azimuthDeg: wrapDeg(r.values[0]!),
    elevationDeg: r.values[1]!,
    own: r.covariance.map((v, i) => v - r.viewPart[i]!),
    viewPart: r.viewPart,
  };
}

function pixels(mark: ShadowMark, sdPx: number): { value: number; sd: number }[] {
  const tipSd = sdPx * MARK_NOISE.shadowTipFactor;
  return [
    { value: mark.foot[0], sd: sdPx },
    { value: mark.foot[1], sd: sdPx },
    { value: mark.tip[0], sd: tipSd },
    { value: mark.tip[1], sd: tipSd },
  ];
}

function shadowVector(
  foot: readonly number[] | null,
  tip: readonly number[] | null,
): { azimuth: number; length: number } | null {
  if (foot === null || tip === null) return null;
  // Towards the sun: from tip to foot. Azimuth 0 from behind the camera (−z), positive from camera right (+x).
  const dx = foot[0]! - tip[0]!;
  const dz = foot[2]! - tip[2]!;
  const length = Math.hypot(dx, dz);
  if (!(length > 1e-4)) return null;
  return { azimuth: Math.atan2(dx, -dz) * DEG_PER_RAD, length };
}

export interface SunDirection {
  readonly azimuthDeg: number;
  readonly azimuthSd: number;
  readonly elevationDeg: number | null;
  readonly elevationSd: number | null;
  /** Marks used and left out (indices into the marks file). */
  readonly used: readonly number[];
  readonly leftOut: readonly number[];
}

/** 99 % point of χ² with two degrees of freedom: beyond it a shadow disagrees with the consensus. */
const CHI2_2_99 = 9.21;

/** Combines the suns of several shadows; null where there is none. */
export function combineSuns(suns: readonly ShadowSun[]): SunDirection | null {
  if (suns.length === 0) return null;
  const complete = suns.filter((s) => s.elevationDeg !== null);
  const pool = complete.length > 0 ? complete : suns;
  const elevated = complete.length > 0;
  // Consensus: the shadow with which most others agree within their own noise (a sample of one decides a sun).
  let best: ShadowSun[] = [];
  let bestScore = -Infinity;
  for (const s of pool) {
    let score = 0;
    const agree: ShadowSun[] = [];
    for (const q of pool) {
      const d = mahalanobis(s, q, elevated);
      if (d < CHI2_2_99) {
        agree.push(q);
        score += 1 - d / CHI2_2_99;
      }
    }
    if (score > bestScore) {
      bestScore = score;
      best = agree;
    }
  }
  const mean = gls(best, elevated);
  // Once more around the mean, so that the chosen sample's own error does not decide who belongs.
  const members = pool.filter((q) => mahalanobisTo(q, mean, elevated) < CHI2_2_99);
  const final = members.length > 0 ? gls(members, elevated) : mean;
  const usedSet = members.length > 0 ? members : best;
  const viewAz = average(usedSet.map((s) => s.viewPart[0]!));
  const viewEl = average(usedSet.map((s) => s.viewPart[3]!));
  return {
    azimuthDeg: wrapDeg(final.azimuth),
    azimuthSd: Math.sqrt(final.covariance[0]! * final.inflate + viewAz),
    elevationDeg: elevated ? final.elevation : null,
    elevationSd: elevated ? Math.sqrt(final.covariance[3]! * final.inflate + viewEl) : null,
    used: usedSet.map((s) => s.mark),
    leftOut: suns.filter((s) => !usedSet.includes(s) && (s.elevationDeg !== null || !elevated)).map((s) => s.mark),
  };
}

const average = (v: readonly number[]): number => v.reduce((a, b) => a + b, 0) / Math.max(1, v.length);

/** Noise of two own errors, plus a tenth of the view's, which two places in one picture do not quite share. */
function mahalanobis(a: ShadowSun, b: ShadowSun, elevated: boolean): number {
  const c = [0, 1, 2, 3].map((i) => a.own[i]! + b.own[i]! + 0.1 * (a.viewPart[i]! + b.viewPart[i]!));
  return quadratic(
    differenceDeg(a.azimuthDeg, b.azimuthDeg),
    elevated ? a.elevationDeg! - b.elevationDeg! : 0,
    c,
    elevated,
  );
}
function mahalanobisTo(a: ShadowSun, m: { azimuth: number; elevation: number }, elevated: boolean): number {
  const c = [0, 1, 2, 3].map((i) => a.own[i]! + 0.1 * a.viewPart[i]!);
  return quadratic(differenceDeg(a.azimuthDeg, m.azimuth), elevated ? a.elevationDeg! - m.elevation : 0, c, elevated);
}
function quadratic(da: number, de: number, c: readonly number[], elevated: boolean): number {
  // A floor of 0.5° keeps noise-free marks from calling each other outliers.
  const a = c[0]! + 0.25;
  const d = (elevated ? c[3]! : 1) + 0.25;
  const b = elevated ? c[1]! : 0;
  const det = a * d - b * b;
  return (d * da * da - 2 * b * da * de + a * de * de) / det;
}

function gls(
  suns: readonly ShadowSun[],
  elevated: boolean,
): { azimuth: number; elevation: number; covariance: number[]; inflate: number } {
  const ref = suns[0]!.azimuthDeg;
  let n00 = 0;
  let n01 = 0;
  let n11 = 0;
  let b0 = 0;
  let b1 = 0;
  const inv = suns.map((s) => {
    const a = s.own[0]! + 1e-6;
    const d = elevated ? s.own[3]! + 1e-6 : 1;
    const b = elevated ? s.own[1]! : 0;
    const det = a * d - b * b;
    return [d / det, -b / det, a / det] as const;
  });
  suns.forEach((s, i) => {
    const [p, q, r] = inv[i]!;
    const az = differenceDeg(s.azimuthDeg, ref);
    const el = elevated ? s.elevationDeg! : 0;
    n00 += p;
    n01 += q;
    n11 += r;
    b0 += p * az + q * el;
    b1 += q * az + r * el;
  });
  const det = n00 * n11 - n01 * n01;
  const az = (n11 * b0 - n01 * b1) / det;
  const el = (n00 * b1 - n01 * b0) / det;
  let chi2 = 0;
  suns.forEach((s, i) => {
    const [p, q, r] = inv[i]!;
    const da = differenceDeg(s.azimuthDeg, ref) - az;
    const de = (elevated ? s.elevationDeg! : 0) - el;
    chi2 += p * da * da + 2 * q * da * de + r * de * de;
  });
  const spare = (elevated ? 2 : 1) * (suns.length - 1);
  return {
    azimuth: ref + az,
    elevation: el,
    covariance: [n11 / det, -n01 / det, -n01 / det, n00 / det],
    inflate: spare > 0 ? Math.max(1, chi2 / spare) : 1,
  };
}

/** Sun from all shadow marks of the view's frame. */
export function sunFromShadows(
  view: View,
  marks: MarksFile,
  sdPx: number = MARK_NOISE.pointPx(view.widthPx),
): { direction: SunDirection | null; suns: readonly ShadowSun[]; notes: readonly string[] } {
  const suns: ShadowSun[] = [];
  const notes: string[] = [];
  marks.marks.forEach((m, i) => {
    if (m.kind !== 'shadow' || (m.frame ?? marks.frame) !== view.frame) return;
    const s = sunOfShadow(view, m, i, sdPx);
    if (s === null) notes.push(`shadow mark ${i + 1} does not lie on the ground below the horizon of this view`);
    else suns.push(s);
  });
  const direction = combineSuns(suns);
  for (const i of direction?.leftOut ?? [])
    notes.push(`shadow mark ${i + 1} points elsewhere than the others and was left out`);
  return { direction, suns, notes };
}

/** Unit vector towards a light at azimuth and elevation, in the level frame of a camera (x right, y up, z away). */
export function towardsLight(azimuthDeg: number, elevationDeg: number): [number, number, number] {
  const a = azimuthDeg * RAD_PER_DEG;
  const e = elevationDeg * RAD_PER_DEG;
  return [Math.sin(a) * Math.cos(e), Math.sin(e), -Math.cos(a) * Math.cos(e)];
}
