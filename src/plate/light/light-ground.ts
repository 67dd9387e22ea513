/**
 * What a shadow on the ground tells beside its direction: the ratio of lit to shadowed ground (key and fill against
 * fill alone, in stops, brought to a surface that faces the key), the colours of both, and the width of the penumbra,
 * which gives the angle under which the key is seen (width across the shadow = angle × slant distance from the
 * casting edge; the sun's 0.53° is the reference). From sections across it (shadow-section.ts).
 */
import { RAD_PER_DEG } from '../../core/angles.js';
import { levenbergMarquardt } from '../../geometry/levenberg-marquardt.js';
import type { Picture } from '../../image/picture.js';
import { median } from '../../image/statistics.js';
import type { View } from '../types.js';
import type { ShadowMark } from './light-shadow.js';
import { medianRgb, shadowAxis, shadowSection, type EdgeWidth, type ShadowSection } from './shadow-section.js';

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

/** Sections looked at between foot and tip. */
const SECTIONS = 16;

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
  const axis = shadowAxis(view, mark, elevationDeg);
  if (axis === null) return null;
  const sections: ShadowSection[] = [];
  for (let k = 1; k <= SECTIONS; k++) {
    const section = shadowSection(linear, axis, (k / (SECTIONS + 1)) * axis.length, elevationDeg);
    if (section !== null) sections.push(section);
  }
  if (sections.length < 2) return null;
  const stops = medianOf(sections.map((s) => s.stops));
  const lit = medianRgb(sections.map((s) => s.litRgb));
  const fill = medianRgb(sections.map((s) => s.darkRgb));
  const soft = softness(sections.flatMap((s) => s.edges));
  const facing = elevationDeg === null ? 1 : Math.max(0.1, Math.sin(elevationDeg * RAD_PER_DEG));
  return {
    keyFillStops: Math.log2(1 + Math.max(0, 2 ** stops - 1) / facing),
    keyFillSd: stopsSd(sections, stops),
    keyRgb: [Math.max(0, lit[0] - fill[0]), Math.max(0, lit[1] - fill[1]), Math.max(0, lit[2] - fill[2])],
    fillRgb: fill,
    softnessDeg: soft?.deg ?? null,
    softnessSd: soft?.sd ?? null,
  };
}

const medianOf = (list: readonly number[]): number => median(Float64Array.from(list));

/** A shadow thinner than this tells little of its own darkness, px. */
const THIN_PX = 14;
/**
 * Edges (10 to 90 %) wider than this share of a shadow's width reach its middle: blurred by σ (2.56 σ from 10 to 90 %)
 * a strip 5 σ wide keeps 99 % of its depth, one 4 σ wide 95 %, which lifts a shadow three stops deep by .4 stops.
 */
const SOFT_SHARE = 0.5;

/**
 * Of a shadow that is read at fewer of its sections, or that is lighter than so many stops and has fewer clean edges
 * than sections (two each would be all), it is not known that what was read is the shadow: a joint, another ground's
 * border, its own pattern are seldom so dark (own choices).
 */
const FEW_SECTIONS = 6;
const DEEP_STOPS = 1.5;

/** How sure the ratio is, stops. */
function stopsSd(sections: readonly ShadowSection[], stops: number): number {
  const spread = 1.4826 * medianOf(sections.map((s) => Math.abs(s.stops - stops)));
  // A shadow a few pixels thin, or whose soft edges meet in its middle, is filled with light by the
  // lens: its darkness is then only a lower bound.
  const edges = sections.flatMap((s) => s.softShares);
  const thin = medianOf(sections.map((s) => s.widthPx)) < THIN_PX || medianOf(edges) > SOFT_SHARE;
  const doubtful = sections.length < FEW_SECTIONS || (stops < DEEP_STOPS && edges.length < sections.length);
  return Math.hypot(0.15, thin || doubtful ? 1.5 : 0, (1.25 * spread) / Math.sqrt(sections.length));
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
