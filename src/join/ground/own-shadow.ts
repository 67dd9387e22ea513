/**
 * Where the plate lies in a shadow of its own already, so that no second one is laid over it. A pixel may be dark
 * because the key does not reach it or because the ground is dark there. The two differ in colour: what stays in a
 * shadow is the fill, mostly bluer than the key, while dark ground is dark in all channels alike, nearly. With d =
 * ln(lit / pixel) and σ = ln(1 / transmission) per channel, d = s σ + a (1, 1, 1) + noise; s, the share of shadow, is
 * what fits best when a, the ground's own change of reflectance, is drawn from a normal of the sd that the lit ground
 * shows (a least square with a prior, as in Rodgers, Inverse Methods for Atmospheric Sounding, 2000, ch. 2, written out
 * for one unknown).
 */
import { boxMean } from '../../image/box.js';
import { createPicture, plane, type Picture } from '../../image/picture.js';

/** The ground where the key lights it. */
export interface LitGround {
  readonly linear: readonly [number, number, number];
  /** Sd of ln luminance over the lit ground, smoothed alike. */
  readonly spread: number;
}

/** Least sd taken for the ground's reflectance. */
export const LEAST_SPREAD = 0.08;
/** Sd of ln of a ground's colour ratios, after smoothing: stones and their dirt differ little in hue (own choice). */
const COLOUR_SD = 0.08;
/** A shadow that takes less than this (ln) hardly shows. */
const LEAST_SPAN = 0.2;

/** Weights that turn (ln r, ln g, ln b) of a smoothed pixel into the share of shadow it lies in. */
export interface OwnShadow {
  readonly r: number;
  readonly g: number;
  readonly b: number;
  readonly offset: number;
}

/** Null where the lit ground is not known or its shadow would hardly show. */
export function ownShadowOf(
  lit: LitGround | undefined,
  transmission: readonly [number, number, number],
): OwnShadow | null {
  if (lit === undefined || !(Math.max(...lit.linear) > 0)) return null;
  const sigma = transmission.map((t) => Math.log(1 / Math.max(0.02, t))) as [number, number, number];
  const mean = (sigma[0] + sigma[1] + sigma[2]) / 3;
  if (mean < LEAST_SPAN) return null;
  const spread = Math.max(LEAST_SPREAD, lit.spread);
  // Along grey (unit (1, 1, 1) / √3) the ground's reflectance adds its variance; across it only the noise of colour
  // counts.
  const grey = 1 / (COLOUR_SD ** 2 + 3 * spread ** 2),
    across = 1 / COLOUR_SD ** 2;
  let power = 0;
  const w = sigma.map((s) => grey * mean + across * (s - mean)) as [number, number, number];
  for (let c = 0; c < 3; c++) power += w[c]! * sigma[c]!;
  const k = w.map((v) => v / power) as [number, number, number];
  let offset = 0;
  for (let c = 0; c < 3; c++) offset += k[c]! * Math.log(Math.max(1e-5, lit.linear[c]!));
  return { r: k[0], g: k[1], b: k[2], offset };
}

/** The plate smoothed over `radius` pixels, so that its texture and grain weigh less. @param out may be `base` */
export function softened(
  base: Picture,
  radius: number,
  out: Picture = createPicture(base.width, base.height, 3),
): Picture {
  for (let c = 0; c < 3; c++) boxMean(plane(base, c), base.width, base.height, radius, radius, plane(out, c));
  return out;
}

/** Share of shadow of pixel i as it is read: 0 lit, 1 a full shadow, with what ground and noise add. */
function shareAt(o: OwnShadow, soft: Picture, i: number): number {
  const n = soft.width * soft.height,
    d = soft.data;
  return (
    o.offset -
    o.r * Math.log(Math.max(1e-5, d[i]!)) -
    o.g * Math.log(Math.max(1e-5, d[n + i]!)) -
    o.b * Math.log(Math.max(1e-5, d[2 * n + i]!))
  );
}

/**
 * How far pixel i of a softened picture lies in a shadow of the plate's own, 0..1: from .45 of a full one on it counts,
 * from .85 wholly.
 */
export function ownShadowAt(o: OwnShadow, soft: Picture, i: number): number {
  return counted(shareAt(o, soft, i));
}

function counted(share: number): number {
  const t = Math.min(1, Math.max(0, (share - 0.45) / 0.4));
  return t * t * (3 - 2 * t);
}

/** Share of shadow between which a smoothed window holds both sides of a border. */
export const MIXED = [0.1, 0.9] as const;

/**
 * The same, but where the window reaches over the border of a shadow the pixel stands for itself: smoothed with the lit
 * ground a shadow's rim would be taken for lit, and a second shadow would draw a dark line along it; the ground beside
 * it would stay light. @param i pixel of `soft` @param at the same one of `sharp`, the plate as it is @param border by
 * what the border is told
 */
export function ownShadowToBorder(
  o: OwnShadow,
  soft: Picture,
  i: number,
  sharp: Picture,
  at: number,
  border: OwnShadow = o,
): number {
  const share = shareAt(border, soft, i),
    own = share > MIXED[0] && share < MIXED[1];
  return own ? counted(shareAt(o, sharp, at)) : ownShadowAt(o, soft, i);
}
