/** Reads pictures from a file, a still or a picture sequence: streaming, or any frame by its number, exactly. */
import { basename } from 'node:path';
import { PlatewrightError } from '../core/errors.js';
import type { Rate } from '../core/rational.js';
import { claimedRates, describeVideo } from './describe.js';
import { PictureDecoder } from './decoder.js';
import { C, type Frame } from './ffmpeg.js';
import { buildFrameIndex, timingOf, type FrameIndex, type Timing } from './frame-index.js';
import { closeInput, openInput, requireFile } from './input.js';
import { readDisplayMatrix, type Orientation } from './orientation.js';
import { chromaSiteOf, deliveredFormat, PlaneExtractor } from './planes.js';
import { COUNT_AT_ONCE_BYTES } from './probe.js';
import { isSequencePattern, openSequence, sequenceName, type Sequence } from './sequence.js';
import type { VideoFrame, VideoInfo } from './types.js';

export interface ReaderOptions {
  /** Decoder threads; 2 unless told. */
  readonly threads?: number;
  /** Rate to give a picture sequence. */
  readonly sequenceRate?: Rate;
  /** An index read from a cache (`reader.index()` of an earlier run over the same bytes). */
  readonly index?: FrameIndex;
}

/** Longest time that the event loop is held. */
const SLICE_MS = 12;

export class VideoReader {
  private information: VideoInfo;
  private readonly path: string;
  private readonly threads: number;
  private readonly sequence: Sequence | null;
  private built: { index: FrameIndex; timing: Timing } | null;
  private single: Cursor | null = null;
  private queue: Promise<unknown> = Promise.resolve();
  private readonly streaming = new Set<Cursor>();
  private closed = false;

  private constructor(path: string, threads: number, info: VideoInfo, sequence: Sequence | null, built: { index: FrameIndex; timing: Timing } | null) {
    this.path = path;
    this.threads = threads;
    this.information = info;
    this.sequence = sequence;
    this.built = built;
  }

  /** Opens for reading. Throws the `PW-MEDIA-...` errors of `probe`, and `PW-MEDIA-NOPICTURE` for sound alone. */
  static async open(path: string, options: ReaderOptions = {}): Promise<VideoReader> {
    const threads = options.threads ?? 2;
    if (isSequencePattern(path)) {
      const sequence = await openSequence(path, options.sequenceRate);
      return new VideoReader(path, threads, sequence.info, sequence, null);
    }
    const { sizeBytes } = requireFile(path);
    const input = await openInput(path);
    try {
      const first = describeVideo(input, null, null);
      if (first === null) throw noPicture(path, input.sound !== null);
      let built: { index: FrameIndex; timing: Timing } | null = null;
      if (!input.still && (options.index || sizeBytes <= COUNT_AT_ONCE_BYTES)) {
        const index = options.index ?? (await scan(path));
        built = { index, timing: timingOf(index, claimedRates(input)) };
        if (built.timing.frameCount === 0) throw new PlatewrightError('PW-MEDIA-TRUNCATED', `${basename(path)} ends before its first whole frame; copy it again from its source`, { detail: { file: path } });
      }
      return new VideoReader(path, threads, describeVideo(input, built?.index ?? null, built?.timing ?? null)!, null, built);
    } finally {
      await closeInput(input);
    }
  }

  get info(): VideoInfo {
    return this.information;
  }

  /** The frame index, built on first need; JSON-safe. Null for stills and sequences. */
  async index(): Promise<FrameIndex | null> {
    return (await this.ensureIndex())?.index ?? null;
  }

  private async ensureIndex(): Promise<{ index: FrameIndex; timing: Timing } | null> {
    if (this.sequence !== null) return null;
    if (this.built === null) {
      const input = await openInput(this.path);
      try {
        if (input.still) return null;
        const index = await scan(this.path);
        this.built = { index, timing: timingOf(index, claimedRates(input)) };
        this.information = describeVideo(input, index, this.built.timing)!;
      } finally {
        await closeInput(input);
      }
    }
    return this.built;
  }

  /**
   * Frames `from` (inclusive) to `to` (exclusive) in order. Each is valid until the next is asked for; `copyFrame` keeps one.
   * Several streams may run beside each other and beside `frame`.
   */
  async *frames(from = 0, to = Infinity): AsyncGenerator<VideoFrame, void, undefined> {
    const count = this.information.frameCount;
    const end = this.information.frameCountExact ? Math.min(to, count) : to;
    if (from < 0 || !Number.isInteger(from)) throw outside(this.path, from, count);
    const cursor = await this.newCursor();
    this.streaming.add(cursor);
    try {
      let since = performance.now();
      for (let n = from; n < end; n++) {
        const frame = await cursor.get(n);
        if (frame === null) {
          if (this.information.frameCountExact) this.note(`${basename(this.path)} stops decoding at frame ${n} of ${count}; the ${n} whole frames were kept`);
          return;
        }
        yield frame;
        if (performance.now() - since > SLICE_MS) {
          await new Promise((go) => setImmediate(go));
          since = performance.now();
        }
      }
    } finally {
      this.streaming.delete(cursor);
      await cursor.close();
    }
  }

