/**
 * How the light of a whole shot changes over its frames: a fade inside the picked part, a flash, a lamp that flickers.
 * Each frame is held against one frame of usual brightness (light-between.ts). Told only where the camera stands: where
 * it moves, places that come nearer or shift against each other read as light (a push of an animated film by a fifth).
 * Light that changes in a part of the picture alone is not told either.
 */
import { toCodedRgb } from '../media/convert.js';
import type { TransferName, VideoFrame, VideoInfo } from '../media/types.js';
import { blockMeans, changeOf, lightBetween, SAME_LIGHT, type BlockMeans, type LightChange } from './light-between.js';
import type { CameraMove } from './types.js';

/** Light of each frame beside that of the frame `reference`, on display-coded values. */
export interface LightOverShot {
  readonly reference: number;
  readonly transfer: TransferName;
  readonly frames: readonly {
    readonly frame: number;
    readonly gain: LightChange['gain'];
    readonly offset: LightChange['offset'];
  }[];
}

/** What it reads: `VideoReader` has this shape. */
interface Clip {
  readonly info: VideoInfo;
  frames(from?: number, to?: number): AsyncGenerator<VideoFrame>;
  frame(n: number): Promise<VideoFrame>;
}

/** Cells across the picture. */
const ACROSS = 40;
/** A change below this on every frame, coded, is not told: some two steps of lightness (own choice). */
export const LEAST_SHOWN = 0.015;
/** Fewer of the cells than this going along, it is no change of the whole light. */
const LEAST_SUPPORT = 0.5;

/** Null where the light stays as it is, or can't be told. */
export async function lightOverShot(
  clip: Clip,
  camera: CameraMove | undefined,
  span: { readonly in: number; readonly out: number },
  signal?: AbortSignal,
): Promise<LightOverShot | null> {
  if (span.out - span.in < 3 || (camera !== undefined && camera.move !== 'static')) return null;
  const { widthPx, heightPx } = clip.info,
    size = Math.max(1, Math.round(widthPx / ACROSS)),
    n = widthPx * heightPx;
  const meansOf = (frame: VideoFrame): BlockMeans => {
    const { data } = toCodedRgb(frame);
    return blockMeans(
      [data.subarray(0, n), data.subarray(n, 2 * n), data.subarray(2 * n, 3 * n)],
      widthPx,
      heightPx,
      size,
    );
  };
  const reference = await usualFrame(clip, span, meansOf),
    base = meansOf(await clip.frame(reference));
  const known: (LightChange & { readonly frame: number })[] = [];
  for await (const frame of clip.frames(span.in, span.out)) {
    signal?.throwIfAborted();
    const change = lightBetween(base, meansOf(frame));
    if (change !== null && change.support >= LEAST_SUPPORT) known.push({ ...change, frame: frame.index });
  }
  if (!known.some((k) => changeOf(k) > LEAST_SHOWN)) return null;
  const frames = [];
  for (let f = span.in; f < span.out; f++) {
    const nearest = known.reduce((p, q) => (Math.abs(q.frame - f) < Math.abs(p.frame - f) ? q : p));
    frames.push({ frame: f, gain: nearest.gain, offset: nearest.offset });
  }
  return { reference, transfer: clip.info.colour.transfer, frames };
}

/** Of seven frames spread over the shot the one of middle brightness. */
async function usualFrame(
  clip: Clip,
  span: { readonly in: number; readonly out: number },
  meansOf: (frame: VideoFrame) => BlockMeans,
): Promise<number> {
  const last = span.out - span.in - 1,
    tried: { frame: number; mean: number }[] = [];
  for (let k = 0; k < 7; k++) {
    const frame = span.in + Math.round(((k + 0.5) * last) / 7),
      green = meansOf(await clip.frame(frame)).channels[1];
    tried.push({ frame, mean: green.reduce((s, v) => s + v, 0) / green.length });
  }
  return tried.sort((p, q) => p.mean - q.mean)[3]!.frame;
}

/** The change on one frame; none where nothing is told. */
export function lightAt(light: LightOverShot | undefined, frame: number): LightChange {
  const at = light?.frames.find((f) => f.frame === frame);
  return at === undefined ? SAME_LIGHT : { ...at, support: 1 };
}

/** The frame nearest to one asked for that is lit as usual. */
export function litAsUsual(light: LightOverShot | undefined, frame: number, span: { in: number; out: number }): number {
  if (light === undefined) return frame;
  for (let d = 0; d < span.out - span.in; d++)
    for (const n of [frame + d, frame - d])
      if (n >= span.in && n < span.out && changeOf(lightAt(light, n)) <= LEAST_SHOWN) return n;
  return light.reference;
}

/** Sentence for a maker. */
export function lightOverShotInWords({ frames }: LightOverShot): string {
  const brightness = frames.map((f) => 0.5 * f.gain[1] + f.offset[1]),
    low = Math.min(...brightness),
    high = Math.max(...brightness),
    at = (v: number): number => frames[brightness.indexOf(v)]!.frame,
    most = high - 0.5 > 0.5 - low ? high : low;
  return (
    `the film's light changes over the shot (a middle tone of 50 % goes from ${Math.round(100 * low)} to ` +
    `${Math.round(100 * high)} %, farthest on frame ${at(most)})`
  );
}
