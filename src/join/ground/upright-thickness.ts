/** How thick an upright is on the picture, by its two edges. */
import type { Picture } from '../../image/picture.js';

type Point = readonly [number, number];

export interface Upright {
  readonly foot: Point;
  readonly top: Point;
}

/** Half the breadth looked at for the upright's own edges, as a share of its height. */
const STOUT = 0.14;
/** The part of its height that is looked at, in so many blocks. */
const LOW = 0.08;
const HIGH = 0.8;
const BLOCKS = 6;
/** An edge stands out by this share of the strongest. */
const EDGE = 0.2;
/** The middle between two edges may lie so many half pixels aside of the marked line. */
const ASIDE = 10;

/** Value of a channel between four pixels (bilinear); pixel centres at +0.5. */
export function sample(picture: Picture, channel: number, x: number, y: number): number {
  const { data, width, height } = picture;
  const fx = x - 0.5;
  const fy = y - 0.5;
  const ix = Math.floor(fx);
  const iy = Math.floor(fy);
  const tx = fx - ix;
  const ty = fy - iy;
  const o = channel * width * height + iy * width + ix;
  return (
    (data[o]! * (1 - tx) + data[o + 1]! * tx) * (1 - ty) +
    (data[o + width]! * (1 - tx) + data[o + width + 1]! * tx) * ty
  );
}

/**
 * Thickness of an upright across its axis, px, and how far its middle lies aside of the line marked; null where its two
 * edges do not stand out.
 */
export function thicknessOf(
  linear: Picture,
  { foot, top }: Upright,
): { readonly thickPx: number; readonly aside: number } | null {
  const tall = Math.hypot(top[0] - foot[0], top[1] - foot[1]);
  if (!(tall > 20)) return null;
  const reach = Math.max(6, STOUT * tall);
  const middle = Math.ceil(2 * reach) + 4;
  const steep = steepness(linear, { foot, top }, middle);
  const pair = outermostEdges(steep, middle, reach);
  if (pair === null) return null;
  const left = peakAt(steep, pair[0]);
  const right = peakAt(steep, pair[1]);
  return { thickPx: (right - left) / 2, aside: (left + right) / 4 - middle / 2 };
}

/**
 * How steeply the picture (square root of light, all channels) changes across an upright, in steps of half a px from
 * `middle` of them on one side to as many on the other; along blocks of its height.
 */
function steepness(linear: Picture, { foot, top }: Upright, middle: number): Float64Array {
  const dx = top[0] - foot[0];
  const dy = top[1] - foot[1];
  const tall = Math.hypot(dx, dy);
  const nx = -dy / tall;
  const ny = dx / tall;
  const steps = 2 * middle + 1;
  const steep = new Float64Array(steps);
  for (let b = 0; b < BLOCKS; b++)
    for (let c = 0; c < 3; c++) {
      const profile = new Float64Array(steps);
      let rows = 0;
      for (let q = 0; q < (tall * (HIGH - LOW)) / BLOCKS; q++) {
        const t = LOW + (b / BLOCKS) * (HIGH - LOW) + q / tall;
        const x = foot[0] + t * dx;
        const y = foot[1] + t * dy;
        const inPicture = x - middle / 2 >= 2 && y >= 2 && x + middle / 2 <= linear.width - 3 && y <= linear.height - 3;
        if (!inPicture) continue;
        rows++;
        for (let k = 0; k < steps; k++) {
          const off = (k - middle) / 2;
          profile[k] = profile[k]! + Math.sqrt(Math.max(0, sample(linear, c, x + nx * off, y + ny * off)));
        }
      }
      if (rows === 0) continue;
      for (let k = 2; k < steps - 2; k++) steep[k] = steep[k]! + Math.abs(profile[k + 2]! - profile[k - 2]!) / rows;
    }
  return steep;
}

/**
 * The outermost pair of edges that lie alike beside the axis: the border between a round upright's lit and its dark
 * side lies within.
 */
function outermostEdges(steep: Float64Array, middle: number, reach: number): readonly [number, number] | null {
  const sorted = Float64Array.from(steep.subarray(2, steep.length - 2)).sort();
  const floor = sorted[sorted.length >> 1]!;
  const least = floor + EDGE * (sorted[sorted.length - 1]! - floor);
  const isEdge = (k: number): boolean => steep[k]! >= least && steep[k]! >= steep[k - 1]! && steep[k]! >= steep[k + 1]!;
  let best = 0;
  let pair: readonly [number, number] | null = null;
  for (let i = 3; i < middle + 6; i++)
    for (let j = Math.max(i + 2, middle - 6); j < steep.length - 3; j++) {
      if (!isEdge(i) || !isEdge(j) || Math.abs(i + j - 2 * middle) > ASIDE || j - i > 4 * reach) continue;
      if (j - i > best) {
        best = j - i;
        pair = [i, j];
      }
    }
  return pair;
}

/** Where the parabola through a step and its neighbours is highest. */
function peakAt(steep: Float64Array, k: number): number {
  const before = steep[k - 1]!;
  const after = steep[k + 1]!;
  const bend = before - 2 * steep[k]! + after;
  return bend < -1e-9 ? k + Math.max(-0.5, Math.min(0.5, (0.5 * (before - after)) / bend)) : k;
}
