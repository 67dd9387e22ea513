/** What the inspection looks at on one frame: join and plate display-coded, the performer's matte, and where it is. */
import type { Picture } from '../../image/picture.js';
import { selectInPlace } from '../../image/statistics.js';
import { shownAsCoded } from '../../media/colour-tags.js';
import type { VideoFrame } from '../../media/types.js';
import { expansion } from '../../media/ycbcr.js';

export interface SeenFrame {
  readonly frame: number;
  /** Display-coded R'G'B', whole frame. */
  readonly join: Picture;
  readonly plate: Picture;
  /** Coded luma of both, whole frame. */
  readonly luma: Float32Array;
  readonly plateLuma: Float32Array;
  /** Coded luma of the plate before it was mended, where it was, in the same pixels. */
  readonly asFilmed?: Float32Array;
  /** The same where the mended plate came as a file of its own, which differs a little everywhere. */
  readonly beside?: Float32Array;
  /** Performer as seen, 0..1, whole frame. */
  readonly matte: Float32Array;
  /** Box of the matte, x0, y0 inclusive, x1, y1 exclusive; null where the performer is not seen. */
  readonly box: readonly [number, number, number, number] | null;
}

/** A frame gone by: its pictures' room may hold another frame already. */
export type GoneFrame = Omit<SeenFrame, 'join' | 'plate'>;

/**
 * Box of a matte (height × width, 0..1) from a cover of .1 on, [x0, y0, x1, y1) px; null where that is less than 64
 * px².
 */
export function matteBox(matte: Float32Array, width: number, height: number): [number, number, number, number] | null {
  let x0 = width,
    y0 = height,
    x1 = 0,
    y1 = 0;
  for (let y = 0; y < height; y++) {
    for (let x = 0; x < width; x++) {
      if (matte[y * width + x]! < 0.1) continue;
      if (x < x0) x0 = x;
      if (x >= x1) x1 = x + 1;
      if (y < y0) y0 = y;
      y1 = y + 1;
    }
  }
  return x1 > x0 && (x1 - x0) * (y1 - y0) >= 64 ? [x0, y0, x1, y1] : null;
}

/** Box grown on all sides, cut at the picture. */
export function grow(
  box: readonly [number, number, number, number],
  dx: number,
  dy: number,
  width: number,
  height: number,
): [number, number, number, number] {
  return [
    Math.max(0, Math.floor(box[0] - dx)),
    Math.max(0, Math.floor(box[1] - dy)),
    Math.min(width, Math.ceil(box[2] + dx)),
    Math.min(height, Math.ceil(box[3] + dy)),
  ];
}

/** Coded luma (BT.709 weights) of a whole picture, into `out` where that is given. */
export function lumaOf(p: Picture, out: Float32Array = new Float32Array(p.width * p.height)): Float32Array {
  const n = p.width * p.height,
    d = p.data;
  for (let i = 0; i < n; i++) out[i] = 0.2126 * d[i]! + 0.7152 * d[n + i]! + 0.0722 * d[2 * n + i]!;
  return out;
}

/**
 * Coded luma of a frame whose own Y' is of BT.709 weights into `out`: what `lumaOf` gives of its picture, up to rounding,
 * as its matrix was made of these weights (ITU-R BT.709-6, 3.2). False where the frame is of another kind or curve.
 */
export function lumaAsCoded(frame: VideoFrame, out: Float32Array): boolean {
  if (frame.layout !== 'yuv' || frame.colour.matrix !== 'bt709' || !shownAsCoded(frame.colour.transfer)) return false;
  const src = frame.planes[0]!,
    { scale, offset } = expansion(frame.bitDepth, frame.colour);
  for (let i = 0; i < out.length; i++) out[i] = src[i]! * scale + offset;
  return true;
}

/**
 * A performer behind a pane is nowhere wholly covered: the veil takes the same share everywhere. That share is taken
 * out of the matte, so that its core counts as core; a core already mixed with the plate mixes with it further as any
 * other does. In place. Nothing is done where the core is whole, or where nothing holds together.
 */
export function liftVeil(matte: Float32Array): void {
  const counts = new Uint32Array(101);
  let n = 0;
  for (let i = 0; i < matte.length; i++)
    if (matte[i]! > 0.3) {
      counts[Math.round(100 * matte[i]!)]!++;
      n++;
    }
  if (n < 200) return;
  // The plateau: where a twentieth of the seen matte lies above.
  let k = 100,
    above = 0;
  while (k > 30 && above + counts[k]! < 0.05 * n) above += counts[k--]!;
  const plateau = k / 100;
  if (plateau >= 0.97 || plateau < 0.4) return;
  for (let i = 0; i < matte.length; i++) matte[i] = Math.min(1, matte[i]! / plateau);
}

/** So few values are sorted as fast. */
const FEW = 64;

/** A quantile between its two neighbours in order, NaN of nothing; only those two are looked for. */
export function quantile(values: readonly number[] | Float32Array, q: number): number {
  const n = values.length;
  if (n === 0) return NaN;
  const s = Float64Array.from(values),
    k = q * (n - 1),
    i = Math.floor(k);
  // What is no number goes last, which selection does not know of.
  if (n < FEW || s.some(Number.isNaN)) s.sort();
  else {
    selectInPlace(s, i);
    if (i + 1 < n) s[i + 1] = leastFrom(s, i + 1);
  }
  return s[i]! + (s[Math.min(n - 1, i + 1)]! - s[i]!) * (k - i);
}

function leastFrom(s: Float64Array, from: number): number {
  let least = s[from]!;
  for (let j = from + 1; j < s.length; j++) if (s[j]! < least) least = s[j]!;
  return least;
}
