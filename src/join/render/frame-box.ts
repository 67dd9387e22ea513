/**
 * Work on a part of a frame: a box cut out of a decoded frame's own planes, and a finished box laid back into them.
 * Pixels that nothing was added to keep the plate's code values bit for bit; chroma is written only where a pixel it
 * serves changed.
 */
import { PlatewrightError } from '../../core/errors.js';
import { KERNEL_FROM_PIXELS, kernels } from '../../image/kernels.js';
import type { VideoFrame } from '../../media/types.js';
import { lumaWeights, quantisation, type Quantisation } from '../../media/ycbcr.js';
import type { FrameRoom } from './frame-room.js';
import type { Box } from '../ground/ground.js';

/** Box widened to whole chroma samples and cut at the frame. */
export function alignBox(box: Box, frame: Pick<VideoFrame, 'widthPx' | 'heightPx' | 'chromaShift'>): Box {
  const sx = 1 << frame.chromaShift[0],
    sy = 1 << frame.chromaShift[1];
  return [
    Math.max(0, Math.floor(box[0] / sx) * sx),
    Math.max(0, Math.floor(box[1] / sy) * sy),
    Math.min(frame.widthPx, Math.ceil(box[2] / sx) * sx),
    Math.min(frame.heightPx, Math.ceil(box[3] / sy) * sy),
  ];
}

function planeSize(frame: VideoFrame, p: number): [number, number, number, number] {
  const chroma = frame.layout === 'yuv' && (p === 1 || p === 2);
  const [sx, sy] = chroma ? frame.chromaShift : [0, 0];
  return [(frame.widthPx + (1 << sx) - 1) >> sx, (frame.heightPx + (1 << sy) - 1) >> sy, sx, sy];
}

/** The frame's planes inside a box (aligned, see alignBox), copied; into `room`, where one is given. */
export function cropFrame(frame: VideoFrame, box: Box, room?: FrameRoom): VideoFrame {
  const [x0, y0, x1, y1] = box;
  const planes = frame.planes.map((src, p) => {
    const [pw, , sx, sy] = planeSize(frame, p);
    const cx0 = x0 >> sx,
      cy0 = y0 >> sy,
      cx1 = (x1 + (1 << sx) - 1) >> sx,
      cy1 = (y1 + (1 << sy) - 1) >> sy;
    const out = emptyLike(src, (cx1 - cx0) * (cy1 - cy0), room);
    copyRows(src, cy0 * pw + cx0, pw, out, 0, cx1 - cx0, cx1 - cx0, cy1 - cy0);
    return out;
  });
  return { ...frame, widthPx: x1 - x0, heightPx: y1 - y0, planes };
}

type Samples = VideoFrame['planes'][number];

/** `rows` rows of `w` values from one plane into another of its kind, each from a place on with its own stride. */
function copyRows(
  from: Samples,
  at: number,
  stride: number,
  to: Samples,
  toAt: number,
  toStride: number,
  w: number,
  rows: number,
): void {
  for (let y = 0; y < rows; y++)
    to.set(from.subarray(at + y * stride, at + y * stride + w) as never, toAt + y * toStride);
}

/** n samples of the kind of another plane's, of any value where they lie in a room. */
function emptyLike(src: Samples, n: number, room?: FrameRoom): Samples {
  const make = src.constructor as (new (
    n: number,
  ) => Samples) &
    (new (
      buffer: ArrayBufferLike,
      at: number,
      n: number,
    ) => Samples);
  if (room === undefined) return new make(n);
  const bytes = room.bytes(n * src.BYTES_PER_ELEMENT, true);
  return new make(bytes.buffer, bytes.byteOffset, n);
}

/**
 * Writes display-coded R'G'B' (three planes over the box) into the planes of `frame`, in place, where `changed` is not
 * 0. The box must be aligned. Throws `PW-JOIN-PATCH` for float frames, which are joined whole.
 */
