/**
 * Clips for the door's own tests: frames that carry their number, written with times, turns and fields as a test wants
 * them.
 */
import { renameSync } from 'node:fs';
import { createPicture, type Picture } from '../image/picture.js';
import { lumaPlane } from './luma.js';
import { fillFrame } from './encode-planes.js';
import {
  avGetPixFmtFromName,
  C,
  Codec,
  CodecContext,
  Dictionary,
  FormatContext,
  Frame,
  Packet,
  Rational,
} from './ffmpeg.js';
import { defaultColour } from './encodings.js';
import type { VideoFrame } from './types.js';

const BITS = 16;

/**
 * A grey picture whose upper half spells `n` in 16 black or white blocks and whose lower half spells its complement.
 */
export function numberPicture(n: number, width: number, height: number): Picture {
  const p = createPicture(width, height, 3);
  const plane = width * height;
  for (let y = 0; y < height; y++) {
    for (let x = 0; x < width; x++) {
      const bit = (n >> Math.floor((x * BITS) / width)) & 1;
      const v = (y < height / 2 ? bit : 1 - bit) * 0.8 + 0.1;
      for (let c = 0; c < 3; c++) p.data[c * plane + y * width + x] = v;
    }
  }
  return p;
}

/** Reads the number back; throws where the two halves disagree, so that a mixed frame can't pass. */
export function readNumber(frame: VideoFrame): number {
  const { widthPx: w, heightPx: h } = frame;
  const luma = lumaPlane(frame);
  const value = (bit: number, from: number, to: number): number => {
    let s = 0;
    let n = 0;
    for (let y = Math.ceil(from * h) + 4; y < to * h - 4; y++) {
      for (let x = Math.ceil(((bit + 0.25) * w) / BITS); x < ((bit + 0.75) * w) / BITS; x++, n++) s += luma[y * w + x]!;
    }
    return s / n;
  };
  let a = 0;
  let b = 0;
  for (let i = 0; i < BITS; i++) {
    if (value(i, 0, 0.5) > 0.5) a |= 1 << i;
    if (value(i, 0.5, 1) > 0.5) b |= 1 << i;
  }
  if (a !== (~b & 0xffff)) throw new Error(`the frame's halves spell ${a} and ${~b & 0xffff}`);
  return a;
}

export interface RawClip {
  readonly width: number;
  readonly height: number;
  readonly muxer: string;
  readonly encoder: string;
  readonly pixelFormat: string;
  readonly options?: Record<string, string>;
  readonly muxerOptions?: Record<string, string>;
  /** The container's metadata. */
  readonly metadata?: Readonly<Record<string, string>>;
  readonly timeBase: readonly [number, number];
  /** Claimed rate. */
  readonly rate: readonly [number, number];
  /** Showing time of every frame in ticks of `timeBase`. */
  readonly ticks: readonly number[];
  readonly picture: (n: number) => Picture;
  /** Display matrix, nine numbers. */
  readonly matrix?: readonly number[];
  readonly interlaced?: boolean;
  /** Shape of a pixel, width over height. */
  readonly aspect?: readonly [number, number];
}

