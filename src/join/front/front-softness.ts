/**
 * How softly the edges of what passes in front stand in the plate: it may be nearer than the lens is focused, and a cut
 * harder or softer than the plate's own edge shows. Pieces of the outline's sides are laid over each other pixel by
 * pixel by their distance from it (the slanted edge of ISO 12233), and a step blurred by a Gaussian is fitted to each:
 * its place, the light on both sides by least squares, its width tried. What the thing's motion smears while the
 * shutter is open is taken off as variances. Scene-linear light.
 */
import type { Picture } from '../../image/picture.js';
import { erf } from '../../plate/look/motion-blur.js';
import { cornerSpeeds, type Outline } from './front-shutter.js';
import { medianOf } from '../ground/plate-shadow.js';
import { signedArea } from '../../image/polygon.js';

/** Px across the edge that are looked at on either side, and bins a pixel. */
const REACH = 12,
  BINS = 4;
/**
 * Length of a piece of a side, px: an outline is off by little along so much of it; and of the shortest side that is
 * one.
 */
const PIECE = 14,
  LEAST_SIDE = 5;
/** How far beside the outline the edge may lie, px. */
const OFF = 4;
/** Widths tried (sd, px). */
const WIDTHS = [0.3, 0.4, 0.5, 0.6, 0.75, 0.9, 1.1, 1.35, 1.6, 2, 2.5, 3, 3.7, 4.5, 5.5];
/** A step of each width at the bins' middles, for every place it may have. */
const STEPS = WIDTHS.map((width) =>
  Float64Array.from(
    { length: 2 * (REACH + OFF) * BINS },
    (_, i) => 0.5 * (1 + erf(((i + 0.5) / BINS - REACH - OFF) / (width * Math.SQRT2))),
  ),
);
/**
 * Share of a piece's variance that the step must explain, and least contrast of its sides over their mean: texture is
 * no edge.
 */
const EXPLAINED = 0.9,
  LEAST_CONTRAST = 0.15;
/** How far beside the edge it is read at the end: px, and its own widths. */
const NEAR_PX = 4,
  NEAR = 3;
/** Fewer pieces tell nothing. */
const LEAST_PIECES = 6;
/** A pixel's own width, and that of a covered share, as variance. */
const PIXEL = 1 / 12;

export interface FrontSoftness {
  /**
   * Sd of the Gaussian (px) that softens a drawn cover as the thing's edges are in the plate; null where too few of
   * them stand out.
   */
  readonly softPx: number | null;
  /** Share of the outline's pieces that an edge is seen along; null where none lies in the picture. */
  readonly told: number | null;
}

/** `frames`: those on which the outline is surest. */
export async function frontSoftness(
  outline: (frame: number) => Outline,
  frames: readonly number[],
  shutterDeg: number,
  linear: (frame: number) => Promise<Picture>,
): Promise<FrontSoftness> {
  const all: number[] = [];
  let pieces = 0;
  for (const f of frames) {
    const read = edgeVariances(await linear(f), outline(f), cornerSpeeds(outline, f), shutterDeg / 360);
    all.push(...read.variances);
    pieces += read.pieces;
  }
  return {
    softPx: all.length < LEAST_PIECES ? null : Math.sqrt(Math.max(0, medianOf(all) - PIXEL)),
    told: pieces === 0 ? null : all.length / pieces,
  };
}

/** Variance (px²) of the step across each piece that shows one, and how many pieces were looked at. */
export function edgeVariances(
  picture: Picture,
  outline: Outline,
  speeds: readonly (readonly [number, number])[] | null,
  share: number,
): { variances: number[]; pieces: number } {
  const { width: w, height: h, data } = picture,
    n = w * h,
    sign = signedArea(outline) > 0 ? 1 : -1,
    out: number[] = [];
  let looked = 0;
  const sum = new Float64Array(2 * REACH * BINS),
    count = new Float64Array(2 * REACH * BINS);
  outline.forEach((p, k) => {
    const j = (k + 1) % outline.length,
      q = outline[j]!,
      ex = q[0] - p[0],
      ey = q[1] - p[1],
      long = Math.hypot(ex, ey),
      pieces = long < LEAST_SIDE ? 0 : Math.max(1, Math.floor(long / PIECE));
    if (pieces === 0) return;
    const ux = ex / long,
      uy = ey / long,
      nx = sign * uy,
      ny = -sign * ux,
      across =
        speeds === null
          ? 0
          : share * Math.abs((nx * (speeds[k]![0] + speeds[j]![0])) / 2 + (ny * (speeds[k]![1] + speeds[j]![1])) / 2);
    for (let s = 0; s < pieces; s++) {
      const mx = p[0] + ((s + 0.5) * ex) / pieces,
        my = p[1] + ((s + 0.5) * ey) / pieces,
        half = long / pieces / 2,
        reach = REACH + half;
      if (mx < REACH || my < REACH || mx > w - REACH || my > h - REACH) continue;
      looked++;
      sum.fill(0);
      count.fill(0);
      for (let y = Math.max(0, Math.floor(my - reach)); y <= Math.min(h - 1, my + reach); y++)
        for (let x = Math.max(0, Math.floor(mx - reach)); x <= Math.min(w - 1, mx + reach); x++) {
          const dx = x + 0.5 - mx,
            dy = y + 0.5 - my,
            t = dx * nx + dy * ny;
          if (Math.abs(dx * ux + dy * uy) > half || Math.abs(t) >= REACH) continue;
          const b = Math.floor((t + REACH) * BINS),
            i = y * w + x;
          sum[b] = sum[b]! + 0.2126 * data[i]! + 0.7152 * data[n + i]! + 0.0722 * data[2 * n + i]!;
          count[b] = count[b]! + 1;
        }
      const width = stepWidth(sum, count);
      if (width !== null) out.push(Math.max(0, width * width - (across * across) / 12));
    }
  });
  return { variances: out, pieces: looked };
}

