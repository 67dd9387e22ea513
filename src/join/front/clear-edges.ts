/**
 * Where a soft edge of what passes lies before the performer, the plate holds a share of its own background too, which
 * the performer hides: that goes. Background and thing are taken from the plate just beside the edge (normalised
 * convolution: Knutsson & Westin, CVPR 1993).
 */
import { gaussianPlane } from '../../image/gaussian.js';
import { createPicture, plane, type Picture } from '../../image/picture.js';
import type { Box } from '../ground/ground.js';
import type { FrontCovers } from './front.js';

/**
 * A thing's light may exceed its mean just inside the edge by this factor and amount (linear), and stays over this
 * share of it.
 */
const BRIGHTER = 1.3,
  BRIGHTER_BY = 0.02,
  DARKER = 0.5;

/** Sigma, px, of the means beside an edge that is mixed so far. */
const beside = (smear: number): number => Math.max(1.5, 0.5 * smear);

/** How far, px, beside a mixed edge {@link clearBehindEdges} looks. */
export const edgeReach = (smear: number): number => Math.ceil(3.5 * beside(smear));

/** A part of a picture; `box` in the whole's pixels. */
export interface PicturePart {
  readonly picture: Picture;
  readonly box: Box;
}

/** A copy of a picture's part (RGB). */
export function partOfPicture(p: Picture, box: Box): PicturePart {
  const width = box[2] - box[0],
    height = box[3] - box[1],
    picture = createPicture(width, height, 3);
  for (let c = 0; c < 3; c++) plane(picture, c).set(cropped(plane(p, c), p.width, box));
  return { picture, box };
}

const shifted = (b: Box, { 0: x, 1: y }: Box): Box => [b[0] - x, b[1] - y, b[2] - x, b[3] - y];

/**
 * Takes the background out of what passes before the performer, in place. `before`: what `out` (linear RGB) was before
 * the performer was laid on it, over the performer and {@link edgeReach} about it at least; `matte` its coverage as
 * seen.
 */
export function clearBehindEdges(
  out: Picture,
  before: PicturePart,
  { hidden, thing }: FrontCovers,
  matte: Float32Array,
  smear: number,
): void {
  const { width, height } = out,
    n = width * height,
    sigma = beside(smear),
    part = mixedPart(thing, matte, width, height, edgeReach(smear));
  if (part === null) return;
  const w = part[2] - part[0],
    h = part[3] - part[1],
    cut = (from: Float32Array): Float32Array => cropped(from, width, part),
    things = cut(thing);
  const open = things.map((a) => (a < 0.02 ? 1 : 0)),
    shut = things.map((a) => (a > 0.98 ? 1 : 0)),
    openWeight = gaussianPlane(open, w, h, sigma),
    shutWeight = gaussianPlane(shut, w, h, sigma);
  const meanOf = (p: Float32Array, is: Float32Array, weight: Float32Array): Float32Array => {
    const sum = gaussianPlane(
      p.map((v, i) => v * is[i]!),
      w,
      h,
      sigma,
    );
    return sum.map((v, i) => (weight[i]! < 1e-3 ? -1 : v / weight[i]!));
  };
  for (let c = 0; c < 3; c++) {
    const p = cropped(plane(before.picture, c), before.picture.width, shifted(part, before.box)),
      backs = meanOf(p, open, openWeight),
      owns = meanOf(p, shut, shutWeight);
    for (let i = 0; i < w * h; i++) {
      const a = things[i]!,
        o = (part[1] + Math.floor(i / w)) * width + part[0] + (i % w),
        m = matte[o]!;
      if (!(a > 0.02) || a > 0.98 || !(m > 0) || backs[i]! < 0) continue;
      // Of the plate's own light there the share 1 − a is background; what is left of it is the thing's.
      const known = owns[i]! < 0 ? Infinity : owns[i]!,
        most = a * (BRIGHTER * known + BRIGHTER_BY),
        least = DARKER * a * Math.min(p[i]!, known),
        own = Math.min(most, Math.max(least, p[i]! - (1 - a) * backs[i]!));
      // The performer's cover were nothing before it, and how much of the thing is before it.
      const whole = Math.min(1, m / Math.max(1e-3, 1 - hidden[o]!)),
        nearer = Math.min(1, hidden[o]! / a);
      const seen = own * (1 - whole * (1 - nearer)) + (p[i]! - own) * (1 - whole);
      out.data[c * n + o] = Math.max(0, out.data[c * n + o]! - (1 - m) * p[i]! + seen);
    }
  }
}

/**
 * Least box of the pixels that thing and background share and the performer reaches, grown; null where there is none.
 */
function mixedPart(thing: Float32Array, matte: Float32Array, w: number, h: number, grow: number): Box | null {
  let x0 = w,
    y0 = h,
    x1 = -1,
    y1 = -1;
  for (let y = 0, i = 0; y < h; y++)
    for (let x = 0; x < w; x++, i++)
      if (matte[i]! > 0 && thing[i]! > 0.02 && thing[i]! <= 0.98) {
        x0 = Math.min(x0, x);
        x1 = Math.max(x1, x);
        y0 = Math.min(y0, y);
        y1 = y;
      }
  if (x1 < 0) return null;
  return [Math.max(0, x0 - grow), Math.max(0, y0 - grow), Math.min(w, x1 + 1 + grow), Math.min(h, y1 + 1 + grow)];
}

/** A part of a plane `width` px wide. */
function cropped(from: Float32Array, width: number, [x0, y0, x1, y1]: Box): Float32Array {
  const out = new Float32Array((x1 - x0) * (y1 - y0));
  for (let y = y0; y < y1; y++) out.set(from.subarray(y * width + x0, y * width + x1), (y - y0) * (x1 - x0));
  return out;
}
