/** Two FFmpeg frames that a writer fills in turn: one is encoded while the next is made. */
import type { StreamColourCodes } from './colour-tags.js';
import { avGetPixFmtFromName, Frame } from './ffmpeg.js';

/** A frame to be filled; `planes` are its own memory. */
export interface FillFrame {
  readonly frame: Frame;
  readonly planes: readonly Buffer[];
  readonly strides: readonly number[];
}

/** Frames of one size and pixel format; `free` gives FFmpeg's memory back. */
export class WriterFrames {
  private readonly pixelFormat: string;
  private readonly widthPx: number;
  private readonly heightPx: number;
  private readonly codes: StreamColourCodes;
  private readonly made: FillFrame[] = [];
  private turn = 0;

  constructor(pixelFormat: string, widthPx: number, heightPx: number, codes: StreamColourCodes) {
    this.pixelFormat = pixelFormat;
    this.widthPx = widthPx;
    this.heightPx = heightPx;
    this.codes = codes;
  }

  /**
   * The next to be filled. Its planes are asked for once: each asking makes new views,
   * which the collector counts as large.
   */
  next(): FillFrame {
    const i = this.turn;
    this.turn = 1 - i;
    const there = this.made[i];
    if (there !== undefined && there.frame.isWritable && there.frame.width > 0) return there;
    const frame = there?.frame ?? new Frame();
    if (there === undefined) frame.alloc();
    else frame.unref();
    const { codes } = this;
    frame.width = this.widthPx;
    frame.height = this.heightPx;
    frame.format = avGetPixFmtFromName(this.pixelFormat);
    frame.colorRange = codes.range as never;
    frame.colorSpace = codes.space as never;
    frame.colorTrc = codes.transfer as never;
    frame.colorPrimaries = codes.primaries as never;
    frame.getBuffer(0);
    return (this.made[i] = { frame, planes: frame.data!, strides: [...frame.linesize] });
  }

  free(): void {
    for (const { frame } of this.made) frame.free();
    this.made.length = 0;
  }
}
