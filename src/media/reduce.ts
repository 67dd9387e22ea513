/**
 * The small picture of a frame, made inside FFmpeg so that the full one never crosses into JavaScript: exact area means
 * of the coded planes (libswscale, SWS_AREA with accurate rounding: integer arithmetic, the same bytes on every
 * processor), 4:4:4, 16 bits a sample = 256 times the 8-bit code. Colour, range and transfer stay the file's own.
 */
import { PlatewrightError } from '../core/errors.js';
import { avGetPixFmtFromName, avGetPixFmtName, C, Frame, SoftwareScaleContext } from './ffmpeg.js';
import { planeFormat } from './pixel-formats.js';
import type { ColourTags, VideoFrame } from './types.js';

export interface SmallSize {
  readonly widthPx: number;
  readonly heightPx: number;
}

/** A frame at the size asked for, or the full one where it can't be reduced on the way. */
export interface ReducedFrame extends VideoFrame {
  /**
   * The same frame in full, while it is at hand (until the next is asked for); null where another stands in for a lost
   * one.
   */
  whole(): VideoFrame | null;
}

/** `yuvj...` only says full range, which the tags say too; to FFmpeg's scaler it would mean a conversion of range. */
function scalerSource(pixelFormat: number): number | null {
  const name = avGetPixFmtName(pixelFormat as never) ?? '';
  const format = planeFormat(name);
  if (format === null || format.layout !== 'yuv' || format.float) return null;
  return name.startsWith('yuvj') ? avGetPixFmtFromName(name.replace('yuvj', 'yuv')) : pixelFormat;
}

/** One size in and one out; `free` gives FFmpeg's memory back. */
export class FrameReducer {
  private readonly from: SmallSize;
  private readonly size: SmallSize;
  private readonly scaler = new SoftwareScaleContext();
  private readonly small = new Frame();
  private readonly stored: readonly Uint16Array[];
  private readonly strides: readonly number[];
  private readonly planes: readonly Uint16Array[];

  private constructor(source: number, widthPx: number, heightPx: number, size: SmallSize) {
    this.from = { widthPx, heightPx };
    this.size = size;
    const format = avGetPixFmtFromName('yuv444p16le');
    this.scaler.getContext(
      widthPx,
      heightPx,
      source as never,
      size.widthPx,
      size.heightPx,
      format,
      (C.SWS_AREA | C.SWS_ACCURATE_RND | C.SWS_BITEXACT) as never,
    );
    this.small.alloc();
    this.small.width = size.widthPx;
    this.small.height = size.heightPx;
    this.small.format = format;
    this.small.getBuffer(0);
    this.strides = [0, 1, 2].map((p) => this.small.linesize[p]! >> 1);
    // Its memory stays where it is, so these views are taken once: a view a frame would
    // keep the garbage collector busy.
    this.stored = [0, 1, 2].map((p) => {
      const b = this.small.data![p]!;
      return new Uint16Array(b.buffer as ArrayBuffer, b.byteOffset, this.strides[p]! * size.heightPx);
    });
    this.planes = this.stored.map(() => new Uint16Array(size.widthPx * size.heightPx));
  }

  /**
   * A reducer for frames of this FFmpeg pixel format, or null where they must be taken in full (RGB,
   * grey, floats, packed formats, smaller pictures).
   */
  static for(pixelFormat: number, widthPx: number, heightPx: number, size: SmallSize): FrameReducer | null {
    const source = scalerSource(pixelFormat);
    return source === null || widthPx < size.widthPx || heightPx < size.heightPx
      ? null
      : new FrameReducer(source, widthPx, heightPx, size);
  }

  /** Whether the frame has the size that this was made for. */
  takes(frame: Frame): boolean {
    return frame.width === this.from.widthPx && frame.height === this.from.heightPx;
  }

  /** The planes stay valid until the next call. Throws `PW-MEDIA-FORMAT` where FFmpeg refuses the frame. */
  reduce(frame: Frame, index: number, colour: ColourTags): VideoFrame {
    const code = this.scaler.scaleFrameSync(this.small, frame);
    if (code < 0)
      throw new PlatewrightError('PW-MEDIA-FORMAT', `frame ${index} could not be made smaller`, {
        kind: 'internal',
        detail: { code },
      });
    const { widthPx: w, heightPx: h } = this.size;
    for (let p = 0; p < 3; p++) {
      const from = this.stored[p]!;
      const to = this.planes[p]!;
      const stride = this.strides[p]!;
      if (stride === w) to.set(from);
      else for (let y = 0; y < h; y++) for (let x = 0, i = y * stride, j = y * w; x < w; x++) to[j++] = from[i++]!;
    }
    return {
      index,
      widthPx: w,
      heightPx: h,
      planes: this.planes,
      chromaShift: [0, 0],
      chromaSite: [0, 0],
      layout: 'yuv',
      bitDepth: 16,
      hasAlpha: false,
      colour,
    };
  }

  free(): void {
    this.scaler.freeContext();
    this.small.free();
  }
}
