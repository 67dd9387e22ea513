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

/** What stands in front over a box. */
export interface FrontCovers {
  /** Share of the performer that is hidden, 0..1. */
  readonly hidden: Float32Array;
  /** Share of the pixel that the things themselves take up, whether before or behind the performer. */
  readonly thing: Float32Array;
}

/** {@link frontCovers}' share of the performer that is hidden. */
export function frontCover(
  step: FrontStep,
  outlines: FrontOutlines,
  frame: number,
  box: Box,
  performer: Float32Array | null = null,
): Float32Array | null {
  return frontCovers(step, outlines, frame, box, performer)?.hidden ?? null;
}

/**
 * What is in front at each pixel of the box; null where nothing is. `performer`: its coverage over the box, by which
 * what it is carried round is passed part by part; without it that is told by which is nearer as a whole.
 */
export function frontCovers(
  step: FrontStep,
  outlines: FrontOutlines,
  frame: number,
  box: Box,
  performer: Float32Array | null,
): FrontCovers | null {
  const w = box[2] - box[0],
    h = box[3] - box[1];
  let cover: Float32Array | null = null,
    thing: Float32Array | null = null;
  for (const [i, outline] of outlines.front.entries()) {
    const one = smeared(outline, frame, step.shutterDeg ?? 0, box, softnessOf(step, i));
    if (one === null) continue;
    thing = joined(thing, one);
    if (step.passing?.thing === i)
      passedCover(one, outline(frame), performer, box, step.passing.nearerPx[frame - step.passing.first] ?? 0);
    cover = joined(cover, one);
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
  return cover === null ? null : { hidden: cover, thing: thing ?? new Float32Array(w * h) };
}

/** One cover before another; always a plane of its own. */
function joined(all: Float32Array | null, one: Float32Array): Float32Array {
  return all === null ? one.slice() : all.map((a, i) => 1 - (1 - a) * (1 - one[i]!));
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

/**
 * How far, in px, what passes is mixed with what lies behind it at most on a frame: by its smear, or by its soft edges.
 */
export function smearPx(step: FrontStep, outlines: FrontOutlines, frame: number): number {
  const share = (step.shutterDeg ?? 0) / 360,
    softest = Math.max(...outlines.front.map((_, i) => softnessOf(step, i)), 0),
    soft = 2 * softest;
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
 * A thing's light may exceed its mean just inside the edge by this factor and amount (linear), and stays over this
 * share of it.
 */
const BRIGHTER = 1.3,
  BRIGHTER_BY = 0.02,
  DARKER = 0.5;

/**
 * Where a soft edge of what passes lies before the performer, the plate holds a share of its own background too, which
 * the performer hides: that goes. `before`: what `out` (linear RGB) was before the performer was laid on it, `matte`
 * its coverage as seen. Background and thing are taken from the plate just beside the edge (normalised convolution:
 * Knutsson & Westin, CVPR 1993).
 */
export function clearBehindEdges(
  out: Picture,
  before: Picture,
  { hidden, thing }: FrontCovers,
  matte: Float32Array,
  smear: number,
): void {
  const { width, height } = out,
    n = width * height,
    sigma = Math.max(1.5, 0.5 * smear),
    part = mixedPart(thing, matte, width, height, Math.ceil(3.5 * sigma));
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
    const p = cut(before.data.subarray(c * n, (c + 1) * n)),
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

/** Least box of the pixels that thing and background share and the performer reaches, grown; null where there is none. */
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
