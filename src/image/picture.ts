/**
 * The engine's picture: planar float32, rows top to bottom, plane after plane (channels × height × width).
 * Unless a name says otherwise the values are scene-linear with Rec. 709 primaries, alpha (fourth plane) in 0..1 and
 * colour premultiplied by it. One channel: a matte or luma; three: RGB; four: RGBA.
 */
import { PlatewrightError } from '../core/errors.js';

/** Grey, grey and alpha, colour, colour and alpha. */
export type Channels = 1 | 2 | 3 | 4;

/**
 * A picture in floats, planar; what the numbers mean (display-coded or scene-linear, premultiplied or not) is said
 * where one is taken or given.
 */
export interface Picture {
  readonly width: number;
  readonly height: number;
  readonly channels: Channels;
  /** channels × height × width, planar. */
  readonly data: Float32Array;
}

/** Allocates a zeroed picture. Throws `PW-IMAGE-SIZE` for sizes that are not positive integers. */
export function createPicture(width: number, height: number, channels: Channels): Picture {
  if (!Number.isInteger(width) || !Number.isInteger(height) || width <= 0 || height <= 0 || width * height > 1 << 28) {
    throw new PlatewrightError(
      'PW-IMAGE-SIZE',
      `a picture needs a width and height of at least one pixel, but got ${width} × ${height}`,
      { kind: 'internal' },
    );
  }
  return { width, height, channels, data: new Float32Array(width * height * channels) };
}

/**
 * View of one plane (height × width). Writes go through to the picture. Throws `PW-IMAGE-CHANNEL` for a channel that
 * it has not.
 */
export function plane(picture: Picture, channel: number): Float32Array {
  const n = picture.width * picture.height;
  if (channel < 0 || channel >= picture.channels) {
    throw new PlatewrightError('PW-IMAGE-CHANNEL', `plane ${channel} asked of a picture with ${picture.channels}`, {
      kind: 'internal',
    });
  }
  return picture.data.subarray(channel * n, (channel + 1) * n);
}

/** A picture with samples of its own. */
export function clonePicture(picture: Picture): Picture {
  return { ...picture, data: picture.data.slice() };
}

/** Whether two pictures have one width and height; channels may differ. */
function sameSize(a: Picture, b: Picture): boolean {
  return a.width === b.width && a.height === b.height;
}

/** Throws `PW-IMAGE-MISMATCH` unless the two pictures have one size; `what` names the operation in the message. */
export function requireSameSize(a: Picture, b: Picture, what: string): void {
  if (!sameSize(a, b)) {
    throw new PlatewrightError(
      'PW-IMAGE-MISMATCH',
      `${what} needs two pictures of one size, but got ${a.width}×${a.height} and ${b.width}×${b.height}`,
      { kind: 'internal' },
    );
  }
}