  /** Frame `n`, exactly. Throws `PW-MEDIA-FRAME` outside the clip. Valid until the next call; `copyFrame` keeps one. */
  frame(n: number): Promise<VideoFrame> {
    const result = this.queue.then(async () => {
      if (this.closed) throw new PlatewrightError('PW-MEDIA-CLOSED', `${basename(this.path)} was closed already`, { kind: 'internal' });
      await this.ensureIndex();
      if (!Number.isInteger(n) || n < 0 || n >= this.information.frameCount) throw outside(this.path, n, this.information.frameCount);
      this.single ??= await this.newCursor();
      const frame = await this.single.get(n);
      if (frame === null) throw new PlatewrightError('PW-MEDIA-TRUNCATED', `frame ${n} of ${basename(this.path)} cannot be decoded; the file is damaged there`, { detail: { file: this.path, frame: n } });
      return frame;
    });
    this.queue = result.catch(() => undefined);
    return result;
  }

  private note(sentence: string): void {
    if (!this.information.notes.includes(sentence)) this.information = { ...this.information, notes: [...this.information.notes, sentence] };
  }

  private async newCursor(): Promise<Cursor> {
    if (this.sequence !== null) return new SequenceCursor(this.sequence, this.threads);
    return FileCursor.open(this.path, this.threads, this.information, () => this.ensureIndex(), this.built);
  }

  async close(): Promise<void> {
    this.closed = true;
    await this.queue;
    await this.single?.close();
    this.single = null;
    for (const c of this.streaming) await c.close();
    this.streaming.clear();
  }
}

interface Cursor {
  get(n: number): Promise<VideoFrame | null>;
  close(): Promise<void>;
}

/** A decoder with a place in the clip: asked for the frame after the last it decodes on, asked for another it seeks. */
class FileCursor implements Cursor {
  private readonly decoder: PictureDecoder;
  private readonly info: VideoInfo;
  private readonly site: readonly [number, number];
  private readonly orientation: Orientation;
  private extractor: PlaneExtractor | null = null;
  private extractorFormat = -1;
  private readonly ensureIndex: () => Promise<{ index: FrameIndex; timing: Timing } | null>;
  private built: { index: FrameIndex; timing: Timing } | null;
  private ordinal: Map<number, number> | null = null;
  /** Shown source frame that the decoder will give next. */
  private position = 0;
  private held: { source: number; frame: VideoFrame } | null = null;
  private open = true;

  private constructor(decoder: PictureDecoder, info: VideoInfo, ensureIndex: () => Promise<{ index: FrameIndex; timing: Timing } | null>, built: { index: FrameIndex; timing: Timing } | null) {
    this.decoder = decoder;
    this.info = info;
    this.ensureIndex = ensureIndex;
    this.built = built;
    const par = decoder.opened.video!.codecpar;
    this.site = chromaSiteOf(par.chromaLocation, deliveredFormat(par.format as number), decoder.opened.still);
    this.orientation = readDisplayMatrix(par.getCodedSideData(C.AV_PKT_DATA_DISPLAYMATRIX));
  }

  static async open(path: string, threads: number, info: VideoInfo, ensureIndex: () => Promise<{ index: FrameIndex; timing: Timing } | null>, built: { index: FrameIndex; timing: Timing } | null): Promise<FileCursor> {
    return new FileCursor(await PictureDecoder.open(path, threads), info, ensureIndex, built);
  }

  async get(n: number): Promise<VideoFrame | null> {
    // Streaming from the start of a long file needs no index as long as its rate is constant.
    if (this.built === null && n !== this.position && !this.decoder.opened.still) this.built = await this.ensureIndex();
    const source = this.built?.timing.sourceOf ? this.built.timing.sourceOf[n] : n;
    if (source === undefined) return null;
    if (this.held !== null && this.held.source === source) return { ...this.held.frame, index: n };
    const frame = this.decode(source);
    if (frame === null) return null;
    const out = this.take(frame, n);
    this.held = { source, frame: out };
    return out;
  }

  private decode(source: number): Frame | null {
    const index = this.built?.index ?? null;
    if (source < this.position || (index !== null && !index.untimed && source > this.position && index.shown[this.position] !== undefined && keyDiffers(index, this.position, source))) {
      this.held = null;
      if (index === null || index.untimed || !this.decoder.seek(index, source)) {
        if (source < this.position) this.rewind(index);
      } else this.position = -1;
    }
    for (let attempt = 0; ; attempt++) {
      const frame = this.advance(source, index);
      if (frame !== null || index === null || index.untimed || attempt === 2) return frame;
      // Landed behind the frame or lost it: go to the key before, at last to the start.
      const back = attempt === 0 ? Math.max(0, source - 300) : 0;
      if (!this.decoder.seek(index, back)) return null;
      this.position = -1;
    }
  }

  private rewind(index: FrameIndex | null): void {
    const start = index !== null && index.shown.length > 0 ? index : null;
    if (start !== null) this.decoder.seek(start, 0);
    else this.decoder.restart();
    this.position = 0;
  }

