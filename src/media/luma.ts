/** The display-coded luma of a frame, whole or averaged down: what scans and followers look at. */
import { PlatewrightError } from '../core/errors.js';
import type { VideoFrame } from './types.js';
import { expansion, lumaWeights } from './ycbcr.js';

/**
 * Display-coded luma, height × width, 0..1 after range expansion (a little outside where the file overshoots). Throws
 * `PW-MEDIA-SIZE` where `dst` is too small.
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