export function patchFrame(
  frame: VideoFrame,
  box: Box,
  coded: Float32Array,
  changed: Uint8Array,
  room?: FrameRoom,
): void {
  if (frame.bitDepth === 32)
    throw new PlatewrightError('PW-JOIN-PATCH', 'float pictures are joined whole, not patched', { kind: 'internal' });
  const w = box[2] - box[0],
    h = box[3] - box[1],
    n = w * h;
  if (frame.layout === 'yuv') {
    patchYuv(frame, box, coded, changed, room);
    return;
  }
  const q = quantisation(frame.bitDepth, frame.colour.fullRange);
  const max = 2 ** frame.bitDepth - 1;
  const grey = frame.layout === 'grey';
  for (let p = 0; p < (grey ? 1 : 3); p++) {
    const to = frame.planes[p]!;
    for (let y = 0; y < h; y++) {
      for (let x = 0; x < w; x++) {
        const i = y * w + x;
        if (changed[i] === 0) continue;
        const v = grey ? 0.2126 * coded[i]! + 0.7152 * coded[n + i]! + 0.0722 * coded[2 * n + i]! : coded[p * n + i]!;
        to[(box[1] + y) * frame.widthPx + box[0] + x] = Math.min(
          max,
          Math.max(0, Math.round(v * q.lumaScale + q.lumaOffset)),
        );
      }
    }
  }
}

/** What both the kernels and their twin need to write Y'CbCr codes. */
function codingOf(frame: VideoFrame): {
  readonly kr: number;
  readonly kg: number;
  readonly kb: number;
  readonly q: Quantisation;
  readonly max: number;
  readonly toCb: number;
  readonly toCr: number;
  readonly tapsX: Taps;
  readonly tapsY: Taps;
} {
  const [kr, kb] = lumaWeights(frame.colour.matrix);
  const q = quantisation(frame.bitDepth, frame.colour.fullRange),
    [sx, sy] = frame.chromaShift;
  // Sample sites as the frame says: a tent two luma steps wide about the site, the same the decoder's linear upsampling
  // inverts.
  const tapsX = siteTaps(sx, sx === 0 ? 0 : frame.chromaSite[0]),
    tapsY = siteTaps(sy, sy === 0 ? 0 : frame.chromaSite[1]);
  return {
    kr,
    kg: 1 - kr - kb,
    kb,
    q,
    max: 2 ** frame.bitDepth - 1,
    toCb: q.chromaScale / (2 * (1 - kb)),
    toCr: q.chromaScale / (2 * (1 - kr)),
    tapsX,
    tapsY,
  };
}

function patchYuv(frame: VideoFrame, box: Box, coded: Float32Array, changed: Uint8Array, room?: FrameRoom): void {
  const w = box[2] - box[0],
    h = box[3] - box[1];
  if (w * h < KERNEL_FROM_PIXELS) {
    patchYuvPlain(frame, box, coded, changed);
    return;
  }
  const { kr, kg, kb, q, max, toCb, toCr, tapsX, tapsY } = codingOf(frame);
  const [sx, sy] = frame.chromaShift,
    deep = frame.bitDepth > 8 ? 1 : 0;
  const part = cropFrame(frame, box, room).planes as readonly (Uint8Array | Uint16Array)[];
  const door = kernels(),
    scope = door.scope();
  try {
    const at = [0, 1, 2].map((p) => scope.input(part[p]!));
    const light = scope.input(coded),
      where = scope.input(changed);
    door.run(
      'patchLuma',
      [light, where, at[0]!, w, h, deep, scope.input(Float32Array.of(kr, kg, kb, q.lumaScale, q.lumaOffset, max))],
      h,
      w * 4,
    );
    const k = Float32Array.of(kr, kg, kb, toCb, toCr, q.chromaOffset, max, ...tapsX.flat(), ...tapsY.flat());
    const rows = (h + (1 << sy) - 1) >> sy;
    door.run(
      'patchChroma',
      [light, where, at[1]!, at[2]!, w, h, sx, sy, deep, tapsX.length, tapsY.length, scope.input(k)],
      rows,
      w * 8,
    );
    for (let p = 0; p < 3; p++) {
      const [pw, , px, py] = planeSize(frame, p);
      const own = part[p]!,
        cw = (w + (1 << px) - 1) >> px,
        ch = own.length / cw;
      const made =
        deep === 1
          ? new Uint16Array(door.memory.buffer, at[p]!, own.length)
          : new Uint8Array(door.memory.buffer, at[p]!, own.length);
      const to = frame.planes[p]!;
      copyRows(made, 0, cw, to, (box[1] >> py) * pw + (box[0] >> px), pw, cw, ch);
    }
  } finally {
    scope.close();
  }
}

