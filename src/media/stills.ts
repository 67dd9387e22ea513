/** Single pictures: 16-bit PNG out, PNG, JPEG, TIFF or OpenEXR in. */
import { PlatewrightError } from '../core/errors.js';
import { rate } from '../core/rational.js';
import type { Picture } from '../image/picture.js';
import { toCodedRgb } from './convert.js';
import { VideoReader } from './video-reader.js';
import { VideoWriter } from './video-writer.js';

/**
 * Writes a 16-bit PNG: one channel grey, three RGB, four RGBA (straight alpha). Values are display-coded 0..1 and
 * stored as round(v · 65535). Written beside and renamed. Throws `PW-MEDIA-CHANNELS` for two channels.
 */
export async function writePng16(path: string, coded: Picture): Promise<void> {
  if (coded.channels === 2)
    throw new PlatewrightError('PW-MEDIA-CHANNELS', 'a PNG holds one, three or four channels here, not two', {
      kind: 'internal',
    });
  const writer = await VideoWriter.open(path, {
    widthPx: coded.width,
    heightPx: coded.height,
    rate: rate(24),
    codec: 'png',
    grey: coded.channels === 1,
    alpha: coded.channels === 4,
  });
  try {
    await writer.writeCoded(coded);
  } catch (error) {
    await writer.abort();
    throw error;
  }
  await writer.close();
}

/**
 * Reads a still as coded values 0..1: one channel for grey, three for RGB, four with
 * straight alpha. Any still format will do.
 */
export async function readPng(path: string): Promise<Picture> {
  const reader = await VideoReader.open(path, { threads: 1 });
  try {
    const frame = await reader.frame(0);
    const coded = toCodedRgb(frame);
    if (frame.layout !== 'grey') return coded;
    return {
      width: coded.width,
      height: coded.height,
      channels: 1,
      data: coded.data.slice(0, coded.width * coded.height),
    };
  } finally {
    await reader.close();
  }
}
