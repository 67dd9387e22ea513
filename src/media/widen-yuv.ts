/**
 * Y'CbCr of one depth and chroma size as Y'CbCr of 4:4:4 with as many bits or more, in the same matrix and levels: luma
 * keeps its codes (times a power of two), chroma is brought to full size by bilinear interpolation that heeds where its
 * samples sit, and no value goes through R'G'B'. By the kernel kernels/widen-yuv.ts and its plain twin.
 */
import { PlatewrightError } from '../core/errors.js';
import { KERNEL_FROM_PIXELS, kernels } from '../image/kernels.js';
import type { VideoFrame } from './types.js';

/** Can a frame be widened to so many bits? Levels of limited range alone are powers of two apart. */
export function canWiden(
  frame: Pick<VideoFrame, 'layout' | 'bitDepth' | 'hasAlpha' | 'colour'>,
  bitDepth: number,
): boolean {
  return (
    frame.layout === 'yuv' &&
    !frame.hasAlpha &&
    !frame.colour.fullRange &&
    frame.bitDepth <= bitDepth &&
    bitDepth > 8 &&
    bitDepth <= 16
  );
}

/**
 * The frame at 4:4:4 with `bitDepth` bits, held within what video levels may store. @param planes three planes of
 * widthPx · heightPx words, filled and used in the frame returned. Throws `PW-MEDIA-FORMAT` where `canWiden` says no.
 */
export function widenYuv(
  frame: VideoFrame,
  bitDepth: number,
  planes: readonly [Uint16Array, Uint16Array, Uint16Array],
): VideoFrame {
  if (!canWiden(frame, bitDepth))
    throw new PlatewrightError(
      'PW-MEDIA-FORMAT',
      `a frame of ${frame.bitDepth} bits was to be widened to ${bitDepth}; convert it through R'G'B' instead`,
      { kind: 'internal' },
    );
  const { widthPx: w, heightPx: h } = frame;
  const n = w * h;
  const step = 2 ** (bitDepth - 8);
  if (n < KERNEL_FROM_PIXELS) widenYuvPlain(frame, bitDepth, planes);
  else {
    const [sx, sy] = frame.chromaShift;
    const cw = (w + (1 << sx) - 1) >> sx;
    const door = kernels();
    const scope = door.scope();
    try {
      const from = frame.planes as readonly (Uint8Array | Uint16Array)[];
      const to = planes.map((p) => (door.owns(p) ? p.byteOffset : scope.allocate(2 * n)));
      door.run(
        'widenYuv',
        [
          scope.input(from[0]!),
          scope.input(from[1]!),
          scope.input(from[2]!),
          ...to,
          w,
          h,
          sx,
          sy,
          frame.bitDepth > 8 ? 1 : 0,
          2 ** (bitDepth - frame.bitDepth),
          ...frame.chromaSite,
          step,
          2 ** bitDepth - 1 - step,
        ],
        h,
        w * 4,
        4 * (cw + 16) + 4 * (w + 24) + 64,
      );
      planes.forEach((p, i) => {
        if (!door.owns(p)) p.set(new Uint16Array(door.memory.buffer, to[i], n));
      });
    } finally {
      scope.close();
    }
  }
  return { ...frame, planes, chromaShift: [0, 0], chromaSite: [0, 0], bitDepth };
}

/** Plain twin of the kernel. */
export function widenYuvPlain(
  frame: VideoFrame,
  bitDepth: number,
  planes: readonly [Uint16Array, Uint16Array, Uint16Array],
): void {
  const { widthPx: w, heightPx: h } = frame;
  const [sx, sy] = frame.chromaShift;
  const cw = (w + (1 << sx) - 1) >> sx;
  const ch = (h + (1 << sy) - 1) >> sy;
  const times = 2 ** (bitDepth - frame.bitDepth);
  const low = 2 ** (bitDepth - 8);
  const high = 2 ** bitDepth - 1 - low;
  const held = (v: number): number => Math.min(high, Math.max(low, Math.floor(v * times + 0.5)));
  for (let i = 0; i < w * h; i++) planes[0][i] = held(frame.planes[0]![i]!);
  const at = (position: number, count: number): [number, number, number] => {
    const k = Math.floor(position);
    return [Math.min(count - 1, Math.max(0, k)), Math.min(count - 1, Math.max(0, k + 1)), position - k];
  };
  for (let j = 0; j < h; j++) {
    const [a, b, f] = at((j - frame.chromaSite[1]) / (1 << sy), ch);
    for (let x = 0; x < w; x++) {
      const [k, m, g] = at((x - frame.chromaSite[0]) / (1 << sx), cw);
      for (let p = 1; p < 3; p++) {
        const src = frame.planes[p]!;
        const left = src[a * cw + k]! * (1 - f) + src[b * cw + k]! * f;
        const right = src[a * cw + m]! * (1 - f) + src[b * cw + m]! * f;
        planes[p]![j * w + x] = held(left * (1 - g) + right * g);
      }
    }
  }
}
