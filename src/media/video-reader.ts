/** Reads pictures from a file, a still or a picture sequence: streaming, or any frame by its number, exactly. */
import { basename, resolve } from 'node:path';
import type { Rate } from '../core/rational.js';
import { claimedRates, COUNT_AT_ONCE_BYTES, describeVideo } from './describe.js';
import { conformed, mayHaveFields, WHOLE, type FieldUse } from './field-analysis.js';
import { FieldCursor, type Cursor } from './field-cursor.js';
import { fieldsOf } from './fields-of-file.js';
import { FileCursor, type Built } from './file-cursor.js';
import { buildFrameIndex, type FrameIndex } from './frame-index.js';
import { timingOf } from './frame-timing.js';
import { closeInput, openInput, requireFile, type OpenedInput } from './input.js';
import { closedAlready, damagedAt, endsTooSoon, noPicture, outside } from './reader-trouble.js';
import { SequenceCursor } from './sequence-cursor.js';
import type { ReducedFrame, SmallSize } from './reduce.js';
import { isPictureFolder, isSequencePattern, openSequence, type Sequence } from './sequence.js';
import type { VideoFrame, VideoInfo } from './types.js';

export interface ReaderOptions {
  /** Decoder threads; 2 unless told. */
  readonly threads?: number;
  /** Rate to give a picture sequence. */
  readonly sequenceRate?: Rate;
  /** `as-is` leaves interlace and pulldown in the pictures; else they are looked for and undone. */
  readonly fields?: 'undo' | 'as-is';
  /** An index read from a cache (`reader.index()` of an earlier run over the same bytes). */
  readonly index?: FrameIndex;
}

/**
 * What was found of a file's fields, under its name, size and time of change: a clip is
 * opened many times, and looking costs.
 */
const fieldsFound = new Map<string, FieldUse>();

/** Containers in which any place is found again after the file was read to its end. */
const SOUGHT = /mov|mp4|matroska/;

/** Longest time that the event loop is held. */
const SLICE_MS = 12;

/** One open file or sequence; `close` it. Frames are numbered from 0 in the order of showing. */
export class VideoReader {
  private information: VideoInfo;
  private readonly path: string;
  private readonly threads: number;
  private readonly sequence: Sequence | null;
  private built: Built | null;
  private single: Cursor | null = null;
  private queue: Promise<unknown> = Promise.resolve();
  private readonly streaming = new Set<Cursor>();
  /**
   * Of a stream that ended: a clip is often read in many short runs, and opening costs as much as some frames of it.
   */
  private idle: FileCursor | null = null;
  /** The file as it was opened to be described: the first to read pictures goes on with it. */
  private opened: OpenedInput | null = null;
  private closed = false;
  private fieldUse: FieldUse = WHOLE;
  private sourceCount = 0;
  private readonly damage = new Set<number>();

  private constructor(path: string, threads: number, info: VideoInfo, sequence: Sequence | null, built: Built | null) {
    this.path = path;
    this.threads = threads;
    this.information = info;
    this.sequence = sequence;
    this.built = built;
  }

