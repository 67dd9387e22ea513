/**
 * A pane of glass between the camera and the performer. Its mist adds a light of its own and lets the rest of what is
 * behind through (Koschmieder's law at a distance of none); scratches and drops that catch the light add theirs. Seen
 * through it the performer is (1 − v) P + L + D: v what the mist takes, L what it adds, D the bright detail on the
 * glass.
 *
 * L is read from the plate: nothing seen through the mist is darker than L, so the darkest part of the pane over the
 * darkest beside it tells it (as He, Sun & Tang, "Single image haze removal using dark channel prior", CVPR 2009, have
 * it for air). How much of the light behind that takes follows from how bright such a mist would be were it dense: as
 * the plate's whites. D is what a white top-hat (Serra, *Image Analysis and Mathematical Morphology*, 1982) leaves of
 * the plate within the pane, as far as it stands out from the texture of what lies behind.
 */
import { open } from '../../image/morphology.js';
import { plane, type Picture } from '../../image/picture.js';
import { rasterizePolygon } from '../../image/polygon.js';

export interface Veil {
  /** Share of the performer's light that is lost, 0..1. */
  readonly veil: number;
  /** Linear light that the pane adds, per channel. */
  readonly lightLinear: readonly [number, number, number];
  /** Bright detail under this (linear luminance) is texture behind the pane. */
  readonly detailFloor: number;
  /** Radius in px of what counts as detail on the glass. */
  readonly detailPx: number;
}

/**
 * Two faces of clear glass throw back so much of what comes through straight (Fresnel, refractive index 1.5: 1 − (1 −
 * .04)²).
 */
export const CLEAR_GLASS = 0.08;
/** Share of pixels that count as darkest, as white. */
const DARKEST = 0.01,
  WHITEST = 0.98;
/** A lift of the blacks smaller than this is none, linear. */
const LEAST_LIFT = 0.004;
const MOST_VEIL = 0.9;
/** Details as wide as this share of the picture's width and less. */
const DETAIL_SHARE = 0.008;
/**
 * Detail must stand out by so many times what nine tenths of the pane have of it: less is texture of what lies behind
 * (bright stones' edges, laid over the performer on traced cobbles with three times the median, cost 1.4 to 2.9
 * CIEDE2000).
 */
const OUT_BY = 2,
  USUAL = 0.9;
/**
 * Darkest parts brighter than this (linear) are no blacks: nothing beside the pane then tells whether those within are
 * lifted.
 */
const BLACK = 0.02;

const luma = (d: Float32Array, n: number, i: number): number =>
  0.2126 * d[i]! + 0.7152 * d[n + i]! + 0.0722 * d[2 * n + i]!;
const at = (sorted: Float64Array, share: number): number =>
  sorted[Math.min(sorted.length - 1, Math.max(0, Math.floor(share * sorted.length)))] ?? 0;

/**
 * Reads a pane's veil from a plate frame (scene-linear RGB); `polygon` null: the whole picture. Null where too little
 * of it is in the picture, or nothing in it is dark enough to tell.
 */
export function readVeil(linear: Picture, polygon: readonly (readonly [number, number])[] | null): Veil | null {
  const { width: w, height: h, data } = linear,
    n = w * h;
  const inside = polygon === null ? new Float32Array(n).fill(1) : rasterizePolygon(polygon, w, h);
  const within: number[] = [],
    beside: number[] = [];
  for (let i = 0; i < n; i++)
    if (inside[i]! > 0.99) within.push(i);
    else if (inside[i]! < 0.01) beside.push(i);
  if (within.length < 200) return null;
  const dark = (list: readonly number[], c: number): number =>
    at(Float64Array.from(list, (i) => data[c * n + i]!).sort(), DARKEST);
  const own = [0, 1, 2].map((c) => dark(within, c)),
    by = [0, 1, 2].map((c) => (beside.length < 200 ? 0 : dark(beside, c)));
  const lift = own.map((v, c) => Math.max(0, v - by[c]!)) as [number, number, number];
  if (Math.min(...lift) <= LEAST_LIFT && Math.max(...own) > BLACK) return null;
  const white = [0, 1, 2].map((c) => at(Float64Array.from({ length: n }, (_, i) => data[c * n + i]!).sort(), WHITEST));
  const lifted = Math.min(...lift) > LEAST_LIFT,
    mist = lifted ? Math.max(...lift.map((l, c) => l / Math.max(1e-3, white[c]!))) : 0;
  const detailPx = Math.max(2, Math.round((DETAIL_SHARE * w) / 2)),
    hat = topHat(linear, detailPx),
    floors = Float64Array.from(within, (i) => luma(hat.data, n, i)).sort();
  return {
    veil: Math.min(MOST_VEIL, 1 - (1 - CLEAR_GLASS) * (1 - mist)),
    lightLinear: lifted ? lift : [0, 0, 0],
    detailFloor: Math.max(LEAST_LIFT, OUT_BY * at(floors, USUAL)),
    detailPx,
  };
}

function topHat(p: Picture, radius: number): Picture {
  const out: Picture = {
    width: p.width,
    height: p.height,
    channels: 3,
    data: new Float32Array(3 * p.width * p.height),
  };
  for (let c = 0; c < 3; c++) {
    const from = plane(p, c),
      low = open(from, p.width, p.height, radius),
      to = plane(out, c);
    for (let i = 0; i < to.length; i++) to[i] = Math.max(0, from[i]! - low[i]!);
  }
  return out;
}

/**
 * Gives the performer's shadow the mist's light back, in place: the mist hangs before the ground, and only what is seen
 * through it darkens. `out`: linear RGB with the shadow laid on the plate as if no pane were there; `base`: the plate's
 * own data; `pane` as below.
 */
export function veilShadow(v: Veil, out: Picture, base: Float32Array, pane: Float32Array | null): void {
  const n = out.width * out.height;
  for (let i = 0; i < n; i++) {
    const k = pane === null ? 1 : pane[i]!;
    if (!(k > 0)) continue;
    for (let c = 0; c < 3; c++) {
      const o = c * n + i,
        was = base[o]!;
      if (!(was > 0) || out.data[o] === was) continue;
      const mist = Math.min(was, k * v.lightLinear[c]!);
      out.data[o] = mist + ((was - mist) * out.data[o]!) / was;
    }
  }
}

/**
 * Lays the veil over the performer in place. `out`: linear RGB with the performer on it; `before`: the same before it
 * was laid on; `base`: the plate, whose detail is taken; `matte`: the performer's coverage as seen; `pane`: the pane's,
 * null for everywhere.
 */
export function veilPerformer(
  v: Veil & { readonly detail: number },
  out: Picture,
  before: Picture,
  base: Picture,
  matte: Float32Array,
  pane: Float32Array | null,
): void {
  const n = out.width * out.height,
    hat = v.detail > 0 ? topHat(base, v.detailPx) : null;
  for (let i = 0; i < n; i++) {
    const m = matte[i]!,
      k = pane === null ? 1 : pane[i]!;
    if (!(m > 0) || !(k > 0)) continue;
    const stands = hat === null ? 0 : Math.min(1, Math.max(0, luma(hat.data, n, i) / v.detailFloor - 1)) * v.detail;
    for (let c = 0; c < 3; c++) {
      const o = c * n + i,
        behind = (1 - m) * before.data[o]!,
        own = Math.max(0, out.data[o]! - behind);
      out.data[o] =
        behind + own * (1 - v.veil * k) + m * k * (v.lightLinear[c]! + (stands > 0 ? stands * hat!.data[o]! : 0));
    }
  }
}
