/**
 * How each codec is asked of FFmpeg: pixel format, options, the colour tags it is given
 * unless told, and its encoder opened with them.
 */
import { PlatewrightError } from '../core/errors.js';
import type { Rate } from '../core/rational.js';
import { colourCodes, saidOfPng, type StreamColourCodes } from './colour-tags.js';
import { encoderAssembly } from './encoder-cpu.js';
import { avGetPixFmtFromName, C, Codec, CodecContext, Dictionary, Rational } from './ffmpeg.js';
import { planeFormat } from './pixel-formats.js';
import type { ColourTags, Sound } from './types.js';

/** What can be written. */
export type WriterCodec = 'h264' | 'prores4444' | 'ffv1' | 'huffyuv' | 'png' | 'exr';

/** What is written, and how. */
export interface WriterOptions {
  readonly widthPx: number;
  readonly heightPx: number;
  readonly rate: Rate;
  readonly codec: WriterCodec;
  readonly alpha?: boolean;
  /** One grey plane (mattes): FFV1 and PNG. */
  readonly grey?: boolean;
  /** Bits a sample: FFV1 8, 10 or 16 (16 unless told), PNG 8 or 16 (16). Others have their own. */
  readonly bits?: 8 | 10 | 16;
  /** H.264 quality, 18 unless told (lower is better), and x264 preset, `fast` unless told. */
  readonly crf?: number;
  readonly preset?: string;
  readonly colour?: ColourTags;
  readonly sound?: Sound | null;
  /** Sequences: keep pictures that are there and go on after them; `framesDone` says how many. */
  readonly resume?: boolean;
  /** Number of a sequence's first picture, 0 unless told. */
  readonly firstNumber?: number;
  /** HuffYUV: FFmpeg's name of the planar Y'CbCr that it is given, yuv420p unless told (see lossless-form.ts). */
  readonly pixelFormat?: string;
  /** HuffYUV: where the first chroma sample sits, as frames say it; [0, 0.5], H.264's, unless told. */
  readonly chromaSite?: readonly [number, number];
  /** OpenEXR: 16-bit half floats unless false. */
  readonly half?: boolean;
  /** H.264: frames a group at most, and B frames between others; the encoder's own choice unless told. */
  readonly groupSize?: number;
  readonly betweenFrames?: number;
  /**
   * H.264: nothing but the frame count begins a group, so that files of `groupSize` frames are one
   * closed group each and can be joined on (`append`).
   */
  readonly evenGroups?: boolean;
}

/** Encodings that a codec is given where the caller does not say. */
export function defaultColour(codec: WriterCodec): ColourTags {
  switch (codec) {
    case 'h264':
    case 'prores4444':
    case 'huffyuv':
      return { matrix: 'bt709', transfer: 'bt709', primaries: 'bt709', fullRange: false, assumed: false };
    case 'ffv1':
      return { matrix: 'rgb', transfer: 'bt709', primaries: 'bt709', fullRange: true, assumed: false };
    case 'png':
      // The codes of the same join as a film; the file itself says sRGB (saidOfPng).
      return { matrix: 'rgb', transfer: 'bt709', primaries: 'bt709', fullRange: true, assumed: false };
    case 'exr':
      return { matrix: 'rgb', transfer: 'linear', primaries: 'bt709', fullRange: true, assumed: false };
  }
}

/** H.273 codes that a file of the codec says of pictures coded as `tags` tell. */
export function codesSaid(codec: WriterCodec, tags: ColourTags): StreamColourCodes {
  return colourCodes(codec === 'png' ? saidOfPng(tags) : tags, true);
}

/** Where the first chroma sample sits in what a writer of these options is given. */
export function siteOf(o: Pick<WriterOptions, 'chromaSite'>): readonly [number, number] {
  return o.chromaSite ?? [0, 0.5];
}

/** FFmpeg's code of a place of chroma; it tells nothing down where each line has its own chroma. */
function chromaLocationOf([x, y]: readonly [number, number], [, down]: readonly [number, number]): number {
  if (y === 0 && down > 0) return x === 0 ? C.AVCHROMA_LOC_TOPLEFT : C.AVCHROMA_LOC_TOP;
  return x === 0 ? C.AVCHROMA_LOC_LEFT : C.AVCHROMA_LOC_CENTER;
}

/** An encoder of FFmpeg, by name, with what it is given. */
export interface Encoding {
  readonly encoder: string;
  readonly pixelFormat: string;
  readonly options: Record<string, string>;
}

