/**
 * Writes pictures to a film file or a picture sequence. A file is written beside its place under a `.part` name and
 * moved there when it is whole; of a sequence every picture is, so that a render that was stopped goes on where it was.
 */
import { mkdirSync, renameSync, rmSync } from 'node:fs';
import { basename, dirname, resolve } from 'node:path';
import { PlatewrightError } from '../core/errors.js';
import { createPicture, type Picture } from '../image/picture.js';
import { linearToCoded, codedToLinear, toLinear } from './convert.js';
import { copyPlanes, fillFrame } from './encode-planes.js';
import { encodingOf, defaultColour, openEncoder, siteOf, type Encoding, type WriterOptions } from './encodings.js';
import { C, type CodecContext, Dictionary, FormatContext, type Frame, Packet, type Stream } from './ffmpeg.js';
import { readPackets } from './packets.js';
import { partName, sweepParts } from './part-name.js';
import { isSequencePattern, sequenceName, sequenceNumbers } from './sequence.js';
import { ProResEncoder } from './prores-encoder.js';
import { SoundTrack } from './sound-track.js';
import type { ColourTags, VideoFrame } from './types.js';
import { writeTrouble } from './write-trouble.js';
import { muxerOf, planesServe, requireFit, writePicture } from './writer-fit.js';
import { WriterFrames, type FillFrame } from './writer-frames.js';

/** One file or sequence being written; it is whole only after `close`. */
export class VideoWriter {
  private readonly path: string;
  private readonly options: WriterOptions;
  private readonly encoding: Encoding;
  private readonly tags: ColourTags;
  private readonly sequence: boolean;
  private scratch: Picture | null = null;
  private codec: CodecContext | null = null;
  private format: FormatContext | null = null;
  private stream: Stream | null = null;
  private track: SoundTrack | null = null;
  private readonly frames: WriterFrames;
  /** Codes the pictures in place of FFmpeg's encoder, which then only describes the stream. */
  private readonly own: ProResEncoder | null;
  private readonly packet: Packet;
  private count: number;
  private pending: Promise<void> = Promise.resolve();
  private failure: unknown = null;
  private finished = false;

  /** Pictures of a resumed sequence that were there already; `write` goes on after them. */
  readonly framesDone: number;

  private constructor(path: string, options: WriterOptions, framesDone: number) {
    this.path = path;
    this.options = options;
    this.encoding = encodingOf(options);
    this.tags = options.colour ?? defaultColour(options.codec);
    this.sequence = options.codec === 'png' || options.codec === 'exr';
    this.framesDone = framesDone;
    this.count = framesDone;
    this.frames = new WriterFrames(this.encoding.pixelFormat, options.widthPx, options.heightPx, this.tags);
    this.own =
      options.codec === 'prores4444' && this.encoding.encoder === 'prores_aw' && options.alpha !== true
        ? new ProResEncoder(options.widthPx, options.heightPx, this.tags)
        : null;
    this.packet = new Packet();
    this.packet.alloc();
  }

  /**
   * Opens for writing; the folder is made if need be. Throws `PW-MEDIA-WRITE...` errors
   * that say what does not go together.
   */
  static async open(path: string, options: WriterOptions): Promise<VideoWriter> {
    requireFit(path, options);
    mkdirSync(dirname(resolve(path)), { recursive: true });
    let done = 0;
    if (options.resume && isSequencePattern(path)) {
      const there = new Set(sequenceNumbers(path));
      const first = options.firstNumber ?? 0;
      while (there.has(first + done)) done++;
    }
    const writer = new VideoWriter(path, options, done);
    try {
      if (!writer.sequence) await writer.openFile();
    } catch (error) {
      await writer.abort();
      throw error;
    }
    return writer;
  }

  private get part(): string {
    return partName(this.path);
  }

  private makeCodec(globalHeader: boolean): Promise<CodecContext> {
    return openEncoder(
      this.encoding,
      this.options,
      this.tags,
      this.sequence || this.own !== null ? 1 : 2,
      globalHeader,
    );
  }

  private async openFile(): Promise<void> {
    sweepParts(this.path);
    const muxer = muxerOf(this.path);
    const format = new FormatContext();
    this.format = format;
    format.allocOutputContext2(null, muxer, `file:${resolve(this.part)}`);
    // No random identifiers or version strings: the same pictures give the same bytes.
    format.setFlags(C.AVFMT_FLAG_BITEXACT);
    const global = ((format.oformat?.flags ?? 0) & C.AVFMT_GLOBALHEADER) !== 0;
    this.codec = await this.makeCodec(global);
    const stream = format.newStream();
    this.stream = stream;
    stream.codecpar.fromContext(this.codec);
    stream.timeBase = this.codec.timeBase;
    stream.avgFrameRate = this.codec.framerate;
    stream.rFrameRate = this.codec.framerate;
    if (this.options.sound) this.track = await SoundTrack.open(format, this.options.sound, muxer, global);
    if ((await format.openOutput()) < 0)
      throw new PlatewrightError(
        'PW-MEDIA-WRITE',
        `${this.part} cannot be written; check the folder's rights and space`,
        { detail: { file: this.part } },
      );
    const header = Dictionary.fromObject(
      muxer === 'mp4' || muxer === 'mov' ? { movflags: '+faststart+write_colr' } : {},
    );
    const code = await format.writeHeader(header);
    header.free();
    if (code < 0)
      throw new PlatewrightError(
        'PW-MEDIA-WRITE',
        `${basename(this.path)}: the ${muxer} file cannot be begun with these streams`,
        { kind: 'internal', detail: { code } },
      );
  }

