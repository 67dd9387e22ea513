/** For tests and benches: planar 8-bit 4:2:0 pictures as the media door hands them out. */
import type { VideoFrame } from '../media/types.js';

/** @param data luma, then both chroma planes at half the width and height; limited BT.709 */
export function madeFrame(data: Uint8Array, index: number, widthPx: number, heightPx: number): VideoFrame {
  const n = widthPx * heightPx;
  return {
    index,
    widthPx,
    heightPx,
    planes: [data.subarray(0, n), data.subarray(n, n * 1.25), data.subarray(n * 1.25)],
    chromaShift: [1, 1],
    layout: 'yuv',
    bitDepth: 8,
    hasAlpha: false,
    colour: { matrix: 'bt709', transfer: 'bt709', primaries: 'bt709', fullRange: false, assumed: false },
  } as unknown as VideoFrame;
}
