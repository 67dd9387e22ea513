/**
 * The seam of a mended plate: whether brightness steps where mended picture meets picture as filmed. Along the border
 * the mean of a strip inside is held against that of a strip outside, piece by piece. The set's own edges give such
 * differences too, the more so as a border likes to run along them, but now brighter and now darker: the median of the
 * pieces counts, each weighed by how even the picture is there, since a step shows on a plain wall and tells little
 * among boards; less one and a half of its own standard deviation (of normal pieces 1.25 σ / √n, σ from the median
 * deviation, n the pieces that as many equal weights would be; Huber, Robust Statistics, 1981; Kish, Survey Sampling,
 * 1965). So a part that is mended too bright or too dark as a whole is found.
 *
 * A seam along a part of the border alone, which the rest would outvote, is looked for as a run of pieces side by side
 * that all step the same way by more than their own texture explains. The set's own edges seldom follow a border so far
 * between two even strips.
 */
import { nearestInSet } from '../../image/distance.js';
import { gaussianPlane } from '../../image/gaussian.js';
import type { Box } from '../../join/ground/ground.js';

/** A strip's near and far side, px from the border. */
const NEAR = 1.5,
  FAR = 4.5;
/** Side of a piece of the border, px; pixels that each of its strips needs; pieces without which nothing is said. */
const PIECE = 14,
  LEAST = 12,
  PIECES = 6;
/** Variance that a piece's step has on a ground as even as can be; and pixels of texture that tell one thing alone. */
const EVEN = 0.004 ** 2,
  ALIKE = 8;
/**
 * Standard deviations by which a piece steps for itself; how many such side by side make a seam along a part of the
 * border; the step, coded, beyond which an edge of the set is likelier than a fill so wrong (own choices); and the keys
 * of a piece's neighbours beside its own.
 */
const STEPS = 2.5,
  RUN = 6,
  MOST = 0.08,
  AROUND = [-4097, -4096, -4095, -1, 1, 4095, 4096, 4097];
/** Change of coded luma from which a pixel is mended: half a step of an 8-bit picture. */
const CHANGED = 0.002;

/** Where the plate was changed, holes and specks smoothed away: 1 and 0. */
export function mendedMask(plate: Float32Array, mended: Float32Array, width: number, height: number): Uint8Array {
  const raw = Float32Array.from(plate, (v, i) => (Math.abs(mended[i]! - v) > CHANGED ? 1 : 0));
  const soft = gaussianPlane(raw, width, height, 2);
  return Uint8Array.from(soft, (v) => (v > 0.5 ? 1 : 0));
}

/**
 * Step of coded luma at the border of `mask` (1 = mended) in `luma`, as much of it as is sure, and where it is largest;
 * null where the border is too short or hidden. `hidden(i)`: pixels where something else lies over the plate.
 */
