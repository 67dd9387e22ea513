/** Writes a display-coded picture into an FFmpeg frame of the format that an encoder wants. */
import { PlatewrightError } from '../core/errors.js';
import type { Picture } from '../image/picture.js';
import type { ColourTags, VideoFrame } from './types.js';
import { planeFormat } from './pixel-formats.js';
import { fillYuv, quantisePlane } from './fill-yuv.js';
import { quantisation } from './ycbcr.js';
import type { FillFrame } from './writer-frames.js';

/** Planes of a frame to be encoded. */
type Room = Pick<FillFrame, 'planes' | 'strides'>;

/**
 * Fills a frame (of pixel format `name`) from `coded`: display-coded R'G'B', straight alpha, or one grey plane. Values
 * are rounded to the nearest code and held within what the format can store; overshoots beyond 0..1 survive where the
 * levels leave room. 4:2:0 chroma is left-sited: 1-2-1 across, the mean of two lines down. Throws `PW-MEDIA-FORMAT`
 * for a form that is not written.
 */
export function fillFrame({ planes: buffers, strides }: Room, name: string, coded: Picture, tags: ColourTags): void {
  const packed = /^(rgb48|rgba64|gray16)be$/.exec(name);
  if (packed) {
    fillPackedBigEndian(buffers[0]!, strides[0]!, coded, packed[1] === 'rgb48' ? 3 : packed[1] === 'rgba64' ? 4 : 1);
    return;
  }
  const bytes = PACKED_BYTES[name];
  if (bytes) {
    fillPackedBytes(buffers[0]!, strides[0]!, coded, bytes);
    return;
  }
  const f = planeFormat(name);
  if (f === null)
    throw new PlatewrightError('PW-MEDIA-FORMAT', `pictures cannot be written as ${name}`, { kind: 'internal' });
  const { width, height } = coded;
  const n = width * height;
  if (f.float) {
    for (let p = 0; p < f.planeOrder.length; p++) {
      const buffer = buffers[f.planeOrder[p]!]!;
      const stride = strides[f.planeOrder[p]!]! / 4;
      const out = new Float32Array(buffer.buffer, buffer.byteOffset, stride * height);
      const at = channelAt(coded, p, n);
      for (let y = 0; y < height; y++) out.set(coded.data.subarray(at + y * width, at + (y + 1) * width), y * stride);
    }
    return;
  }
  const samples = buffers.map((b, i) =>
    f.bitDepth > 8
      ? new Uint16Array(b.buffer, b.byteOffset, (strides[i]! * planeRows(f, i, height)) >> 1)
      : new Uint8Array(b.buffer, b.byteOffset, strides[i]! * planeRows(f, i, height)),
  );
  const rowLength = strides.map((s) => (f.bitDepth > 8 ? s >> 1 : s));
  const q = quantisation(f.bitDepth, tags.fullRange);
  // Video levels 0 and the top code are timing references (BT.601, BT.709), so limited
  // range stops one step short of them.
  const max = 2 ** f.bitDepth - 1;
  const low = tags.fullRange ? 0 : 2 ** (f.bitDepth - 8);
  const high = tags.fullRange ? max : max - 2 ** (f.bitDepth - 8);
  if (f.layout !== 'yuv') {
    for (let p = 0; p < (f.layout === 'grey' ? 1 : 3); p++) {
      const i = f.planeOrder[p]!;
      quantisePlane(
        coded.data,
        channelAt(coded, p, n),
        width,
        height,
        samples[i]!,
        rowLength[i]!,
        q.lumaScale,
        q.lumaOffset,
        low,
        high,
      );
    }
  } else {
    fillYuv(coded, samples, rowLength, f.chromaShift, tags, f.bitDepth, low, high);
  }
  if (f.hasAlpha) {
    const i = f.planeOrder[f.planeOrder.length - 1]!;
    if (coded.channels === 4)
      quantisePlane(coded.data, 3 * n, width, height, samples[i]!, rowLength[i]!, max, 0, 0, max);
    else samples[i]!.fill(max);
  }
}

/**
 * Copies a frame's planes into an FFmpeg frame of the same form (its planes in the same
 * order), row by row where it pads its rows.
 */
export function copyPlanes({ planes: buffers, strides }: Room, from: VideoFrame): void {
  const [sx, sy] = from.chromaShift;
  from.planes.forEach((plane, p) => {
    const chroma = from.layout === 'yuv' && p > 0;
    const w = chroma ? (from.widthPx + (1 << sx) - 1) >> sx : from.widthPx;
    const h = chroma ? (from.heightPx + (1 << sy) - 1) >> sy : from.heightPx;
    const row = w * plane.BYTES_PER_ELEMENT;
    const src = new Uint8Array(plane.buffer, plane.byteOffset, row * h);
    const dst = buffers[p]!;
    const stride = strides[p]!;
    if (stride === row) dst.set(src);
    else for (let y = 0; y < h; y++) dst.set(src.subarray(y * row, (y + 1) * row), y * stride);
  });
}

function planeRows(
  f: { layout: string; chromaShift: readonly [number, number] },
  plane: number,
  height: number,
): number {
  const chroma = f.layout === 'yuv' && (plane === 1 || plane === 2);
  return chroma ? (height + (1 << f.chromaShift[1]) - 1) >> f.chromaShift[1] : height;
}

function channelAt(picture: Picture, p: number, n: number): number {
  return picture.channels < 3 ? (p === 3 && picture.channels === 2 ? n : 0) : p * n;
}

function fillPackedBigEndian(buffer: Buffer, stride: number, coded: Picture, channels: number): void {
  const { width, height, data } = coded;
  const n = width * height;
  const out = new Uint16Array(buffer.buffer, buffer.byteOffset, (stride * height) >> 1);
  for (let p = 0; p < channels; p++) {
    if (p === 3 && coded.channels !== 4) {
      for (let y = 0; y < height; y++)
        for (let x = 0; x < width; x++) out[y * (stride >> 1) + x * channels + 3] = 0xffff;
      continue;
    }
    const at = channelAt(coded, p, n);
    for (let y = 0; y < height; y++) {
      const i = at + y * width;
      const j = y * (stride >> 1) + p;
      for (let x = 0; x < width; x++) {
        const f = data[i + x]! * 65535 + 0.5;
        const v = f < 0 ? 0 : f >= 65535 ? 65535 : f | 0;
        out[j + x * channels] = ((v & 0xff) << 8) | (v >> 8);
      }
    }
  }
}

/** Channels (0 red, 1 green, 2 blue, 3 alpha) byte by byte. */
const PACKED_BYTES: Record<string, readonly number[]> = {
  rgb24: [0, 1, 2],
  rgba: [0, 1, 2, 3],
  bgra: [2, 1, 0, 3],
  bgr0: [2, 1, 0, 3],
};

function fillPackedBytes(buffer: Buffer, stride: number, coded: Picture, order: readonly number[]): void {
  const { width, height, data } = coded;
  const n = width * height;
  for (let k = 0; k < order.length; k++) {
    const p = order[k]!;
    const opaque = p === 3 && coded.channels !== 4;
    const at = channelAt(coded, p, n);
    for (let y = 0; y < height; y++) {
      const i = at + y * width;
      const j = y * stride + k;
      for (let x = 0; x < width; x++) {
        const v = opaque ? 255 : data[i + x]! * 255 + 0.5;
        buffer[j + x * order.length] = v < 0 ? 0 : v >= 255 ? 255 : v;
      }
    }
  }
}
