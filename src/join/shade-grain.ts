/**
 * The film's grain inside a shadow that is laid on the plate. Light taken away takes the plate's own grain down with it: coded values
 * go with about the .45th power of light (ITU-R BT.709-6, item 1.2), and their grain in the same measure, while film that had seen the
 * shadow would show the grain of that darker level. What is missing between the two is grown over it, independent of what is there.
 */
import type { Picture } from '../image/picture.js';
import { TILE, type Grower } from './grain.js';
import type { Box } from './ground.js';

/** Exponent of the coded value over light. */
const CODED_POWER = 0.45;
/** Light left from which nothing is grown: it would be a tenth of the grain that is there. */
const NEARLY_ALL = 0.9;
/** The performer's own grain (air.ts) is grown from this cover on. */
const PERFORMER = 0.05;
const STEPS = 256;
/** Coded value left, by light left. */
const CODED_LEFT = Float32Array.from({ length: STEPS + 1 }, (_, i) => (i / STEPS) ** CODED_POWER);

/**
 * @param share of the grain that is grown (the air step's) @param box of the pictures and `matte` in the plate @param shaded part of it with shade
 * @param before plate under the box, scene-linear @param after the same with shade on it and what else was laid on @param coded display-coded values of `after`, changed in place
 */
export function grainInShade(share: number, plate: Grower, frame: number, box: Box, shaded: Box, before: Picture, after: Picture, coded: Picture, matte: Float32Array): void {
  const { width: w, height: h } = coded, n = w * h, { tiles, ox, oy, sx, sy } = plate.field(frame);
  const x0 = Math.max(0, shaded[0] - box[0]), x1 = Math.min(w, shaded[2] - box[0]), y0 = Math.max(0, shaded[1] - box[1]), y1 = Math.min(h, shaded[3] - box[1]);
  for (let c = 0; c < 3; c++) {
    const curve = plate.curves[c]!, tile = tiles[c]!, was = before.data.subarray(c * n, (c + 1) * n), is = after.data.subarray(c * n, (c + 1) * n), d = coded.data.subarray(c * n, (c + 1) * n);
    for (let y = y0; y < y1; y++) {
      // Half a tile from where the performer's grain is read.
      const row = ((oy + TILE / 2 + sy * (box[1] + y)) & (TILE - 1)) * TILE;
      for (let x = x0, i = y * w + x0; x < x1; x++, i++) {
        const lit = was[i]!, dark = is[i]!;
        if (!(dark < NEARLY_ALL * lit) || matte[i]! > PERFORMER) continue;
        const left = CODED_LEFT[dark <= 0 ? 0 : (STEPS * dark / lit) | 0]!, l = d[i]!;
        const want = curve[levelOf(l)]!, own = curve[levelOf(left > 0 ? l / left : l)]! * left, missing = want * want - own * own;
        if (missing > 0) d[i] = l + share * Math.sqrt(missing) * tile[row + ((ox + TILE / 2 + sx * (box[0] + x)) & (TILE - 1))]!;
      }
    }
  }
}

const levelOf = (coded: number): number => (coded <= 0 ? 0 : coded >= 1 ? 63 : (coded * 63 + 0.5) | 0);
