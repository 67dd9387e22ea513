/** Decodes a file on from where it stands, or seeks: gives any shown frame by its number. */
import { PlatewrightError } from '../core/errors.js';
import { PictureDecoder } from './decoder.js';
import { C, type Frame } from './ffmpeg.js';
import type { Cursor } from './field-cursor.js';
import type { FrameIndex } from './frame-index.js';
import type { Timing } from './frame-timing.js';
import type { OpenedInput } from './input.js';
import { isUpright } from './orientation.js';
import { chromaSiteOf, PlaneExtractor } from './planes.js';
import { squareWidth } from './square-pixels.js';
import { FrameReducer, type ReducedFrame, type SmallSize } from './reduce.js';
import type { VideoFrame, VideoInfo } from './types.js';

/** What a file's packets tell once they were counted. */
export interface Built {
  readonly index: FrameIndex;
  readonly timing: Timing;
}

/** The file that a cursor goes through, as the reader that it belongs to knows it. */
export interface CursorFile {
  readonly path: string;
  /** Threads of the decoder. */
  readonly threads: number;
  readonly info: VideoInfo;
  /** Counts the file's packets where that was not done yet; null for a still. */
  readonly ensureIndex: () => Promise<Built | null>;
  readonly built: Built | null;
  /** Frames that were damaged or lost; the cursor adds those that it meets. */
  readonly damage: Set<number>;
}

/** A decoder with a place in the clip: asked for the frame after the last it decodes on, asked for another it seeks. */
export class FileCursor implements Cursor {
  private readonly file: CursorFile;
  /** Frames are handed out at this size where that can be done on the way. */
  private readonly small: SmallSize | null;
  private reducer: FrameReducer | null = null;
  private decoder: PictureDecoder;
  private built: Built | null;
  private shownAt: Map<number, number> | null = null;
  private extractor: PlaneExtractor | null = null;
  private extractorFormat = -1;
  /** Shown source frame that the decoder gives next if nothing is lost. */
  private position = 0;
  /** Decoded and not handed out yet. */
  private waiting: { at: number; frame: Frame } | null = null;
  private held: { source: number; frame: VideoFrame } | null = null;
  private open = true;

  private constructor(file: CursorFile, decoder: PictureDecoder, small: SmallSize | null) {
    this.file = file;
    this.decoder = decoder;
    this.built = file.built;
    this.small = small;
  }

  /** @param opened the file as it was opened before, at whatever place; only with an index */
  static async open(
    file: CursorFile,
    small: SmallSize | null = null,
    opened: OpenedInput | null = null,
  ): Promise<FileCursor> {
    const decoder = await PictureDecoder.open(file.path, file.threads, small !== null, opened);
    const cursor = new FileCursor(file, decoder, small);
    // Its packets were counted to the end: the first frame is sought.
    if (opened !== null) cursor.position = Infinity;
    return cursor;
  }

  async get(n: number): Promise<VideoFrame | null> {
    // Streaming from the start of a long file needs no index as long as its rate is constant.
    if (this.built === null && n !== this.position && !this.decoder.opened.still)
      this.built = await this.file.ensureIndex();
    const source = this.built?.timing.sourceOf ? this.built.timing.sourceOf[n] : n;
    if (source === undefined) return null;
    if (this.held !== null && this.held.source === source) return { ...this.held.frame, index: n };

    const index = this.built !== null && !this.built.index.untimed ? this.built.index : null;
    const next = this.waiting?.at ?? this.position;
    let sought = false;
    if (source < next && this.held !== null && this.held.source < source && this.waiting !== null)
      return this.inPlaceOf(n, source);
    if (index !== null && (source < next || passesKey(index, next, source))) sought = await this.goTo(index, source);
    else if (source < next) await this.reopen();

    for (let attempt = 0; ; ) {
      const got = this.pull(index);
      if (got !== null && got.at < source) {
        this.waiting = null;
        continue;
      }
      if (got !== null && got.at === source) return this.handOut(n, source, got.frame);
      // Behind it or past the end: after a seek an earlier start may bring it, else it is lost.
      if (index === null || attempt === 2 || (!sought && this.held !== null))
        return got === null ? null : this.inPlaceOf(n, source);
      attempt++;
      if (attempt === 1) sought = await this.goTo(index, Math.max(0, source - 300));
      else await this.reopen();
    }
  }

  private async goTo(index: FrameIndex, source: number): Promise<boolean> {
    this.held = null;
    this.waiting = null;
    if (!this.decoder.seek(index, source)) await this.reopen();
    return true;
  }

  private async reopen(): Promise<void> {
    this.held = null;
    this.waiting = null;
    await this.decoder.close();
    this.decoder = await PictureDecoder.open(this.file.path, this.file.threads, this.small !== null);
    this.position = 0;
  }

