/** The grain's table: standard deviation by channel and brightness, from the blocks that were chosen to speak. */
import type { ColourBounds } from './grain-colour.js';
import { BLOCK } from './grain-blocks.js';
import type { GrainRow } from '../types.js';

/** Levels of brightness that are told apart. */
export const BINS = 16;
const CHANNELS = ['r', 'g', 'b', 'luma'] as const;

/** What a block of a pair of frames tells. */
export interface BlockStat {
  readonly level: Float64Array;
  readonly variance: Float64Array;
  readonly x: number;
  readonly y: number;
  readonly pair: number;
  /** How far the difference follows motion or light change, and for spatial use how structured it is. */
  readonly trouble: number;
  /** Spatial variance of luma in the first frame. */
  readonly flat: number;
  /** Spatial variance of the channels' differences there (BlockSums). */
  readonly apart: Float64Array;
}

/** Standard deviation by channel and level, from blocks sorted into levels; `unbias` times their variance. */
export function grainTable(chosen: readonly BlockStat[], unbias: number, colour: ColourBounds): GrainRow[] {
  const table: GrainRow[] = [];
  CHANNELS.forEach((channel, c) => {
    // Blocks, sums of level, of variance and of green's variance, level by level.
    const sums = new Float64Array(BINS * 4);
    for (const s of chosen) {
      const k = Math.max(0, Math.min(BINS - 1, Math.floor(s.level[c]! * BINS)));
      sums[4 * k]!++;
      sums[4 * k + 1]! += s.level[c]!;
      sums[4 * k + 2]! += s.variance[c]!;
      sums[4 * k + 3]! += s.variance[1]!;
    }
    for (let k = 0; k < BINS; k++) {
      const n = sums[4 * k]!;
      if (n < 6) continue;
      table.push({
        channel,
        level: sums[4 * k + 1]! / n,
        sigma: Math.min(
          Math.sqrt((unbias * sums[4 * k + 2]!) / n),
          colour.most(c, sums[4 * k + 1]! / n, (unbias * sums[4 * k + 3]!) / n),
        ),
        samples: n * BLOCK * BLOCK,
      });
    }
  });
  return table;
}