interface Step {
  readonly width: number;
  readonly at: number;
  readonly contrast: number;
  readonly explained: number;
}

/**
 * Sd of the blurred step that fits the bins best; null where none explains them. What lies well beside the edge has its
 * own texture, so it is asked for its light only as far as the edge is soft.
 */
function stepWidth(sum: Float64Array, count: Float64Array): number | null {
  const wide = bestStep(sum, count, 0, sum.length);
  if (wide === null) return null;
  const middle = (wide.at + REACH) * BINS,
    near = Math.max(NEAR_PX, NEAR * wide.width) * BINS;
  const found =
    bestStep(sum, count, Math.max(0, Math.round(middle - near)), Math.min(sum.length, Math.round(middle + near))) ??
    wide;
  // An edge wider than all that are tried is a gradient of the picture.
  return found.contrast < LEAST_CONTRAST || found.explained < EXPLAINED || found.width >= WIDTHS.at(-1)!
    ? null
    : found.width;
}

function bestStep(sum: Float64Array, count: Float64Array, from: number, to: number): Step | null {
  let yy = 0,
    y = 0,
    all = 0;
  for (let b = from; b < to; b++)
    if (count[b]! > 0) {
      y += sum[b]!;
      all += count[b]!;
      yy += (sum[b]! * sum[b]!) / count[b]!;
    }
  const variance = yy - (y * y) / Math.max(1, all),
    lefts: number[] = [];
  if (all < 40 || !(variance > 0)) return null;
  let best = Infinity,
    k = -1,
    at = 0,
    contrast = 0;
  STEPS.forEach((step, i) => {
    lefts.push(Infinity);
    for (let off = 0; off <= 2 * OFF * BINS; off++) {
      let aa = 0,
        ab = 0,
        bb = 0,
        ay = 0,
        by = 0;
      for (let b = from; b < to; b++) {
        const c = count[b]!;
        if (c === 0) continue;
        // The step that lies `OFF` px beside the outline is the table's beginning.
        const r = step[b + off]!,
          o = 1 - r;
        aa += c * o * o;
        ab += c * o * r;
        bb += c * r * r;
        ay += o * sum[b]!;
        by += r * sum[b]!;
      }
      const det = aa * bb - ab * ab;
      if (!(det > 1e-9)) continue;
      const a = (ay * bb - by * ab) / det,
        c = (by * aa - ay * ab) / det,
        left = yy - a * ay - c * by;
      lefts[i] = Math.min(lefts[i]!, left);
      if (left < best) {
        best = left;
        k = i;
        at = OFF - off / BINS;
        contrast = (2 * Math.abs(a - c)) / Math.max(1e-6, Math.abs(a) + Math.abs(c));
      }
    }
  });
  if (k < 0) return null;
  const step = { at, contrast, explained: 1 - best / variance };
  if (k === 0 || k === WIDTHS.length - 1) return { ...step, width: WIDTHS[k]! };
  // Between the widths tried, by a parabola through what they leave over.
  const l = Math.log(WIDTHS[k - 1]!),
    m = Math.log(WIDTHS[k]!),
    r = Math.log(WIDTHS[k + 1]!),
    fl = lefts[k]! - lefts[k - 1]!,
    fr = lefts[k]! - lefts[k + 1]!;
  const top = (m - l) ** 2 * fr - (m - r) ** 2 * fl,
    low = (m - l) * fr - (m - r) * fl;
  return {
    ...step,
    width: Math.abs(low) < 1e-15 ? WIDTHS[k]! : Math.exp(Math.max(l, Math.min(r, m - top / (2 * low)))),
  };
}