  /** Opens for reading. Throws the `PW-MEDIA-...` errors of `probe`, and `PW-MEDIA-NOPICTURE` for sound alone. */
  static async open(path: string, options: ReaderOptions = {}): Promise<VideoReader> {
    const threads = options.threads ?? 2;
    if (isSequencePattern(path) || isPictureFolder(path)) {
      const sequence = await openSequence(path, options.sequenceRate);
      return new VideoReader(path, threads, sequence.info, sequence, null);
    }
    const { sizeBytes, mtimeMs } = requireFile(path);
    const input = await openInput(path);
    let kept = false;
    try {
      const first = describeVideo(input, null, null);
      if (first === null) throw noPicture(path, input);
      let built: Built | null = null;
      const fields =
        options.fields !== 'as-is' && mayHaveFields(first.heightPx, first.rate, first.fieldOrder !== 'progressive');
      if (!input.still && (options.index || fields || sizeBytes <= COUNT_AT_ONCE_BYTES)) {
        const index = options.index ?? (await buildFrameIndex(input));
        built = { index, timing: timingOf(index, claimedRates(input), input.sound !== null) };
        if (built.timing.frameCount === 0) throw endsTooSoon(path);
      }
      const reader = new VideoReader(
        path,
        threads,
        describeVideo(input, built?.index ?? null, built?.timing ?? null)!,
        null,
        built,
      );
      if (built !== null && !built.index.untimed && SOUGHT.test(input.container)) {
        reader.opened = input;
        kept = true;
      }
      try {
        if (built !== null && options.fields !== 'as-is')
          await reader.findFields(`${resolve(path)} ${sizeBytes} ${mtimeMs}`);
      } catch (error) {
        await reader.close();
        throw error;
      }
      return reader;
    } finally {
      if (!kept) await closeInput(input);
    }
  }

  /** What is known of the clip. Damage that was met while reading is among the notes. */
  get info(): VideoInfo {
    const met = this.damage.size;
    if (met === 0) return this.information;
    const first = Math.min(...[...this.damage].slice(0, 1000));
    return {
      ...this.information,
      notes: [
        ...this.information.notes,
        `${met} of the frames read so far ${met === 1 ? 'is' : 'are'} damaged (first: ${first}); ` +
          'a frame that was lost is stood in for by the one before it',
      ],
    };
  }

  /** Frames met so far that were damaged or lost. */
  get damagedFrames(): ReadonlySet<number> {
    return this.damage;
  }

  /**
   * Looks at two runs of frames where interlace or pulldown may be, and takes what was found into account from then on.
   */
  private async findFields(bytesKey: string): Promise<void> {
    const info = this.information;
    const count = info.frameCount;
    const use = fieldsFound.get(bytesKey) ?? (await this.lookAtFields());
    if (fieldsFound.size >= 256) fieldsFound.clear();
    fieldsFound.set(bytesKey, use);
    if (use.kind === 'whole') return;
    this.fieldUse = use;
    this.sourceCount = count;
    this.information = { ...info, ...conformed(use, info.rate, count), notes: [...info.notes, use.note!] };
  }

  private async lookAtFields(): Promise<FieldUse> {
    const use = await fieldsOf(this.information, () => this.newCursor());
    // What the look met will be met again.
    this.damage.clear();
    return use;
  }

  /** The frame index, built on first need; JSON-safe. Null for stills and sequences. */
  async index(): Promise<FrameIndex | null> {
    return (await this.ensureIndex())?.index ?? null;
  }

  /** The same where it is there already. */
  get knownIndex(): FrameIndex | null {
    return this.built?.index ?? null;
  }

  /**
   * Frames that only repeat the one before, because a file of varying rate has none of its own for that moment. Rising.
   */
  async heldFrames(): Promise<readonly number[]> {
    const source = (await this.ensureIndex())?.timing.sourceOf ?? null;
    const held: number[] = [];
    if (source !== null) for (let n = 1; n < source.length; n++) if (source[n] === source[n - 1]) held.push(n);
    return held;
  }

  private async ensureIndex(): Promise<Built | null> {
    if (this.sequence !== null) return null;
    if (this.built === null) {
      const input = await openInput(this.path);
      try {
        if (input.still) return null;
        const index = await buildFrameIndex(input);
        this.built = { index, timing: timingOf(index, claimedRates(input), input.sound !== null) };
        this.information = describeVideo(input, index, this.built.timing)!;
      } finally {
        await closeInput(input);
      }
    }
    return this.built;
  }

  /**
   * Frames `from` (inclusive) to `to` (exclusive) in order. Each is valid until the next is asked for; `copyFrame`
   * keeps one. Several streams may run beside each other and beside `frame`.
   */
  frames(from = 0, to = Infinity): AsyncGenerator<VideoFrame, void, undefined> {
    return this.stream(from, to, null);
  }

