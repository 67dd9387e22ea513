/**
 * What of the plate passes before the performer: polygons carried through the shot, drawn with exact area coverage and
 * the plate's own edge softness, hold the performer out; inside a pane (glass, mist) the plate's veil stays over the
 * performer: a pane adds its own light and lets a share of what is behind through, so the performer is seen as (1 −
 * veil) × performer + veil × plate, the plate there standing for the pane's light.
 */
import { boundsOf } from '../../geometry/bounds.js';
import { gaussianPlane } from '../../image/gaussian.js';
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
    thing = joined(thing, one, box);
    cover = joined(
      cover,
      step.passing?.thing === i
        ? passed(one, outline(frame), performer, box, step.passing.nearerPx[frame - step.passing.first] ?? 0)
        : one,
      box,
    );
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
    const pane = whole ? null : spread(drawn(outlines.pane!(frame), box, step.softPx), box);
    if (whole || pane !== null) {
      cover ??= new Float32Array(w * h);
      for (let i = 0; i < w * h; i++) cover[i] = 1 - (1 - cover[i]!) * (1 - step.pane.veil * (whole ? 1 : pane![i]!));
    }
  }
  return cover === null ? null : { hidden: cover, thing: thing ?? new Float32Array(w * h) };
}

/** A cover over that part of a box beyond which it is nothing; both in plate pixels. */
interface PartCover {
  readonly data: Float32Array;
  readonly part: Box;
}

/** One cover before another, in the first's own plane over the box. */
function joined(all: Float32Array | null, { data, part }: PartCover, box: Box): Float32Array {
  const w = box[2] - box[0],
    out = all ?? new Float32Array(w * (box[3] - box[1]));
  for (let y = part[1], i = 0; y < part[3]; y++)
    for (let o = (y - box[1]) * w + part[0] - box[0], end = o + part[2] - part[0]; o < end; o++, i++)
      out[o] = 1 - (1 - out[o]!) * (1 - data[i]!);
  return out;
}

/** A part's cover over the whole box; null stays null. */
function spread(one: PartCover | null, box: Box): Float32Array | null {
  return one === null ? null : joined(null, one, box);
}

/** {@link passedCover} of a part's cover. */
function passed(
  one: PartCover,
  outline: readonly (readonly [number, number])[],
  performer: Float32Array | null,
  box: Box,
  nearerPx: number,
): PartCover {
  const data = joined(null, one, box);
  passedCover(data, outline, performer, box, nearerPx);
  return { data, part: box };
}

/** Softness (px) of the cut of the i-th thing. */
function softnessOf(step: FrontStep, i: number): number {
  return i === 0 ? step.softPx : (step.alsoSoftPx?.[i - 1] ?? step.softPx);
}

/** Share of each pixel of the box that lies within the pane; null for everywhere. */
export function paneCover(step: FrontStep, outlines: FrontOutlines, frame: number, box: Box): Float32Array | null {
  return outlines.pane === null
    ? null
    : (spread(drawn(outlines.pane(frame), box, step.softPx), box) ??
        new Float32Array((box[2] - box[0]) * (box[3] - box[1])));
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
): PartCover | null {
  const here = outline(frame),
    speeds = shutterDeg > 0 ? cornerSpeeds(outline, frame) : null,
    share = shutterDeg / 360;
  const way = speeds === null ? 0 : share * Math.max(...speeds.map((v) => Math.hypot(...v)));
  if (speeds === null || way < 1) return drawn(here, box, softPx);
  const moved = (t: number): [number, number][] =>
    here.map(([x, y], i) => [x + t * speeds[i]![0], y + t * speeds[i]![1]]);
  // Corners go straight, so that it lies between where they begin and where they end.
  const part = partOf([...moved(-share / 2), ...moved(share / 2)], box, softPx);
  if (part === null) return null;
  const steps = Math.min(MOST_STEPS, Math.ceil(way / STEP_PX) + 1),
    sum = new Float32Array((part[2] - part[0]) * (part[3] - part[1]));
  for (let k = 0; k < steps; k++) {
    const one = drawnOn(moved(share * ((k + 0.5) / steps - 0.5)), part, softPx);
    for (let i = 0; i < sum.length; i++) sum[i] = sum[i]! + one[i]! / steps;
  }
  return { data: sum, part };
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

type Polygon = readonly (readonly [number, number])[];

/** The part of the box that a polygon and its softness reach; null where they reach none. */
function partOf(polygon: Polygon, box: Box, softPx: number): Box | null {
  const [x0, y0, x1, y1] = boundsOf(polygon),
    pad = 4 * softPx + 1,
    part: Box = [
      Math.max(box[0], Math.floor(x0 - pad)),
      Math.max(box[1], Math.floor(y0 - pad)),
      Math.min(box[2], Math.ceil(x1 + pad)),
      Math.min(box[3], Math.ceil(y1 + pad)),
    ];
  return part[2] > part[0] && part[3] > part[1] ? part : null;
}

/** A polygon's soft coverage where it lies in the box; null where it does not. */
function drawn(polygon: Polygon, box: Box, softPx: number): PartCover | null {
  const part = partOf(polygon, box, softPx);
  return part === null ? null : { data: drawnOn(polygon, part, softPx), part };
}

/** A polygon's soft coverage over a part. */
function drawnOn(polygon: Polygon, part: Box, softPx: number): Float32Array {
  const w = part[2] - part[0],
    h = part[3] - part[1];
  const mask = rasterizePolygon(
    polygon.map(([x, y]) => [x - part[0], y - part[1]] as const),
    w,
    h,
  );
  return softPx > 0.1 ? gaussianPlane(mask, w, h, softPx, softPx, mask) : mask;
}
