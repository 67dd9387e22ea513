/** A frame looked at once more, out of order, with what the rest of its track says of it. */
import { invert, multiply, normalise, type Mat3 } from '../geometry/mat3.js';
import type { AlignResult } from './ride-align.js';
import { adjointTo, changeCoordinates } from './ride-coordinates.js';
import { detect } from './ride-detect.js';
import { better } from './ride-fit.js';
import { generatorLog, localScale } from './ride-generators.js';
import type { FollowedFrame, RegionKeys } from './ride-keys.js';
import type { RegionLight } from './ride-light.js';
import { fillPyramid } from './ride-pyramid.js';
import { plausible } from './ride-quality.js';
import type { ShutterBlur } from './ride-shutter.js';
import type { LumaFrame } from './ride-source.js';

/**
 * Looks at a frame again, out of order, with what the rest of the track says of it: `expected` and its information over
 * the generators there (`sdPx` at a corner); `motion`: anchor pixels to where a frame's motion carries them; `near`: only from where it was found before, which is right to a pixel. Null where the region is not seen.
 */
export function again(keys: RegionKeys, shutter: ShutterBlur, frame: LumaFrame, before: FollowedFrame, expected: Mat3, information: Float64Array, sdPx: number, light: RegionLight | null, motion: Mat3 | null = null, near = false): FollowedFrame | null {
  fillPyramid(frame.luma, keys.pyramid);
  const key = keys.all[before.key] ?? keys.first;
  const toAnchor = multiply(multiply(invert(keys.anchor.toPixels), invert(key.fromAnchor)), key.template.toPixels);
  const prior = key === keys.first ? information : changeCoordinates(information, adjointTo(toAnchor));
  const predicted = multiply(expected, multiply(invert(key.fromAnchor), key.template.toPixels));
  const top = key.template.levels.length - 1;
  const unit = multiply(invert(key.fromAnchor), key.template.toPixels);
  const way = motion === null ? null : generatorLog(multiply(invert(unit), multiply(motion, unit)));
  const starts: Mat3[] = near ? [] : [predicted];
  if (before.found) starts.push(multiply(before.homography, multiply(invert(key.fromAnchor), key.template.toPixels)));
  if (!near && sdPx > 5) for (const s of detect(key.template, key.coarse, keys.pyramid, [predicted], Math.min(3 * sdPx, 4 * localScale(predicted)), 3)) starts.push(s.warp);
  let best: AlignResult | null = null;
  for (const start of starts) {
    const r = shutter.finest(key, start, { predicted, prior, usualSigma: key.usualSigma, light, startLevel: Math.min(top, near ? 0 : sdPx < 1.2 ? 1 : sdPx < 4 ? 2 : top) }, way);
    if (r !== null && plausible(key.template, r.warp, predicted) && better(r, best)) best = r;
  }
  if (best === null || best.agreement < 0.33 || best.agreement * best.visible < 0.15 || best.correlation < 0.4) return null;
  const homography = normalise(multiply(multiply(best.warp, invert(key.template.toPixels)), key.fromAnchor));
  return keys.report(frame.index, homography, key, best, before.set, before.anew);
}
