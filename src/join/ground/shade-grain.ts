/**
 * The film's grain inside a shadow that is laid on the plate. Light taken away takes the plate's own grain down with
 * it: coded values go with about the .45th power of light (ITU-R BT.709-6, item 1.2), and their grain in the same
 * measure, while film that had seen the shadow would show the grain of that darker level. What is missing between the
 * two is grown over it, independent of what is there.
 */
import { KERNEL_FROM_PIXELS, kernels } from '../../image/kernels.js';
import type { Picture } from '../../image/picture.js';
import { TILE, type Grower } from '../air/grain.js';
import type { Box } from './ground.js';

/** Exponent of the coded value over light. */
const CODED_POWER = 0.45;
/** Light left from which nothing is grown: it would be a tenth of the grain that is there. */
const NEARLY_ALL = 0.9;
/** The performer's own grain (air.ts) is grown from this cover on. */
const PERFORMER = 0.05;
const STEPS = 256;
/** Levels of a grain's curve. */
const LEVELS = 64;
/** Coded value left, by light left. */
const CODED_LEFT = Float32Array.from({ length: STEPS + 1 }, (_, i) => (i / STEPS) ** CODED_POWER);

/** A frame's box of the plate with shade laid in a part of it, and the grain that it is to get. */
export interface ShadedGrain {
  /** Share of the grain that is grown (the air step's). */
  readonly share: number;
  readonly plate: Grower;
  readonly frame: number;
  /** Of `after`, `coded` and `matte` in the plate. */
  readonly box: Box;
  /** The part of it with shade. */
  readonly shaded: Box;
  /**
   * Green of the plate under the shaded part alone, scene-linear: it tells how much light is left, for all channels
   * nearly enough.
   */
  readonly before: Float32Array;
  /** The box with shade on it and what else was laid on, scene-linear. */
  readonly after: Picture;
  /** Display-coded values of `after`, changed in place. */
  readonly coded: Picture;
  /** The performer's cover over the box. */
  readonly matte: Float32Array;
}

/** Grows the missing grain over the shaded part, but where the performer is. */
export function grainInShade(laid: ShadedGrain): void {
  const { share, plate, frame, box, shaded, before, after, coded, matte } = laid;
  const { width: w, height: h } = coded,
    n = w * h,
    wide = shaded[2] - shaded[0],
    high = shaded[3] - shaded[1];
  if (wide * high < KERNEL_FROM_PIXELS) {
    grainInShadePlain(laid);
    return;
  }
  const { tiles, ox, oy, sx, sy } = plate.field(frame),
    tables = new Float32Array(3 * LEVELS + STEPS + 1);
  plate.curves.forEach((curve, c) => tables.set(curve, c * LEVELS));
  tables.set(CODED_LEFT, 3 * LEVELS);
  const door = kernels(),
    scope = door.scope();
  try {
    door.run(
      'shadeGrain',
      [
        scope.input(before),
        scope.input(after.data.subarray(n, 2 * n)),
        scope.changed(coded.data.subarray(0, 3 * n)),
        scope.input(matte),
        w,
        n,
        (shaded[1] - box[1]) * w + shaded[0] - box[0],
        wide,
        scope.input(tables),
        STEPS,
        NEARLY_ALL,
        PERFORMER,
        share,
        ...tiles.map((t) => scope.input(t)),
        TILE,
        ox + TILE / 2 + sx * shaded[0],
        oy + TILE / 2 + sy * shaded[1],
        sx,
        sy,
      ],
      high,
      8 * wide,
    );
    scope.finish();
  } finally {
    scope.close();
  }
}

/** Plain twin of the kernel. */
export function grainInShadePlain(laid: ShadedGrain): void {
  const { share, plate, frame, box, shaded, before, after, coded, matte } = laid;
  const { width: w, height: h } = coded,
    n = w * h,
    { tiles, ox, oy, sx, sy } = plate.field(frame),
    { data } = coded,
    green = after.data.subarray(n, 2 * n);
  const wide = shaded[2] - shaded[0],
    high = shaded[3] - shaded[1];
  for (let v = 0, j = 0; v < high; v++) {
    // Half a tile from where the performer's grain is read.
    const row = ((oy + TILE / 2 + sy * (shaded[1] + v)) & (TILE - 1)) * TILE;
    for (let u = 0, i = (shaded[1] - box[1] + v) * w + shaded[0] - box[0]; u < wide; u++, i++, j++) {
      const lit = before[j]!,
        dark = green[i]!;
      if (!(dark < NEARLY_ALL * lit) || matte[i]! > PERFORMER) continue;
      const left = CODED_LEFT[dark <= 0 ? 0 : ((STEPS * dark) / lit) | 0]!,
        at = row + ((ox + TILE / 2 + sx * (shaded[0] + u)) & (TILE - 1));
      for (let c = 0, k = i; c < 3; c++, k += n) {
        const curve = plate.curves[c as 0 | 1 | 2],
          l = data[k]!,
          want = curve[levelOf(l)]!,
          own = curve[levelOf(left > 0 ? l / left : l)]! * left,
          missing = want * want - own * own;
        if (missing > 0) data[k] = l + share * Math.sqrt(missing) * tiles[c as 0 | 1 | 2][at]!;
      }
    }
  }
}

const levelOf = (coded: number): number => (coded <= 0 ? 0 : coded >= 1 ? 63 : (coded * 63 + 0.5) | 0);
