/**
 * What of the plate passes before the performer: polygons carried through the shot, drawn with exact area coverage and
 * the plate's own edge softness, hold the performer out; inside a pane (glass, mist) the plate's veil stays over the
 * performer: a pane adds its own light and lets a share of what is behind through, so the performer is seen as (1 −
 * veil) × performer + veil × plate, the plate there standing for the pane's light.
 */
import { boundsOf } from '../../geometry/bounds.js';
import { gaussianPlane } from '../../image/gaussian.js';
import type { Picture } from '../../image/picture.js';
import { rasterizePolygon } from '../../image/polygon.js';
import { carryRegion, type Carrier } from '../ride/carrier.js';
import { passedCover } from './front-passing.js';
import { cornerSpeeds } from './front-shutter.js';
import type { Box } from '../ground/ground.js';
import type { FrontStep } from '../types.js';

/** Holds the carried outlines of a front step, so that frames cost a drawing each and no fitting. */
export interface FrontOutlines {
  readonly front: readonly ((frame: number) => [number, number][])[];
  readonly pane: ((frame: number) => [number, number][]) | null;
}

/** Outlines of the front step's things and of its pane, frame by frame as `carrier` takes them. */
export function frontOutlines(step: FrontStep, carrier: Carrier): FrontOutlines {
  const regions = [...(step.region === null ? [] : [step.region]), ...(step.also ?? [])];
  return {
    front: regions.map((r) => carryRegion(r, carrier)),
    pane: step.pane === null || step.pane.region === null ? null : carryRegion(step.pane.region, carrier),
  };
}

/**
 * Share of the performer that is hidden at each pixel of the box, 0..1; null where nothing is in front there.
 * `performer`: its coverage over the box, by which what it is carried round is passed part by part; without it that is
 * told by which is nearer as a whole.
 */
export function frontCover(
  step: FrontStep,
  outlines: FrontOutlines,
  frame: number,
  box: Box,
  performer: Float32Array | null = null,
): Float32Array | null {
  const w = box[2] - box[0],
    h = box[3] - box[1];
  let cover: Float32Array | null = null;
  for (const [i, outline] of outlines.front.entries()) {
    const one = smeared(outline, frame, step.shutterDeg ?? 0, box, softnessOf(step, i));
    if (one === null) continue;
    if (step.passing?.thing === i)
      passedCover(one, outline(frame), performer, box, step.passing.nearerPx[frame - step.passing.first] ?? 0);
    if (cover === null) cover = one;
    else for (let i = 0; i < w * h; i++) cover[i] = 1 - (1 - cover[i]!) * (1 - one[i]!);
  }
  if (step.within !== undefined) {
    const [x0, y0, x1, y1] = step.within;
    if (box[0] < x0 || box[1] < y0 || box[2] > x1 || box[3] > y1) {
      cover ??= new Float32Array(w * h);
      for (let y = 0; y < h; y++)
        for (let x = 0; x < w; x++)
          if (x + box[0] < x0 || x + box[0] >= x1 || y + box[1] < y0 || y + box[1] >= y1) cover[y * w + x] = 1;
    }
  }
  // One whose own light was read is laid over the performer instead (veil.ts).
  if (step.pane !== null && step.pane.lightLinear === undefined && step.pane.veil > 0) {
    const whole = outlines.pane === null;
    const pane = whole ? null : drawn(outlines.pane!(frame), box, step.softPx);
    if (whole || pane !== null) {
      cover ??= new Float32Array(w * h);
      for (let i = 0; i < w * h; i++) cover[i] = 1 - (1 - cover[i]!) * (1 - step.pane.veil * (whole ? 1 : pane![i]!));
    }
  }
  return cover;
}

/** Softness (px) of the cut of the i-th thing. */
function softnessOf(step: FrontStep, i: number): number {
  return i === 0 ? step.softPx : (step.alsoSoftPx?.[i - 1] ?? step.softPx);
}

/** Share of each pixel of the box that lies within the pane; null for everywhere. */
export function paneCover(step: FrontStep, outlines: FrontOutlines, frame: number, box: Box): Float32Array | null {
  return outlines.pane === null
    ? null
    : (drawn(outlines.pane(frame), box, step.softPx) ?? new Float32Array((box[2] - box[0]) * (box[3] - box[1])));
}

/** Steps of the smear are no longer than this, px, and no more than so many. */
const STEP_PX = 1.5,
  MOST_STEPS = 24;

