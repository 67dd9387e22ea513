/** A box of a frame's own planes, so that only what is read is converted. */
import type { VideoFrame } from '../../media/types.js';

/** x0, y0, x1, y1 in pixels; x1, y1 exclusive. */
export type PartBox = readonly [number, number, number, number];

/** The box grown to whole chroma samples, inside the frame. */
export function wholeSamples(frame: VideoFrame, box: PartBox): PartBox {
  const sx = 1 << frame.chromaShift[0],
    sy = 1 << frame.chromaShift[1];
  return [
    Math.max(0, Math.floor(box[0] / sx) * sx),
    Math.max(0, Math.floor(box[1] / sy) * sy),
    Math.min(frame.widthPx, Math.ceil(box[2] / sx) * sx),
    Math.min(frame.heightPx, Math.ceil(box[3] / sy) * sy),
  ];
}

/** Copy of a box of whole chroma samples (see {@link wholeSamples}). */
export function framePart(frame: VideoFrame, box: PartBox): VideoFrame {
  const [x0, y0, x1, y1] = box;
  const planes = frame.planes.map((p, k) => {
    // Chroma planes alone are smaller; a fourth plane is alpha.
    const [sx, sy] = frame.layout === 'yuv' && (k === 1 || k === 2) ? frame.chromaShift : [0, 0];
    const stride = Math.ceil(frame.widthPx / (1 << sx));
    const ax = x0 >> sx,
      ay = y0 >> sy,
      w = Math.ceil((x1 - x0) / (1 << sx)),
      h = Math.ceil((y1 - y0) / (1 << sy));
    const out = new (p.constructor as new (n: number) => typeof p)(w * h);
    for (let y = 0; y < h; y++) out.set(p.subarray((y + ay) * stride + ax, (y + ay) * stride + ax + w), y * w);
    return out;
  });
  return { ...frame, widthPx: x1 - x0, heightPx: y1 - y0, planes };
}
