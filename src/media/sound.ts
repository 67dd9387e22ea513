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

async function* decodeSound(
  input: OpenedInput,
  stream: Stream,
  options: SoundOptions,
): AsyncGenerator<Sound, void, undefined> {
  const par = stream.codecpar;
  const codec = Codec.findDecoder(par.codecId);
  const context = new CodecContext();
  if (codec === null) throw unreadable(input.path);
  context.allocContext3(codec);
  context.parametersToContext(par);
  context.pktTimebase = stream.timeBase;
  if ((await context.open2(codec)) < 0) {
    context.freeContext();
    throw unreadable(input.path);
  }
  for (const s of input.context.streams) if (s.index !== stream.index) s.discard = C.AVDISCARD_ALL;
  const sampleRate = options.sampleRate ?? par.sampleRate;
  const channels = options.channels ?? par.channels;
  const from = Math.round((options.fromSeconds ?? 0) * sampleRate);
  const to = options.toSeconds === undefined ? Infinity : Math.round(options.toSeconds * sampleRate);
  if (from > 0)
    input.context.seekFrameSync(
      stream.index,
      BigInt(Math.floor(((options.fromSeconds! - 0.2) * stream.timeBase.den) / stream.timeBase.num)),
      C.AVSEEK_FLAG_BACKWARD,
    );
  const resampler = new SoftwareResampleContext();
  const packet = new Packet();
  const frame = new Frame();
  packet.alloc();
  frame.alloc();
  let position: number | null = null;
  let set = false;
  let since = performance.now();
  const outLayout = avChannelLayoutDefault(channels);
  let space = Buffer.alloc(0);

  /** Converts a block (null: what is left in the resampler) and cuts it to the part asked for. */
  const convert = (f: Frame | null): Float32Array[] => {
    const count = f === null ? 0 : f.nbSamples;
    const most = resampler.getOutSamples(count) + 64;
    if (space.length < most * channels * 4) space = Buffer.from(new ArrayBuffer(most * channels * 4));
    const got = resampler.convertSync([space], most, f === null ? null : (f.extendedData ?? f.data), count);
    if (got <= 0) return [];
    const out = new Float32Array(space.buffer as ArrayBuffer, 0, got * channels);
    const begin = position ?? 0;
    position = begin + got;
    const pieces: Float32Array[] = [];
    const a = Math.max(0, from - begin);
    const b = Math.min(got, to - begin);
    if (b > a) pieces.push(out.slice(a * channels, b * channels));
    return pieces;
  };

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
          if (!set) {
            const layout =
              frame.channelLayout.nbChannels > 0 && frame.channelLayout.mask !== 0n
                ? frame.channelLayout
                : avChannelLayoutDefault(par.channels);
            resampler.allocSetOpts2(
              outLayout,
              C.AV_SAMPLE_FMT_FLT,
              sampleRate,
              layout,
              frame.format as never,
              frame.sampleRate,
            );
            // Mixes are scaled so that full channels stay within full scale: stereo to mono is the mean.
            resampler.setOption('rematrix_maxval', '1.0');
            if (resampler.init() < 0) throw unreadable(input.path);
            set = true;
            const time = frame.bestEffortTimestamp !== NO_TIMESTAMP ? frame.bestEffortTimestamp : frame.pts;
            const seconds = time === NO_TIMESTAMP ? 0 : (Number(time) * stream.timeBase.num) / stream.timeBase.den;
            position = Math.round(seconds * sampleRate);
            if (position > from && position < from + sampleRate * 3600) {
              const gap = new Float32Array((Math.min(position, to) - from) * channels);
              if (gap.length > 0) yield { sampleRate, channels, samples: gap };
            }
          }
          for (const piece of convert(frame)) yield { sampleRate, channels, samples: piece };
        }
        frame.unref();
        if ((position ?? 0) >= to) ended = true;
      }
      if (performance.now() - since > 12) {
        await new Promise((go) => setImmediate(go));
        since = performance.now();
      }
    }
    if (set) for (const piece of convert(null)) yield { sampleRate, channels, samples: piece };
  } finally {
    frame.free();
    packet.free();
    resampler.free();
    context.freeContext();
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
 * Writes RIFF/WAVE: 16 or 24 bit integers (rounded, held at full scale) or 32-bit floats. Beside and renamed.
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
