/** Y'CbCr of any layout to display-coded R'G'B', chroma placed where its samples lie; kernel and plain twin. */
import { KERNEL_FROM_PIXELS, kernels } from '../image/kernels.js';
import type { CurveTable } from './curve-table.js';
import type { VideoFrame } from './types.js';
import { decodingOf, quantisation, decodingConstants } from './ycbcr.js';

/**
 * Left and right source sample and weight of the right one for every column, and the same for one row, clamped at the
 * edges.
 */
function taps(position: number, count: number): { k: number; next: number; w: number } {
  const f = Math.floor(position);
  const w = position - f;
  const k = f < 0 ? 0 : f >= count ? count - 1 : f;
  const n = f + 1 < 0 ? 0 : f + 1 >= count ? count - 1 : f + 1;
  return { k, next: n, w };
}

/** Y'CbCr to coded R'G'B', or on to light by a table; true if it went that far. */
export function yuvToRgb(frame: VideoFrame, data: Float32Array, curve: CurveTable | null): boolean {
  const { widthPx: w, heightPx: h } = frame;
  if (w * h < KERNEL_FROM_PIXELS) {
    yuvToRgbPlain(frame, data);
    return false;
  }
  const [sx, sy] = frame.chromaShift;
  const cw = (w + (1 << sx) - 1) >> sx;
  const constants = decodingConstants(frame);
  const door = kernels();
  const scope = door.scope();
  try {
    const planes = frame.planes as readonly (Uint8Array | Uint16Array)[];
    const args = [
      scope.input(planes[0]!),
      scope.input(planes[1]!),
      scope.input(planes[2]!),
      scope.output(data),
      w,
      h,
      sx,
      sy,
      frame.bitDepth > 8 ? 1 : 0,
      scope.input(constants),
      curve === null ? 0 : scope.input(curve.knots),
      curve?.lo ?? 0,
      curve?.steps ?? 0,
      curve?.count ?? 0,
    ];
    door.run('ycbcrToRgb', args, h, w * 8, 8 * (cw + 16) + 8 * (w + 16) + 64);
    scope.finish();
  } finally {
    scope.close();
  }
  return curve !== null;
}

/** Plain twin of the kernel, for small pictures and for the test that holds the two together. */
export function yuvToRgbPlain(frame: VideoFrame, data: Float32Array): void {
  const { widthPx: w, heightPx: h } = frame;
  const n = w * h;
  const [sx, sy] = frame.chromaShift;
  const cw = (w + (1 << sx) - 1) >> sx;
  const ch = (h + (1 << sy) - 1) >> sy;
  const q = quantisation(frame.bitDepth, frame.colour.fullRange);
  const d = decodingOf(frame.colour.matrix);
  const yScale = 1 / q.lumaScale;
  const yOffset = -q.lumaOffset / q.lumaScale;
  const y = frame.planes[0]!;
  const cb = frame.planes[1]!;
  const cr = frame.planes[2]!;
  const cScale = 1 / q.chromaScale;
  const mid = q.chromaOffset;

  const left = new Int32Array(w);
  const right = new Int32Array(w);
  const weight = new Float32Array(w);
  for (let x = 0; x < w; x++) {
    const t = taps((x - frame.chromaSite[0]) / (1 << sx), cw);
    left[x] = t.k;
    right[x] = t.next;
    weight[x] = t.w;
  }
  const u = new Float32Array(cw);
  const v = new Float32Array(cw);
  for (let j = 0; j < h; j++) {
    const t = taps((j - frame.chromaSite[1]) / (1 << sy), ch);
    const a = t.k * cw;
    const b = t.next * cw;
    const wb = t.w * cScale;
    const wa = cScale - wb;
    const bias = -mid * cScale;
    for (let x = 0; x < cw; x++) {
      u[x] = cb[a + x]! * wa + cb[b + x]! * wb + bias;
      v[x] = cr[a + x]! * wa + cr[b + x]! * wb + bias;
    }
    const row = j * w;
    for (let x = 0; x < w; x++) {
      const l = y[row + x]! * yScale + yOffset;
      const k = left[x]!;
      const m = right[x]!;
      const f = weight[x]!;
      const uu = u[k]! + (u[m]! - u[k]!) * f;
      const vv = v[k]! + (v[m]! - v[k]!) * f;
      data[row + x] = l + d.crToR * vv;
      data[n + row + x] = l + d.cbToG * uu + d.crToG * vv;
      data[2 * n + row + x] = l + d.cbToB * uu;
    }
  }
}
