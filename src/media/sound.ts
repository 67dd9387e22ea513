/** Sound of a file as interleaved floats, and WAV files. */
import { renameSync, writeFileSync } from 'node:fs';
import { basename } from 'node:path';
import { PlatewrightError } from '../core/errors.js';
import {
  avChannelLayoutDefault,
  C,
  Codec,
  CodecContext,
  Frame,
  NO_TIMESTAMP,
  Packet,
  SoftwareResampleContext,
  type Stream,
} from './ffmpeg.js';
import { closeInput, openInput, type OpenedInput } from './input.js';
import type { Sound } from './types.js';

export interface SoundOptions {
  /** Resampled to this rate; the file's own unless told. */
  readonly sampleRate?: number;
  /** Mixed to this many channels (FFmpeg's standard mix, scaled not to clip); the file's own unless told. */
  readonly channels?: number;
  /** Part of the sound, seconds. */
  readonly fromSeconds?: number;
  readonly toSeconds?: number;
}

/** Reads the sound whole. Null where the file has none. Samples are placed by their times: a late start is silence. */
export async function readSound(path: string, options: SoundOptions = {}): Promise<Sound | null> {
  const blocks: Float32Array[] = [];
  let head: { sampleRate: number; channels: number } | null = null;
  for await (const block of soundBlocks(path, options)) {
    head = block;
    blocks.push(block.samples);
  }
  if (head === null) return null;
  const total = blocks.reduce((n, b) => n + b.length, 0);
  const samples = new Float32Array(total);
  let at = 0;
  for (const b of blocks) {
    samples.set(b, at);
    at += b.length;
  }
  return { sampleRate: head.sampleRate, channels: head.channels, samples };
}

/** Streams the sound in blocks of a few thousand samples, so that a long film's sound need not be held. */
export async function* soundBlocks(path: string, options: SoundOptions = {}): AsyncGenerator<Sound, void, undefined> {
  const input = await openInput(path);
  try {
    if (input.sound === null || input.sound.codecpar.sampleRate <= 0 || input.sound.codecpar.channels <= 0) return;
    yield* decodeSound(input, input.sound, options);
  } finally {
    await closeInput(input);
  }
}

/** Which sound is asked for, in samples of the answer's own rate; `to` exclusive. */
interface Part {
  readonly sampleRate: number;
  readonly channels: number;
  readonly from: number;
  readonly to: number;
}

/** Longest silence, seconds, that a late start is filled with: a later one is a broken time. */
const LATEST_START_S = 3600;
/** How long, ms, decoding may hold the process before others get their turn. */
const TURN_MS = 12;

async function* decodeSound(
  input: OpenedInput,
  stream: Stream,
  options: SoundOptions,
): AsyncGenerator<Sound, void, undefined> {
  const context = await openDecoder(input, stream);
  for (const s of input.context.streams) if (s.index !== stream.index) s.discard = C.AVDISCARD_ALL;
  const sampleRate = options.sampleRate ?? stream.codecpar.sampleRate;
  const part: Part = {
    sampleRate,
    channels: options.channels ?? stream.codecpar.channels,
    from: Math.round((options.fromSeconds ?? 0) * sampleRate),
    to: options.toSeconds === undefined ? Infinity : Math.round(options.toSeconds * sampleRate),
  };
  if (part.from > 0)
    input.context.seekFrameSync(
      stream.index,
      BigInt(Math.floor(((options.fromSeconds! - 0.2) * stream.timeBase.den) / stream.timeBase.num)),
      C.AVSEEK_FLAG_BACKWARD,
    );
  const converter = new BlockConverter(input.path, stream, part);
  const packet = new Packet();
  const frame = new Frame();
  packet.alloc();
  frame.alloc();
  const sound = (samples: Float32Array): Sound => ({ sampleRate, channels: part.channels, samples });
  let since = performance.now();
  try {
    let ended = false;
    while (!ended) {
      const code = input.context.readFrameSync(packet);
      if (code < 0) {
        ended = true;
        context.sendPacketSync(null);
      } else {
        if (packet.streamIndex === stream.index) context.sendPacketSync(packet);
        packet.unref();
      }
      while (context.receiveFrameSync(frame) >= 0) {
        if (frame.nbSamples > 0) {
          const gap = converter.begin(frame);
          if (gap !== null) yield sound(gap);
          const piece = converter.convert(frame);
          if (piece !== null) yield sound(piece);
        }
        frame.unref();
        if (converter.ended) ended = true;
      }
      if (performance.now() - since > TURN_MS) {
        await new Promise((go) => setImmediate(go));
        since = performance.now();
      }
    }
    const rest = converter.begun ? converter.convert(null) : null;
    if (rest !== null) yield sound(rest);
  } finally {
    frame.free();
    packet.free();
    converter.free();
    context.freeContext();
  }
}

async function openDecoder(input: OpenedInput, stream: Stream): Promise<CodecContext> {
  const codec = Codec.findDecoder(stream.codecpar.codecId);
  if (codec === null) throw unreadable(input.path);
  const context = new CodecContext();
  context.allocContext3(codec);
  context.parametersToContext(stream.codecpar);
  context.pktTimebase = stream.timeBase;
  if ((await context.open2(codec)) < 0) {
    context.freeContext();
    throw unreadable(input.path);
  }
  return context;
}

