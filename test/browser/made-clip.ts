/** Small clips for the browser tests, drawn pixel by pixel. */
import { rate, type Rate } from '../../src/core/rational.js';
import { createPicture, plane } from '../../src/image/picture.js';
import { VideoWriter } from '../../src/media/video-writer.js';

export interface ClipSize {
  readonly widthPx?: number;
  readonly heightPx?: number;
  readonly rate?: Rate;
  readonly crf?: number;
}

/**
 * Writes a clip of `frames` frames (320 × 180 at 24 unless told; H.264, as .mkv lossless, which holds odd sizes) whose
 * coded value (0..1) at x, y, frame and channel `value` tells.
 */
export async function makeClip(
  path: string,
  frames: number,
  value: (x: number, y: number, f: number, c: number) => number,
  size: ClipSize = {},
): Promise<void> {
  const W = size.widthPx ?? 320;
  const H = size.heightPx ?? 180;
  const w = await VideoWriter.open(path, {
    widthPx: W,
    heightPx: H,
    rate: size.rate ?? rate(24),
    ...(path.endsWith('.mkv') ? { codec: 'ffv1', bits: 8 } : { codec: 'h264', crf: size.crf ?? 6 }),
  });
  for (let f = 0; f < frames; f++) {
    const p = createPicture(W, H, 3);
    for (let c = 0; c < 3; c++) {
      const q = plane(p, c);
      for (let y = 0; y < H; y++) for (let x = 0; x < W; x++) q[y * W + x] = value(x, y, f, c);
    }
    await w.writeCoded(p);
  }
  await w.close();
}
