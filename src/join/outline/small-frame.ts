/**
 * The small picture on which a performer is outlined: block means of the coded picture as luma and doubled colour
 * differences, so that equal steps count about equally in light and colour. Fur, leaves and grain average out; the
 * outline is settled at full size.
 */
import { requireSameSize, type Picture } from '../../image/picture.js';

/** Pixels along the longer side of the performer's box that its outline is found at. */
const PERFORMER_SIDE = 280;

/** A frame reduced by whole blocks, for outlines and followers. */
export interface SmallFrame {
  readonly width: number;
  readonly height: number;
  /**
   * Side of the block that one small pixel stands for; what is left over at the right and bottom edge is part of the
   * last.
   */
  readonly block: number;
  /** Planar: luma 0..1, twice B' − Y' and R' − Y' scaled as in BT.709. */
  readonly data: Float32Array;
}

/** Block side for a performer whose box is so many pixels long. */
export function blockFor(side: number): number {
  return Math.max(1, Math.round(side / PERFORMER_SIDE));
}

/** Block means of a display-coded picture, `block` px square; the last row and column of blocks take what is left. */
export function smallFrame(coded: Picture, block: number): SmallFrame {
  const { width: w, height: h, data } = coded,
    n = w * h,
    sw = Math.max(1, Math.floor(w / block)),
    sh = Math.max(1, Math.floor(h / block)),
    m = sw * sh;
  const out = new Float32Array(3 * m),
    sum = new Float64Array(3 * sw);
  for (let y = 0; y < sh; y++) {
    sum.fill(0);
    const last = y === sh - 1 ? h : (y + 1) * block;
    for (let v = y * block; v < last; v++) {
      for (let p = 0; p < 3; p++) {
        let i = p * n + v * w;
        for (let x = 0; x < sw; x++) {
          const end = p * n + v * w + (x === sw - 1 ? w : (x + 1) * block);
          let s = 0;
          for (; i < end; i++) s += data[i]!;
          sum[p * sw + x] = sum[p * sw + x]! + s;
        }
      }
    }
    for (let x = 0; x < sw; x++) {
      const k = 1 / ((last - y * block) * (x === sw - 1 ? w - x * block : block)),
        r = sum[x]! * k,
        g = sum[sw + x]! * k,
        b = sum[2 * sw + x]! * k,
        luma = 0.2126 * r + 0.7152 * g + 0.0722 * b;
      const j = y * sw + x;
      out[j] = luma;
      out[m + j] = (2 * (b - luma)) / 1.8556;
      out[2 * m + j] = (2 * (r - luma)) / 1.5748;
    }
  }
  return { width: sw, height: sh, block, data: out };
}

/** Box of small pixels, x1 and y1 exclusive. */
export type SmallBox = readonly [number, number, number, number];

/** A part of a small picture. */
export function partOf(frame: SmallFrame, [x0, y0, x1, y1]: SmallBox): SmallFrame {
  const w = x1 - x0,
    h = y1 - y0,
    out = new Float32Array(3 * w * h);
  for (let p = 0; p < 3; p++)
    for (let y = 0; y < h; y++) {
      const from = p * frame.width * frame.height + (y + y0) * frame.width;
      out.set(frame.data.subarray(from + x0, from + x1), p * w * h + y * w);
    }
  return { width: w, height: h, block: frame.block, data: out };
}

/** A part of a plane of the small picture's size. */
export function partOfPlane<T extends Float32Array | Uint8Array>(
  plane: T,
  width: number,
  [x0, y0, x1, y1]: SmallBox,
): T {
  const w = x1 - x0,
    out = (plane instanceof Uint8Array ? new Uint8Array(w * (y1 - y0)) : new Float32Array(w * (y1 - y0))) as T;
  for (let y = y0; y < y1; y++) out.set(plane.subarray(y * width + x0, y * width + x1), (y - y0) * w);
  return out;
}

/**
 * The box of what is set, widened by a share of its size and some pixels, within the picture; null where nothing is.
 */
export function boxAbout(
  mask: Uint8Array,
  width: number,
  height: number,
  share: number,
  more: number,
): SmallBox | null {
  let x0 = width,
    y0 = height,
    x1 = -1,
    y1 = -1;
  for (let y = 0, i = 0; y < height; y++)
    for (let x = 0; x < width; x++, i++)
      if (mask[i] === 1) {
        if (x < x0) x0 = x;
        if (x > x1) x1 = x;
        if (y < y0) y0 = y;
        y1 = y;
      }
  if (x1 < 0) return null;
  const e = more + share * Math.max(x1 - x0, y1 - y0);
  return [
    Math.max(0, Math.floor(x0 - e)),
    Math.max(0, Math.floor(y0 - e)),
    Math.min(width, Math.ceil(x1 + 1 + e)),
    Math.min(height, Math.ceil(y1 + 1 + e)),
  ];
}

/**
 * Contrast-sensitive edges of a cut: a step that is usual in this picture costs e⁻¹ of a flat neighbour's (Y. Boykov &
 * M.-P. Jolly, ICCV 2001).
 */
export function cutEdges(
  frame: SmallFrame,
  weight: number,
  floor: number,
): [Float32Array, Float32Array, Float32Array, Float32Array] {
  const { width: w, height: h, data } = frame,
    n = w * h,
    steps = [
      [1, 0],
      [1, 1],
      [0, 1],
      [-1, 1],
    ] as const;
  const squares = steps.map(([dx, dy]) => {
    const out = new Float32Array(n).fill(-1);
    for (let y = 0; y < h - dy; y++)
      for (let x = Math.max(0, -dx); x < w - Math.max(0, dx); x++) {
        const i = y * w + x,
          j = i + dy * w + dx;
        out[i] =
          (data[i]! - data[j]!) ** 2 + (data[n + i]! - data[n + j]!) ** 2 + (data[2 * n + i]! - data[2 * n + j]!) ** 2;
      }
    return out;
  });
  let sum = 0,
    count = 0;
  for (const s of squares)
    for (const v of s)
      if (v >= 0) {
        sum += v;
        count++;
      }
  const usual = Math.max(1e-5, sum / Math.max(1, count));
  steps.forEach(([dx, dy], d) => {
    const s = squares[d]!,
      near = weight / Math.hypot(dx, dy);
    for (let i = 0; i < n; i++) s[i] = s[i]! < 0 ? 0 : near * (floor + (1 - floor) * Math.exp(-s[i]! / (2 * usual)));
  });
  return squares as [Float32Array, Float32Array, Float32Array, Float32Array];
}

/** Throws `PW-IMAGE-SHAPE` unless both are of one size. */
export function requireLike(a: SmallFrame, b: SmallFrame): void {
  requireSameSize(
    { width: a.width, height: a.height } as Picture,
    { width: b.width, height: b.height } as Picture,
    'outline',
  );
}
