/** Takes a decoded FFmpeg frame apart into plain planes in buffers that are used again for the next frame. */
import { PlatewrightError } from '../core/errors.js';
import {
  avGetPixFmtFromName,
  avGetPixFmtName,
  avImageCopyToBuffer,
  avImageGetBufferSize,
  C,
  Frame,
  SoftwareScaleContext,
} from './ffmpeg.js';
import { widenHalves } from './half-float.js';
import { isTurned, isUpright, orientPlane, orientSite, type Orientation } from './orientation.js';
import { planarEquivalent, planeFormat, type PlaneFormat } from './pixel-formats.js';
import { LineResampler, squareWidth } from './square-pixels.js';
import type { ColourTags, VideoFrame } from './types.js';

type Plane = Uint8Array | Uint16Array | Float32Array;

/**
 * The planar format in which a stream of this FFmpeg pixel format is delivered. Throws `PW-MEDIA-FORMAT` for one that
 * is not read.
 */
export function deliveredFormat(pixelFormat: number): PlaneFormat {
  const name = avGetPixFmtName(pixelFormat as never) ?? 'unknown';
  const planar = planarEquivalent(name);
  if (planar === null)
    throw new PlatewrightError(
      'PW-MEDIA-FORMAT',
      `pictures stored as ${name} cannot be read here; convert the file to ProRes, H.264 or PNG`,
      { detail: { pixelFormat: name } },
    );
  return planeFormat(planar)!;
}

/** Site of the first chroma sample for FFmpeg's chroma location code; unspecified counts as left for 4:2:0 video. */
export function chromaSiteOf(location: number, format: PlaneFormat, still: boolean): [number, number] {
  const [sx, sy] = format.chromaShift;
  const midX = sx === 0 ? 0 : ((1 << sx) - 1) / 2;
  const midY = sy === 0 ? 0 : ((1 << sy) - 1) / 2;
  switch (location) {
    case C.AVCHROMA_LOC_CENTER:
      return [midX, midY];
    case C.AVCHROMA_LOC_TOPLEFT:
      return [0, 0];
    case C.AVCHROMA_LOC_TOP:
      return [midX, 0];
    case C.AVCHROMA_LOC_BOTTOMLEFT:
      return [0, sy === 0 ? 0 : (1 << sy) - 1];
    case C.AVCHROMA_LOC_BOTTOM:
      return [midX, sy === 0 ? 0 : (1 << sy) - 1];
    case C.AVCHROMA_LOC_LEFT:
      return [0, midY];
    default:
      return still ? [midX, midY] : [0, midY];
  }
}

/** One pixel format; planes that it gave are overwritten by the next `extract`. */
export class PlaneExtractor {
  private raw: Buffer | null = null;
  private turned: ArrayBuffer | null = null;
  private wide: ArrayBuffer | null = null;
  private scaler: SoftwareScaleContext | null = null;
  private scaled: Frame | null = null;
  private resampler: LineResampler | null = null;
  private readonly source: number;
  readonly format: PlaneFormat;
  private readonly target: number;

  constructor(pixelFormat: number) {
    this.source = pixelFormat;
    this.format = deliveredFormat(pixelFormat);
    this.target = avGetPixFmtFromName(this.format.name);
  }

