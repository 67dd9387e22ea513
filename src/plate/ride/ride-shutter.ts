/**
 * Which blur a clip shows, and alignment under it: a template is smeared by the region's own motion (ride-smear.ts)
 * once the first fast frames have shown that the smaller residuals come from that and not from the smear's averaging.
 */
import { invert, multiply, type Mat3 } from '../../geometry/mat3.js';
import { align, type AlignOptions, type AlignResult } from './ride-align.js';
import { generatorLog } from './ride-generators.js';
import type { Key, RegionKeys } from './ride-keys.js';
import { smear, smearLength, twinOf } from './ride-smear.js';
import type { RideTemplate } from './ride-template.js';

/**
 * A film camera's usual exposure: half a frame (a shutter of 180 degrees; common practice, no source). Whether a clip
 * shows it is tried.
 */
const EXPOSURE = 0.5;
/** Shorter ways than this (px) are left unsmeared: the pyramid's own smoothing is as wide. */
const SMEAR_FROM = 1.2;
/** From this way (px) on even the levels that motion is sought on are blurred by it: a pixel of the second halving. */
const COARSE_SMEAR_FROM = 4;
/** The residual must be smaller by this share on average: less is within the chance of a few fits. */
const SMEAR_GAIN = 0.01;
/** Tries of plain against smeared before one is dropped. */
const TRIES = 6;

/** Belongs to the keys of one region; motions are logarithms of homographies, as `generatorLog` gives them. */
export class ShutterBlur {
  private readonly keys: RegionKeys;
  /**
   * How much smaller the residual is with the smear than without or across, summed
   * logarithms, and over how many frames.
   */
  private readonly blur = { gain: 0, tried: 0 };

  constructor(keys: RegionKeys) {
    this.keys = keys;
  }

  /**
   * The template for the coarse levels: smeared by the motion expected where that is long.
   * `last`: where the region was; null: not known.
   */
  inMotion(key: Key, last: Mat3 | null, predictedWarp: Mat3): RideTemplate {
    if (last === null || this.blur.tried < TRIES || this.blur.gain <= 0) return key.template;
    const way = generatorLog(
      multiply(invert(multiply(last, multiply(invert(key.fromAnchor), key.template.toPixels))), predictedWarp),
    ).map((v) => v * EXPOSURE);
    if (smearLength(key.template, way) < COARSE_SMEAR_FROM) return key.template;
    key.smeared ??= twinOf(key.template, this.keys.memory);
    return smear(key.template, key.coarse, way, key.smeared, 1);
  }

  /** The template for levels 1 to `to` under a motion (a frame) that is known. */
  coarse(key: Key, motion: Float64Array | null, to: number): RideTemplate {
    const way = motion?.map((v) => v * EXPOSURE);
    if (
      way === undefined ||
      this.blur.tried < TRIES ||
      this.blur.gain <= 0 ||
      smearLength(key.template, way) < SMEAR_FROM
    )
      return key.template;
    key.smeared ??= twinOf(key.template, this.keys.memory);
    return smear(key.template, key.coarse, way, key.smeared, 1, to);
  }

  /**
   * The last alignment, against the template as blurred as the motion (a frame) makes it, unless the clip shows no such
   * blur.
   */
  finest(key: Key, start: Mat3, options: AlignOptions, motion: Float64Array | null): AlignResult | null {
    const way = motion?.map((v) => v * EXPOSURE);
    const refused = this.blur.tried >= TRIES && this.blur.gain <= 0;
    if (way === undefined || refused || smearLength(key.template, way) < SMEAR_FROM)
      return align(key.template, this.keys.pyramid, start, options, key.scratch);
    key.smeared ??= twinOf(key.template, this.keys.memory);
    const to = Math.max(1, options.startLevel ?? Infinity);
    const blurred = align(
      smear(key.template, key.coarse, way, key.smeared, 0, to),
      this.keys.pyramid,
      start,
      options,
      key.scratch,
    );
    if (this.blur.tried >= TRIES) return blurred;
    const plain = align(key.template, this.keys.pyramid, start, options, key.scratch);
    if (plain === null || blurred === null) return plain;
    // Until it is known, nothing is smeared. A smear also averages the template's grain. One across the motion
    // does that as well, and no blur of the camera's.
    const across = align(
      smear(key.template, key.coarse, [-way[1]!, way[0]!, 0, 0, 0, 0, 0, 0], key.smeared, 0, to),
      this.keys.pyramid,
      start,
      options,
      key.scratch,
    );
    const other = Math.min(plain.sigma, across?.sigma ?? Infinity);
    if (plain.agreement * plain.visible > 0.8) {
      this.blur.gain += Math.log(other / blurred.sigma) - SMEAR_GAIN;
      this.blur.tried++;
    }
    return plain;
  }
}
