/**
 * What a shadow on the ground tells beside its direction: the ratio of lit to shadowed ground (key and fill against
 * fill alone, in stops, brought to a surface that faces the key), the colours of both, and the width of the penumbra,
 * which gives the angle under which the key is seen (width across the shadow = angle × slant distance from the
 * casting edge; the sun's 0.53° is the reference).
 *
 * Profiles are taken across the shadow on the ground itself, through the view, so that perspective does not enter.
 */
import { RAD_PER_DEG } from '../../core/angles.js';
import { groundPoint, project } from '../../geometry/camera.js';
import { levenbergMarquardt } from '../../geometry/levenberg-marquardt.js';
import { sampleBilinear } from '../../image/sampling.js';
import { median } from '../../image/statistics.js';
import type { Picture } from '../../image/picture.js';
import type { ShadowMark } from './light-shadow.js';
import type { View } from '../types.js';
import { viewCamera } from '../view/view-derived.js';

export interface GroundLight {
  /**
   * Key and fill against fill, in stops, for a surface that faces the key: ground catches the key at
   * sin(elevation) only, so the ratio measured on it is brought to the facing surface where the elevation is
   * known. That number belongs to the light and not to the hour.
   */
  readonly keyFillStops: number;
  readonly keyFillSd: number;
  /** Linear RGB of the ground under key alone (lit minus shadowed) and under fill alone. */
  readonly keyRgb: readonly [number, number, number];
  readonly fillRgb: readonly [number, number, number];
  /** Apparent angular size of the key in degrees, or null where no edge was clean enough. */
  readonly softnessDeg: number | null;
  readonly softnessSd: number | null;
}

interface EdgeWidth {
  readonly slantM: number;
  readonly widthM: number;
  readonly pxPerM: number;
}

/**
 * Reads one shadow.
 * @param linear scene-linear RGB picture of the view's frame
 * @param elevationDeg the key's elevation, for the slant distance
 * @returns null where the shadow's ground is not in the picture or no darker than the ground beside it can be found
 */
export function readGroundShadow(
  linear: Picture,
  view: View,
  mark: ShadowMark,
  elevationDeg: number | null,
): GroundLight | null {
  const cam = viewCamera(view);
  const foot = groundPoint(cam, mark.foot[0], mark.foot[1]);
  const tip = groundPoint(cam, mark.tip[0], mark.tip[1]);
  if (foot === null || tip === null) return null;
  const length = Math.hypot(tip[0] - foot[0], tip[2] - foot[2]);
  if (!(length > 1e-3)) return null;
  const ux = (tip[0] - foot[0]) / length;
  const uz = (tip[2] - foot[2]) / length;
  const height = elevationDeg === null ? length : length * Math.tan(elevationDeg * RAD_PER_DEG);
  // Half the span looked at: a third of what casts the shadow, a little more for thin things.
  const reach = Math.max(0.35 * height, 0.15 * length);
  const n = linear.width * linear.height;
  const planes = [
    linear.data.subarray(0, n),
    linear.data.subarray(n, 2 * n),
    linear.data.subarray(2 * n, 3 * n),
  ] as const;
  const steps = 81;
  const shadowRgb: number[][] = [[], [], []];
  const litRgb: number[][] = [[], [], []];
  const ratios: number[] = [];
  const edges: EdgeWidth[] = [];
  const widthsPx: number[] = [];
  /** Width of an edge over that of the shadow. */
  const softShares: number[] = [];
  for (let k = 1; k <= 16; k++) {
    const along = (k / 17) * length;
    const profile: { t: number; y: number; rgb: [number, number, number] }[] = [];
    let inside = 0;
    for (let i = 0; i < steps; i++) {
      const t = ((i / (steps - 1)) * 2 - 1) * reach;
      const p = project(cam, [foot[0] + ux * along - uz * t, 0, foot[2] + uz * along + ux * t]);
      if (p === null || p.x < 1 || p.y < 1 || p.x > linear.width - 1 || p.y > linear.height - 1) continue;
      const rgb: [number, number, number] = [0, 0, 0];
      for (let c = 0; c < 3; c++) rgb[c] = sampleBilinear(planes[c]!, linear.width, linear.height, p.x, p.y);
      profile.push({ t, y: 0.2126 * rgb[0] + 0.7152 * rgb[1] + 0.0722 * rgb[2], rgb });
      if (Math.abs(t) < 0.05 * reach) inside++;
    }
    if (profile.length < 30 || inside === 0) continue;
    const split = twoLevels(profile.map((q) => q.y));
    if (split === null) continue;
    // The axis itself must lie in the dark part, else something else stands here (another thing's shadow, the caster).
    const core = profile.filter((q) => Math.abs(q.t) < 0.06 * reach);
    if (core.filter((q) => q.y < split.threshold).length < core.length * 0.7) continue;
    const dark = connectedDark(profile, split.threshold);
    if (dark === null) continue;
    const shade = profile.filter((_, i) => i > dark[0] + 1 && i < dark[1] - 1);
    const light = profile.filter((q, i) => (i < dark[0] - 2 || i > dark[1] + 2) && q.y > split.threshold);
    if (shade.length < 3 || light.length < 8) continue;
    const ys = median(Float64Array.from(shade, (q) => q.y));
    const yl = median(Float64Array.from(light, (q) => q.y));
    const widthPx = pixelWidth(cam, foot, [ux, uz], along, profile[dark[0]]!.t, profile[dark[1]]!.t);
    widthsPx.push(widthPx);
    const runM = Math.abs(profile[dark[1]]!.t - profile[dark[0]]!.t);
    for (const at of dark) softShares.push((edgeWidth(profile, at, ys, yl) ?? 0) / Math.max(1e-9, runM));
    ratios.push(Math.log2(yl / Math.max(1e-6, ys)));
    for (let c = 0; c < 3; c++) {
      shadowRgb[c]!.push(median(Float64Array.from(shade, (q) => q.rgb[c]!)));
      litRgb[c]!.push(median(Float64Array.from(light, (q) => q.rgb[c]!)));
    }
    if (elevationDeg !== null) {
      const slantM = along / Math.cos(elevationDeg * RAD_PER_DEG);
      for (const at of dark) {
        const w = edgeWidth(profile, at, ys, yl);
        const p = project(cam, [foot[0] + ux * along, 0, foot[2] + uz * along]);
        const q = project(cam, [foot[0] + ux * along - uz * 0.1, 0, foot[2] + uz * along + ux * 0.1]);
        if (w !== null && p !== null && q !== null)
          edges.push({ slantM, widthM: w, pxPerM: Math.hypot(q.x - p.x, q.y - p.y) / 0.1 });
      }
    }
  }
  if (ratios.length < 2) return null;
  const stops = median(Float64Array.from(ratios));
  const spread = 1.4826 * median(Float64Array.from(ratios, (r) => Math.abs(r - stops)));
  const rgb = (v: number[][]): [number, number, number] => [
    median(Float64Array.from(v[0]!)),
    median(Float64Array.from(v[1]!)),
    median(Float64Array.from(v[2]!)),
  ];
  const lit = rgb(litRgb);
  const fill = rgb(shadowRgb);
  const soft = softness(edges);
  const facing = elevationDeg === null ? 1 : Math.max(0.1, Math.sin(elevationDeg * RAD_PER_DEG));
  return {
    keyFillStops: Math.log2(1 + Math.max(0, 2 ** stops - 1) / facing),
    // A shadow a few pixels thin, or whose soft edges meet in its middle, is filled with light by the
    // lens: its darkness is then only a lower bound.
    keyFillSd: Math.hypot(
      0.15,
      median(Float64Array.from(widthsPx)) < THIN_PX || median(Float64Array.from(softShares)) > SOFT_SHARE ? 1.5 : 0,
      (1.25 * spread) / Math.sqrt(ratios.length),
    ),
    keyRgb: [Math.max(0, lit[0] - fill[0]), Math.max(0, lit[1] - fill[1]), Math.max(0, lit[2] - fill[2])],
    fillRgb: fill,
    softnessDeg: soft?.deg ?? null,
    softnessSd: soft?.sd ?? null,
  };
}