/** Encodes a clip as told, without the door's writer, so that what the writer never makes can be read in tests. */
export async function writeRawClip(path: string, clip: RawClip): Promise<void> {
  const tags = { ...defaultColour('h264') };
  const format = new FormatContext();
  format.allocOutputContext2(null, clip.muxer, `file:${path}.part`);
  const codec = Codec.findEncoderByName(clip.encoder as never)!;
  const c = new CodecContext();
  c.allocContext3(codec);
  c.width = clip.width;
  c.height = clip.height;
  c.pixelFormat = avGetPixFmtFromName(clip.pixelFormat);
  c.timeBase = new Rational(clip.timeBase[0], clip.timeBase[1]);
  c.framerate = new Rational(clip.rate[0], clip.rate[1]);
  c.colorRange = C.AVCOL_RANGE_MPEG;
  c.threadCount = 1;
  if (clip.aspect) c.sampleAspectRatio = new Rational(clip.aspect[0], clip.aspect[1]);
  if (clip.interlaced) c.setFlags(C.AV_CODEC_FLAG_INTERLACED_DCT, C.AV_CODEC_FLAG_INTERLACED_ME);
  if (((format.oformat?.flags ?? 0) & C.AVFMT_GLOBALHEADER) !== 0) c.setFlags(C.AV_CODEC_FLAG_GLOBAL_HEADER);
  const code = await c.open2(codec, Dictionary.fromObject(clip.options ?? {}));
  if (code < 0) throw new Error(`${clip.encoder} did not open: ${code}`);
  const stream = format.newStream();
  stream.codecpar.fromContext(c);
  stream.timeBase = c.timeBase;
  stream.avgFrameRate = c.framerate;
  if (clip.aspect) stream.sampleAspectRatio = c.sampleAspectRatio;
  if (clip.matrix) {
    const data = Buffer.alloc(36);
    clip.matrix.forEach((v, i) => data.writeInt32LE(v, i * 4));
    stream.codecpar.addCodedSideData(C.AV_PKT_DATA_DISPLAYMATRIX, data);
  }
  if (clip.metadata) format.metadata = Dictionary.fromObject({ ...clip.metadata });
  await format.openOutput();
  if ((await format.writeHeader(Dictionary.fromObject(clip.muxerOptions ?? {}))) < 0)
    throw new Error(`${clip.muxer} header refused`);
  const packet = new Packet();
  packet.alloc();
  const drain = async (): Promise<void> => {
    while ((await c.receivePacket(packet)) >= 0) {
      packet.streamIndex = stream.index;
      packet.rescaleTs(c.timeBase, stream.timeBase);
      await format.interleavedWriteFrame(packet);
    }
  };
  for (let n = 0; n < clip.ticks.length; n++) {
    const frame = new Frame();
    frame.alloc();
    frame.width = clip.width;
    frame.height = clip.height;
    frame.format = avGetPixFmtFromName(clip.pixelFormat);
    frame.getBuffer(0);
    fillFrame({ planes: frame.data!, strides: frame.linesize }, clip.pixelFormat, clip.picture(n), tags);
    frame.pts = BigInt(clip.ticks[n]!);
    frame.duration = BigInt((clip.ticks[n + 1] ?? 2 * clip.ticks[n]! - (clip.ticks[n - 1] ?? 0)) - clip.ticks[n]!);
    if (clip.interlaced) frame.setFlags(C.AV_FRAME_FLAG_INTERLACED, C.AV_FRAME_FLAG_TOP_FIELD_FIRST);
    if ((await c.sendFrame(frame)) < 0) throw new Error(`${clip.encoder} refused frame ${n}`);
    frame.free();
    await drain();
  }
  await c.sendFrame(null);
  await drain();
  await format.writeTrailer();
  await format.closeOutput();
  packet.free();
  c.freeContext();
  format.freeContext();
  renameSync(`${path}.part`, path);
}

/** Puts the picture streams of several files into one, packets as they are, with the dispositions given. */
export async function muxStreams(
  path: string,
  muxer: string,
  sources: readonly { readonly file: string; readonly disposition: number }[],
): Promise<void> {
  const out = new FormatContext();
  out.allocOutputContext2(null, muxer, `file:${path}`);
  const inputs: FormatContext[] = [];
  for (const { file, disposition } of sources) {
    const input = new FormatContext();
    if ((await input.openInput(file, null, null)) < 0) throw new Error(`${file} did not open`);
    await input.findStreamInfo();
    const stream = out.newStream();
    input.streams[0]!.codecpar.copy(stream.codecpar);
    stream.codecpar.codecTag = 0;
    stream.timeBase = input.streams[0]!.timeBase;
    stream.disposition = disposition as never;
    inputs.push(input);
  }
  await out.openOutput();
  if ((await out.writeHeader()) < 0) throw new Error(`${muxer} header refused`);
  const packet = new Packet();
  packet.alloc();
  for (const [i, input] of inputs.entries()) {
    const stream = out.streams[i]!;
    while ((await input.readFrame(packet)) >= 0) {
      packet.rescaleTs(input.streams[0]!.timeBase, stream.timeBase);
      packet.streamIndex = i;
      if ((await out.interleavedWriteFrame(packet)) < 0) throw new Error('packet refused');
    }
    await input.closeInput();
  }
  await out.writeTrailer();
  await out.closeOutput();
  packet.free();
  out.freeContext();
}

/**
 * Copies a clip with its picture put off beside its sound, as a stretch copied out of a longer file may begin;
 * `Infinity` leaves every frame of the picture out.
 */
export async function copyWithLatePicture(from: string, to: string, seconds: number): Promise<void> {
  const source = new FormatContext(),
    target = new FormatContext(),
    packet = new Packet();
  if ((await source.openInput(from)) < 0) throw new Error(`${from} did not open`);
  await source.findStreamInfo();
  target.allocOutputContext2(null, 'matroska', `file:${to}`);
  const streams = source.streams.map((s) => {
    const copy = target.newStream();
    s.codecpar.copy(copy.codecpar);
    copy.timeBase = s.timeBase;
    copy.avgFrameRate = s.avgFrameRate;
    return copy;
  });
  await target.openOutput();
  await target.writeHeader(null);
  packet.alloc();
  while ((await source.readFrame(packet)) >= 0) {
    const at = packet.streamIndex,
      { num, den } = source.streams[at]!.timeBase;
    if (source.streams[at]!.codecpar.codecType === C.AVMEDIA_TYPE_VIDEO) {
      if (seconds === Infinity) continue;
      const late = BigInt(Math.round((seconds * den) / num));
      packet.pts += late;
      packet.dts += late;
    }
    packet.rescaleTs(source.streams[at]!.timeBase, streams[at]!.timeBase);
    await target.interleavedWriteFrame(packet);
  }
  await target.writeTrailer();
  await target.closeOutput();
  packet.free();
  target.freeContext();
  await source.closeInput();
}
