/**
 * Decodes the pictures of one stream in the order of showing, from the start or from a key packet.
 * FFmpeg's synchronous calls are used: measured here they are 1.2 to 1.7 times as fast as the
 * promised ones; callers give the event loop its turn.
 */
import { basename } from 'node:path';
import { PlatewrightError } from '../core/errors.js';
import { C, Codec, CodecContext, Frame, NO_TIMESTAMP, Packet } from './ffmpeg.js';
import { keyBefore, type FrameIndex } from './frame-index.js';
import { closeInput, openInput, type OpenedInput } from './input.js';

/** One open stream; `close` it. A frame that `next` gave holds until the next call. */
export class PictureDecoder {
  private readonly input: OpenedInput;
  private readonly codec: CodecContext;
  private readonly packet: Packet;
  private readonly frame: Frame;
  private ended = false;
  private drained = false;
  /** Packets that the decoder refused since opening. */
  refused = 0;

  private constructor(input: OpenedInput, codec: CodecContext) {
    this.input = input;
    this.codec = codec;
    this.packet = new Packet();
    this.packet.alloc();
    this.frame = new Frame();
    this.frame.alloc();
  }

  /**
   * Throws `PW-MEDIA-NOPICTURE`, and `PW-MEDIA-CODEC` for a codec that is not decoded here.
   * @param scan for small pictures only: frames that no other frame refers to are left without their deblocking, which
   * nothing small shows.
   * @param opened the file as it was opened for something else, taken over; opening looks into the first frames anew.
   */
  static async open(
    path: string,
    threads: number,
    scan = false,
    opened: OpenedInput | null = null,
  ): Promise<PictureDecoder> {
    const input = opened ?? (await openInput(path));
    const stream = input.video;
    if (stream === null) {
      await closeInput(input);
      throw new PlatewrightError(
        'PW-MEDIA-NOPICTURE',
        `${basename(path)} has no picture in it${input.sound ? ', only sound' : ''}`,
        { detail: { file: path } },
      );
    }
    for (const s of input.context.streams) if (s.index !== stream.index) s.discard = C.AVDISCARD_ALL;
    const codec = Codec.findDecoder(stream.codecpar.codecId);
    const context = new CodecContext();
    let code = -1;
    if (codec !== null) {
      context.allocContext3(codec);
      context.parametersToContext(stream.codecpar);
      context.pktTimebase = stream.timeBase;
      context.threadCount = threads;
      if (scan) context.setOption('skip_loop_filter', 'noref');
      code = await context.open2(codec);
    }
    if (code < 0) {
      await closeInput(input);
      throw new PlatewrightError(
        'PW-MEDIA-CODEC',
        `${basename(path)} uses a picture codec that cannot be decoded here; convert it to H.264 or ProRes`,
        { detail: { file: path } },
      );
    }
    return new PictureDecoder(input, context);
  }

  get opened(): OpenedInput {
    return this.input;
  }

  /** Next picture in the order of showing, or null at the end. It is valid until the next call. */
  next(): Frame | null {
    this.frame.unref();
    for (;;) {
      const code = this.codec.receiveFrameSync(this.frame);
      if (code >= 0) return this.frame;
      if (code === C.AVERROR_EOF || this.drained) return null;
      if (code !== C.AVERROR_EAGAIN) this.refused++;
      if (this.ended) {
        this.codec.sendPacketSync(null);
        this.drained = true;
        continue;
      }
      this.feed();
    }
  }

  private feed(): void {
    for (;;) {
      const code = this.input.context.readFrameSync(this.packet);
      if (code < 0) {
        // A read error in the middle is the end of what can be had; the index tells how much that is.
        this.ended = true;
        return;
      }
      if (this.packet.streamIndex === this.input.video!.index) {
        const corrupt = (this.packet.flags & C.AV_PKT_FLAG_CORRUPT) !== 0;
        if (!corrupt && this.codec.sendPacketSync(this.packet) < 0) this.refused++;
        this.packet.unref();
        return;
      }
      this.packet.unref();
    }
  }

  /** Ticks of a decoded picture; where it has none, null. */
  static ticksOf(frame: Frame): number | null {
    const best = frame.bestEffortTimestamp;
    const t = best !== NO_TIMESTAMP ? best : frame.pts;
    return t === NO_TIMESTAMP ? null : Number(t);
  }

  /** Goes to a place from which shown frame `n` will come out whole. Returns false where the file can't be sought. */
  seek(index: FrameIndex, n: number): boolean {
    const key = keyBefore(index, n);
    const stream = this.input.video!;
    const wanted = index.dts[key]!;
    // Containers seek by decoding or by showing time; both are tried, the earlier first, and the landing is checked.
    const tries =
      key === 0 ? [Math.min(wanted, index.pts[key]!)] : [Math.min(wanted, index.pts[key]!), index.pts[key]!];
    for (const t of tries) {
      if (this.input.context.seekFrameSync(stream.index, BigInt(t), C.AVSEEK_FLAG_BACKWARD) >= 0) {
        this.reset();
        return true;
      }
    }
    return false;
  }

  private reset(): void {
    this.codec.flushBuffers();
    this.frame.unref();
    this.ended = false;
    this.drained = false;
  }

  async close(): Promise<void> {
    this.frame.free();
    this.packet.free();
    this.codec.freeContext();
    await closeInput(this.input);
  }
}
