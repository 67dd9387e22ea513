/** Reads pictures from a file, a still or a picture sequence: streaming, or any frame by its number, exactly. */
import { basename, resolve } from 'node:path';
import { PlatewrightError } from '../core/errors.js';
import type { Rate } from '../core/rational.js';
import { claimedRates, COUNT_AT_ONCE_BYTES, describeVideo } from './describe.js';
import { PictureDecoder } from './decoder.js';
import { conformed, judgeFields, mayHaveFields, RUN_LENGTH, WHOLE, type FieldUse } from './field-analysis.js';
import { FieldCursor, type Cursor } from './field-cursor.js';
import { C, type Frame } from './ffmpeg.js';
import { buildFrameIndex, timingOf, type FrameIndex, type Timing } from './frame-index.js';
import { closeInput, openInput, requireFile } from './input.js';
import { readDisplayMatrix } from './orientation.js';
import { chromaSiteOf, copyFrame, deliveredFormat, PlaneExtractor } from './planes.js';
import { isSequencePattern, openSequence, sequenceName, type Sequence } from './sequence.js';
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

interface Built {
  readonly index: FrameIndex;
  readonly timing: Timing;
}

/** What was found of a file's fields, under its name, size and time of change: a clip is opened many times, and looking costs. */
const fieldsFound = new Map<string, FieldUse>();

/** Longest time that the event loop is held. */
const SLICE_MS = 12;

