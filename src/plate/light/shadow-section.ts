/**
 * A section across a shadow on the ground: the levels of its lit and its dark part, its width, and the widths of its
 * edges. Taken on the ground itself, through the view, so that perspective does not enter.
 */
import { RAD_PER_DEG } from '../../core/angles.js';
import { groundPoint, project, type Pinhole } from '../../geometry/camera.js';
import { levenbergMarquardt } from '../../geometry/levenberg-marquardt.js';
import type { Picture } from '../../image/picture.js';
import { sampleBilinear } from '../../image/sampling.js';
import { median } from '../../image/statistics.js';
import type { View } from '../types.js';
import { viewCamera } from '../view/view-derived.js';
import type { ShadowMark } from './light-shadow.js';

/** A marked shadow's axis on the ground, from foot to tip. */
export interface ShadowAxis {
  readonly camera: Pinhole;
  /** World point of the foot, metres. */
  readonly foot: readonly [number, number, number];
  /** Unit direction on the ground, x and z. */
  readonly ux: number;
  readonly uz: number;
  readonly length: number;
  /** How far to each side a section reaches, metres. */
  readonly reach: number;
}

/** Width of a shadow's edge on the ground, `slantM` behind what throws it. */
export interface EdgeWidth {
  readonly slantM: number;
  readonly widthM: number;
  readonly pxPerM: number;
}

export interface ShadowSection {
  /** Lit over dark, stops of luminance. */
  readonly stops: number;
  readonly darkRgb: readonly [number, number, number];
  readonly litRgb: readonly [number, number, number];
  readonly widthPx: number;
  /** Width of each edge over that of the shadow. */
  readonly softShares: readonly number[];
  /** Edges that could be measured; none without the key's elevation. */
  readonly edges: readonly EdgeWidth[];
}

interface Sample {
  /** Metres beside the axis. */
  readonly t: number;
  /** Linear luminance and RGB. */
  readonly y: number;
  readonly rgb: readonly [number, number, number];
}

/** Samples of a section, and the fewest that must lie in the picture. */
const SAMPLES = 81,
  LEAST_SAMPLES = 30;

/** @param elevationDeg the key's, where known. Null where the mark does not lie on the ground in view. */
export function shadowAxis(view: View, mark: ShadowMark, elevationDeg: number | null): ShadowAxis | null {
  const camera = viewCamera(view);
  const foot = groundPoint(camera, mark.foot[0], mark.foot[1]);
  const tip = groundPoint(camera, mark.tip[0], mark.tip[1]);
  if (foot === null || tip === null) return null;
  const length = Math.hypot(tip[0] - foot[0], tip[2] - foot[2]);
  if (!(length > 1e-3)) return null;
  const height = elevationDeg === null ? length : length * Math.tan(elevationDeg * RAD_PER_DEG);
  return {
    camera,
    foot,
    ux: (tip[0] - foot[0]) / length,
    uz: (tip[2] - foot[2]) / length,
    length,
    // Half the span looked at: a third of what casts the shadow, a little more for thin things.
    reach: Math.max(0.35 * height, 0.15 * length),
  };
}

/** Reads the section `along` metres from the foot; null where no shadow of plain borders lies about the axis. */
export function shadowSection(
  linear: Picture,
  axis: ShadowAxis,
  along: number,
  elevationDeg: number | null,
): ShadowSection | null {
  const profile = profileAt(linear, axis, along);
  if (profile === null) return null;
  const split = twoLevels(profile.map((q) => q.y));
  if (split === null) return null;
  // The axis itself must lie in the dark part, else something else stands here (another thing's shadow, the caster).
  const core = profile.filter((q) => Math.abs(q.t) < 0.06 * axis.reach);
  if (core.filter((q) => q.y < split.threshold).length < core.length * 0.7) return null;
  const dark = connectedDark(profile, split.threshold);
  if (dark === null) return null;
  const shade = profile.filter((_, i) => i > dark[0] + 1 && i < dark[1] - 1);
  const light = profile.filter((q, i) => (i < dark[0] - 2 || i > dark[1] + 2) && q.y > split.threshold);
  if (shade.length < 3 || light.length < 8) return null;
  const ys = median(Float64Array.from(shade, (q) => q.y));
  const yl = median(Float64Array.from(light, (q) => q.y));
  const widths = dark.map((at) => edgeWidth(profile, at, ys, yl));
  const [t0, t1] = [profile[dark[0]]!.t, profile[dark[1]]!.t];
  return {
    stops: Math.log2(yl / Math.max(1e-6, ys)),
    darkRgb: medianRgb(shade.map((q) => q.rgb)),
    litRgb: medianRgb(light.map((q) => q.rgb)),
    widthPx: pixelWidth(axis, along, t0, t1),
    softShares: widths.filter((w) => w !== null).map((w) => w / Math.max(1e-9, Math.abs(t1 - t0))),
    edges: elevationDeg === null ? [] : edgesAt(axis, along, along / Math.cos(elevationDeg * RAD_PER_DEG), widths),
  };
}

/** Median of each channel. */
export const medianRgb = (list: readonly (readonly [number, number, number])[]): [number, number, number] => [
  median(Float64Array.from(list, (v) => v[0])),
  median(Float64Array.from(list, (v) => v[1])),
  median(Float64Array.from(list, (v) => v[2])),
];

