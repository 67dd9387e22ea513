/**
 * Motion blur from edges. An edge whose normal lies along the motion is smeared by a box of the blur's length; one
 * that runs with the motion stays as sharp as the lens made it. So each edge spread function is fitted by a box of
 * width w convolved with a Gaussian of sd s, w = L·|n·u| for blur length L and direction u, s common to all (the
 * uniform linear motion model: Sondhi, "Image restoration: the removal of spatially invariant degradations", Proc.
 * IEEE 1972). L, u and s are found by a search over directions with a robust one-parameter fit for L. The shutter
 * angle is 360° times L over the motion per frame.
 */
import { counted } from '../../core/counted.js';
import { measured, notMeasurable, type Measure } from '../../core/measure.js';
import { ESF_LENGTH, type Edge } from './slanted-edges.js';
import { OVER } from './mtf50.js';

/** Abramowitz & Stegun 7.1.26. */
export function erf(x: number): number {
  const t = 1 / (1 + 0.3275911 * Math.abs(x));
  const v =
    1 -
    ((((1.061405429 * t - 1.453152027) * t + 1.421413741) * t - 0.284496736) * t + 0.254829592) * t * Math.exp(-x * x);
  return x < 0 ? -v : v;
}

/** ∫ Φ: G(z) = zΦ(z) + φ(z). */
function integralOfPhi(z: number): number {
  return z * 0.5 * (1 + erf(z / Math.SQRT2)) + Math.exp(-0.5 * z * z) / Math.sqrt(2 * Math.PI);
}

/** Edge smeared by a box of width w (px) and a Gaussian of sd s (px), at distance x (px). */
export function smearedEdge(x: number, w: number, s: number): number {
  if (w < 0.05) return 0.5 * (1 + erf(x / (s * Math.SQRT2)));
  return ((integralOfPhi((x + w / 2) / s) - integralOfPhi((x - w / 2) / s)) * s) / w;
}

/** Sum of squares of an edge against the model, the centre fitted at the half level. */
function misfit(edge: Edge, centre: number, w: number, s: number): number {
  let e = 0;
  for (let k = 0; k < ESF_LENGTH; k += 2) e += (edge.esf[k]! - smearedEdge((k + 0.5) / OVER - centre, w, s)) ** 2;
  return e;
}

function centreOf(edge: Edge): number {
  let c = ESF_LENGTH / 2;
  for (let k = 1; k < ESF_LENGTH; k++)
    if (edge.esf[k - 1]! < 0.5 && edge.esf[k]! >= 0.5) {
      c = k - 1 + (0.5 - edge.esf[k - 1]!) / (edge.esf[k]! - edge.esf[k - 1]!) + 0.5;
      break;
    }
  return c / OVER;
}

/** Width that fits best for a given s, by golden-section search on 0..20 px. */
function bestWidth(edge: Edge, centre: number, s: number): number {
  let lo = 0;
  let hi = 20;
  // The misfit has one valley: bracket it coarsely first.
  let at = 0;
  let best = Infinity;
  for (let w = 0; w <= 20; w += 1) {
    const e = misfit(edge, centre, w, s);
    if (e < best) {
      best = e;
      at = w;
    }
  }
  lo = Math.max(0, at - 1);
  hi = Math.min(20, at + 1);
  const g = (Math.sqrt(5) - 1) / 2;
  let a = hi - g * (hi - lo);
  let b = lo + g * (hi - lo);
  let fa = misfit(edge, centre, a, s);
  let fb = misfit(edge, centre, b, s);
  for (let k = 0; k < 12; k++) {
    if (fa < fb) {
      hi = b;
      b = a;
      fb = fa;
      a = hi - g * (hi - lo);
      fa = misfit(edge, centre, a, s);
    } else {
      lo = a;
      a = b;
      fa = fb;
      b = lo + g * (hi - lo);
      fb = misfit(edge, centre, b, s);
    }
  }
  return (lo + hi) / 2;
}

export interface BlurRequest {
  readonly edges: readonly Edge[];
  readonly frames: readonly [number, number];
  /** Motion of the picture, pixels a frame, where it is known: gives the shutter angle. */
  readonly motionPx?: readonly [number, number] | null;
}

export interface MotionBlur {
  readonly lengthPx: Measure;
  /** Of the smear, 0 = along the rows, 90 = down the columns; in 0..180. */
  readonly directionDeg: Measure;
  readonly shutterDeg: Measure;
}