  /**
   * Planes of `frame`, upright and with square pixels (`aspect`: the shape of the file's own,
   * as shown). They stay valid until the next call.
   */
  extract(
    frame: Frame,
    index: number,
    colour: ColourTags,
    site: readonly [number, number],
    orientation: Orientation,
    aspect: readonly [number, number] = [1, 1],
  ): VideoFrame {
    const width = frame.width;
    const height = frame.height;
    let from = frame;
    if (this.source !== this.target) from = this.unpack(frame, width, height);
    const size = avImageGetBufferSize(this.target as never, width, height, 1);
    if (this.raw === null || this.raw.length !== size) this.raw = Buffer.from(new ArrayBuffer(size));
    avImageCopyToBuffer(this.raw, size, from.data, from.linesize, this.target as never, width, height, 1);

    const f = this.format;
    const bytes = f.half ? 2 : f.float ? 4 : f.bitDepth > 8 ? 2 : 1;
    const [sx, sy] = f.chromaShift;
    const stored: Plane[] = [];
    const widths: number[] = [];
    const heights: number[] = [];
    let offset = 0;
    for (let p = 0; p < f.planeOrder.length; p++) {
      const chroma = f.layout === 'yuv' && (p === 1 || p === 2);
      const w = chroma ? (width + (1 << sx) - 1) >> sx : width;
      const h = chroma ? (height + (1 << sy) - 1) >> sy : height;
      stored.push(view(this.raw.buffer as ArrayBuffer, offset, w * h, bytes));
      widths.push(w);
      heights.push(h);
      offset += w * h * bytes;
    }
    let planes = f.planeOrder.map((p) => stored[p]!);
    if (f.half) {
      if (this.wide === null || this.wide.byteLength !== size * 2) this.wide = new ArrayBuffer(size * 2);
      const wide = this.wide;
      planes = planes.map((src, i) =>
        widenHalves(src as Uint16Array, new Float32Array(wide, i * src.length * 4, src.length)),
      );
    }
    let outWidth = width;
    let outHeight = height;
    let shift: readonly [number, number] = f.chromaShift;
    let outSite = site;
    if (!isUpright(orientation)) {
      const outBytes = f.half ? 4 : bytes;
      const outSize = f.half ? size * 2 : size;
      if (this.turned === null || this.turned.byteLength !== outSize) this.turned = new ArrayBuffer(outSize);
      let at = 0;
      planes = planes.map((src, i) => {
        const p = f.planeOrder[i]!;
        const dst = view(this.turned!, at, src.length, outBytes);
        at += src.length * outBytes;
        return orientPlane(src as Uint8Array, widths[p]!, heights[p]!, orientation, dst as Uint8Array);
      });
      outSite = orientSite(site, [1 << sx, 1 << sy], orientation);
      if (isTurned(orientation)) {
        outWidth = height;
        outHeight = width;
        shift = [sy, sx];
      }
    }
    const out: VideoFrame = {
      index,
      widthPx: outWidth,
      heightPx: outHeight,
      planes,
      chromaShift: shift,
      chromaSite: outSite,
      layout: f.layout,
      bitDepth: f.bitDepth,
      hasAlpha: f.hasAlpha,
      colour,
    };
    const square = squareWidth(outWidth, aspect);
    return square === outWidth ? out : (this.resampler ??= new LineResampler()).resample(out, square);
  }

  private unpack(frame: Frame, width: number, height: number): Frame {
    if (this.scaled !== null && (this.scaled.width !== width || this.scaled.height !== height)) this.free();
    if (this.scaler === null || this.scaled === null) {
      this.scaler = new SoftwareScaleContext();
      this.scaler.getContext(
        width,
        height,
        this.source as never,
        width,
        height,
        this.target as never,
        (C.SWS_POINT | C.SWS_ACCURATE_RND | C.SWS_FULL_CHR_H_INP | C.SWS_FULL_CHR_H_INT) as never,
      );
      this.scaled = new Frame();
      this.scaled.alloc();
      this.scaled.width = width;
      this.scaled.height = height;
      this.scaled.format = this.target as never;
      this.scaled.getBuffer(0);
    }
    // Whole frames, so that a palette comes along: it lies in no plane of its own size, and reading past it crashes.
    const code = this.scaler.scaleFrameSync(this.scaled, frame);
    if (code < 0)
      throw new PlatewrightError(
        'PW-MEDIA-FORMAT',
        `pictures stored as ${avGetPixFmtName(this.source as never) ?? '?'} could not be unpacked`,
        { detail: { code } },
      );
    return this.scaled;
  }

  free(): void {
    this.scaler?.freeContext();
    this.scaler = null;
    this.scaled?.free();
    this.scaled = null;
  }
}

function view(buffer: ArrayBuffer, offset: number, length: number, bytes: number): Plane {
  return bytes === 1
    ? new Uint8Array(buffer, offset, length)
    : bytes === 2
      ? new Uint16Array(buffer, offset, length)
      : new Float32Array(buffer, offset, length);
}

/** A copy of a frame whose planes belong to the caller. */
export function copyFrame(frame: VideoFrame): VideoFrame {
  return { ...frame, planes: frame.planes.map((p) => p.slice()) };
}