  /**
   * The decoder's next picture that the index shows, with its number; stays the same until it is handed out or dropped.
   */
  private pull(index: FrameIndex | null): { at: number; frame: Frame } | null {
    while (this.waiting === null) {
      const frame = this.decoder.next();
      if (frame === null) {
        this.position = Infinity;
        return null;
      }
      let at = this.position;
      if (index !== null) {
        this.shownAt ??= new Map(index.shown.map((d, k) => [index.pts[d]!, k]));
        const ticks = PictureDecoder.ticksOf(frame);
        const found = ticks === null ? undefined : this.shownAt.get(ticks);
        // Hidden by an edit list, or a leading picture whose group is not here.
        if (found === undefined) continue;
        at = found;
      }
      this.position = at + 1;
      this.waiting = { at, frame };
    }
    return this.waiting;
  }

  private handOut(n: number, source: number, frame: Frame): VideoFrame {
    const out = this.small === null ? this.extract(frame, n) : this.reduced(frame, n);
    if (frame.decodeErrorFlags !== 0 || (frame.flags & C.AV_FRAME_FLAG_CORRUPT) !== 0) this.file.damage.add(n);
    this.waiting = null;
    this.held = { source, frame: out };
    return out;
  }

  /** Frame `n` is lost: the one before it stands in, or the one after it where there is none. */
  private inPlaceOf(n: number, source: number): VideoFrame {
    this.file.damage.add(n);
    if (this.held !== null && this.held.source <= source)
      return { ...this.held.frame, index: n, ...(this.small === null ? {} : { whole: () => null }) };
    const out = this.small === null ? this.extract(this.waiting!.frame, n) : this.reduced(this.waiting!.frame, n);
    this.held = { source, frame: out };
    return out;
  }

  /** Can another stream go on with it? Without an index every other place would have one made. */
  get reusable(): boolean {
    return this.open && this.small === null && this.built !== null && !this.built.index.untimed;
  }

  /** Lets go of the frame handed out last: its planes stay as they are, whoever asks next gets others. */
  rest(): void {
    this.extractor?.free();
    this.extractor = null;
    this.extractorFormat = -1;
    this.held = null;
  }

  private extractorFor(frame: Frame): PlaneExtractor {
    const format = frame.format as number;
    if (this.extractor === null || format !== this.extractorFormat) {
      this.extractor?.free();
      this.extractor = new PlaneExtractor(format);
      this.extractorFormat = format;
      this.reducer?.free();
      const upright = isUpright(this.decoder.opened.orientation);
      this.reducer =
        this.small === null || !upright ? null : FrameReducer.for(format, frame.width, frame.height, this.small);
    }
    return this.extractor;
  }

  private reduced(frame: Frame, n: number): ReducedFrame {
    this.extractorFor(frame);
    if (
      this.reducer === null ||
      !this.reducer.takes(frame) ||
      squareWidth(frame.width, this.file.info.pixelAspect) !== this.file.info.widthPx ||
      frame.height !== this.file.info.heightPx
    ) {
      const full = this.extract(frame, n);
      return { ...full, whole: () => full };
    }
    return {
      ...this.reducer.reduce(frame, n, this.file.info.colour),
      whole: () => (this.waiting === null ? this.extract(frame, n) : null),
    };
  }

  private extract(frame: Frame, n: number): VideoFrame {
    this.extractorFor(frame);
    const par = this.decoder.opened.video!.codecpar;
    const site = chromaSiteOf(par.chromaLocation, this.extractor!.format, this.decoder.opened.still);
    const out = this.extractor!.extract(
      frame,
      n,
      this.file.info.colour,
      site,
      this.decoder.opened.orientation,
      this.file.info.pixelAspect,
    );
    if (out.widthPx !== this.file.info.widthPx || out.heightPx !== this.file.info.heightPx) {
      throw new PlatewrightError(
        'PW-MEDIA-CHANGED',
        `frame ${n} is ${out.widthPx} × ${out.heightPx} where the clip began with ${this.file.info.widthPx} ` +
          `× ${this.file.info.heightPx}; split the file there`,
        { detail: { frame: n } },
      );
    }
    return out;
  }

  async close(): Promise<void> {
    if (!this.open) return;
    this.open = false;
    this.extractor?.free();
    this.reducer?.free();
    await this.decoder.close();
  }
}

/**
 * True where reaching `to` from `from` by decoding on would pass another key frame, so that a seek is the shorter way.
 */
function passesKey(index: FrameIndex, from: number, to: number): boolean {
  if (!(to - from >= 3)) return false;
  const at = index.shown[to]!;
  const start = index.shown[from]!;
  for (let i = index.keys.length - 1; i >= 0; i--) {
    const k = index.keys[i]!;
    if (k <= start) return false;
    if (k <= at) return index.pts[k]! <= index.pts[at]!;
  }
  return false;
}
