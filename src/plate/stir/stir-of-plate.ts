/**
 * Which part of a plate's or a take's stir is measured, and over which frames: what is marked to stir, else the region
 * that is ridden on (the hair, cloth or water it lies on), else the head, else the body, from the frame it is marked on
 * for at most three seconds (forwards where a second and more is left, else backwards: a sway looks the same either
 * way). Bounded, so that a long plate costs no more than a short one.
 */
import { framesPerSecond, type Rate } from '../../core/rational.js';
import type { MarksFile } from '../marks/marks.js';
import { framesBackward, type LumaSource } from '../ride/ride-source.js';
import { measureStir } from './stir.js';
import type { Stir } from '../types.js';

type Polygon = (readonly [number, number])[];
const SECONDS = 3;
const MOST_FRAMES = 90;

export interface StirPlace {
  readonly frame: number;
  readonly region: Polygon;
  readonly bodyHeightPx: number | null;
}

/** The marked place, or null where no stir, carry, head or body mark lies within the span. */
export function stirPlace(marks: MarksFile, span: { readonly in: number; readonly out: number }): StirPlace | null {
  const inside = marks.marks
    .map((m) => ({ m, frame: m.frame ?? marks.frame }))
    .filter((q) => q.frame >= span.in && q.frame < span.out);
  let body: number | null = null;
  for (const { m } of inside) {
    if (m.kind === 'upright') body ??= Math.hypot(m.foot[0] - m.top[0], m.foot[1] - m.top[1]);
    if (m.kind === 'carry' && m.ground !== undefined && m.top !== undefined)
      body ??= Math.hypot(m.ground[0] - m.top[0], m.ground[1] - m.top[1]);
    if (m.kind === 'body' && m.axis !== undefined)
      body = Math.hypot(m.axis[0][0] - m.axis[1][0], m.axis[0][1] - m.axis[1][1]);
  }
  for (const { m, frame } of inside)
    if (m.kind === 'stir') return { frame, region: m.polygon.map((p) => [p[0], p[1]] as const), bodyHeightPx: body };
  for (const { m, frame } of inside)
    if (m.kind === 'carry') return { frame, region: m.region.map((p) => [p[0], p[1]] as const), bodyHeightPx: body };
  for (const { m, frame } of inside)
    if (m.kind === 'head') {
      const [cx, cy, rx, ry, deg] = m.ellipse;
      const c = Math.cos((deg * Math.PI) / 180);
      const s = Math.sin((deg * Math.PI) / 180);
      const region = Array.from({ length: 16 }, (_, k) => {
        const a = rx * Math.cos((Math.PI * k) / 8);
        const b = ry * Math.sin((Math.PI * k) / 8);
        return [cx + c * a - s * b, cy + s * a + c * b] as const;
      });
      return { frame, region, bodyHeightPx: body };
    }
  for (const { m, frame } of inside)
    if (m.kind === 'body') {
      if (m.polygon !== undefined)
        return { frame, region: m.polygon.map((p) => [p[0], p[1]] as const), bodyHeightPx: body };
      if (m.axis === undefined) continue;
      const [[fx, fy], [tx, ty]] = m.axis;
      const ux = (ty - fy) * 0.2;
      const uy = (fx - tx) * 0.2;
      return {
        frame,
        region: [
          [fx + ux, fy + uy],
          [tx + ux, ty + uy],
          [tx - ux, ty - uy],
          [fx - ux, fy - uy],
        ],
        bodyHeightPx: body,
      };
    }
  return null;
}

/** Stir at the marked place; undefined where nothing is marked for it. */
export async function stirOfPlate(
  source: LumaSource,
  marks: MarksFile,
  rate: Rate,
  span: { readonly in: number; readonly out: number },
  signal?: AbortSignal,
): Promise<Stir | undefined> {
  const place = stirPlace(marks, span);
  if (place === null) return undefined;
  const most = Math.min(MOST_FRAMES, Math.round(SECONDS * framesPerSecond(rate)));
  const ahead = span.out - place.frame;
  const behind = place.frame - span.in + 1;
  const forwards = ahead >= Math.min(most, behind, Math.round(framesPerSecond(rate))) || ahead >= behind;
  const count = Math.min(most, forwards ? ahead : behind);
  const planes = async function* (): AsyncGenerator<Float32Array> {
    const frames = forwards
      ? source.frames(place.frame, place.frame + count)
      : framesBackward(source, place.frame, place.frame - count + 1);
    for await (const f of frames) {
      signal?.throwIfAborted();
      yield f.luma;
    }
  };
  return measureStir({
    frames: planes(),
    widthPx: source.widthPx,
    heightPx: source.heightPx,
    rate,
    firstFrame: forwards ? place.frame : place.frame - count + 1,
    region: place.region,
    bodyHeightPx: place.bodyHeightPx,
  });
}
