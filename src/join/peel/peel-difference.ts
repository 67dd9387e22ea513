/**
 * Peel by difference to the empty set (same camera, no performer): who stands there is told on small pictures
 * (`empty-set.ts`), the outline settled at full size about the performer (`settle-found.ts`). Where the set stirs or lies
 * in the performer's shadow, what is behind is told by the frame's own surroundings, elsewhere by the clean frame.
 */
import { boxMean } from '../../image/box.js';
import { createPicture, requireSameSize, type Picture } from '../../image/picture.js';
import { CELL } from './cloud-unmix.js';
import { emptySet, notOfSet, type EmptySet, type StandsIn } from './empty-set.js';
import { boxOf } from './matte-box.js';
import { rendered, renderingOf, type Rendering } from './match-light.js';
import type { CutoutOptions } from './peel-cutout.js';
import type { Peeled } from './peel.js';
import { settleFound } from './settle-found.js';
import { smallLinear } from './small-linear.js';

export interface DifferenceOptions extends CutoutOptions {
  /** What empty frames of the set say together, in the linear light of `linear`; the clean frame alone unless given. */
  readonly set?: EmptySet;
  /** Who stands there, where it is told already; by this frame alone unless given. */
  readonly stands?: StandsIn;
}

/** Half-width of the band of an outline that was found, share of the height. Tried on made gardens. */
const FOUND_BAND = 0.022;
/** Small pixels by which the outline that was found reaches into what is beside the performer. */
const REACHES = 2;
/** Bands about the outline that have a say. */
const ABOUT = 9;

/** @param coded display-coded RGB @param linear the same frame, scene-linear @param clean the empty set's codes */
export function peelByDifference(
  coded: Picture,
  linear: Picture,
  clean: Picture,
  options: DifferenceOptions = {},
): Peeled {
  requireSameSize(coded, clean, 'peel by difference');
  const { width: w, height: h } = coded,
    own = options.set,
    set = own ?? emptySet([smallLinear(clean)]),
    small = smallLinear(own === undefined ? coded : linear),
    { block } = small,
    { inside, holds, shade } = options.stands ?? notOfSet(small, set),
    bandPx = options.bandPx ?? Math.max(3, FOUND_BAND * h),
    out: Peeled = { alpha: createPicture(w, h, 1), colour: createPicture(w, h, 3) },
    found = boxOf(Float32Array.from(inside), small.width, [0, 0, small.width, small.height], 0);
  if (found === null) return out;
  const border = Math.ceil(ABOUT * bandPx),
    // On the cells of the whole picture, so that the same performer reads alike wherever the part ends.
    x0 = Math.max(0, CELL * Math.floor((block * found[0] - border) / CELL)),
    y0 = Math.max(0, CELL * Math.floor((block * found[1] - border) / CELL)),
    x1 = Math.min(w, block * found[2] + border),
    y1 = Math.min(h, block * found[3] + border),
    cw = x1 - x0,
    ch = y1 - y0,
    mask = new Float32Array(cw * ch),
    trust = new Float32Array(cw * ch),
    dim = new Uint8Array(cw * ch);
  for (let y = 0, i = 0; y < ch; y += 1)
    for (let x = 0; x < cw; x += 1, i += 1) {
      const j = Math.floor((y + y0) / block) * small.width + Math.floor((x + x0) / block);
      mask[i] = inside[j]!;
      trust[i] = holds[j]!;
      dim[i] = shade[j]!;
    }
  const settled = settleFound(
    cut(coded, x0, y0, cw, ch),
    cut(linear, x0, y0, cw, ch),
    block === 1 ? mask : boxMean(mask, cw, ch, block >> 1),
    bandPx,
    REACHES * block,
    { clean: renderedAlike(clean, coded, x0, y0, cw, ch), holds: boxMean(trust, cw, ch, block), shade: dim },
  );
  for (let y = 0; y < ch; y += 1) {
    const at = (y + y0) * w + x0;
    out.alpha.data.set(settled.alpha.data.subarray(y * cw, (y + 1) * cw), at);
    for (let p = 0; p < 3; p += 1)
      out.colour.data.set(settled.colour.data.subarray((p * ch + y) * cw, (p * ch + y + 1) * cw), p * w * h + at);
  }
  return out;
}

function cut(picture: Picture, x0: number, y0: number, cw: number, ch: number): Picture {
  const { width: w, height: h, data } = picture,
    out = createPicture(cw, ch, 3);
  for (let p = 0; p < 3; p += 1)
    for (let y = 0; y < ch; y += 1) {
      const at = p * w * h + (y + y0) * w + x0;
      out.data.set(data.subarray(at, at + cw), (p * ch + y) * cw);
    }
  return out;
}

/** A part of the clean frame, its codes as this frame's camera, light and curve would have them. */
function renderedAlike(clean: Picture, coded: Picture, x0: number, y0: number, cw: number, ch: number): Picture {
  const { width: w, height: h } = coded,
    n = w * h,
    radius = Math.max(2, Math.round(h / 70)),
    out = cut(clean, x0, y0, cw, ch);
  for (let p = 0; p < 3; p += 1) {
    const smooth = (of: Picture): Float32Array => boxMean(of.data.subarray(p * n, (p + 1) * n), w, h, radius),
      curve: Rendering = renderingOf(smooth(clean), smooth(coded));
    for (let i = p * cw * ch; i < (p + 1) * cw * ch; i += 1) out.data[i] = Math.max(0, rendered(curve, out.data[i]!));
  }
  return out;
}