  private async *stream(
    from: number,
    to: number,
    small: SmallSize | null,
  ): AsyncGenerator<VideoFrame, void, undefined> {
    const count = this.information.frameCount;
    const end = this.information.frameCountExact ? Math.min(to, count) : to;
    if (from < 0 || !Number.isInteger(from)) throw outside(this.path, from, count);
    const cursor = await this.newCursor(small);
    this.streaming.add(cursor);
    let whole = true;
    try {
      let since = performance.now();
      for (let n = from; n < end; n++) {
        whole = false;
        const frame = await cursor.get(n);
        if (frame === null) {
          if (this.information.frameCountExact)
            this.note(
              `${basename(this.path)} stops decoding at frame ${n} of ${count}; the ${n} whole frames were kept`,
            );
          return;
        }
        whole = true;
        yield frame;
        if (performance.now() - since > SLICE_MS) {
          await new Promise((go) => setImmediate(go));
          since = performance.now();
        }
      }
    } finally {
      this.streaming.delete(cursor);
      if (whole && !this.closed && this.idle === null && cursor instanceof FileCursor && cursor.reusable) {
        cursor.rest();
        this.idle = cursor;
      } else await cursor.close();
    }
  }

  /**
   * The frames for a scan: at the size asked for where FFmpeg can make them small on the way
   * (Y'CbCr that stands upright and needs no fields put right), else in full. The full frame can be
   * had from each as long as it is the last asked for.
   */
  async *reducedFrames(size: SmallSize, from = 0, to = Infinity): AsyncGenerator<ReducedFrame, void, undefined> {
    for await (const frame of this.stream(from, to, size))
      yield 'whole' in frame ? (frame as ReducedFrame) : { ...frame, whole: () => frame };
  }

  /** Frame `n`, exactly. Throws `PW-MEDIA-FRAME` outside the clip. Valid until the next call; `copyFrame` keeps one. */
  frame(n: number): Promise<VideoFrame> {
    const result = this.queue.then(async () => {
      if (this.closed) throw closedAlready(this.path);
      await this.ensureIndex();
      if (!Number.isInteger(n) || n < 0 || n >= this.information.frameCount)
        throw outside(this.path, n, this.information.frameCount);
      this.single ??= await this.newCursor();
      const frame = await this.single.get(n);
      if (frame === null) throw damagedAt(this.path, n);
      return frame;
    });
    this.queue = result.catch(() => undefined);
    return result;
  }

  private note(sentence: string): void {
    if (!this.information.notes.includes(sentence))
      this.information = { ...this.information, notes: [...this.information.notes, sentence] };
  }

  private async newCursor(small: SmallSize | null = null): Promise<Cursor> {
    if (this.sequence !== null) return new SequenceCursor(this.sequence);
    const whole = this.fieldUse.kind === 'whole';
    const rested = this.idle;
    if (whole && small === null && rested !== null) {
      this.idle = null;
      return rested;
    }
    // A scan's caller works while the decoder does: one more frame under way keeps its threads busy meanwhile.
    const { opened } = this;
    this.opened = null;
    const file = {
      path: this.path,
      threads: this.threads + (small === null ? 0 : 1),
      info: this.information,
      ensureIndex: () => this.ensureIndex(),
      built: this.built,
      damage: this.damage,
    };
    const cursor = await FileCursor.open(file, whole ? small : null, opened);
    return whole ? cursor : new FieldCursor(cursor, this.fieldUse, this.sourceCount);
  }

  async close(): Promise<void> {
    this.closed = true;
    await this.queue;
    await this.single?.close();
    this.single = null;
    for (const c of this.streaming) await c.close();
    this.streaming.clear();
    await this.idle?.close();
    this.idle = null;
    if (this.opened !== null) await closeInput(this.opened);
    this.opened = null;
  }
}
