/**
 * The edge of a performer that was found by difference to the empty set. Of what stands behind it more is known than of
 * an outline's: where a pixel strays no farther from the set than noise it is bare set, and where it plainly differs,
 * deeper than the performer's edge is soft, it is performer. How soft the edge is the frame itself tells, as fur and
 * cloth differ by far: the depth from which most pixels whose colours tell are whole. Between, unmixing against the set
 * behind each pixel begins, and the picture's colour lines settle (`matting-laplacian.ts`): a leg that is lit on one
 * side is whole on both. Thin parts (arms, legs, tails) have cores of their own. The rules are our own.
 */
import { distanceToSet } from '../../image/distance.js';
import { createPicture, type Picture } from '../../image/picture.js';
import { CODED_NOISE, unmixClouds } from './cloud-unmix.js';
import { fillHoles } from './fill-holes.js';
import { settleByLaplacian } from './matting-laplacian.js';
import type { Peeled } from './peel.js';
import { offSet } from './set-stray.js';
import { solidColour } from './solid-colour.js';

/** The set behind the performer as a clean frame shows it under this frame's light. */
export interface EmptyBehind {
  readonly clean: Picture;
  /** How far that holds, 0..1. */
  readonly holds: Float32Array;
  /** 1 where light and colour may be a shadow's. */
  readonly shade: Uint8Array;
}

/** Strays from the set (`offSet`) up to which a pixel is bare set, and from which it plainly is none. */
const BARE = 1.6,
  PLAIN = 4;
/**
 * Core of a thin part: so deep, px and share of its greatest depth about there, and differing so much of what anything
 * about there differs by. Not where it may be a shadow: a strip of it is as thin.
 */
const LEAST_DEPTH = 2,
  CORE = 0.6,
  ALIKE = 0.6;
/**
 * Sd of the coverage up to which colours tell; coverage that all but such a share of a depth's pixels must reach to be
 * whole; least pixels of it.
 */
const TELLS = 0.15,
  WHOLE = 0.9,
  RAGGED = 0.3,
  LEAST_PIXELS = 12;
/** Beyond the soft edge by so much, px, and with so much coverage by its colours a pixel is solid. */
const MARGIN = 0.5,
  SOLID = 0.5;
/** Pull of a first estimate of unit variance, by the square of the edge's softness in parts of the band. */
const PULL = 0.08;
/** Least contrast of the clouds along the weights that is believed. */
const LEAST_CONTRAST = 0.4;
/** Coverage from which a pixel of the band counts for the performer's cloud, and less than its rest for the set's. */
const SURELY = 0.9;
/** How far about a pixel its coverage is compared, share of the reach of the soft edge. */
const BESIDE = 0.2;
/** Bands about the performer whose set has a say. */
const NEAR = 8;

interface First {
  readonly alpha: Float32Array;
  /** Variance. */
  readonly doubt: Float32Array;
}

/**
 * @param coded display-coded RGB @param linear the same, scene-linear @param inside 1 in the outline that was found,
 * which reaches into the fur
 * @param bandPx half-width of the unknown band @param drawnPx how far the outline reaches beyond the performer
 */
export function settleFound(
  coded: Picture,
  linear: Picture,
  inside: Float32Array,
  bandPx: number,
  drawnPx: number,
  empty: EmptyBehind,
): Peeled {
  const { width: w, height: h, data } = coded,
    n = w * h,
    isIn = Uint8Array.from(inside, (v) => (v > 0.5 ? 1 : 0)),
    isOut = Uint8Array.from(inside, (v) => (v > 0.5 ? 0 : 1)),
    depth = distanceToSet(isOut, w, h),
    away = distanceToSet(isIn, w, h);
  for (let i = 0; i < n; i += 1) if (isIn[i] === 0) depth[i] = -away[i]!;
  const beyond = Uint8Array.from(depth, (d, i) => (d < -bandPx && empty.holds[i]! > 0.5 ? 1 : 0)),
    off = offSet(data, empty.clean.data, beyond, CODED_NOISE, w, h),
    { solid, bare } = surely(depth, off, empty, bandPx, drawnPx, w, h),
    weightF = Float32Array.from(solid),
    weightB = Float32Array.from(bare, (v, i) => (depth[i]! > -NEAR * bandPx ? v : 0)),
    alpha = createPicture(w, h, 1);
  alpha.data.set(inside);
  let first = estimate(data, w, h, weightF, weightB, empty);
  if (first !== null) {
    const soft = softEdge(first, depth, empty, bandPx + drawnPx);
    for (let i = 0; i < n; i += 1)
      if (bare[i] === 0 && depth[i]! >= Math.max(LEAST_DEPTH, soft + MARGIN) && differs(i, first))
        weightF[i] = solid[i] = 1;
    const band = solid.map((v, i) => (v === 1 || bare[i] === 1 ? 0 : 1)),
      strength = PULL * (soft / (bandPx + drawnPx)) ** 2;
    // Settled twice: the second time between the clouds that the first time found.
    for (let turn = 0; turn < 2; turn += 1) {
      first = estimate(data, w, h, weightF, weightB, empty) ?? first;
      for (let i = 0; i < n; i += 1) alpha.data[i] = solid[i] === 1 ? 1 : bare[i] === 1 ? 0 : first.alpha[i]!;
      settleByLaplacian(
        coded,
        alpha.data,
        band,
        first.doubt.map((v) => strength / Math.max(1e-4, v)),
      );
      for (let i = 0; i < n; i += 1) {
        if (band[i] === 0) continue;
        weightF[i] = alpha.data[i]! > SURELY ? 1 : 0;
        weightB[i] = alpha.data[i]! < 1 - SURELY ? 1 : 0;
      }
    }
  }
  for (let i = 0; i < n; i += 1) {
    const a = alpha.data[i]!;
    alpha.data[i] = a < 0.01 ? 0 : a > 0.99 ? 1 : a;
  }
  fillWithin(alpha.data, isIn, isOut, w, h);
  return { alpha, colour: solidColour(linear, alpha.data, Math.max(2, Math.round(bandPx))) };

  function differs(i: number, { alpha: a, doubt }: First): boolean {
    if (empty.holds[i]! <= 0.5 || off[i]! <= PLAIN) return false;
    return a[i]! > SOLID || (empty.shade[i] === 0 && doubt[i]! > TELLS * TELLS);
  }
}