/** The encoder that the options ask for. */
export function encodingOf(o: WriterOptions): Encoding {
  const bits = o.bits ?? 16;
  const a = o.alpha ? 'a' : '';
  switch (o.codec) {
    case 'h264': {
      const asm = encoderAssembly();
      return {
        encoder: 'libx264',
        pixelFormat: 'yuv420p',
        options: {
          ...(asm === null ? {} : { 'x264-params': `asm=${asm}` }),
          preset: o.preset ?? 'fast',
          crf: String(o.crf ?? 18),
          ...(o.groupSize === undefined ? {} : { g: String(o.groupSize) }),
          ...(o.evenGroups === true ? { sc_threshold: '0', flags: '+cgop' } : {}),
          ...(o.betweenFrames === undefined ? {} : { bf: String(o.betweenFrames), 'b-adapt': '0' }),
        },
      };
    }
    case 'prores4444':
      // FFmpeg's other ProRes encoder (prores_ks) takes several times as long for the same distance to the source.
      // It alone writes pictures of an odd width, though.
      if (o.widthPx % 2 !== 0)
        return {
          encoder: 'prores_ks',
          pixelFormat: `yuv${a}444p10le`,
          options: { profile: '4', vendor: 'apl0', bits_per_mb: '8192' },
        };
      return { encoder: 'prores_aw', pixelFormat: `yuv${a}444p10le`, options: { profile: '4', vendor: 'apl0' } };
    case 'ffv1': {
      const deep = bits > 8 ? `${bits}le` : '';
      return {
        encoder: 'ffv1',
        pixelFormat: o.grey ? `gray${deep}` : bits === 8 ? (o.alpha ? 'bgra' : 'bgr0') : `gbr${a}p${deep}`,
        options: { level: '3', slicecrc: '1', slices: '4', g: '1', ...(bits > 8 ? { coder: '1' } : {}) },
      };
    }
    case 'huffyuv':
      return {
        encoder: 'ffvhuff',
        pixelFormat: o.pixelFormat ?? 'yuv420p',
        options: { pred: 'plane', context: '1' },
      };
    case 'png': {
      if (bits === 8)
        return {
          encoder: 'png',
          pixelFormat: o.grey ? 'gray' : o.alpha ? 'rgba' : 'rgb24',
          options: { pred: 'mixed', compression_level: '4' },
        };
      return {
        encoder: 'png',
        pixelFormat: o.grey ? 'gray16be' : o.alpha ? 'rgba64be' : 'rgb48be',
        options: { pred: 'mixed', compression_level: '4' },
      };
    }
    case 'exr':
      return {
        encoder: 'exr',
        pixelFormat: o.grey ? 'grayf32le' : `gbr${a}pf32le`,
        options: { compression: 'zip16', format: o.half === false ? 'float' : 'half' },
      };
  }
}

/**
 * The encoder, opened. @param globalHeader the container keeps its header. Throws
 * `PW-MEDIA-CODEC` and `PW-MEDIA-ENCODER`.
 */
export async function openEncoder(
  { encoder, pixelFormat, options }: Encoding,
  o: WriterOptions,
  tags: ColourTags,
  threads: number,
  globalHeader: boolean,
): Promise<CodecContext> {
  const codec = Codec.findEncoderByName(encoder as never);
  if (codec === null)
    throw new PlatewrightError('PW-MEDIA-CODEC', `this build cannot encode ${encoder}`, { kind: 'internal' });
  const c = new CodecContext();
  c.allocContext3(codec);
  c.width = o.widthPx;
  c.height = o.heightPx;
  c.pixelFormat = avGetPixFmtFromName(pixelFormat);
  c.timeBase = new Rational(o.rate.den, o.rate.num);
  c.framerate = new Rational(o.rate.num, o.rate.den);
  c.sampleAspectRatio = new Rational(1, 1);
  const codes = codesSaid(o.codec, tags);
  c.colorRange = codes.range as never;
  c.colorSpace = codes.space as never;
  c.colorTrc = codes.transfer as never;
  c.colorPrimaries = codes.primaries as never;
  const format = planeFormat(pixelFormat);
  if (format !== null && (format.chromaShift[0] > 0 || format.chromaShift[1] > 0))
    c.chromaLocation = chromaLocationOf(siteOf(o), format.chromaShift) as never;
  // The caller's fixed number, so that the bytes do not depend on the machine.
  c.threadCount = threads;
  if (globalHeader) c.setFlags(C.AV_CODEC_FLAG_GLOBAL_HEADER);
  const dictionary = Dictionary.fromObject(options);
  const code = await c.open2(codec, dictionary);
  dictionary.free();
  if (code < 0)
    throw new PlatewrightError(
      'PW-MEDIA-ENCODER',
      `the ${encoder} encoder refuses ${o.widthPx} × ${o.heightPx} as ${pixelFormat}`,
      { kind: 'internal', detail: { code } },
    );
  return c;
}
