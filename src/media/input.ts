/**
 * Opens a file for reading, safely: only local files, only containers that hold media,
 * clear errors for everything else.
 */
import { closeSync, openSync, readSync, statSync } from 'node:fs';
import { basename, resolve } from 'node:path';
import { PlatewrightError } from '../core/errors.js';
import { endsBeforeIndex } from './broken-off.js';
import { C, Dictionary, FormatContext, type AVMediaType, type Stream, InputFormat } from './ffmpeg.js';
import { lensOfFilm, lensOfStill, type LensTold } from './file-lens.js';
import { readDisplayMatrix, type Orientation } from './orientation.js';
import { isMovingWebp, readStillTags, TIFF_JPEG } from './still-tags.js';

/**
 * Containers that are opened. Playlists, scripts and text formats (which could name other files or hosts) are left out,
 * so a text renamed to .mp4 is refused whatever it says.
 */
const CONTAINERS = [
  'mov',
  'mp4',
  'matroska',
  'webm',
  'avi',
  'mpegts',
  'mpeg',
  'mpegvideo',
  'mxf',
  'asf',
  'flv',
  'ivf',
  'nut',
  'dv',
  'gxf',
  'ogg',
  'h264',
  'hevc',
  'm4v',
  'obu',
  'av1',
  'yuv4mpegpipe',
  'gif',
  'apng',
  'wav',
  'w64',
  'aiff',
  'caf',
  'flac',
  'mp3',
  'aac',
  'ac3',
  'eac3',
  'amr',
  'png_pipe',
  'jpeg_pipe',
  'tiff_pipe',
  'exr_pipe',
  'webp_pipe',
  'bmp_pipe',
  'dpx_pipe',
  'jpegxl_pipe',
  'pam_pipe',
  'ppm_pipe',
  'pgm_pipe',
  'j2k_pipe',
].join(',');

const STILL_CONTAINERS = /_pipe$/;

export interface OpenedInput {
  readonly path: string;
  readonly context: FormatContext;
  readonly container: string;
  readonly still: boolean;
  /** Stream of the picture, or null (cover art does not count). */
  readonly video: Stream | null;
  /** How the picture asks to be turned: a stream's display matrix, a still's orientation tag. */
  readonly orientation: Orientation;
  /** H.273 code of the primaries of a still's colour profile, where that is of known ones. */
  readonly profilePrimaries: number | null;
  /** The lens, where the file tells it. */
  readonly lens: LensTold | null;
  readonly sound: Stream | null;
}

/**
 * Throws unless `path` is a file that isn't empty. The errors: `PW-MEDIA-MISSING`, `PW-MEDIA-NOTAFILE`,
 * `PW-MEDIA-EMPTY`.
 */
export function requireFile(path: string): { sizeBytes: number; mtimeMs: number } {
  let s;
  try {
    s = statSync(path);
  } catch (cause) {
    throw new PlatewrightError('PW-MEDIA-MISSING', `${path} does not exist or may not be read; check the name`, {
      cause,
      detail: { file: path },
    });
  }
  if (!s.isFile())
    throw new PlatewrightError(
      'PW-MEDIA-NOTAFILE',
      `${path} is not a file; name a media file, or a picture sequence such as shot_%05d.png`,
      { detail: { file: path } },
    );
  if (s.size === 0)
    throw new PlatewrightError(
      'PW-MEDIA-EMPTY',
      `${basename(path)} has no bytes in it; copy it again from its source`,
      { detail: { file: path } },
    );
  return { sizeBytes: s.size, mtimeMs: s.mtimeMs };
}

/** Start-of-image and the first marker of a JPEG (ITU-T T.81, annex B). */
function startsAsJpeg(path: string): boolean {
  const head = new Uint8Array(3);
  const file = openSync(path, 'r');
  try {
    readSync(file, head, 0, 3, 0);
  } finally {
    closeSync(file);
  }
  return head[0] === 0xff && head[1] === 0xd8 && head[2] === 0xff;
}

/**
 * How far FFmpeg looks for the first frame of a picture that begins late beside the sound (a stretch that was copied
 * out of the middle of a file begins at its first key frame): its own five seconds and five megabytes are too little.
 */
const LOOK_ON = { analyzeduration: String(120e6), probesize: String(256 << 20) };

/** Opens a media file. The caller closes it with `closeInput`. */
export async function openInput(path: string): Promise<OpenedInput> {
  const input = await openOnce(path, {});
  if (input.video === null || input.still || (input.video.codecpar.format as number) >= 0) return input;
  await closeInput(input);
  return openOnce(path, LOOK_ON);
}