const HELP = 'a frame of the shot with straight edges in several directions while the camera or the thing moves';
/** Fewer edges tell no direction. */
const LEAST_EDGES = 8;
/** A smear shorter than this, px, is not told apart from the lens. */
const LEAST_LENGTH = 1.2;
/** An edge runs along the motion where its normal lies within this share of one of it (20°): hardly smeared. */
const ALONG = 0.35;
/** Fewer edges along the motion do not tell how sharp the lens is (own choice). */
const LEAST_ALONG = 5;

/**
 * Length and direction of the smear, and the shutter angle where the picture's motion is known. Each is absent, with
 * its reason, where the edges can't tell it.
 */
export function motionBlurOf(request: BlurRequest): MotionBlur {
  const { edges, frames } = request;
  if (edges.length < LEAST_EDGES) return noBlur(`only ${counted(edges.length, 'usable edge')}`);
  const normals = edges.map((e) => Math.atan2(e.ny, e.nx));
  // Directions that edges run in, in steps of 30°: fewer than three can't tell the smear's from the lens's own.
  const covered = new Set(normals.map((a) => Math.floor((((a * 180) / Math.PI + 360) % 180) / 30))).size;
  const motion = request.motionPx ?? null;
  const speed = motion === null ? null : Math.hypot(motion[0], motion[1]);
  const along = edges.filter(
    (e) => motion !== null && Math.abs(e.nx * motion[0] + e.ny * motion[1]) <= ALONG * Math.max(0.4, speed!),
  );
  const best = bestSmear(edges, normals, covered >= 3, lensSpread(edges, along));
  if (best === null) return noBlur('the edges found all run one way');
  const sd = lengthSd(best, normals);
  const how = `box and Gaussian fitted to ${edges.length} edges; lens spread ${best.s.toFixed(2)} px sd`;
  if (speed !== null && speed < 0.4) {
    // A shutter cannot stay open longer than a frame: what does not move does not smear.
    return {
      ...noBlur('the picture stands still'),
      lengthPx: measured(0, 'px', Math.max(0.1, speed), `the picture moves ${speed.toFixed(2)} px a frame`, frames),
    };
  }
  // Where hardly an edge runs along the motion, all are smeared alike, and the lens passes for as soft as they are.
  if (speed !== null && along.length < LEAST_ALONG && best.length <= LEAST_LENGTH)
    return noBlur(
      `only ${counted(along.length, 'edge')} of ${edges.length} ` +
        `${along.length === 1 ? 'runs' : 'run'} along the motion, so that smear cannot be told from the lens`,
    );
  // Softness that is the same in every direction is the lens's or the finish's, not motion: the directional model must
  // win clearly.
  if (best.length > LEAST_LENGTH && best.score > 0.75 * evenMisfit(best.widths))
    return noBlur('the softness is much the same in every direction, so that motion blur cannot be told from defocus');
  if (speed !== null && best.length > 1.15 * speed + 3 * sd)
    return noBlur(
      `the edges look smeared by ${best.length.toFixed(1)} px, ` +
        `but the picture moves only ${speed.toFixed(1)} px a frame`,
    );
  const shown = best.length > 3 * sd && best.length > LEAST_LENGTH && covered >= 3;
  return {
    lengthPx: measured(best.length, 'px', sd, how, frames),
    directionDeg: shown
      ? measured(best.deg, 'deg', Math.max(2, (60 * best.score) / best.length), how, frames)
      : notMeasurable(
          'deg',
          covered < 3 ? 'the edges found run in too few directions' : 'there is no smear to speak of',
          HELP,
        ),
    shutterDeg: shutterOf({ lengthPx: best.length, sd, speed, how, frames }),
  };
}

function noBlur(reason: string): MotionBlur {
  return {
    lengthPx: notMeasurable('px', reason, HELP),
    directionDeg: notMeasurable('deg', reason, HELP),
    shutterDeg: notMeasurable('deg', reason, HELP),
  };
}

/** A smear by which all edges are explained. */
interface Smear {
  /** Mean of |width − length · |n·u||, each at most 2 px. */
  readonly score: number;
  readonly deg: number;
  readonly length: number;
  /** The lens's own spread, sd of a Gaussian, px. */
  readonly s: number;
  /** Width of every edge's box at that spread, px. */
  readonly widths: readonly number[];
}

