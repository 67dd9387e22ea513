/**
 * How much of one small frame can be found again in another: block matching with gain and bias normalised out. A global
 * shift is found on the 32 × 18 reduction by normalised cross-correlation; then each of 12 × 6 blocks (8 × 9 cells at
 * 96 × 54) is searched for around no shift, the global shift and its neighbours' shifts (predictive search after de
 * Haan et al., "True-motion estimation with 3-D recursive search block matching", IEEE Trans. CSVT 1993). A block's
 * dissimilarity is 1 − NCC², the share of its variance that no gain and bias explain, so a light that goes on or off
 * costs nothing; blocks count by their contrast, since a flat block says nothing.
 *
 * The work is done by the kernel blockMatch on 15-bit values, all sums exact; block-match-plain.ts is its twin.
 */
import { kernels } from '../image/kernels.js';
import { SMALL_H, SMALL_W, type SmallFrame } from './small-frame.js';

/** Blocks across, down and in all. */
export const BLOCKS_X = 12;
export const BLOCKS_Y = 6;
export const BLOCKS = BLOCKS_X * BLOCKS_Y;
/** Contrast (15-bit value) at which a block counts half: 3 code values of standard deviation. */
const CONTRAST_HALF = 3 * 128;
/** Bytes of the kernel's result and of its scratch (kernels/block-match.ts). */
const OUT_BYTES = 64 + BLOCKS * 24;
const SCRATCH_BYTES = 38400;
const LUMA = SMALL_W * SMALL_H;

/** How far one frame is found again in another. */
export interface Match {
  /** 0 (all found again) .. 1 (nothing). */
  dissimilarity: number;
  /** The same when only the global shift and one cell around it are allowed. */
  rigidDissimilarity: number;
  /** Global shift in cells of 96 × 54. */
  dx: number;
  dy: number;
  /** Sum of block weights, 0 (two flat pictures) .. 1. */
  evidence: number;
  /** Mean of |block shift|, cells. */
  motion: number;
  /** Spread of the block shifts about the global shift, cells. */
  motionSpread: number;
}

/** Block by block, row after row: what was left unexplained 0..1, variance (15-bit values squared), shift (cells). */
export interface BlockFields {
  readonly leftOver: Float64Array;
  readonly contrast: Float64Array;
  readonly shiftX: Int32Array;
  readonly shiftY: Int32Array;
}

/** Compares two small frames at a time; `fields` and `blockShifts` tell of the pair matched last. */
export class BlockMatcher {
  private readonly result = new ArrayBuffer(OUT_BYTES);
  private readonly bytes = new Uint8Array(this.result);
  private readonly whole = new Float64Array(this.result, 0, 7);
  private readonly found: BlockFields = {
    leftOver: new Float64Array(this.result, 64, BLOCKS),
    contrast: new Float64Array(this.result, 64 + 8 * BLOCKS, BLOCKS),
    shiftX: new Int32Array(this.result, 64 + 16 * BLOCKS, BLOCKS),
    shiftY: new Int32Array(this.result, 64 + 20 * BLOCKS, BLOCKS),
  };

  /** Matches a onto b. `reach` is how far (cells) a block may stray from its best prediction. */
  match(a: SmallFrame, b: SmallFrame, reach: number, out: Match): Match {
    const door = kernels();
    const scope = door.scope();
    try {
      const at = scope.allocate(OUT_BYTES);
      door.run(
        'blockMatch',
        [scope.input(a.subarray(0, LUMA)), scope.input(b.subarray(0, LUMA)), reach, at],
        1,
        1,
        SCRATCH_BYTES,
      );
      this.bytes.set(new Uint8Array(door.memory.buffer, at, OUT_BYTES));
    } finally {
      scope.close();
    }
    const w = this.whole;
    out.dissimilarity = w[0]!;
    out.rigidDissimilarity = w[1]!;
    out.dx = w[2]!;
    out.dy = w[3]!;
    out.evidence = w[4]!;
    out.motion = w[5]!;
    out.motionSpread = w[6]!;
    return out;
  }

  /** What the last match found block by block; written over by the next. */
  fields(): BlockFields {
    return this.found;
  }

  /**
   * Block by block of the last match: shift (cells), what was left unexplained 0..1, and whether there was texture to
   * see it.
   */
  blockShifts(): { dx: number; dy: number; left: number; textured: boolean }[] {
    const f = this.found;
    return Array.from({ length: BLOCKS }, (_, k) => ({
      dx: f.shiftX[k]!,
      dy: f.shiftY[k]!,
      left: f.leftOver[k]!,
      textured: Math.sqrt(f.contrast[k]!) > CONTRAST_HALF,
    }));
  }
}

/** A match of two frames that are alike, to be filled. */
export function emptyMatch(): Match {
  return { dissimilarity: 0, rigidDissimilarity: 0, dx: 0, dy: 0, evidence: 0, motion: 0, motionSpread: 0 };
}