async function openOnce(path: string, probing: Record<string, string>): Promise<OpenedInput> {
  requireFile(path);
  const context = new FormatContext();
  const options = Dictionary.fromObject({ protocol_whitelist: 'file', format_whitelist: CONTAINERS, ...probing });
  // "file:" keeps a name such as "a:b.mp4" or "concat:x" from being read as a protocol. FFmpeg's probe would give a
  // JPEG to `image2`, which takes % signs in names for patterns and is not let in: name its own reader.
  const format = startsAsJpeg(path) ? InputFormat.findInputFormat('jpeg_pipe') : null;
  let code = await context.openInput(`file:${resolve(path)}`, format, options);
  options.free();
  if (code < 0) {
    await dispose(context);
    if (endsBeforeIndex(path))
      throw new PlatewrightError(
        'PW-MEDIA-TRUNCATED',
        `${basename(path)} breaks off before its index, which such files carry at their end, ` +
          'so no frame of it can be found; copy it again from the camera or the phone, ' +
          'and wait until the copy is whole',
        { detail: { file: path, code } },
      );
    if (isMovingWebp(path))
      throw new PlatewrightError(
        'PW-MEDIA-UNREADABLE',
        `${basename(path)} is a WebP picture that moves, which can't be read; save it as a film (MP4, WebM) or a GIF`,
        { detail: { file: path, code } },
      );
    throw new PlatewrightError(
      'PW-MEDIA-UNREADABLE',
      `${basename(path)} is not a media file that can be read (it may be cut off at its start, ` +
        'or be something else under this name); export or copy it again',
      { detail: { file: path, code } },
    );
  }
  code = await context.findStreamInfo();
  const container = context.iformat?.name ?? 'unknown';
  const streams = context.streams;
  const pick = (type: AVMediaType): Stream | null => {
    const i = context.findBestStream(type);
    return i < 0 ? null : (streams[i] ?? null);
  };
  const still = STILL_CONTAINERS.test(container);
  const tags = still ? readStillTags(path) : null;
  if (tags?.tiffCompression === TIFF_JPEG) {
    await dispose(context);
    throw new PlatewrightError(
      'PW-MEDIA-UNREADABLE',
      `${basename(path)} is a TIFF packed as JPEG, which can't be read with its true colours; ` +
        'save it as PNG, as JPEG, or as a TIFF without packing or with LZW',
      { detail: { file: path } },
    );
  }
  const video = pictureStream(streams);
  return {
    path,
    context,
    container,
    still,
    video,
    orientation:
      tags?.orientation ?? readDisplayMatrix(video?.codecpar.getCodedSideData(C.AV_PKT_DATA_DISPLAYMATRIX) ?? null),
    profilePrimaries: tags?.profilePrimaries ?? null,
    lens:
      video === null
        ? null
        : tags !== null
          ? lensOfStill(tags, video.codecpar.width, video.codecpar.height)
          : lensOfFilm({
              path,
              boxed: container.split(',').includes('mp4'),
              trackId: video.id,
              given: [video.metadata?.getAll() ?? {}, context.metadata?.getAll() ?? {}],
            }),
    sound: pick(C.AVMEDIA_TYPE_AUDIO),
  };
}

/**
 * The stream that a player would show: the one the file marks as its default, else the first, that is
 * no cover art, no run of timed thumbnails and has a size. (FFmpeg's own choice goes by what has most
 * data, which may be another version of the film.)
 */
function pictureStream(streams: readonly Stream[]): Stream | null {
  const real = streams.filter(
    (s) =>
      s.codecpar.codecType === C.AVMEDIA_TYPE_VIDEO &&
      (s.disposition & (C.AV_DISPOSITION_ATTACHED_PIC | C.AV_DISPOSITION_TIMED_THUMBNAILS)) === 0,
  );
  const sized = real.filter((s) => s.codecpar.width > 0);
  return sized.find((s) => (s.disposition & C.AV_DISPOSITION_DEFAULT) !== 0) ?? sized[0] ?? real[0] ?? null;
}

async function dispose(context: FormatContext): Promise<void> {
  try {
    await context.closeInput();
  } catch {
    // Nothing was opened.
  }
}

/** Closes the file and frees what its decoder holds. */
export async function closeInput(input: OpenedInput): Promise<void> {
  await dispose(input.context);
}