/**
 * The lens's own spread, px, as sd of a Gaussian (a Gaussian edge rises over 2.563 sd): the sharpest tenth of all edges,
 * and no more than the sharpest quarter of those along the motion, where there are enough. A box has no width below
 * none, so that a spread taken too large would hide every smear.
 */
function lensSpread(edges: readonly Edge[], along: readonly Edge[]): number {
  const sharpest = (list: readonly Edge[], share: number): number =>
    list.map((e) => e.rise).sort((p, q) => p - q)[Math.floor(list.length * share)]! / 2.563;
  const all = sharpest(edges, 0.08);
  return Math.max(0.25, along.length < LEAST_ALONG ? all : Math.min(all, sharpest(along, 0.25)));
}

/**
 * The smear of least misfit over directions in steps of two degrees; null where no direction has edges enough.
 * @param sharpest spread of the lens, sd in px
 */
function bestSmear(
  edges: readonly Edge[],
  normals: readonly number[],
  manyWays: boolean,
  sharpest: number,
): Smear | null {
  const centres = edges.map(centreOf);
  let best: Smear | null = null;
  for (const s of manyWays ? [sharpest, sharpest * 1.15] : [sharpest]) {
    const widths = edges.map((e, i) => bestWidth(e, centres[i]!, s));
    for (let deg = 0; deg < 180; deg += 2) {
      const u = (deg * Math.PI) / 180;
      const k = normals.map((a) => Math.abs(Math.cos(a - u)));
      const length = robustLength(widths, k);
      if (length === null) continue;
      let score = 0;
      for (let i = 0; i < edges.length; i++) score += Math.min(2, Math.abs(widths[i]! - length * k[i]!));
      score /= edges.length;
      if (score < (best?.score ?? Infinity)) best = { score, deg, length, s, widths };
    }
  }
  return best;
}

/** Weighted median of w/k with weights k = |n·u|, over edges that the direction smears; null where they are too few. */
function robustLength(widths: readonly number[], k: readonly number[]): number | null {
  const order = widths
    .map((w, i) => ({ r: w / Math.max(0.15, k[i]!), k: k[i]! }))
    .filter((o) => o.k > 0.3)
    .sort((p, q) => p.r - q.r);
  if (order.length < 5) return null;
  const half = order.reduce((t, o) => t + o.k, 0) / 2;
  let t = 0;
  for (const o of order) {
    t += o.k;
    if (t >= half) return o.r;
  }
  return order[order.length - 1]!.r;
}

/** Standard deviation of the length, px: the spread of what single edges say, and the misfit of all. */
function lengthSd(best: Smear, normals: readonly number[]): number {
  const u = (best.deg * Math.PI) / 180;
  const ratios = best.widths
    .map((w, i) => ({ k: Math.abs(Math.cos(normals[i]! - u)), w }))
    .filter((o) => o.k > 0.5)
    .map((o) => o.w / o.k)
    .sort((p, q) => p - q);
  const mid = ratios[ratios.length >> 1] ?? 0;
  const mad = ratios.map((r) => Math.abs(r - mid)).sort((p, q) => p - q)[ratios.length >> 1] ?? 0;
  return Math.max(
    0.15,
    (1.4826 * mad * 1.25) / Math.sqrt(Math.max(1, ratios.length)),
    best.score / Math.sqrt(best.widths.length),
  );
}

/** Misfit where all edges are as wide as the middle one, whatever their direction; as `Smear.score`. */
function evenMisfit(widths: readonly number[]): number {
  const middle = [...widths].sort((p, q) => p - q)[widths.length >> 1] ?? 0;
  return widths.reduce((t, w) => t + Math.min(2, Math.abs(w - middle)), 0) / widths.length;
}

/** 360° times the smear over the motion a frame, where the picture moves fast enough to tell. */
function shutterOf(smear: {
  readonly lengthPx: number;
  readonly sd: number;
  readonly speed: number | null;
  readonly how: string;
  readonly frames: readonly [number, number];
}): Measure {
  const { lengthPx, sd, speed, how, frames } = smear;
  if (speed === null || speed < 3)
    return notMeasurable(
      'deg',
      speed === null
        ? 'the motion of the picture is not known'
        : `the picture moves only ${speed.toFixed(1)} px a frame`,
      'a part of the shot where the camera moves faster',
    );
  return measured(
    Math.min(360, (360 * lengthPx) / speed),
    'deg',
    (360 * sd) / speed,
    `${how}; picture moves ${speed.toFixed(1)} px a frame`,
    frames,
  );
}
