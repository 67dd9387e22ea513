/**
 * What of the plate passes before the performer: polygons carried through the shot, drawn with exact area coverage and the
 * plate's own edge softness, hold the performer out; inside a pane (glass, mist) the plate's veil stays over the performer:
 * a pane adds its own light and lets a share of what is behind through, so the performer is seen as
 * (1 − veil) × performer + veil × plate, the plate there standing for the pane's light.
 */
import { gaussianPlane } from '../image/gaussian.js';
import { rasterizePolygon } from '../image/polygon.js';
import { carryRegion, type Carrier } from './carrier.js';
import type { Box } from './ground.js';
import type { FrontStep } from './types.js';

/** Holds the carried outlines of a front step, so that frames cost a drawing each and no fitting. */
export interface FrontOutlines {
  readonly front: readonly ((frame: number) => [number, number][])[];
  readonly pane: ((frame: number) => [number, number][]) | null;
}

export function frontOutlines(step: FrontStep, carrier: Carrier): FrontOutlines {
  const regions = [...(step.region === null ? [] : [step.region]), ...(step.also ?? [])];
  return {
    front: regions.map((r) => carryRegion(r, carrier)),
    pane: step.pane === null || step.pane.region === null ? null : carryRegion(step.pane.region, carrier),
  };
}

/** Share of the performer that is hidden at each pixel of the box, 0..1; null where nothing is in front there. */
export function frontCover(step: FrontStep, outlines: FrontOutlines, frame: number, box: Box): Float32Array | null {
  const w = box[2] - box[0], h = box[3] - box[1];
  let cover: Float32Array | null = null;
  for (const outline of outlines.front) {
    const one = drawn(outline(frame), box, step.softPx);
    if (one === null) continue;
    if (cover === null) cover = one;
    else for (let i = 0; i < w * h; i++) cover[i] = 1 - (1 - cover[i]!) * (1 - one[i]!);
  }
  if (step.within !== undefined) {
    const [x0, y0, x1, y1] = step.within;
    if (box[0] < x0 || box[1] < y0 || box[2] > x1 || box[3] > y1) {
      cover ??= new Float32Array(w * h);
      for (let y = 0; y < h; y++) for (let x = 0; x < w; x++) if (x + box[0] < x0 || x + box[0] >= x1 || y + box[1] < y0 || y + box[1] >= y1) cover[y * w + x] = 1;
    }
  }
  if (step.pane !== null && step.pane.veil > 0) {
    const whole = outlines.pane === null;
    const pane = whole ? null : drawn(outlines.pane!(frame), box, step.softPx);
    if (whole || pane !== null) {
      cover ??= new Float32Array(w * h);
      for (let i = 0; i < w * h; i++) cover[i] = 1 - (1 - cover[i]!) * (1 - step.pane.veil * (whole ? 1 : pane![i]!));
    }
  }
  return cover;
}

function drawn(polygon: readonly (readonly [number, number])[], box: Box, softPx: number): Float32Array | null {
  const w = box[2] - box[0], h = box[3] - box[1];
  let x0 = Infinity, y0 = Infinity, x1 = -Infinity, y1 = -Infinity;
  for (const [x, y] of polygon) { x0 = Math.min(x0, x); x1 = Math.max(x1, x); y0 = Math.min(y0, y); y1 = Math.max(y1, y); }
  const pad = 4 * softPx + 1;
  if (x1 + pad < box[0] || x0 - pad > box[2] || y1 + pad < box[1] || y0 - pad > box[3]) return null;
  const mask = rasterizePolygon(polygon.map(([x, y]) => [x - box[0], y - box[1]] as const), w, h);
  return softPx > 0.1 ? gaussianPlane(mask, w, h, softPx) : mask;
}