  /** Adds a scene-linear Rec. 709 picture (premultiplied alpha); it may be reused as soon as the promise resolves. */
  async write(linear: Picture): Promise<void> {
    if (this.options.codec === 'exr') return this.add(linear);
    this.requireSize(linear);
    const { widthPx, heightPx, grey, alpha } = this.options;
    const channels = grey ? 1 : alpha ? 4 : 3;
    if (linear.channels === channels) this.scratch ??= createPicture(widthPx, heightPx, channels);
    return this.add(
      linear.channels === channels && this.scratch !== null
        ? linearToCoded(linear, this.tags.transfer, this.scratch)
        : linearToCoded(linear, this.tags.transfer),
    );
  }

  /** Adds a picture that is display-coded already (straight alpha). OpenEXR stores it as light again. */
  async writeCoded(coded: Picture): Promise<void> {
    if (this.options.codec === 'exr')
      return this.add(codedToLinear(coded, this.tags.transfer === 'linear' ? 'srgb' : this.tags.transfer));
    return this.add(coded);
  }

  private requireSize(picture: { readonly width: number; readonly height: number }): void {
    const o = this.options;
    if (picture.width !== o.widthPx || picture.height !== o.heightPx) {
      throw new PlatewrightError(
        'PW-MEDIA-SIZE',
        `frame ${this.count} is ${picture.width} × ${picture.height}, ` +
          `but ${basename(this.path)} was opened for ${o.widthPx} × ${o.heightPx}`,
        { kind: 'internal' },
      );
    }
  }

  /**
   * Adds a frame in its own planes. Where they are what the encoder takes (Y'CbCr or grey of its depth, chroma and
   * tags) they go in as they are, code for code; else they are converted.
   */
  async writeFrame(frame: VideoFrame): Promise<void> {
    if (!this.takes(frame)) return this.write(toLinear(frame));
    this.requireSize({ width: frame.widthPx, height: frame.heightPx });
    return this.put((to) => copyPlanes(to, frame));
  }

  /** Does `writeLaid` serve here? */
  get hasRoom(): boolean {
    return this.own !== null;
  }

  /**
   * Adds a frame that `lay` makes in the encoder's own planes: Y'CbCr at full size, words of 10
   * bits, all of them. Only where `hasRoom` says so.
   */
  async writeLaid(lay: (planes: ProResEncoder['room']['words']) => void): Promise<void> {
    const own = this.own!;
    return this.put(() => lay(own.room.words));
  }

  /** Are the frame's planes in the very form that the encoder is fed? */
  takes(frame: VideoFrame): boolean {
    return planesServe(frame, this.encoding.pixelFormat, this.tags, siteOf(this.options));
  }

  /**
   * Adds the pictures of a film file that a writer of the same options wrote, code for code, without decoding them: of
   * codecs in which every picture stands alone (FFV1, ProRes), and of H.264 in even groups, where the file is one
   * group. Returns how many there were. Throws `PW-MEDIA-APPEND` where the file does not hold every frame once.
   */
  async append(path: string): Promise<number> {
    const group = this.options.codec === 'h264' && this.options.evenGroups === true;
    if (!group && this.options.codec !== 'ffv1' && this.options.codec !== 'prores4444')
      throw new PlatewrightError(
        'PW-MEDIA-APPEND',
        `pictures of ${this.options.codec} hang on one another and cannot be joined on as they are`,
        { kind: 'internal' },
      );
    await this.pending;
    // Pictures are coded before those that are shown earlier by so many frames: decoding
    // begins that long before the first is shown.
    const first = this.count;
    const delay = group ? this.stream!.codecpar.videoDelay : 0;
    const shown = new Set<number>();
    let begin = 0n;
    const wrong = (): PlatewrightError =>
      new PlatewrightError('PW-MEDIA-APPEND', `${basename(path)} does not hold each of its frames once`, {
        detail: { file: path },
      });
    const count = await readPackets(path, this.stream!.codecpar, this.codec!.timeBase, !group, async (packet) => {
      // A group's first picture is shown first, at whatever time its container begins with.
      if (shown.size === 0) begin = packet.pts;
      const at = group ? Number(packet.pts - begin) : this.count - first;
      if (at < 0 || shown.has(at) || first + at < this.count - delay) throw wrong();
      shown.add(at);
      packet.pts = BigInt(first + at);
      packet.dts = BigInt(this.count++ - delay);
      packet.duration = 1n;
      await this.writePacket(packet);
    });
    for (let k = 0; k < count; k++) if (!shown.has(k)) throw wrong();
    return count;
  }