/** The outline as an open shutter shows it: the mean of where it is while that is open. */
function smeared(
  outline: (frame: number) => [number, number][],
  frame: number,
  shutterDeg: number,
  box: Box,
  softPx: number,
): Float32Array | null {
  const here = outline(frame),
    speeds = shutterDeg > 0 ? cornerSpeeds(outline, frame) : null,
    share = shutterDeg / 360;
  const way = speeds === null ? 0 : share * Math.max(...speeds.map((v) => Math.hypot(...v)));
  if (speeds === null || way < 1) return drawn(here, box, softPx);
  const steps = Math.min(MOST_STEPS, Math.ceil(way / STEP_PX) + 1),
    n = (box[2] - box[0]) * (box[3] - box[1]);
  let sum: Float32Array | null = null;
  for (let k = 0; k < steps; k++) {
    const t = share * ((k + 0.5) / steps - 0.5),
      one = drawn(
        here.map(([x, y], i) => [x + t * speeds[i]![0], y + t * speeds[i]![1]] as const),
        box,
        softPx,
      );
    if (one === null) continue;
    sum ??= new Float32Array(n);
    for (let i = 0; i < n; i++) sum[i] = sum[i]! + one[i]! / steps;
  }
  return sum;
}

/** Softer cuts than this (sd, px) mix as much background in as a smear does. */
const SOFT_CUT_PX = 1;

/**
 * How far, in px, what passes is mixed with what lies behind it at most on a frame: by its smear, or by edges that are
 * softer than a lens in focus leaves them.
 */
export function smearPx(step: FrontStep, outlines: FrontOutlines, frame: number): number {
  const share = (step.shutterDeg ?? 0) / 360,
    softest = Math.max(...outlines.front.map((_, i) => softnessOf(step, i)), 0),
    soft = softest > SOFT_CUT_PX ? 2 * softest : 0;
  if (!(share > 0)) return soft;
  return Math.max(
    soft,
    ...outlines.front.map((o) => {
      const v = cornerSpeeds(o, frame);
      return v === null ? 0 : share * Math.max(...v.map((p) => Math.hypot(...p)));
    }),
  );
}

/**
 * Where a soft edge of what passes lies before the performer, the plate holds a share of its own background too, which
 * the performer hides: that goes. `before`: what `out` (linear RGB) was before the performer was laid on it, `matte`
 * its coverage as seen, `cover` what hides it. The background is taken from the plate just beside the edge (normalised
 * convolution: Knutsson & Westin, CVPR 1993).
 */
export function clearBehindEdges(
  out: Picture,
  before: Picture,
  cover: Float32Array,
  matte: Float32Array,
  smear: number,
): void {
  const { width: w, height: h } = out,
    n = w * h,
    sigma = Math.max(1.5, 0.5 * smear);
  const open = Float32Array.from(cover, (a) => (a < 0.02 ? 1 : 0)),
    weight = gaussianPlane(open, w, h, sigma);
  for (let c = 0; c < 3; c++) {
    const p = before.data.subarray(c * n, (c + 1) * n),
      seen = gaussianPlane(
        p.map((v, i) => v * open[i]!),
        w,
        h,
        sigma,
      );
    for (let i = 0; i < n; i++) {
      const a = cover[i]!,
        m = matte[i]!;
      if (!(a > 0.02) || a > 0.98 || !(m > 0) || weight[i]! < 1e-3) continue;
      // Of the plate's own light there the share (1 − a) is background: no more of it can go than there is.
      const back = Math.min(seen[i]! / weight[i]!, p[i]! / Math.max(0.05, 1 - a));
      out.data[c * n + i] = Math.max(0, out.data[c * n + i]! + m * (p[i]! - back));
    }
  }
}

function drawn(polygon: readonly (readonly [number, number])[], box: Box, softPx: number): Float32Array | null {
  const w = box[2] - box[0],
    h = box[3] - box[1];
  const [x0, y0, x1, y1] = boundsOf(polygon);
  const pad = 4 * softPx + 1;
  if (x1 + pad < box[0] || x0 - pad > box[2] || y1 + pad < box[1] || y0 - pad > box[3]) return null;
  const mask = rasterizePolygon(
    polygon.map(([x, y]) => [x - box[0], y - box[1]] as const),
    w,
    h,
  );
  return softPx > 0.1 ? gaussianPlane(mask, w, h, softPx) : mask;
}
