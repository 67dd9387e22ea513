/**
 * How frames are kept code for code in a clip of the cache: as HuffYUV with tables of each frame's own (FFmpeg's
 * `ffvhuff`; B. Rudiak-Gould, HuffYUV 2.1, 2002), which is quick to read and takes Y'CbCr of any depth. A plate is
 * read by every stage, so what counts is how soon a frame is decoded.
 */
import type { WriterOptions } from './encodings.js';
import type { VideoFrame } from './types.js';

const SUBSAMPLED: Record<string, string> = { '0,0': '444', '1,0': '422', '1,1': '420' };
/** Depths that the encoder has with every subsampling. */
const DEPTHS: readonly number[] = [8, 9, 10, 12, 14, 16];

/** Matroska tells chroma at the left, in the middle or at the top left, and no other place (a picture turned round). */
function sited([, down]: readonly [number, number], [x, y]: readonly [number, number]): boolean {
  return down === 0 || y === 0.5 || (x === 0 && y === 0);
}

/**
 * What a writer is opened with so that it keeps frames like this one as they are; null where their form (RGB, grey,
 * alpha, odd sides under subsampled chroma, rare subsampling) has to be kept otherwise. Chroma in a place that the file
 * could not tell is moved to the left: the writer does not take such frames as they are (`takes`).
 */
export function losslessForm(
  frame: VideoFrame,
): Required<Pick<WriterOptions, 'codec' | 'pixelFormat' | 'chromaSite' | 'colour'>> | null {
  const { widthPx, heightPx, layout, bitDepth, hasAlpha, chromaShift, chromaSite, colour } = frame;
  const subsampled = SUBSAMPLED[chromaShift.join(',')];
  if (layout !== 'yuv' || hasAlpha || subsampled === undefined || !DEPTHS.includes(bitDepth)) return null;
  if (widthPx % (1 << chromaShift[0]) !== 0 || heightPx % (1 << chromaShift[1]) !== 0) return null;
  return {
    codec: 'huffyuv',
    pixelFormat: `yuv${subsampled}p${bitDepth > 8 ? `${bitDepth}le` : ''}`,
    chromaSite: sited(chromaShift, chromaSite) ? chromaSite : [0, 0.5],
    colour: { ...colour, assumed: false },
  };
}
