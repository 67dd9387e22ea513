/**
 * Where somebody stands in a known set, by a least cut (Boykov & Jolly, ICCV, 2001): what each pixel says by its
 * difference to the empty set, what says that it is a shadow on it, and the frame's own edges, of which those that the
 * empty set has at the same place count for little (Sun, Zhang, Tang & Shum, Background Cut, ECCV, 2006, equation 10).
 * A pixel of fur that has the ground's colour is held by those about it.
 */
import { boxMean } from '../../image/box.js';
import { distanceToSet } from '../../image/distance.js';
import { gridCut } from '../../image/grid-cut.js';
import { colourMixture, logDensity } from '../outline/colour-mixture.js';
import { SEEN, type ShadeReading } from './cast-shade.js';

/** Logarithm of the odds: a step of the score from what the set strays by usually, the most against and for. */
const STEP = 1.1,
  USUAL = 2,
  LEAST = -2,
  MOST = 3;
/**
 * Weight of edges beside the odds, the share of it that any length costs, and how fast edges of the set are passed
 * over.
 */
const EDGES = 2.5,
  FLOOR = 0.08,
  SET_EDGE = 0.02,
  SET_AWAY = 0.06;

/**
 * @param score how far a pixel lies from the set, 1 as far as it usually strays @param shade what says that it lies in
 * shadow
 * @param now the frame under the set's light @param was the empty set, both square roots of light, planar
 * @returns 1 where somebody stands
 */
export function whoStands(
  score: Float32Array,
  shade: ShadeReading,
  now: Float32Array,
  was: Float32Array,
  w: number,
  h: number,
): Uint8Array {
  const n = w * h,
    odds = new Float32Array(n);
  for (let i = 0; i < n; i += 1) {
    const d = Math.max(LEAST, Math.min(MOST, STEP * (score[i]! - USUAL)));
    odds[i] = shade.possible[i] === 0 ? d : Math.min(d, shade.odds[i]!);
  }
  const edges = frontEdges(now, was, w, h),
    first = gridCut(odds, edges, w, h);
  const more = ofOneLight(first, score, shade, now, was, w, h);
  if (more === null) return first;
  for (let i = 0; i < n; i += 1) odds[i] = odds[i]! + more[i]!;
  return gridCut(odds, edges, w, h);
}

/**
 * How much rather a pixel that differs is somebody's, by how much of each channel's light is left: a scene's shadows
 * have much the same, fur has its own. Null where no shadow was told.
 */
function ofOneLight(
  mask: Uint8Array,
  score: Float32Array,
  shade: ShadeReading,
  now: Float32Array,
  was: Float32Array,
  w: number,
  h: number,
): Float32Array | null {
  const n = w * h,
    ratio = new Float32Array(3 * n),
    front = new Uint8Array(n),
    back = new Float32Array(n),
    toOut = distanceToSet(
      mask.map((v) => 1 - v),
      w,
      h,
    ),
    toIn = distanceToSet(mask, w, h);
  for (let p = 0; p < 3; p += 1) {
    const a = boxMean(now.subarray(p * n, (p + 1) * n), w, h, 1),
      b = boxMean(was.subarray(p * n, (p + 1) * n), w, h, 1);
    for (let i = 0; i < n; i += 1) ratio[p * n + i] = Math.log((a[i]! + DARKEST) / (b[i]! + DARKEST));
  }
  let shadows = 0;
  for (let i = 0; i < n; i += 1) {
    if (mask[i] === 1) front[i] = toOut[i]! > CLEAR ? 1 : 0;
    else if (shade.possible[i] === 1 && score[i]! > MOST_USUAL && toIn[i]! > CLEAR) {
      back[i] = shade.odds[i]! < SEEN ? 1 : MAYBE;
      shadows += back[i]!;
    }
  }
  if (shadows < LEAST_SHADOW) return null;
  const f = colourMixture(ratio, n, front, PARTS),
    b = colourMixture(ratio, n, back, SHADES),
    out = new Float32Array(n);
  if (f === null || b === null) return null;
  // Pale legs on pale ground differ as little as a weak shadow does: how little light is missing says nothing against
  // them.
  for (let i = 0; i < n; i += 1)
    if (score[i]! > USUAL)
      out[i] = Math.max(
        ratio[n + i]! > WEAK ? 0 : -ONE_LIGHT,
        Math.min(
          ONE_LIGHT,
          logDensity(f, ratio[i]!, ratio[n + i]!, ratio[2 * n + i]!) -
            logDensity(b, ratio[i]!, ratio[n + i]!, ratio[2 * n + i]!),
        ),
      );
  return out;
}

/**
 * Small pixels about the line that teach nothing; score from which a pixel that may be shadow is one; least that must
 * be; square root of light under which a ratio tells nothing.
 */
const CLEAR = 2,
  MAYBE = 0.3,
  MOST_USUAL = 4,
  LEAST_SHADOW = 60,
  DARKEST = 0.02;
/** Logarithm of the ratio of square roots from which a shadow is weak (.7 of the light). */
const WEAK = 0.5 * Math.log(0.7);
const PARTS = 5,
  SHADES = 3,
  ONE_LIGHT = 1.5;

const STEPS = [
  [1, 0],
  [1, 1],
  [0, 1],
  [-1, 1],
] as const;

/** Costs of a cut between neighbours: low at edges of the frame that the set has not. */
function frontEdges(
  now: Float32Array,
  was: Float32Array,
  w: number,
  h: number,
): [Float32Array, Float32Array, Float32Array, Float32Array] {
  const n = w * h,
    away = new Float32Array(n);
  for (let i = 0; i < n; i += 1)
    away[i] = (now[i]! - was[i]!) ** 2 + (now[n + i]! - was[n + i]!) ** 2 + (now[2 * n + i]! - was[2 * n + i]!) ** 2;
  const squares = STEPS.map(([dx, dy]) => {
    const out = new Float32Array(n).fill(-1);
    for (let y = 0; y < h - dy; y += 1)
      for (let x = Math.max(0, -dx); x < w - Math.max(0, dx); x += 1) {
        const i = y * w + x,
          j = i + dy * w + dx;
        let own = 0,
          set = 0;
        for (let p = 0; p < 3 * n; p += n) {
          own += (now[p + i]! - now[p + j]!) ** 2;
          set += (was[p + i]! - was[p + j]!) ** 2;
        }
        out[i] = own / (1 + (set / SET_EDGE ** 2) * Math.exp(-Math.max(away[i]!, away[j]!) / SET_AWAY ** 2));
      }
    return out;
  });
  let sum = 0,
    count = 0;
  for (const s of squares)
    for (const v of s)
      if (v >= 0) {
        sum += v;
        count += 1;
      }
  const usual = Math.max(1e-5, sum / Math.max(1, count));
  STEPS.forEach(([dx, dy], d) => {
    const s = squares[d]!,
      near = EDGES / Math.hypot(dx, dy);
    for (let i = 0; i < n; i += 1) s[i] = s[i]! < 0 ? 0 : near * (FLOOR + (1 - FLOOR) * Math.exp(-s[i]! / (2 * usual)));
  });
  return squares as [Float32Array, Float32Array, Float32Array, Float32Array];
}