/** A shadow thinner than this tells little of its own darkness, px. */
const THIN_PX = 14;
/**
 * Edges (10 to 90 %) wider than this share of a shadow's width reach its middle: blurred by σ (2.56 σ from 10 to 90 %)
 * a strip 5 σ wide keeps 99 % of its depth, one 4 σ wide 95 %, which lifts a shadow three stops deep by .4 stops.
 */
const SOFT_SHARE = 0.5;

/** Width in the picture of a stretch across the shadow. */
function pixelWidth(
  cam: ReturnType<typeof viewCamera>,
  foot: readonly number[],
  u: readonly [number, number],
  along: number,
  t0: number,
  t1: number,
): number {
  const at = (t: number): ReturnType<typeof project> =>
    project(cam, [foot[0]! + u[0] * along - u[1] * t, 0, foot[2]! + u[1] * along + u[0] * t]);
  const a = at(t0);
  const b = at(t1);
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

/**
 * Squared width over distance: w² = blur² + (θ d)², by a robust line through (d², w²). The camera's own blur, in
 * pixels, is the same all along; the metres it spans are not, so it is taken out in pixels first.
 */
function softness(edges: readonly EdgeWidth[]): { deg: number; sd: number } | null {
  if (edges.length < 6) return null;
  // In θ², which may come out at nothing: a key too small for its penumbra to show in this picture.
  const r = levenbergMarquardt({
    start: [1e-4, 2],
    steps: [1e-7, 1e-4],
    residualCount: edges.length,
    residuals: (p, out) =>
      edges.forEach((e, i) => {
        // A disc's penumbra goes from 10 to 90 % within 0.69 of its full width.
        const w = Math.sqrt(Math.max(1e-12, 0.476 * p[0]! * e.slantM * e.slantM + (p[1]! / e.pxPerM) ** 2));
        out[i] = Math.log(e.widthM / w) / 0.35;
      }),
    loss: { kind: 'cauchy', scale: 1.5 },
  });
  if (r.covariance === null) return null;
  const sd2 = Math.sqrt(r.covariance[0]! * Math.max(1, r.variance));
  const rad = Math.sqrt(Math.max(0, r.parameters[0]!));
  const sd = Math.min(Math.sqrt(sd2), rad > 0 ? sd2 / (2 * rad) : Infinity);
  if (!(sd < 0.2)) return null;
  // A body's outline is no straight edge: its own waviness puts a floor under the uncertainty.
  return { deg: rad / RAD_PER_DEG, sd: Math.hypot(0.3, (1.5 * sd) / RAD_PER_DEG) };
}
