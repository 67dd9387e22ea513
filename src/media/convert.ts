/**
 * From a frame's own planes to what the engine works on, and back: display-coded luma,
 * display-coded R'G'B', scene-linear Rec. 709. Chroma is brought to full size by bilinear
 * interpolation that heeds where the file's chroma samples sit.
 */
import { PlatewrightError } from '../core/errors.js';
import { createPicture, plane, type Picture } from '../image/picture.js';
import { matrixPlanes, PRIMARIES, rgbToRgb } from '../colour/matrices.js';
import { KERNEL_FROM_PIXELS, kernels } from '../image/kernels.js';
import { decodeTable, encode, linearise, type CurveTable } from './curve-table.js';
import { rgbPrimaries } from './colour-tags.js';
import type { TransferName, VideoFrame } from './types.js';
import { decodingOf, expansion, lumaWeights, quantisation } from './ycbcr.js';

/**
 * Display-coded luma, height × width, 0..1 after range expansion (a little outside where the file overshoots).
 * @param dst filled and returned if given; needs widthPx · heightPx values.
 */
export function lumaPlane(frame: VideoFrame, dst?: Float32Array): Float32Array {
  const n = frame.widthPx * frame.heightPx;
  const out = dst ?? new Float32Array(n);
  if (out.length < n)
    throw new PlatewrightError('PW-MEDIA-SIZE', `a luma plane of ${n} values was to be written into ${out.length}`, {
      kind: 'internal',
    });
  const { scale, offset } = expansion(frame.bitDepth, frame.colour);
  if (frame.layout !== 'rgb') {
    const y = frame.planes[0]!;
    for (let i = 0; i < n; i++) out[i] = y[i]! * scale + offset;
    return out;
  }
  const [kr, kb] = lumaWeights('rgb');
  const kg = 1 - kr - kb;
  const r = frame.planes[0]!;
  const g = frame.planes[1]!;
  const b = frame.planes[2]!;
  for (let i = 0; i < n; i++) out[i] = (kr * r[i]! + kg * g[i]! + kb * b[i]!) * scale + offset;
  return out;
}

/**
 * Per output cell the first source sample, their number, and the weights of the two end samples: an exact box average.
 */
function boxes(
  source: number,
  target: number,
): { first: Int32Array; last: Int32Array; head: Float32Array; tail: Float32Array } {
  const first = new Int32Array(target);
  const last = new Int32Array(target);
  const head = new Float32Array(target);
  const tail = new Float32Array(target);
  const ratio = source / target;
  for (let i = 0; i < target; i++) {
    const a = i * ratio;
    const b = Math.min(source, (i + 1) * ratio);
    const f = Math.min(source - 1, Math.floor(a + 1e-9));
    const l = Math.max(f, Math.min(source - 1, Math.ceil(b - 1e-9) - 1));
    first[i] = f;
    last[i] = l;
    head[i] = f === l ? b - a : f + 1 - a;
    tail[i] = f === l ? 0 : b - l;
  }
  return { first, last, head, tail };
}

/**
 * Display-coded luma averaged over areas to `width` × `height`: the small pictures that scans
 * look at. RGB frames give their green-weighted luma.
 */
export function lumaSmall(frame: VideoFrame, width: number, height: number, dst?: Float32Array): Float32Array {
  const out = dst ?? new Float32Array(width * height);
  const w = frame.widthPx;
  const { scale, offset } = expansion(frame.bitDepth, frame.colour);
  const across = boxes(w, width);
  const down = boxes(frame.heightPx, height);
  const row = new Float32Array(w);
  const area = (w / width) * (frame.heightPx / height);
  const [kr, kb] = lumaWeights('rgb');
  const weights = frame.layout === 'rgb' ? [kr, 1 - kr - kb, kb] : [1];
  for (let j = 0; j < height; j++) {
    row.fill(0);
    const f = down.first[j]!;
    const l = down.last[j]!;
    for (let p = 0; p < weights.length; p++) {
      const src = frame.planes[p]!;
      let y = f;
      while (y <= l) {
        const k = weights[p]! * (y === f ? down.head[j]! : y === l ? down.tail[j]! : 1);
        const at = y * w;
        // Whole rows between the ends go four at a time: this loop is what a scan's speed hangs on.
        if (y > f && y + 4 <= l && weights.length === 1) {
          for (let x = 0, b = at; x < w; x++, b++) row[x]! += src[b]! + src[b + w]! + src[b + 2 * w]! + src[b + 3 * w]!;
          y += 4;
          continue;
        }
        for (let x = 0; x < w; x++) row[x]! += k * src[at + x]!;
        y++;
      }
    }
    for (let i = 0; i < width; i++) {
      const a = across.first[i]!;
      const b = across.last[i]!;
      let s = row[a]! * across.head[i]!;
      for (let x = a + 1; x < b; x++) s += row[x]!;
      if (b > a) s += row[b]! * across.tail[i]!;
      out[j * width + i] = (s / area) * scale + offset;
    }
  }
  return out;
}