  private async add(picture: Picture): Promise<void> {
    this.requireSize(picture);
    return this.put((to) => fillFrame(to, this.encoding.pixelFormat, picture, this.tags));
  }

  private async put(fill: (to: Pick<FillFrame, 'planes' | 'strides'>) => void): Promise<void> {
    if (this.finished)
      throw new PlatewrightError('PW-MEDIA-CLOSED', `${basename(this.path)} was closed already`, { kind: 'internal' });
    if (this.own !== null) return this.putOwn(this.own, fill);
    const to = this.frames.next();
    const { frame } = to;
    fill(to);
    const n = this.count++;
    frame.pts = BigInt(this.sequence ? 0 : n);
    frame.pictType = 0 as never;
    // One picture is encoded while the caller makes the next.
    await this.pending;
    if (this.failure !== null) throw this.failure;
    this.pending = (this.sequence ? this.encodePicture(frame, n) : this.encodeFrame(frame)).catch((error: unknown) => {
      this.failure = error;
    });
  }

  private async putOwn(
    encoder: ProResEncoder,
    fill: (to: Pick<FillFrame, 'planes' | 'strides'>) => void,
  ): Promise<void> {
    // The encoder's planes are free again.
    await this.pending;
    if (this.failure !== null) throw this.failure;
    fill(encoder.room);
    const n = BigInt(this.count++);
    this.pending = encoder
      .encode()
      .then(async (bytes) => {
        this.packet.data = bytes;
        this.packet.pts = this.packet.dts = n;
        this.packet.isKeyframe = true;
        await this.writePacket(this.packet);
      })
      .catch((error: unknown) => {
        this.failure = error;
      });
  }

  private async encodeFrame(frame: Frame | null): Promise<void> {
    const codec = this.codec!;
    const code = await codec.sendFrame(frame);
    if (code < 0 && code !== C.AVERROR_EOF)
      throw new PlatewrightError(
        'PW-MEDIA-ENCODER',
        `frame ${this.count - 1} of ${basename(this.path)} was refused by the encoder`,
        { kind: 'internal', detail: { code } },
      );
    for (;;) {
      if ((await codec.receivePacket(this.packet)) < 0) break;
      await this.writePacket(this.packet);
    }
  }

  /** Writes a packet whose times count frames. */
  private async writePacket(packet: Packet): Promise<void> {
    packet.streamIndex = this.stream!.index;
    if (Number(packet.duration) === 0) packet.duration = 1n;
    const seconds = (Number(packet.dts) * this.options.rate.den) / this.options.rate.num;
    packet.rescaleTs(this.codec!.timeBase, this.stream!.timeBase);
    const code = await this.format!.interleavedWriteFrame(packet);
    if (code < 0) throw writeTrouble(`${this.part} can't be written any further`, code, this.part);
    await this.track?.writeUntil(seconds + 0.5);
  }

  /**
   * A still codec made anew for each picture costs little beside its deflate, and keeps
   * every picture a file of its own.
   */
  private async encodePicture(frame: Frame, n: number): Promise<void> {
    this.codec ??= await this.makeCodec(false);
    const codec = this.codec;
    if ((await codec.sendFrame(frame)) < 0 || (await codec.receivePacket(this.packet)) < 0) {
      throw new PlatewrightError(
        'PW-MEDIA-ENCODER',
        `picture ${n} of ${basename(this.path)} was refused by the encoder`,
        { kind: 'internal' },
      );
    }
    try {
      await writePicture(
        isSequencePattern(this.path) ? sequenceName(this.path, (this.options.firstNumber ?? 0) + n) : this.path,
        this.packet.data!,
      );
    } finally {
      this.packet.unref();
    }
  }

  /** Finishes the file and moves it to its place. */
  async close(): Promise<void> {
    if (this.finished) return;
    await this.pending;
    if (this.failure !== null) {
      const error = this.failure;
      await this.abort();
      throw error;
    }
    if (this.sequence) {
      this.finished = true;
      this.free();
      return;
    }
    try {
      if (this.own === null) await this.encodeFrame(null);
      await this.track?.finish();
      const code = await this.format!.writeTrailer();
      if (code < 0) throw writeTrouble(`${this.part} can't be finished`, code, this.part);
      await this.format!.closeOutput();
    } catch (error) {
      await this.abort();
      throw error;
    }
    this.finished = true;
    this.free();
    renameSync(this.part, this.path);
  }

  /**
   * Gives up: the part is removed, a file that stood there before stays. Pictures of a sequence that are whole stay.
   */
  async abort(): Promise<void> {
    if (this.finished) return;
    this.finished = true;
    await this.pending;
    if (this.format !== null) {
      try {
        await this.format.closeOutput();
      } catch {
        // It was not open yet.
      }
    }
    this.free();
    if (!this.sequence) rmSync(this.part, { force: true });
  }

  private free(): void {
    this.frames.free();
    this.own?.free();
    this.packet.free();
    this.codec?.freeContext();
    this.track?.free();
    this.format?.freeContext();
    this.codec = null;
    this.format = null;
  }
}