export function readSeam(
  luma: Float32Array,
  mask: Uint8Array,
  width: number,
  height: number,
  hidden: (i: number) => boolean,
): { readonly step: number; readonly at: Box } | null {
  const outside = mask.map((v) => 1 - v);
  const { nearest, distance } = nearestInSet(mask, width, height),
    inner = nearestInSet(outside, width, height);
  const pieces = new Map<number, Float64Array>();
  for (let y = 0; y < height; y++) {
    for (let x = 0; x < width; x++) {
      const i = y * width + x,
        within = mask[i] === 1,
        d = within ? inner.distance[i]! : distance[i]!;
      const strip = within ? 0 : 1;
      if (d < NEAR || d > FAR || hidden(i)) continue;
      const q = within ? inner.nearest[i]! : nearest[i]!,
        key = Math.floor(Math.floor(q / width) / PIECE) * 4096 + Math.floor((q % width) / PIECE);
      let s = pieces.get(key);
      if (s === undefined) {
        s = new Float64Array(6);
        pieces.set(key, s);
      }
      s[2 * strip]! += luma[i]!;
      s[2 * strip + 1]!++;
      s[4 + strip]! += luma[i]! * luma[i]!;
    }
  }
  const steps: number[] = [],
    weights: number[] = [],
    keys: number[] = [];
  for (const [key, s] of pieces)
    if (Math.min(s[1]!, s[3]!) >= LEAST) {
      steps.push(s[0]! / s[1]! - s[2]! / s[3]!);
      weights.push(1 / (EVEN + ALIKE * (meanVariance(s[0]!, s[4]!, s[1]!) + meanVariance(s[2]!, s[5]!, s[3]!))));
      keys.push(key);
    }
  if (steps.length < PIECES) return null;
  const boxOf = (key: number): Box => {
    const x = PIECE * (key % 4096),
      y = PIECE * Math.floor(key / 4096);
    return [x, y, Math.min(width, x + PIECE), Math.min(height, y + PIECE)];
  };
  const middle = weightedMedian(steps, weights),
    // The place is told by the piece that steps the way that most do, most for how even the picture is there.
    sure = steps.map((v, k) => v * Math.sign(middle) * Math.sqrt(weights[k]!)),
    whole = { step: sureStep(steps, weights), at: boxOf(keys[sure.reduce((w, v, k) => (v > sure[w]! ? k : w), 0)]!) },
    part = steppingRun({ steps, weights, keys });
  return part === null || part.step <= whole.step ? whole : { step: part.step, at: boxOf(part.key) };
}

/** The border's pieces: the step of each, what it counts (the inverse of its variance) and its place. */
interface Pieces {
  readonly steps: readonly number[];
  readonly weights: readonly number[];
  readonly keys: readonly number[];
}

/** How far the pieces step in the middle, as much of it as is sure. */
function sureStep(steps: readonly number[], weights: readonly number[]): number {
  const middle = weightedMedian(steps, weights),
    sigma =
      1.4826 *
      weightedMedian(
        steps.map((v) => Math.abs(v - middle)),
        weights,
      ),
    count = weights.reduce((t, v) => t + v, 0) ** 2 / weights.reduce((t, v) => t + v * v, 0);
  return Math.max(0, Math.abs(middle) - (1.5 * 1.2533 * sigma) / Math.sqrt(count));
}

/**
 * The run of neighbouring pieces that step the same way and is surest: its step, and the place of the piece that is
 * surest in it; null where no run is long enough.
 */
function steppingRun({ steps, weights, keys }: Pieces): { readonly step: number; readonly key: number } | null {
  const sure = steps.map((v, k) => (Math.abs(v) > MOST ? 0 : v * Math.sqrt(weights[k]!))),
    left = new Map(keys.map((key, k) => [key, k]));
  let best: { readonly step: number; readonly key: number } | null = null;
  for (const [k, key] of keys.entries()) {
    if (Math.abs(sure[k]!) < STEPS || !left.delete(key)) continue;
    const run = [k];
    for (const at of run)
      for (const by of AROUND) {
        const next = left.get(keys[at]! + by);
        if (next === undefined || sure[next]! * Math.sign(sure[k]!) < STEPS) continue;
        left.delete(keys[next]!);
        run.push(next);
      }
    if (run.length < RUN) continue;
    const step = sureStep(
      run.map((q) => steps[q]!),
      run.map((q) => weights[q]!),
    );
    if (best !== null && step <= best.step) continue;
    best = { step, key: keys[run.reduce((w, q) => (Math.abs(sure[q]!) > Math.abs(sure[w]!) ? q : w))]! };
  }
  return best;
}

/** Variance of the mean of `count` values that add up to `sum`, their squares to `squares`. */
function meanVariance(sum: number, squares: number, count: number): number {
  return Math.max(0, squares / count - (sum / count) ** 2) / count;
}

/** The value below which half of the weight lies. */
function weightedMedian(values: readonly number[], weights: readonly number[]): number {
  const order = values.map((_, k) => k).toSorted((a, b) => values[a]! - values[b]!);
  const half = 0.5 * weights.reduce((t, v) => t + v, 0);
  let sum = 0;
  for (const k of order) {
    sum += weights[k]!;
    if (sum >= half) return values[k]!;
  }
  return values[order[order.length - 1]!]!;
}
