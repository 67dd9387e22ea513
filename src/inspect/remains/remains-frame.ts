/**
 * What is kept of a frame to see whether an erase left something: light as filmed, as mended and as joined in a reduced
 * picture, and where it was mended. Logarithms of linear light, so that a shadow takes the same from a bright ground as
 * from a dark one.
 */
import { bt709Decode } from '../../colour/transfer.js';
import { boxMean } from '../../image/box.js';

/** Width (px) up to which a picture is reduced by whole factors. */
const WIDTH = 320;
/**
 * Keeps the dark from counting more than it is seen: about a hundredth of white, under which a screen's own veil lies.
 */
const FLOOR = 0.01;
/**
 * Change of coded luma (means of 5 px) from which a pixel is mended, and in parts of what the two files differ by
 * everywhere.
 */
const CHANGED = 0.008,
  OVER_FILE = 4;

export interface RemainsFrame {
  readonly frame: number;
  readonly width: number;
  readonly height: number;
  /** Px of the picture in one of these. */
  readonly scale: number;
  /** ln of linear light: as filmed, as mended, as joined. */
  readonly filmed: Float32Array;
  readonly mended: Float32Array;
  readonly joined: Float32Array;
  /** 1 where the plate was mended. */
  readonly erased: Uint8Array;
  /** 1 where the performer may lie over it. */
  readonly covered: Uint8Array;
}

/** Means of coded luma over squares of `scale`, as ln of linear light. */
export function reducedLight(luma: Float32Array, width: number, height: number, scale: number): Float32Array {
  const w = Math.floor(width / scale),
    h = Math.floor(height / scale),
    out = new Float32Array(w * h);
  for (let y = 0; y < h; y++)
    for (let x = 0; x < w; x++) {
      let s = 0;
      for (let j = 0; j < scale; j++)
        for (let i = 0; i < scale; i++) s += luma[(y * scale + j) * width + x * scale + i]!;
      out[y * w + x] = Math.log(FLOOR + Math.max(0, bt709Decode(s / (scale * scale))));
    }
  return out;
}

/** Pixels of a frame of this width to a pixel of what is kept. */
export function scaleFor(width: number): number {
  return Math.max(1, Math.ceil(width / WIDTH));
}

/** Coded lumas and the matte, height × width each, to what is kept. */
export function remainsFrame(
  frame: number,
  filmed: Float32Array,
  mended: Float32Array,
  joined: Float32Array,
  matte: Float32Array,
  W: number,
  H: number,
): RemainsFrame {
  const scale = scaleFor(W),
    width = Math.floor(W / scale),
    height = Math.floor(H / scale),
    n = width * height;
  const change = new Float32Array(n),
    cover = new Uint8Array(n);
  for (let y = 0; y < height; y++)
    for (let x = 0; x < width; x++) {
      let s = 0,
        m = 0;
      for (let j = 0; j < scale; j++)
        for (let i = 0; i < scale; i++) {
          const q = (y * scale + j) * W + x * scale + i;
          s += Math.abs(mended[q]! - filmed[q]!);
          if (matte[q]! > m) m = matte[q]!;
        }
      change[y * width + x] = s / (scale * scale);
      if (m > 0.004) cover[y * width + x] = 1;
    }
  const soft = boxMean(change, width, height, 1),
    usual = Float32Array.from(soft).sort()[n >> 1]!;
  const least = Math.max(CHANGED, OVER_FILE * usual),
    erased = Uint8Array.from(soft, (v) => (v > least ? 1 : 0));
  return {
    frame,
    width,
    height,
    scale,
    filmed: reducedLight(filmed, W, H, scale),
    mended: reducedLight(mended, W, H, scale),
    joined: reducedLight(joined, W, H, scale),
    erased,
    covered: cover,
  };
}