function target(frame: VideoFrame, dst: Picture | undefined): Picture {
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

/**
 * Left and right source sample and weight of the right one for every column, and the
 * same for one row, clamped at the edges.
 */
function taps(position: number, count: number): { k: number; next: number; w: number } {
  const f = Math.floor(position);
  const w = position - f;
  const k = f < 0 ? 0 : f >= count ? count - 1 : f;
  const n = f + 1 < 0 ? 0 : f + 1 >= count ? count - 1 : f + 1;
  return { k, next: n, w };
}

/** Display-coded R'G'B' (and straight alpha) 0..1, planar; overshoots are kept. Grey gives three equal planes. */
export function toCodedRgb(frame: VideoFrame, dst?: Picture): Picture {
  const out = target(frame, dst);
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

/** Y'CbCr to coded R'G'B', or on to light by a table; true if it went that far. */
function yuvToRgb(frame: VideoFrame, data: Float32Array, curve: CurveTable | null): boolean {
  const { widthPx: w, heightPx: h } = frame;
  if (w * h < KERNEL_FROM_PIXELS) {
    yuvToRgbPlain(frame, data);
    return false;
  }
  const [sx, sy] = frame.chromaShift;
  const cw = (w + (1 << sx) - 1) >> sx;
  const q = quantisation(frame.bitDepth, frame.colour.fullRange);
  const d = decodingOf(frame.colour.matrix);
  const constants = Float32Array.of(
    1 / q.lumaScale,
    -q.lumaOffset / q.lumaScale,
    1 / q.chromaScale,
    q.chromaOffset,
    d.crToR,
    d.cbToG,
    d.crToG,
    d.cbToB,
    frame.chromaSite[0],
    frame.chromaSite[1],
  );
  const door = kernels();
  const scope = door.scope();
  try {
    const planes = frame.planes as readonly (Uint8Array | Uint16Array)[];
    const args = [
      scope.input(planes[0]!),
      scope.input(planes[1]!),
      scope.input(planes[2]!),
      scope.output(data),
      w,
      h,
      sx,
      sy,
      frame.bitDepth > 8 ? 1 : 0,
      scope.input(constants),
      curve === null ? 0 : scope.input(curve.knots),
      curve?.lo ?? 0,
      curve?.steps ?? 0,
      curve?.count ?? 0,
    ];
    door.run('ycbcrToRgb', args, h, w * 8, 8 * (cw + 16) + 8 * (w + 16) + 64);
    scope.finish();
  } finally {
    scope.close();
  }
  return curve !== null;
}

/** Plain twin of the kernel, for small pictures and for the test that holds the two together. */
export function yuvToRgbPlain(frame: VideoFrame, data: Float32Array): void {
  const { widthPx: w, heightPx: h } = frame;
  const n = w * h;
  const [sx, sy] = frame.chromaShift;
  const cw = (w + (1 << sx) - 1) >> sx;
  const ch = (h + (1 << sy) - 1) >> sy;
  const q = quantisation(frame.bitDepth, frame.colour.fullRange);
  const d = decodingOf(frame.colour.matrix);
  const yScale = 1 / q.lumaScale;
  const yOffset = -q.lumaOffset / q.lumaScale;
  const y = frame.planes[0]!;
  const cb = frame.planes[1]!;
  const cr = frame.planes[2]!;
  const cScale = 1 / q.chromaScale;
  const mid = q.chromaOffset;

  const left = new Int32Array(w);
  const right = new Int32Array(w);
  const weight = new Float32Array(w);
  for (let x = 0; x < w; x++) {
    const t = taps((x - frame.chromaSite[0]) / (1 << sx), cw);
    left[x] = t.k;
    right[x] = t.next;
    weight[x] = t.w;
  }
  const u = new Float32Array(cw);
  const v = new Float32Array(cw);
  for (let j = 0; j < h; j++) {
    const t = taps((j - frame.chromaSite[1]) / (1 << sy), ch);
    const a = t.k * cw;
    const b = t.next * cw;
    const wb = t.w * cScale;
    const wa = cScale - wb;
    const bias = -mid * cScale;
    for (let x = 0; x < cw; x++) {
      u[x] = cb[a + x]! * wa + cb[b + x]! * wb + bias;
      v[x] = cr[a + x]! * wa + cr[b + x]! * wb + bias;
    }
    const row = j * w;
    for (let x = 0; x < w; x++) {
      const l = y[row + x]! * yScale + yOffset;
      const k = left[x]!;
      const m = right[x]!;
      const f = weight[x]!;
      const uu = u[k]! + (u[m]! - u[k]!) * f;
      const vv = v[k]! + (v[m]! - v[k]!) * f;
      data[row + x] = l + d.crToR * vv;
      data[n + row + x] = l + d.cbToG * uu + d.crToG * vv;
      data[2 * n + row + x] = l + d.cbToB * uu;
    }
  }
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
  const out = target(frame, dst);
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
