/**
 * Drops, scratches and dirt on a pane that goes with the camera stay where they are in the picture while the set moves
 * behind them: sharp and fixed, they are what a camera's move is read from first, which then says that it stands still.
 * Here they are told and painted over, in the pictures that camera, travel and followed regions are read from alone.
 *
 * Told: over frames spread across the shot the picture less its own blur is averaged; what passes behind averages out,
 * what is on the glass stays. Where most of what stands out stays so, the camera itself stands, and nothing is taken
 * out. Painted over by normalised convolution (Knutsson & Westin, CVPR, 1993). Limits are our own.
 */
import { gaussianPlane } from '../../image/gaussian.js';
import { dilate, erode } from '../../image/morphology.js';
import type { LumaFrame, LumaSource } from '../ride/ride-source.js';

/** Frames that are looked at, and the least that tell anything. */
const FRAMES = 12,
  LEAST_FRAMES = 5;
/** What is finer than this belongs to a detail, and what is finer than that is grain, px. */
const FINE_PX = 4,
  GRAIN_PX = 1;
/** A detail of the glass stands out by so much (coded) and by so many times its own sd over the shot. */
const STANDS_OUT = 0.012,
  TIMES_SD = 1.8;
/** Where this share of the places that stand out on single frames are fixed, the camera stands. */
const STANDS = 0.6;
/** Less of the picture than this is grain. */
const LEAST_SHARE = 2e-4;
/** Gaps within a drop that are closed, and room about it, px. */
const CLOSED_PX = 5,
  ROOM_PX = 3;
/** Breadth from which what is painted over is taken, px. */
const FROM_PX = 6;

/** 1 where a detail of the glass lies; null where the camera stands, or the glass is clear. */
export async function glassDetail(
  source: LumaSource,
  span: { readonly in: number; readonly out: number },
): Promise<Float32Array | null> {
  const { widthPx: w, heightPx: h } = source,
    n = w * h,
    count = Math.min(FRAMES, span.out - span.in);
  if (count < LEAST_FRAMES) return null;
  const mean = new Float32Array(n),
    square = new Float32Array(n);
  let standOut = 0;
  for (let k = 0; k < count; k++) {
    const at = span.in + Math.floor(((k + 0.5) * (span.out - span.in)) / count);
    for await (const { luma } of source.frames(at, at + 1)) {
      const fine = gaussianPlane(luma, w, h, GRAIN_PX),
        smooth = gaussianPlane(luma, w, h, FINE_PX);
      for (let i = 0; i < n; i++) {
        const d = fine[i]! - smooth[i]!;
        if (Math.abs(d) > STANDS_OUT) standOut += 1 / count;
        mean[i]! += d / count;
        square[i]! += (d * d) / count;
      }
    }
  }
  let held = 0;
  const found = new Float32Array(n);
  for (let i = 0; i < n; i++) {
    const m = mean[i]!,
      sd = Math.sqrt(Math.max(0, square[i]! - m * m));
    if (Math.abs(m) > STANDS_OUT && Math.abs(m) > TIMES_SD * sd) {
      found[i] = 1;
      held++;
    }
  }
  if (held < LEAST_SHARE * n || held > STANDS * standOut) return null;
  return dilate(erode(dilate(found, w, h, CLOSED_PX), w, h, CLOSED_PX), w, h, ROOM_PX);
}

/** The pictures of a source with its glass's details painted over; the source itself where there are none. */
export async function throughGlass(
  source: LumaSource,
  span: { readonly in: number; readonly out: number },
): Promise<LumaSource> {
  const detail = await glassDetail(source, span);
  return detail === null ? source : clearedOf(source, detail);
}

/** The same where the details are known. */
export function clearedOf(source: LumaSource, detail: Float32Array): LumaSource {
  return { ...source, frames: (from, to) => clearFrames(source, detail, from, to) };
}

async function* clearFrames(
  source: LumaSource,
  detail: Float32Array,
  from: number,
  to: number,
): AsyncGenerator<LumaFrame> {
  const { widthPx: w, heightPx: h } = source,
    clear = detail.map((v) => 1 - v),
    weight = gaussianPlane(clear, w, h, FROM_PX),
    out = new Float32Array(w * h);
  for await (const { index, luma } of source.frames(from, to)) {
    for (let i = 0; i < out.length; i++) out[i] = luma[i]! * clear[i]!;
    const beside = gaussianPlane(out, w, h, FROM_PX);
    for (let i = 0; i < out.length; i++) out[i] = detail[i] === 0 ? luma[i]! : beside[i]! / Math.max(1e-4, weight[i]!);
    yield { index, luma: out };
  }
}
