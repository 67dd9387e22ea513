/** The small picture on which a peel is analysed: scene-linear RGB averaged over blocks, about 480 pixels wide. */
import { kernels } from '../../image/kernels.js';
import type { Picture } from '../../image/picture.js';
import { ownFloats, type Floats } from './work-space.js';

/**
 * Widest analysed picture. Fur, folds and spill scale with the picture, so the analysis has one size for all formats.
 */
const ANALYSIS_WIDTH = 480;

/** Side of a block for a picture of this width. */
export function blockSide(width: number): number {
  return Math.max(1, Math.round(width / ANALYSIS_WIDTH));
}

export interface SmallLinear {
  readonly width: number;
  readonly height: number;
  /** Side of the block that one small pixel stands for (the last column and row may stand for less). */
  readonly block: number;
  /** Planar RGB. */
  readonly data: Float32Array;
}

/** Block means of a planar RGB picture. @param block side of a block; what suits the picture's width unless told */
export function smallLinear(linear: Picture, block = blockSide(linear.width), floats: Floats = ownFloats): SmallLinear {
  const { width: w, height: h } = linear;
  const sw = Math.ceil(w / block);
  const sh = Math.ceil(h / block);
  const data = floats(3 * sw * sh);
  blockMeans(linear.data, w, h, block, data);
  return { width: sw, height: sh, block, data };
}

/** Means over blocks of three planes of w × h into planes of ceil(w / block) × ceil(h / block). */
export function blockMeans(planes: Float32Array, w: number, h: number, block: number, dst: Float32Array): void {
  const sw = Math.ceil(w / block);
  const sh = Math.ceil(h / block);
  const door = kernels();
  const scope = door.scope();
  try {
    door.run(
      'blockMeans',
      [scope.input(planes), w, h, block, scope.output(dst), sw, sh],
      sh,
      w * block * 3,
      4 * (w + 8),
    );
    scope.finish();
  } finally {
    scope.close();
  }
}

/** Plain twin of the kernel. */
export function smallLinearPlain(linear: Picture): SmallLinear {
  const { width: w, height: h, data } = linear;
  const k = blockSide(w);
  const sw = Math.ceil(w / k);
  const sh = Math.ceil(h / k);
  const out = new Float32Array(3 * sw * sh);
  const n = w * h;
  const sums = new Float64Array(sw);
  for (let p = 0; p < 3; p += 1) {
    for (let y = 0; y < sh; y += 1) {
      sums.fill(0);
      const rows = Math.min(k, h - y * k);
      for (let j = 0; j < rows; j += 1) {
        const row = p * n + (y * k + j) * w;
        let x = 0;
        for (let s = 0; s < sw; s += 1) {
          const end = Math.min(x + k, w);
          let sum = 0;
          for (; x < end; x += 1) sum += data[row + x]!;
          sums[s] = sums[s]! + sum;
        }
      }
      for (let s = 0; s < sw; s += 1) out[p * sw * sh + y * sw + s] = sums[s]! / (rows * Math.min(k, w - s * k));
    }
  }
  return { width: sw, height: sh, block: k, data: out };
}
