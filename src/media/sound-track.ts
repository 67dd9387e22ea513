/** The sound stream of a film file that is being written: AAC in mp4, PCM elsewhere. */
import { PlatewrightError } from '../core/errors.js';
import {
  avChannelLayoutDefault,
  C,
  Codec,
  CodecContext,
  Frame,
  Packet,
  Rational,
  type FormatContext,
  type Stream,
} from './ffmpeg.js';
import type { Sound } from './types.js';
import { writeTrouble } from './write-trouble.js';

/** Written along with the picture by `writeUntil`; `finish` before the file is closed, `free` in any case. */
export class SoundTrack {
  private readonly format: FormatContext;
  private readonly sound: Sound;
  private readonly codec: CodecContext;
  private readonly stream: Stream;
  private readonly packet: Packet;
  private readonly chunk: number;
  private readonly planar: boolean;
  private position = 0;

  private constructor(
    format: FormatContext,
    sound: Sound,
    codec: CodecContext,
    stream: Stream,
    chunk: number,
    planar: boolean,
  ) {
    this.format = format;
    this.sound = sound;
    this.codec = codec;
    this.stream = stream;
    this.chunk = chunk;
    this.planar = planar;
    this.packet = new Packet();
    this.packet.alloc();
  }

  /** Throws `PW-MEDIA-ENCODER` for channels or a rate that the form does not take. */
  static async open(format: FormatContext, sound: Sound, muxer: string, globalHeader: boolean): Promise<SoundTrack> {
    const aac = muxer === 'mp4';
    const codec = Codec.findEncoderByName((aac ? 'aac' : 'pcm_s24le') as never)!;
    const c = new CodecContext();
    c.allocContext3(codec);
    c.sampleRate = sound.sampleRate;
    c.channelLayout = avChannelLayoutDefault(sound.channels);
    c.sampleFormat = aac ? C.AV_SAMPLE_FMT_FLTP : C.AV_SAMPLE_FMT_S32;
    c.timeBase = new Rational(1, sound.sampleRate);
    if (aac) c.bitRate = BigInt(128000 * Math.max(2, sound.channels));
    if (globalHeader) c.setFlags(C.AV_CODEC_FLAG_GLOBAL_HEADER);
    if ((await c.open2(codec)) < 0) {
      throw new PlatewrightError(
        'PW-MEDIA-ENCODER',
        `sound with ${sound.channels} channels at ${sound.sampleRate} Hz cannot be encoded; ` +
          'resample to 48000 Hz, one or two channels',
      );
    }
    const stream = format.newStream();
    stream.codecpar.fromContext(c);
    stream.timeBase = c.timeBase;
    return new SoundTrack(format, sound, c, stream, c.frameSize > 0 ? c.frameSize : 1024, aac);
  }

  /** Writes sound up to this time. */
  async writeUntil(seconds: number): Promise<void> {
    const total = this.sound.samples.length / this.sound.channels;
    const goal = Math.min(total, Math.ceil(seconds * this.sound.sampleRate));
    while (this.position < goal) await this.encode(Math.min(this.chunk, total - this.position));
  }

  private async encode(samples: number): Promise<void> {
    const { channels, sampleRate, samples: data } = this.sound;
    const frame = new Frame();
    frame.alloc();
    try {
      frame.format = this.codec.sampleFormat;
      frame.sampleRate = sampleRate;
      frame.channelLayout = avChannelLayoutDefault(channels);
      frame.nbSamples = samples;
      frame.getBuffer(0);
      frame.pts = BigInt(this.position);
      const buffers = frame.extendedData ?? frame.data!;
      const at = this.position * channels;
      if (this.planar) {
        for (let c = 0; c < channels; c++) {
          const b = buffers[c]!;
          const out = new Float32Array(b.buffer, b.byteOffset, samples);
          for (let i = 0; i < samples; i++) out[i] = data[at + i * channels + c]!;
        }
      } else {
        const b = buffers[0]!;
        const out = new Int32Array(b.buffer, b.byteOffset, samples * channels);
        for (let i = 0; i < out.length; i++) {
          // 24 bits in the upper part of 32.
          const v = Math.round(data[at + i]! * 8388608);
          out[i] = (v < -8388608 ? -8388608 : v > 8388607 ? 8388607 : v) << 8;
        }
      }
      this.position += samples;
      await this.send(frame);
    } finally {
      frame.free();
    }
  }

  private async send(frame: Frame | null): Promise<void> {
    if ((await this.codec.sendFrame(frame)) < 0)
      throw new PlatewrightError('PW-MEDIA-ENCODER', 'the sound encoder refused a block', { kind: 'internal' });
    while ((await this.codec.receivePacket(this.packet)) >= 0) {
      this.packet.streamIndex = this.stream.index;
      this.packet.rescaleTs(this.codec.timeBase, this.stream.timeBase);
      const code = await this.format.interleavedWriteFrame(this.packet);
      if (code < 0) throw writeTrouble("the sound can't be written any further", code, this.format.url ?? '');
    }
  }

  async finish(): Promise<void> {
    await this.writeUntil(Infinity);
    await this.send(null);
  }

  free(): void {
    this.packet.free();
    this.codec.freeContext();
  }
}
