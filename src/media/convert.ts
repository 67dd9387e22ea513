/**
 * From a frame's own planes to what the engine works on, and back: display-coded luma,
 * display-coded R'G'B', scene-linear Rec. 709. Chroma is brought to full size by bilinear
 * interpolation that heeds where the file's chroma samples sit.
 */
import { PlatewrightError } from '../core/errors.js';
import { createPicture, plane, type Picture } from '../image/picture.js';
import { matrixPlanes, PRIMARIES, rgbToRgb } from '../colour/matrices.js';
import { decodeTable, encode, linearise } from './curve-table.js';
import { rgbPrimaries } from './colour-tags.js';
import type { TransferName, VideoFrame } from './types.js';
import { expansion } from './ycbcr.js';
import { yuvToRgb } from './ycbcr-to-rgb.js';

/** The picture that a frame is converted into: `dst`, or a new one. Throws `PW-MEDIA-SIZE` where `dst` does not fit. */
function pictureToFill(frame: VideoFrame, dst: Picture | undefined): Picture {
  const channels = frame.hasAlpha ? 4 : 3;
  const out = dst ?? createPicture(frame.widthPx, frame.heightPx, channels);
  if (
    out.width !== frame.widthPx ||
    out.height !== frame.heightPx ||
    (out.channels !== channels && out.channels !== 3)
  ) {
    throw new PlatewrightError(
      'PW-MEDIA-SIZE',
      `frame ${frame.index} is ${frame.widthPx} × ${frame.heightPx} with ${channels} channels, ` +
        `but the picture to fill is ${out.width} × ${out.height} with ${out.channels}`,
      { kind: 'internal' },
    );
  }
  return out;
}

/** Display-coded R'G'B' (and straight alpha) 0..1, planar; overshoots are kept. Grey gives three equal planes. */
export function toCodedRgb(frame: VideoFrame, dst?: Picture): Picture {
  const out = pictureToFill(frame, dst);
  const { widthPx: w, heightPx: h } = frame;
  const n = w * h;
  const data = out.data;
  if (frame.layout === 'yuv') {
    yuvToRgb(frame, data.subarray(0, 3 * n), null);
  } else {
    const { scale, offset } = expansion(frame.bitDepth, frame.colour);
    for (let p = 0; p < 3; p++) {
      const src = frame.planes[frame.layout === 'grey' ? 0 : p]!;
      const at = p * n;
      for (let i = 0; i < n; i++) data[at + i] = src[i]! * scale + offset;
    }
  }
  if (out.channels === 4) alphaPlane(frame, out);
  return out;
}

function alphaPlane(frame: VideoFrame, out: Picture): void {
  const n = out.width * out.height;
  const alpha = frame.planes[frame.planes.length - 1]!;
  const scale = frame.bitDepth === 32 ? 1 : 1 / (2 ** frame.bitDepth - 1);
  const data = out.data;
  for (let i = 0; i < n; i++) data[3 * n + i] = alpha[i]! * scale;
}

function multiplyAlpha(picture: Picture): void {
  const n = picture.width * picture.height;
  const d = picture.data;
  for (let i = 0; i < n; i++) {
    const a = d[3 * n + i]!;
    d[i]! *= a;
    d[n + i]! *= a;
    d[2 * n + i]! *= a;
  }
}

/** Scene-linear Rec. 709 RGB, or premultiplied RGBA where the frame has alpha. */
export function toLinear(frame: VideoFrame, dst?: Picture): Picture {
  const out = pictureToFill(frame, dst);
  const n = out.width * out.height;
  const colour = out.data.subarray(0, 3 * n);
  let done = false;
  if (frame.layout === 'yuv') {
    done = yuvToRgb(frame, colour, frame.colour.transfer === 'linear' ? null : decodeTable(frame.colour.transfer));
    if (out.channels === 4) alphaPlane(frame, out);
  } else toCodedRgb(frame, out);
  if (!done) linearise(colour, colour, frame.colour.transfer);
  if (frame.colour.primaries !== 'bt709') {
    matrixPlanes(
      rgbToRgb(rgbPrimaries(frame.colour.primaries), PRIMARIES.bt709),
      plane(out, 0),
      plane(out, 1),
      plane(out, 2),
    );
  }
  // OpenEXR's alpha is premultiplied by its own rule; everything else the door reads is straight.
  if (out.channels === 4 && frame.bitDepth !== 32) multiplyAlpha(out);
  return out;
}

function like(picture: Picture, dst: Picture | undefined): Picture {
  const out = dst ?? createPicture(picture.width, picture.height, picture.channels);
  if (out.width !== picture.width || out.height !== picture.height || out.channels !== picture.channels) {
    throw new PlatewrightError(
      'PW-MEDIA-SIZE',
      `a ${picture.width} × ${picture.height} picture with ${picture.channels} channels was to be converted ` +
        `into ${out.width} × ${out.height} with ${out.channels}`,
      { kind: 'internal' },
    );
  }
  return out;
}

/** Coded values (straight alpha) to linear (premultiplied). One channel is taken as grey. `dst` may be the source. */
export function codedToLinear(picture: Picture, transfer: TransferName, dst?: Picture): Picture {
  const out = like(picture, dst);
  const n = picture.width * picture.height;
  const colours = picture.channels === 4 ? 3 : picture.channels === 2 ? 1 : picture.channels;
  linearise(picture.data.subarray(0, colours * n), out.data.subarray(0, colours * n), transfer);
  if (picture.channels === 4) {
    if (out !== picture) plane(out, 3).set(plane(picture, 3));
    multiplyAlpha(out);
  } else if (picture.channels === 2 && out !== picture) plane(out, 1).set(plane(picture, 1));
  return out;
}

/**
 * Linear values (premultiplied alpha) to coded (straight). Where alpha is 0 the colour is 0. `dst` may be the source.
 */
export function linearToCoded(picture: Picture, transfer: TransferName, dst?: Picture): Picture {
  const out = like(picture, dst);
  const n = picture.width * picture.height;
  if (picture.channels === 4) {
    const s = picture.data;
    const d = out.data;
    for (let i = 0; i < n; i++) {
      const a = s[3 * n + i]!;
      const k = a > 0 ? 1 / a : 0;
      d[i] = s[i]! * k;
      d[n + i] = s[n + i]! * k;
      d[2 * n + i] = s[2 * n + i]! * k;
      d[3 * n + i] = a;
    }
    const colour = d.subarray(0, 3 * n);
    encode(colour, colour, transfer);
    return out;
  }
  const colours = picture.channels === 2 ? 1 : picture.channels;
  encode(picture.data.subarray(0, colours * n), out.data.subarray(0, colours * n), transfer);
  if (picture.channels === 2 && out !== picture) plane(out, 1).set(plane(picture, 1));
  return out;
}
