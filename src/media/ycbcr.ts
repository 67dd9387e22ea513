/**
 * Y'CbCr matrices and quantisation (ITU-R BT.601-7, BT.709-6, BT.2020-2; H.273 clause 8.3): the numbers that turn
 * code values into display-coded R'G'B' and back.
 */
import { LUMA_COEFFICIENTS } from '../colour/matrices.js';
import type { ColourTags, MatrixName, VideoFrame } from './types.js';

/** Kr and Kb. RGB has no matrix of its own: BT.709's is used where a luma is asked of it. */
export function lumaWeights(matrix: MatrixName): readonly [number, number] {
  const { kr, kb } = LUMA_COEFFICIENTS[matrix === 'rgb' ? 'bt709' : matrix];
  return [kr, kb];
}

export interface Quantisation {
  /** code = lumaScale · Y' + lumaOffset */
  readonly lumaScale: number;
  readonly lumaOffset: number;
  /** code = chromaScale · C + chromaOffset, C in -0.5..0.5 */
  readonly chromaScale: number;
  readonly chromaOffset: number;
}

/** Levels of a bit depth: limited 16..235 and 16..240 scaled by 2^(n-8), full 0..2^n-1. */
export function quantisation(bitDepth: number, fullRange: boolean): Quantisation {
  const unit = 2 ** (bitDepth - 8);
  const max = 2 ** bitDepth - 1;
  return fullRange
    ? { lumaScale: max, lumaOffset: 0, chromaScale: max, chromaOffset: 2 ** (bitDepth - 1) }
    : { lumaScale: 219 * unit, lumaOffset: 16 * unit, chromaScale: 224 * unit, chromaOffset: 128 * unit };
}

export interface Decoding {
  /** R' = Y' + crToR·Cr, G' = Y' + cbToG·Cb + crToG·Cr, B' = Y' + cbToB·Cb */
  readonly crToR: number;
  readonly cbToG: number;
  readonly crToG: number;
  readonly cbToB: number;
}

/** What Y'CbCr of a matrix is decoded by, from its luma weights (ITU-R BT.709-6 item 3.3 and its kin). */
export function decodingOf(matrix: MatrixName): Decoding {
  const [kr, kb] = lumaWeights(matrix);
  const kg = 1 - kr - kb;
  return {
    crToR: 2 * (1 - kr),
    cbToB: 2 * (1 - kb),
    cbToG: (-2 * kb * (1 - kb)) / kg,
    crToG: (-2 * kr * (1 - kr)) / kg,
  };
}

/**
 * What the kernels that decode Y'CbCr read: luma's and chroma's quantisation, the matrix, where the chroma samples lie.
 */
export function decodingConstants(frame: VideoFrame): Float32Array {
  const q = quantisation(frame.bitDepth, frame.colour.fullRange);
  const d = decodingOf(frame.colour.matrix);
  return Float32Array.of(
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
}

/**
 * What a kernel needs to make codes of display-coded R'G'B': Kr, Kg, Kb; scale and offset of luma; what B' − Y' and
 * R' − Y' are taken times, and the offset of chroma. Half a code is in the offsets, so that cutting off rounds.
 */
export function encodingConstants(tags: ColourTags, bitDepth: number): number[] {
  const [kr, kb] = lumaWeights(tags.matrix);
  const q = quantisation(bitDepth, tags.fullRange);
  return [
    kr,
    1 - kr - kb,
    kb,
    q.lumaScale,
    q.lumaOffset + 0.5,
    q.chromaScale / (2 * (1 - kb)),
    q.chromaScale / (2 * (1 - kr)),
    q.chromaOffset + 0.5,
  ];
}

/** Scale and offset that turn a code value of a plane that isn't Y'CbCr (RGB, grey) or of luma into 0..1. */
export function expansion(bitDepth: number, tags: ColourTags): { scale: number; offset: number } {
  if (bitDepth === 32) return { scale: 1, offset: 0 };
  const q = quantisation(bitDepth, tags.fullRange);
  return { scale: 1 / q.lumaScale, offset: -q.lumaOffset / q.lumaScale };
}