export class VideoReader {
  private information: VideoInfo;
  private readonly path: string;
  private readonly threads: number;
  private readonly sequence: Sequence | null;
  private built: Built | null;
  private single: Cursor | null = null;
  private queue: Promise<unknown> = Promise.resolve();
  private readonly streaming = new Set<Cursor>();
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
    if (isSequencePattern(path)) {
      const sequence = await openSequence(path, options.sequenceRate);
      return new VideoReader(path, threads, sequence.info, sequence, null);
    }
    const { sizeBytes, mtimeMs } = requireFile(path);
    const input = await openInput(path);
    try {
      const first = describeVideo(input, null, null);
      if (first === null) throw noPicture(path, input.sound !== null);
      let built: Built | null = null;
      const fields = options.fields !== 'as-is' && mayHaveFields(first.heightPx, first.rate, first.fieldOrder !== 'progressive');
      if (!input.still && (options.index || fields || sizeBytes <= COUNT_AT_ONCE_BYTES)) {
        const index = options.index ?? (await scan(path));
        built = { index, timing: timingOf(index, claimedRates(input)) };
        if (built.timing.frameCount === 0) throw new PlatewrightError('PW-MEDIA-TRUNCATED', `${basename(path)} ends before its first whole frame; copy it again from its source`, { detail: { file: path } });
      }
      const reader = new VideoReader(path, threads, describeVideo(input, built?.index ?? null, built?.timing ?? null)!, null, built);
      if (built !== null && options.fields !== 'as-is') await reader.findFields(`${resolve(path)} ${sizeBytes} ${mtimeMs}`);
      return reader;
    } finally {
      await closeInput(input);
    }
  }

  /** What is known of the clip. Damage that was met while reading is among the notes. */
  get info(): VideoInfo {
    const met = this.damage.size;
    if (met === 0) return this.information;
    const first = Math.min(...[...this.damage].slice(0, 1000));
    return { ...this.information, notes: [...this.information.notes, `${met} of the frames read so far ${met === 1 ? 'is' : 'are'} damaged (first: ${first}); a frame that was lost is stood in for by the one before it`] };
  }

  /** Frames met so far that were damaged or lost. */
  get damagedFrames(): ReadonlySet<number> {
    return this.damage;
  }

  /** Looks at two runs of frames where interlace or pulldown may be, and takes what was found into account from then on. */
  private async findFields(bytesKey: string): Promise<void> {
    const info = this.information, count = info.frameCount;
    const use = fieldsFound.get(bytesKey) ?? (await this.judge());
    if (fieldsFound.size >= 256) fieldsFound.clear();
    fieldsFound.set(bytesKey, use);
    if (use.kind === 'whole') return;
    this.fieldUse = use;
    this.sourceCount = count;
    this.information = { ...info, ...conformed(use, info.rate, count), notes: [...info.notes, use.note!] };
  }

  private async judge(): Promise<FieldUse> {
    const info = this.information, count = info.frameCount;
    const flagged = info.fieldOrder !== 'progressive';
    if (info.variableRate || info.rotationDeg !== 0 || count < 8 || !mayHaveFields(info.heightPx, info.rate, flagged)) return WHOLE;
    const starts = count <= 2 * RUN_LENGTH ? [0] : [Math.floor((count - RUN_LENGTH) / 4), Math.floor((3 * (count - RUN_LENGTH)) / 4)];
    const cursor = await this.newCursor();
    const runs: VideoFrame[][] = [];
    try {
      for (const start of starts) {
        const run: VideoFrame[] = [];
        for (let n = start; n < Math.min(count, start + (starts.length === 1 ? 2 * RUN_LENGTH : RUN_LENGTH)); n++) {
          const frame = await cursor.get(n);
          if (frame === null) break;
          run.push({ ...frame, planes: copyFrame({ ...frame, planes: frame.layout === 'rgb' ? frame.planes.slice(0, 2) : frame.planes.slice(0, 1) }).planes });
        }
        runs.push(run);
      }
    } finally {
      await cursor.close();
    }
    this.damage.clear();
    return judgeFields(runs, info.fieldOrder === 'top' ? 0 : info.fieldOrder === 'bottom' ? 1 : null);
  }

  /** The frame index, built on first need; JSON-safe. Null for stills and sequences. */
  async index(): Promise<FrameIndex | null> {
    return (await this.ensureIndex())?.index ?? null;
  }

  private async ensureIndex(): Promise<Built | null> {
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
    const cursor = await FileCursor.open(this.path, this.threads, this.information, () => this.ensureIndex(), this.built, this.damage);
    return this.fieldUse.kind === 'whole' ? cursor : new FieldCursor(cursor, this.fieldUse, this.sourceCount);
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

/** A decoder with a place in the clip: asked for the frame after the last it decodes on, asked for another it seeks. */
class FileCursor implements Cursor {
  private readonly path: string;
  private readonly threads: number;
  private readonly info: VideoInfo;
  private readonly ensureIndex: () => Promise<Built | null>;
  private readonly damage: Set<number>;
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

  private constructor(path: string, threads: number, decoder: PictureDecoder, info: VideoInfo, ensureIndex: () => Promise<Built | null>, built: Built | null, damage: Set<number>) {
    this.path = path;
    this.threads = threads;
    this.decoder = decoder;
    this.info = info;
    this.ensureIndex = ensureIndex;
    this.built = built;
    this.damage = damage;
  }

  static async open(path: string, threads: number, info: VideoInfo, ensureIndex: () => Promise<Built | null>, built: Built | null, damage: Set<number>): Promise<FileCursor> {
    return new FileCursor(path, threads, await PictureDecoder.open(path, threads), info, ensureIndex, built, damage);
  }

  async get(n: number): Promise<VideoFrame | null> {
    // Streaming from the start of a long file needs no index as long as its rate is constant.
    if (this.built === null && n !== this.position && !this.decoder.opened.still) this.built = await this.ensureIndex();
    const source = this.built?.timing.sourceOf ? this.built.timing.sourceOf[n] : n;
    if (source === undefined) return null;
    if (this.held !== null && this.held.source === source) return { ...this.held.frame, index: n };

    const index = this.built !== null && !this.built.index.untimed ? this.built.index : null;
    const next = this.waiting?.at ?? this.position;
    let sought = false;
    if (source < next && this.held !== null && this.held.source < source && this.waiting !== null) return this.inPlaceOf(n, source);
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
      if (index === null || attempt === 2 || (!sought && this.held !== null)) return got === null ? null : this.inPlaceOf(n, source);
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
    this.decoder = await PictureDecoder.open(this.path, this.threads);
    this.position = 0;
  }

  /** The decoder's next picture that the index shows, with its number; stays the same until it is handed out or dropped. */
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
    const out = this.extract(frame, n);
    if (frame.decodeErrorFlags !== 0 || (frame.flags & C.AV_FRAME_FLAG_CORRUPT) !== 0) this.damage.add(n);
    this.waiting = null;
    this.held = { source, frame: out };
    return out;
  }

  /** Frame `n` is lost: the one before it stands in, or the one after it where there is none. */
  private inPlaceOf(n: number, source: number): VideoFrame {
    this.damage.add(n);
    if (this.held !== null && this.held.source <= source) return { ...this.held.frame, index: n };
    const out = this.extract(this.waiting!.frame, n);
    this.held = { source, frame: out };
    return out;
  }

  private extract(frame: Frame, n: number): VideoFrame {
    const format = frame.format as number;
    if (this.extractor === null || format !== this.extractorFormat) {
      this.extractor?.free();
      this.extractor = new PlaneExtractor(format);
      this.extractorFormat = format;
    }
    const par = this.decoder.opened.video!.codecpar;
    const site = chromaSiteOf(par.chromaLocation, this.extractor.format, this.decoder.opened.still);
    const out = this.extractor.extract(frame, n, this.info.colour, site, readDisplayMatrix(par.getCodedSideData(C.AV_PKT_DATA_DISPLAYMATRIX)));
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
function passesKey(index: FrameIndex, from: number, to: number): boolean {
  if (!(to - from >= 3)) return false;
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