/** Plain twin of the kernels. */
export function patchYuvPlain(frame: VideoFrame, box: Box, coded: Float32Array, changed: Uint8Array): void {
  const w = box[2] - box[0],
    h = box[3] - box[1],
    n = w * h;
  const { kr, kg, kb, q, max, toCb, toCr, tapsX, tapsY } = codingOf(frame);
  const luma = frame.planes[0]!;
  for (let y = 0; y < h; y++) {
    const row = (box[1] + y) * frame.widthPx + box[0];
    for (let x = 0, i = y * w; x < w; x++, i++) {
      if (changed[i] === 0) continue;
      const v = Math.round((kr * coded[i]! + kg * coded[n + i]! + kb * coded[2 * n + i]!) * q.lumaScale + q.lumaOffset);
      luma[row + x] = v < 0 ? 0 : v > max ? max : v;
    }
  }
  const [sx, sy] = frame.chromaShift;
  const cw = (frame.widthPx + (1 << sx) - 1) >> sx;
  const nx = tapsX.length,
    ny = tapsY.length;
  const dx = Int32Array.from(tapsX, (t) => t[0]),
    dy = Int32Array.from(tapsY, (t) => t[0]),
    wx = Float64Array.from(tapsX, (t) => t[1]),
    wy = Float64Array.from(tapsY, (t) => t[1]);
  const u = frame.planes[1]!,
    v = frame.planes[2]!;
  const bw = (w + (1 << sx) - 1) >> sx,
    bh = (h + (1 << sy) - 1) >> sy;
  for (let cy = 0; cy < bh; cy++) {
    for (let cx = 0; cx < bw; cx++) {
      let touched = 0;
      for (let j = 0; j < ny; j++) {
        const yy = (cy << sy) + dy[j]!;
        if (yy < 0 || yy >= h) continue;
        for (let k = 0; k < nx; k++) {
          const xx = (cx << sx) + dx[k]!;
          if (xx >= 0 && xx < w) touched |= changed[yy * w + xx]!;
        }
      }
      if (touched === 0) continue;
      // Colour differences are linear in R'G'B': the mean colour has the mean difference.
      let r = 0,
        g = 0,
        b = 0,
        weight = 0;
      for (let j = 0; j < ny; j++) {
        const yy = (cy << sy) + dy[j]!;
        if (yy < 0 || yy >= h) continue;
        for (let k = 0; k < nx; k++) {
          const xx = (cx << sx) + dx[k]!;
          if (xx < 0 || xx >= w) continue;
          const i = yy * w + xx,
            t = wx[k]! * wy[j]!;
          r += t * coded[i]!;
          g += t * coded[n + i]!;
          b += t * coded[2 * n + i]!;
          weight += t;
        }
      }
      const l = kr * r + kg * g + kb * b;
      const at = ((box[1] >> sy) + cy) * cw + (box[0] >> sx) + cx;
      const cb = Math.round(((b - l) / weight) * toCb + q.chromaOffset),
        cr = Math.round(((r - l) / weight) * toCr + q.chromaOffset);
      u[at] = cb < 0 ? 0 : cb > max ? max : cb;
      v[at] = cr < 0 ? 0 : cr > max ? max : cr;
    }
  }
}

type Taps = readonly (readonly [number, number])[];

/**
 * Offsets (from the first luma sample of the group) and weights of the luma samples that make a chroma sample sited at
 * `site`.
 */
function siteTaps(shift: number, site: number): Taps {
  if (shift === 0) return [[0, 1]];
  const step = 1 << shift;
  const taps: [number, number][] = [];
  let sum = 0;
  for (let d = -step; d <= 2 * step; d++) {
    const away = Math.abs(d - site);
    // Cosited: 1 2 1; between two samples: an even mean.
    const w = site === 0.5 && shift === 1 ? (d === 0 || d === 1 ? 1 : 0) : Math.max(0, 1 - away / step);
    if (w > 0) {
      taps.push([d, w]);
      sum += w;
    }
  }
  return taps.map(([d, w]) => [d, w / sum] as const);
}