/** Brings decoded blocks to the rate and channels asked for and cuts them to the part asked for. */
class BlockConverter {
  private readonly path: string;
  private readonly stream: Stream;
  private readonly part: Part;
  private readonly resampler = new SoftwareResampleContext();
  private space = Buffer.alloc(0);
  /** Sample of the answer that the next block begins at; null before the first. */
  private position: number | null = null;

  constructor(path: string, stream: Stream, part: Part) {
    this.path = path;
    this.stream = stream;
    this.part = part;
  }

  get begun(): boolean {
    return this.position !== null;
  }

  /** All that was asked for is there. */
  get ended(): boolean {
    return (this.position ?? 0) >= this.part.to;
  }

  /** To be told each block before it is converted: of the first it takes format and time. Silence before a late one. */
  begin(frame: Frame): Float32Array | null {
    if (this.position !== null) return null;
    const { sampleRate, channels, from, to } = this.part;
    const own = frame.channelLayout;
    const layout = own.nbChannels > 0 && own.mask !== 0n ? own : avChannelLayoutDefault(this.stream.codecpar.channels);
    this.resampler.allocSetOpts2(
      avChannelLayoutDefault(channels),
      C.AV_SAMPLE_FMT_FLT,
      sampleRate,
      layout,
      frame.format as never,
      frame.sampleRate,
    );
    // Mixes are scaled so that full channels stay within full scale: stereo to mono is the mean.
    this.resampler.setOption('rematrix_maxval', '1.0');
    if (this.resampler.init() < 0) throw unreadable(this.path);
    const time = frame.bestEffortTimestamp !== NO_TIMESTAMP ? frame.bestEffortTimestamp : frame.pts;
    const { num, den } = this.stream.timeBase;
    this.position = Math.round((time === NO_TIMESTAMP ? 0 : (Number(time) * num) / den) * sampleRate);
    if (this.position <= from || this.position >= from + sampleRate * LATEST_START_S) return null;
    const gap = new Float32Array((Math.min(this.position, to) - from) * channels);
    return gap.length > 0 ? gap : null;
  }

  /** Converts a block (null: what is left in the resampler); null where nothing of it was asked for. */
  convert(frame: Frame | null): Float32Array | null {
    const { channels, from, to } = this.part;
    const count = frame === null ? 0 : frame.nbSamples;
    const most = this.resampler.getOutSamples(count) + 64;
    if (this.space.length < most * channels * 4) this.space = Buffer.from(new ArrayBuffer(most * channels * 4));
    const data = frame === null ? null : (frame.extendedData ?? frame.data);
    const got = this.resampler.convertSync([this.space], most, data, count);
    if (got <= 0) return null;
    const out = new Float32Array(this.space.buffer as ArrayBuffer, 0, got * channels);
    const begin = this.position ?? 0;
    this.position = begin + got;
    const a = Math.max(0, from - begin);
    const b = Math.min(got, to - begin);
    return b > a ? out.slice(a * channels, b * channels) : null;
  }

  free(): void {
    this.resampler.free();
  }
}

function unreadable(path: string): PlatewrightError {
  return new PlatewrightError(
    'PW-MEDIA-CODEC',
    `the sound of ${basename(path)} uses a codec that cannot be decoded here; convert it to WAV or AAC`,
    { detail: { file: path } },
  );
}

/**
 * Writes RIFF/WAVE: 16 or 24 bit integers (rounded, held at full scale) or 32-bit floats. Beside and renamed. Throws
 * `PW-MEDIA-WAVSIZE` beyond the 4 GB that the form can hold.
 * @param bits 16, 24, or 32 for float
 */
export function writeWav(path: string, sound: Sound, bits: 16 | 24 | 32 = 24): void {
  const { sampleRate, channels, samples } = sound;
  const bytes = bits / 8;
  const size = samples.length * bytes;
  if (size > 0xffffffff - 64)
    throw new PlatewrightError(
      'PW-MEDIA-WAVSIZE',
      `${basename(path)} would pass the 4 GB that a WAV file can hold; write it in parts`,
      { kind: 'usage' },
    );
  const out = Buffer.alloc(44 + size + (size & 1));
  out.write('RIFF', 0, 'latin1');
  out.writeUInt32LE(36 + size + (size & 1), 4);
  out.write('WAVEfmt ', 8, 'latin1');
  out.writeUInt32LE(16, 16);
  out.writeUInt16LE(bits === 32 ? 3 : 1, 20);
  out.writeUInt16LE(channels, 22);
  out.writeUInt32LE(sampleRate, 24);
  out.writeUInt32LE(sampleRate * channels * bytes, 28);
  out.writeUInt16LE(channels * bytes, 32);
  out.writeUInt16LE(bits, 34);
  out.write('data', 36, 'latin1');
  out.writeUInt32LE(size, 40);
  const scale = bits === 16 ? 32768 : 8388608;
  for (let i = 0, at = 44; i < samples.length; i++, at += bytes) {
    const v = samples[i]!;
    if (bits === 32) out.writeFloatLE(v, at);
    else {
      const q = Math.max(-scale, Math.min(scale - 1, Math.round(v * scale)));
      if (bits === 16) out.writeInt16LE(q, at);
      else out.writeIntLE(q, at, 3);
    }
  }
  writeFileSync(`${path}.part`, out);
  renameSync(`${path}.part`, path);
}
