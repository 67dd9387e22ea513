/** The frames of a clip that an erase takes its set from, held in the file's own planes with what each shows of it. */
import { invert, type Mat3 } from '../../geometry/mat3.js';
import { copyFrame } from '../../media/planes.js';
import type { VideoReader } from '../../media/video-reader.js';
import { mosaicSourceOf, showsMask } from './erase-masks.js';
import type { MosaicSource } from './mosaic-source.js';

/** Outlines on a frame, px of the frame; none where nothing is there. */
export type OutlinesAt = (frame: number) => [number, number][][];

export interface GatherOptions {
  /** How far outlines are grown, px. */
  readonly growPx: number;
  /** What hides the set. */
  readonly hides: OutlinesAt;
  /** The same without shadows, where some were marked: their ground is seen, if darkened. */
  readonly things?: OutlinesAt;
  readonly signal?: AbortSignal;
  readonly onProgress?: (done: number, total: number) => void;
}

/**
 * @param frames of the clip, rising
 * @param motion reference pixels → a frame's
 * @returns the sources, and with `things` the same ones with the ground under shadows taken for seen
 */
export async function gatherSources(
  reader: VideoReader,
  frames: readonly number[],
  motion: { fromReference(frame: number): Mat3 },
  o: GatherOptions,
): Promise<{ readonly sources: MosaicSource[]; readonly shaded: MosaicSource[] }> {
  const { widthPx, heightPx } = reader.info;
  const sources: MosaicSource[] = [];
  const shaded: MosaicSource[] = [];
  for (const n of frames) {
    o.signal?.throwIfAborted();
    const held = copyFrame(await reader.frame(n));
    const toReference = invert(motion.fromReference(n));
    const source = (hides: OutlinesAt): MosaicSource =>
      mosaicSourceOf(held, n, toReference, showsMask(hides(n), widthPx, heightPx, o.growPx));
    sources.push(source(o.hides));
    if (o.things !== undefined) shaded.push(source(o.things));
    o.onProgress?.(sources.length, frames.length);
  }
  return { sources, shaded };
}
