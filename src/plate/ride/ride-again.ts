/** A frame looked at once more, out of order, with what the rest of its track says of it. */
import { invert, multiply, normalise, type Mat3 } from '../../geometry/mat3.js';
import { align, type AlignOptions, type AlignResult } from './ride-align.js';
import { adjointTo, changeCoordinates } from './ride-coordinates.js';
import { detect } from './ride-detect.js';
import { better } from './ride-fit.js';
import { generatorLog, localScale } from './ride-generators.js';
import type { FollowedFrame, Key, RegionKeys } from './ride-keys.js';
import type { RegionLight } from './ride-light.js';
import { fillPyramid } from './ride-pyramid.js';
import { cornersApart, plausible } from './ride-quality.js';
import type { ShutterBlur } from './ride-shutter.js';
import type { LumaFrame } from './ride-source.js';

/** Starts (or a start and what another came to) closer than this at every corner are one, px. */
const SAME_START = 0.4;

/** A frame to be looked at again, with what the rest of the track says of it. */
export interface SecondLook {
  readonly frame: LumaFrame;
  /** How it was found before. */
  readonly before: FollowedFrame;
  /** Where the others have the region (anchor pixels to the frame's), and how surely: at a corner, px. */
  readonly expected: Mat3;
  readonly sdPx: number;
  /** Information of `expected` over the generators there, 8 × 8. */
  readonly information: Float64Array;
  readonly light: RegionLight | null;
  /** Anchor pixels to where a frame's motion carries them; null where not known. */
  readonly motion?: Mat3 | null;
  /** Only from where it was found before, which is right to a pixel. Default false. */
  readonly near?: boolean;
}

/** Looks at a frame again, out of order. Null where the region is not seen. */
export function again(keys: RegionKeys, shutter: ShutterBlur, look: SecondLook): FollowedFrame | null {
  const { frame, before, expected, sdPx, information, light, motion = null, near = false } = look;
  fillPyramid(frame.luma, keys.pyramid);
  const key = keys.all[before.key] ?? keys.first;
  const toAnchor = multiply(multiply(invert(keys.anchor.toPixels), invert(key.fromAnchor)), key.template.toPixels);
  const prior = key === keys.first ? information : changeCoordinates(information, adjointTo(toAnchor));
  // Template coordinates of the key to the anchor's pixels.
  const unit = multiply(invert(key.fromAnchor), key.template.toPixels);
  const predicted = multiply(expected, unit);
  const way = motion === null ? null : generatorLog(multiply(invert(unit), multiply(motion, unit)));
  const starts: Mat3[] = near ? [] : [predicted];
  if (before.found) starts.push(multiply(before.homography, unit));
  if (!near && sdPx > 5) starts.push(...sightings(keys, key, predicted, sdPx));
  if (starts.length === 0) return null;
  const top = key.template.levels.length - 1;
  const startLevel = Math.min(top, near ? 0 : sdPx < 1.2 ? 1 : sdPx < 4 ? 2 : top);
  const options = { predicted, prior, usualSigma: key.usualSigma, light };
  const from =
    starts.length > 1 && startLevel > 0
      ? bestCoarse({ keys, shutter, key, way }, starts, { ...options, startLevel, stopLevel: 1 })
      : null;
  const found = shutter.finest(
    key,
    from?.warp ?? starts[0]!,
    { ...options, startLevel: from === null ? startLevel : 0 },
    way,
  );
  const best = found !== null && plausible(key.template, found.warp, predicted) ? found : null;
  if (best === null || best.agreement < 0.33 || best.agreement * best.visible < 0.15 || best.correlation < 0.4)
    return null;
  const homography = normalise(multiply(multiply(best.warp, invert(key.template.toPixels)), key.fromAnchor));
  return keys.report({ frame: frame.index, homography, key, result: best, set: before.set, anew: before.anew });
}

/** Warps under which the key looks like what is seen round an unsure prediction. */
function sightings(keys: RegionKeys, key: Key, predicted: Mat3, sdPx: number): Mat3[] {
  const around = Math.min(3 * sdPx, 4 * localScale(predicted));
  return detect(key.template, key.coarse, keys.pyramid, [predicted], around, 3).map((s) => s.warp);
}

/** Which key is sought, with which smear. */
interface Seeking {
  readonly keys: RegionKeys;
  readonly shutter: ShutterBlur;
  readonly key: Key;
  readonly way: Float64Array | null;
}

/** The best of several starts on the coarser levels; starts that come to the same are tried once. */
function bestCoarse(
  { keys, shutter, key, way }: Seeking,
  starts: readonly Mat3[],
  options: AlignOptions,
): AlignResult | null {
  const template = shutter.coarse(key, way, options.startLevel ?? 1);
  const tried: Mat3[] = [];
  let best: AlignResult | null = null;
  for (const start of starts) {
    if (tried.some((t) => cornersApart(key.template, t, start) < SAME_START)) continue;
    const r = align(template, keys.pyramid, start, options, key.scratch);
    tried.push(start);
    if (r === null) continue;
    tried.push(r.warp);
    if (plausible(key.template, r.warp, options.predicted) && better(r, best)) best = r;
  }
  return best;
}