/** What is performer and what is set before any colours are unmixed. @param depth inside the outline, px */
function surely(
  depth: Float32Array,
  off: Float32Array,
  { holds, shade }: EmptyBehind,
  bandPx: number,
  drawnPx: number,
  w: number,
  h: number,
): { readonly solid: Uint8Array; readonly bare: Uint8Array } {
  const n = w * h,
    reach = Math.ceil(bandPx),
    thick = greatestAbout(depth, w, h, reach),
    most = greatestAbout(
      off.map((v, i) => (depth[i]! > 0 ? v : 0)),
      w,
      h,
      reach,
    ),
    solid = new Uint8Array(n),
    bare = new Uint8Array(n);
  for (let i = 0; i < n; i += 1) {
    const d = depth[i]!,
      told = holds[i]! > 0.5;
    if (d > bandPx + drawnPx) solid[i] = 1;
    else if (told && shade[i] === 0 && d >= Math.max(LEAST_DEPTH, CORE * Math.min(bandPx, thick[i]!)))
      solid[i] = off[i]! > PLAIN && off[i]! > ALIKE * most[i]! ? 1 : 0;
    else if (d < drawnPx - bandPx || (told && d < 0 && off[i]! < BARE)) bare[i] = 1;
  }
  return { solid, bare };
}

/**
 * Depth inside the found outline from which the performer is whole where its colours tell, px; `reach` if nowhere.
 * Coverage is held against the greatest near by, which shade that falls softly over a body passes and fur does not.
 */
function softEdge({ alpha, doubt }: First, depth: Float32Array, empty: EmptyBehind, reach: number): number {
  const { width: w, height: h } = empty.clean,
    found: number[][] = Array.from({ length: Math.ceil(reach) + 1 }, () => []),
    near = greatestAbout(alpha, w, h, Math.max(2, Math.round(BESIDE * reach)));
  for (let i = 0; i < alpha.length; i += 1)
    if (depth[i]! > 0 && empty.holds[i]! > 0.5 && doubt[i]! <= TELLS * TELLS)
      found[Math.floor(depth[i]!)]?.push(alpha[i]! / Math.max(SOLID, near[i]!));
  const whole = found.findIndex(
    (list) => list.length > LEAST_PIXELS && Float64Array.from(list).sort()[Math.floor(RAGGED * list.length)]! > WHOLE,
  );
  return whole < 0 ? reach : whole;
}

/** Greatest value in a square of so many pixels to either side. */
function greatestAbout(values: Float32Array, w: number, h: number, reach: number): Float32Array {
  const rows = new Float32Array(values.length),
    out = new Float32Array(values.length);
  for (let y = 0; y < h; y += 1)
    for (let x = 0; x < w; x += 1) {
      let most = values[y * w + x]!;
      for (let u = Math.max(0, x - reach); u <= Math.min(w - 1, x + reach); u += 1)
        most = Math.max(most, values[y * w + u]!);
      rows[y * w + x] = most;
    }
  for (let y = 0; y < h; y += 1)
    for (let v = Math.max(0, y - reach); v <= Math.min(h - 1, y + reach); v += 1)
      for (let x = 0; x < w; x += 1)
        out[y * w + x] = v === Math.max(0, y - reach) ? rows[v * w + x]! : Math.max(out[y * w + x]!, rows[v * w + x]!);
  return out;
}

/**
 * Coverage between the clouds of the weighted pixels. Behind a pixel is what the clean frame shows there, which is not
 * its cell's mean: the performer's mean is to be 1 against it. Null where one of the clouds has no pixel.
 */
function estimate(
  data: Float32Array,
  w: number,
  h: number,
  weightF: Float32Array,
  weightB: Float32Array,
  empty: EmptyBehind,
): First | null {
  const clouds = unmixClouds(data, w, h, weightF, weightB);
  if (clouds === null) return null;
  const n = w * h,
    { weights, back, front, doubt } = clouds,
    alpha = new Float32Array(n);
  for (let i = 0; i < n; i += 1) {
    let a = 0,
      whole = 0;
    for (let at = i; at < 3 * n; at += n) {
      const b = back[at]! + empty.holds[i]! * (empty.clean.data[at]! - back[at]!);
      a += weights[at]! * (data[at]! - b);
      whole += weights[at]! * (front[at]! - b);
    }
    const contrast = Math.max(LEAST_CONTRAST, whole);
    alpha[i] = Math.min(1, Math.max(0, a / contrast));
    doubt[i] = doubt[i]! / contrast ** 2;
  }
  return { alpha, doubt };
}

/**
 * Fills hollows inside the found outline that no path from outside it reaches: single hairs and shaded tufts of the
 * performer that have the set's colour by chance. A gap that shows the set lies outside the outline.
 */
function fillWithin(alpha: Float32Array, isIn: Uint8Array, isOut: Uint8Array, w: number, h: number): void {
  const filled = alpha.slice();
  fillHoles(filled, isOut, new Uint8Array(w * h).fill(1), w, h);
  for (let i = 0; i < alpha.length; i += 1) if (isIn[i] === 1) alpha[i] = Math.max(alpha[i]!, filled[i]!);
}
