/**
 * A joined frame as 4:4:4 with more bits, as a master is coded: the plate's own codes with chroma at full size
 * (media/widen-yuv.ts), and the composed box's display-coded values as codes wherever it changed the plate. Nothing
 * beside the performer goes through R'G'B'. By the kernel layFull of kernels/widen-yuv.ts and its plain twin.
 */
import { KERNEL_FROM_PIXELS, kernels } from '../../image/kernels.js';
import type { VideoFrame } from '../../media/types.js';
import { canWiden, widenYuv } from '../../media/widen-yuv.js';
import { encodingConstants } from '../../media/ycbcr.js';
import type { ComposedBox } from './compose.js';
import type { FrameRoom } from './frame-room.js';

export type FullPlanes = readonly [Uint16Array, Uint16Array, Uint16Array];

/**
 * `plate` with `composed` on it at 4:4:4 and `bitDepth` bits, in `into` or in `room` where one is given; null where the
 * plate's form does not allow it (RGB, alpha, full range).
 */
export function fullFrame(
  plate: VideoFrame,
  composed: ComposedBox | null,
  bitDepth: number,
  room?: FrameRoom,
  into?: FullPlanes,
): VideoFrame | null {
  if (!canWiden(plate, bitDepth)) return null;
  const n = plate.widthPx * plate.heightPx;
  const made = (): Uint16Array => {
    if (room === undefined) return new Uint16Array(n);
    const b = room.bytes(2 * n, true);
    return new Uint16Array(b.buffer, b.byteOffset, n);
  };
  const planes: FullPlanes = into ?? [made(), made(), made()],
    out = widenYuv(plate, bitDepth, planes);
  if (composed !== null) layFull(out, planes, composed);
  return out;
}

function constants(frame: VideoFrame): { readonly k: Float32Array; readonly low: number; readonly high: number } {
  const step = 2 ** (frame.bitDepth - 8);
  return {
    k: Float32Array.from(encodingConstants(frame.colour, frame.bitDepth)),
    low: step,
    high: 2 ** frame.bitDepth - 1 - step,
  };
}

/** Lays the box onto a frame's three full planes, in place. */
export function layFull(
  frame: VideoFrame,
  planes: FullPlanes,
  { box: [x0, y0, x1, y1], coded, changed }: ComposedBox,
): void {
  const w = x1 - x0,
    h = y1 - y0,
    door = kernels();
  if (w * h < KERNEL_FROM_PIXELS || !planes.every((p) => door.owns(p))) {
    layFullPlain(frame, planes, { box: [x0, y0, x1, y1], coded, changed });
    return;
  }
  const { k, low, high } = constants(frame),
    scope = door.scope(),
    corner = 2 * (y0 * frame.widthPx + x0);
  try {
    door.run(
      'layFull',
      [
        scope.input(coded.data),
        scope.input(changed),
        w,
        h,
        planes[0].byteOffset + corner,
        planes[1].byteOffset + corner,
        planes[2].byteOffset + corner,
        frame.widthPx,
        scope.input(k),
        low,
        high,
      ],
      h,
      w * 4,
    );
  } finally {
    scope.close();
  }
}

/** Plain twin of the kernel. */
export function layFullPlain(
  frame: VideoFrame,
  planes: FullPlanes,
  { box: [x0, y0, x1, y1], coded, changed }: Pick<ComposedBox, 'box' | 'coded' | 'changed'>,
): void {
  const w = x1 - x0,
    h = y1 - y0,
    n = w * h,
    d = coded.data,
    f = Math.fround,
    { k, low, high } = constants(frame);
  const held = (v: number, scale: number, bias: number): number =>
    Math.min(high, Math.max(low, Math.floor(f(f(v * scale) + bias))));
  for (let y = 0; y < h; y++) {
    for (let x = 0, i = y * w, o = (y0 + y) * frame.widthPx + x0; x < w; x++, i++, o++) {
      if (changed[i] === 0) continue;
      const r = d[i]!,
        b = d[2 * n + i]!,
        l = f(f(f(k[0]! * r) + f(k[1]! * d[n + i]!)) + f(k[2]! * b));
      planes[0][o] = held(l, k[3]!, k[4]!);
      planes[1][o] = held(f(b - l), k[5]!, k[7]!);
      planes[2][o] = held(f(r - l), k[6]!, k[7]!);
    }
  }
}
