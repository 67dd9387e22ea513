/**
 * What goes with what when pictures are written: codec, container, size and planes; and one picture of a sequence
 * written whole.
 */
import { renameSync } from 'node:fs';
import { writeFile } from 'node:fs/promises';
import { basename, extname } from 'node:path';
import { PlatewrightError } from '../core/errors.js';
import type { WriterCodec, WriterOptions } from './encodings.js';
import { planeFormat } from './pixel-formats.js';
import type { ColourTags, VideoFrame } from './types.js';

const MUXERS: Record<string, string> = {
  '.mp4': 'mp4',
  '.m4v': 'mp4',
  '.mov': 'mov',
  '.mkv': 'matroska',
  '.avi': 'avi',
  '.nut': 'nut',
};
const ALLOWED: Record<WriterCodec, readonly string[]> = {
  h264: ['.mp4', '.m4v', '.mov', '.mkv', '.nut'],
  prores4444: ['.mov', '.mkv'],
  ffv1: ['.mkv', '.avi', '.nut', '.mov'],
  huffyuv: ['.mkv', '.nut'],
  png: ['.png'],
  exr: ['.exr'],
};

/** The container by the name's ending, which `requireFit` let pass. */
export function muxerOf(path: string): string {
  return MUXERS[extname(path).toLowerCase()]!;
}

/** @throws `PW-MEDIA-CONTAINER`, `PW-MEDIA-ODD` or `PW-MEDIA-ALPHA`, which say what does not go together */
export function requireFit(path: string, options: WriterOptions): void {
  const extension = extname(path).toLowerCase();
  if (!ALLOWED[options.codec].includes(extension)) {
    throw new PlatewrightError(
      'PW-MEDIA-CONTAINER',
      `${options.codec} goes into ${ALLOWED[options.codec].join(', ')}, but ${basename(path)} was asked for; ` +
        "change the name's ending",
      { kind: 'usage', detail: { file: path } },
    );
  }
  if (options.codec === 'h264' && (options.widthPx % 2 !== 0 || options.heightPx % 2 !== 0)) {
    throw new PlatewrightError(
      'PW-MEDIA-ODD',
      'H.264 with 4:2:0 chroma needs an even width and height, ' +
        `but the picture is ${options.widthPx} × ${options.heightPx}; crop a line or choose prores4444 or ffv1`,
      { kind: 'usage' },
    );
  }
  if (options.alpha && options.codec === 'h264')
    throw new PlatewrightError('PW-MEDIA-ALPHA', 'H.264 keeps no alpha; choose prores4444, ffv1, png or exr', {
      kind: 'usage',
    });
}

/** Are the frame's planes in the very form that an encoder of a pixel format, tags and site of chroma is fed? */
export function planesServe(
  frame: VideoFrame,
  pixelFormat: string,
  own: ColourTags,
  site: readonly [number, number],
): boolean {
  const f = planeFormat(pixelFormat);
  const {
    colour,
    chromaShift: [sx, sy],
  } = frame;
  if (
    f === null ||
    f.layout === 'rgb' ||
    f.layout !== frame.layout ||
    f.bitDepth !== frame.bitDepth ||
    f.hasAlpha ||
    frame.hasAlpha
  )
    return false;
  if (f.layout === 'grey') return colour.fullRange === own.fullRange && colour.transfer === own.transfer;
  return (
    f.chromaShift[0] === sx &&
    f.chromaShift[1] === sy &&
    (sx === 0 || frame.chromaSite[0] === site[0]) &&
    (sy === 0 || frame.chromaSite[1] === site[1]) &&
    colour.fullRange === own.fullRange &&
    colour.matrix === own.matrix &&
    colour.transfer === own.transfer &&
    colour.primaries === own.primaries
  );
}

/** Writes a coded picture beside its place and moves it there when it is whole. @throws `PW-MEDIA-WRITE` */
export async function writePicture(name: string, bytes: Uint8Array): Promise<void> {
  const part = `${name}.part`;
  try {
    await writeFile(part, bytes);
    renameSync(part, name);
  } catch (cause) {
    throw new PlatewrightError('PW-MEDIA-WRITE', `${name} cannot be written; check the folder's rights and space`, {
      cause,
      detail: { file: name },
    });
  }
}