  /** Decodes on until shown frame `source`; null where it does not come. */
  private advance(source: number, index: FrameIndex | null): Frame | null {
    for (;;) {
      const frame = this.decoder.next();
      if (frame === null) {
        this.position = Infinity;
        return null;
      }
      let at = this.position;
      if (index !== null && !index.untimed) {
        const ticks = PictureDecoder.ticksOf(frame);
        const found = ticks === null ? undefined : this.shownAt(index, ticks);
        if (found === undefined) {
          // Hidden by an edit list, or a leading picture whose group is not here.
          continue;
        }
        at = found;
      }
      this.position = at + 1;
      if (at === source) return frame;
      if (at > source) return null;
    }
  }

  private shownAt(index: FrameIndex, ticks: number): number | undefined {
    this.ordinal ??= new Map(index.shown.map((d, n) => [index.pts[d]!, n]));
    return this.ordinal.get(ticks);
  }

  private take(frame: Frame, n: number): VideoFrame {
    const format = frame.format as number;
    if (this.extractor === null || format !== this.extractorFormat) {
      this.extractor?.free();
      this.extractor = new PlaneExtractor(format);
      this.extractorFormat = format;
    }
    const out = this.extractor.extract(frame, n, this.info.colour, this.site, this.orientation);
    if (out.widthPx !== this.info.widthPx || out.heightPx !== this.info.heightPx) {
      throw new PlatewrightError('PW-MEDIA-CHANGED', `frame ${n} is ${out.widthPx} × ${out.heightPx} where the clip began with ${this.info.widthPx} × ${this.info.heightPx}; split the file there`, { detail: { frame: n } });
    }
    return out;
  }

  async close(): Promise<void> {
    if (!this.open) return;
    this.open = false;
    this.extractor?.free();
    await this.decoder.close();
  }
}

/** True where reaching `to` from `from` by decoding on would pass another key frame, so that a seek is the shorter way. */
function keyDiffers(index: FrameIndex, from: number, to: number): boolean {
  if (to - from < 3) return false;
  const at = index.shown[to]!, start = index.shown[from]!;
  for (let i = index.keys.length - 1; i >= 0; i--) {
    const k = index.keys[i]!;
    if (k <= start) return false;
    if (k <= at) return index.pts[k]! <= index.pts[at]!;
  }
  return false;
}

class SequenceCursor implements Cursor {
  private readonly sequence: Sequence;
  private readonly threads: number;
  private readonly extractors = new Map<number, PlaneExtractor>();

  constructor(sequence: Sequence, threads: number) {
    this.sequence = sequence;
    this.threads = threads;
  }

  async get(n: number): Promise<VideoFrame | null> {
    const { info, first, present, pattern } = this.sequence;
    if (n >= info.frameCount) return null;
    const name = sequenceName(pattern, first + n);
    if (!present.has(first + n)) throw new PlatewrightError('PW-MEDIA-GAP', `${name} is missing from the sequence; render or copy it`, { detail: { file: name, frame: n } });
    const decoder = await PictureDecoder.open(name, 1);
    try {
      const frame = decoder.next();
      if (frame === null) throw new PlatewrightError('PW-MEDIA-TRUNCATED', `${name} cannot be decoded; render or copy it again`, { detail: { file: name, frame: n } });
      const format = frame.format as number;
      let extractor = this.extractors.get(format);
      if (!extractor) this.extractors.set(format, (extractor = new PlaneExtractor(format)));
      const par = decoder.opened.video!.codecpar;
      const out = extractor.extract(frame, n, info.colour, chromaSiteOf(par.chromaLocation, deliveredFormat(format), true), readDisplayMatrix(par.getCodedSideData(C.AV_PKT_DATA_DISPLAYMATRIX)));
      if (out.widthPx !== info.widthPx || out.heightPx !== info.heightPx) {
        throw new PlatewrightError('PW-MEDIA-CHANGED', `${name} is ${out.widthPx} × ${out.heightPx} where the sequence began with ${info.widthPx} × ${info.heightPx}`, { detail: { file: name, frame: n } });
      }
      return out;
    } finally {
      await decoder.close();
    }
  }

  async close(): Promise<void> {
    for (const e of this.extractors.values()) e.free();
    this.extractors.clear();
  }
}

async function scan(path: string): Promise<FrameIndex> {
  const input = await openInput(path);
  try {
    return await buildFrameIndex(input);
  } finally {
    await closeInput(input);
  }
}

function noPicture(path: string, sound: boolean): PlatewrightError {
  return new PlatewrightError('PW-MEDIA-NOPICTURE', `${basename(path)} has no picture that can be decoded${sound ? ', only sound' : ''}; choose a film or a still`, { detail: { file: path } });
}

function outside(path: string, n: number, count: number): PlatewrightError {
  return new PlatewrightError('PW-MEDIA-FRAME', `${basename(path)} has frames 0 to ${count - 1}, but frame ${n} was asked for`, { kind: 'usage', detail: { file: path, frame: n, frameCount: count } });
}
