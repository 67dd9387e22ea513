/**
 * Writes pictures to a film file or a picture sequence. A file is written beside its place under a `.part` name and
 * moved there when it is whole; of a sequence every picture is, so that a render that was stopped goes on where it was.
 */
import { mkdirSync } from 'node:fs';
import { basename, dirname, resolve } from 'node:path';
import { PlatewrightError } from '../core/errors.js';
import { createPicture, type Picture } from '../image/picture.js';
import { linearToCoded, codedToLinear, toLinear } from './convert.js';
import { copyPlanes, fillFrame } from './encode-planes.js';
import {
  codesSaid,
  encodingOf,
  defaultColour,
  openEncoder,
  siteOf,
  type Encoding,
  type WriterOptions,
} from './encodings.js';
import { C, type CodecContext, type Frame, Packet } from './ffmpeg.js';
import { FilmFile } from './film-file.js';
import { isSequencePattern, sequenceName, sequenceNumbers } from './sequence.js';
import { ProResEncoder } from './prores-encoder.js';
import type { ColourTags, VideoFrame } from './types.js';
import { planesServe, requireFit, writePicture } from './writer-fit.js';
import { WriterFrames, type FillFrame } from './writer-frames.js';

/** One file or sequence being written; it is whole only after `close`. */
export class VideoWriter {
  private readonly path: string;
  private readonly options: WriterOptions;
  private readonly encoding: Encoding;
  private readonly tags: ColourTags;
  private readonly sequence: boolean;
  private scratch: Picture | null = null;
  /** The file; null of a sequence. */
  private film: FilmFile | null = null;
  /** A sequence's encoder, opened with its first picture. */
  private stills: CodecContext | null = null;
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
    this.frames = new WriterFrames(
      this.encoding.pixelFormat,
      options.widthPx,
      options.heightPx,
      codesSaid(options.codec, this.tags),
    );
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
      if (!writer.sequence)
        writer.film = await FilmFile.open(path, {
          rate: options.rate,
          sound: options.sound ?? null,
          encoder: (globalHeader) => writer.makeCodec(globalHeader),
        });
    } catch (error) {
      await writer.abort();
      throw error;
    }
    return writer;
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
      return this.add(codedToLinear(coded, this.tags.transfer === 'linear' ? 'bt709' : this.tags.transfer));
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
    const count = await this.film!.append(path, this.count, group);
    this.count += count;
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
        await this.film!.writePacket(this.packet);
      })
      .catch((error: unknown) => {
        this.failure = error;
      });
  }

  private async encodeFrame(frame: Frame | null): Promise<void> {
    const { codec } = this.film!;
    const code = await codec.sendFrame(frame);
    if (code < 0 && code !== C.AVERROR_EOF)
      throw new PlatewrightError(
        'PW-MEDIA-ENCODER',
        `frame ${this.count - 1} of ${basename(this.path)} was refused by the encoder`,
        { kind: 'internal', detail: { code } },
      );
    for (;;) {
      if ((await codec.receivePacket(this.packet)) < 0) break;
      await this.film!.writePacket(this.packet);
    }
  }

  /**
   * A still codec made anew for each picture costs little beside its deflate, and keeps
   * every picture a file of its own.
   */
  private async encodePicture(frame: Frame, n: number): Promise<void> {
    const codec = (this.stills ??= await this.makeCodec(false));
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
    if (this.film !== null) {
      try {
        if (this.own === null) await this.encodeFrame(null);
        await this.film.finish();
      } catch (error) {
        await this.abort();
        throw error;
      }
    }
    this.finished = true;
    this.free();
  }

  /**
   * Gives up: the part is removed, a file that stood there before stays. Pictures of a sequence that are whole stay.
   */
  async abort(): Promise<void> {
    if (this.finished) return;
    this.finished = true;
    await this.pending;
    await this.film?.abort();
    this.free();
  }

  private free(): void {
    this.frames.free();
    this.own?.free();
    this.packet.free();
    this.stills?.freeContext();
    this.stills = null;
  }
}