/** Place in the picture of the ground `along` the axis and `t` metres beside it. */
function placeOn({ camera, foot, ux, uz }: ShadowAxis, along: number, t: number): ReturnType<typeof project> {
  return project(camera, [foot[0] + ux * along - uz * t, 0, foot[2] + uz * along + ux * t]);
}

/** Light across the shadow; null where too little of it, or not its axis, lies in the picture. */
function profileAt(linear: Picture, axis: ShadowAxis, along: number): Sample[] | null {
  const { width, height } = linear,
    n = width * height,
    { reach } = axis;
  const profile: Sample[] = [];
  let inside = 0;
  for (let i = 0; i < SAMPLES; i++) {
    const t = ((i / (SAMPLES - 1)) * 2 - 1) * reach;
    const p = placeOn(axis, along, t);
    if (p === null || p.x < 1 || p.y < 1 || p.x > width - 1 || p.y > height - 1) continue;
    const rgb: [number, number, number] = [0, 0, 0];
    for (let c = 0; c < 3; c++)
      rgb[c] = sampleBilinear(linear.data.subarray(c * n, (c + 1) * n), width, height, p.x, p.y);
    profile.push({ t, y: 0.2126 * rgb[0] + 0.7152 * rgb[1] + 0.0722 * rgb[2], rgb });
    if (Math.abs(t) < 0.05 * reach) inside++;
  }
  return profile.length < LEAST_SAMPLES || inside === 0 ? null : profile;
}

/** What was measured of both edges, with the picture's scale across the shadow there. */
function edgesAt(axis: ShadowAxis, along: number, slantM: number, widths: readonly (number | null)[]): EdgeWidth[] {
  const p = placeOn(axis, along, 0),
    q = placeOn(axis, along, 0.1);
  if (p === null || q === null) return [];
  const pxPerM = Math.hypot(q.x - p.x, q.y - p.y) / 0.1;
  return widths.filter((w) => w !== null).map((widthM) => ({ slantM, widthM, pxPerM }));
}

/** Width in the picture of a stretch across the shadow. */
function pixelWidth(axis: ShadowAxis, along: number, t0: number, t1: number): number {
  const a = placeOn(axis, along, t0);
  const b = placeOn(axis, along, t1);
  return a === null || b === null ? 0 : Math.hypot(a.x - b.x, a.y - b.y);
}

/**
 * Two levels by Otsu's criterion (IEEE SMC 1979); null where they explain less than 60
 * % of the variance or differ too little.
 */
function twoLevels(y: number[]): { threshold: number } | null {
  const s = [...y].sort((a, b) => a - b);
  const total = s.reduce((a, b) => a + b, 0);
  let best = -1;
  let at = 0;
  let sum = 0;
  for (let i = 1; i < s.length; i++) {
    sum += s[i - 1]!;
    const m0 = sum / i;
    const m1 = (total - sum) / (s.length - i);
    const between = i * (s.length - i) * (m1 - m0) ** 2;
    if (between > best) {
      best = between;
      at = i;
    }
  }
  const mean = total / s.length;
  const variance = s.reduce((a, b) => a + (b - mean) ** 2, 0);
  const m0 = s.slice(0, at).reduce((a, b) => a + b, 0) / at;
  const m1 = s.slice(at).reduce((a, b) => a + b, 0) / (s.length - at);
  if (!(best / s.length / Math.max(1e-18, variance) > 0.6) || m1 < 1.12 * m0) return null;
  return { threshold: (m0 + m1) / 2 };
}

/** The dark run that holds the axis (t = 0), as profile indices of its first and last sample. */
function connectedDark(profile: readonly { t: number; y: number }[], threshold: number): [number, number] | null {
  let mid = 0;
  for (let i = 1; i < profile.length; i++) if (Math.abs(profile[i]!.t) < Math.abs(profile[mid]!.t)) mid = i;
  if (profile[mid]!.y > threshold) return null;
  let a = mid;
  let b = mid;
  while (a > 0 && (profile[a - 1]!.y < threshold || (a > 1 && profile[a - 2]!.y < threshold))) a--;
  while (
    b < profile.length - 1 &&
    (profile[b + 1]!.y < threshold || (b < profile.length - 2 && profile[b + 2]!.y < threshold))
  )
    b++;
  if (a < 4 || b > profile.length - 5) return null;
  return [a, b];
}

/**
 * 10 to 90 % width in metres of one edge, from the slope of a logistic fitted around it; null where it does not fit.
 */
function edgeWidth(
  profile: readonly { t: number; y: number }[],
  at: number,
  dark: number,
  light: number,
): number | null {
  const lo = Math.max(0, at - 9);
  const hi = Math.min(profile.length, at + 10);
  const part = profile.slice(lo, hi);
  if (part.length < 10) return null;
  const sign = part[0]!.y > part[part.length - 1]!.y ? -1 : 1;
  const span = Math.abs(part[part.length - 1]!.t - part[0]!.t);
  const r = levenbergMarquardt({
    start: [profile[at]!.t, Math.log(span / 12)],
    residualCount: part.length,
    residuals: (p, out) => {
      for (let i = 0; i < part.length; i++) {
        const z = (sign * (part[i]!.t - p[0]!)) / Math.exp(p[1]!);
        out[i] = (part[i]!.y - dark) / (light - dark) - 1 / (1 + Math.exp(-Math.max(-40, Math.min(40, z))));
      }
    },
    maxIterations: 30,
  });
  if (!r.converged || r.cost / part.length > 0.02) return null;
  return 4.394 * Math.exp(r.parameters[1]!);
}
