/**
 * What a gain, a lean and a curve leave over of one picture's light against another's, as a smooth field: a phone lifts
 * some parts of a picture more than others, and somebody who comes in takes light from what is near. Told where both
 * show the set, carried smoothly over the rest (push-pull: Gortler et al., "The Lumigraph", SIGGRAPH 1996).
 */
import { gaussianPlane } from '../../image/gaussian.js';
import type { Picture } from '../../image/picture.js';
import { pushPull } from '../../image/push-pull.js';
import { sampleBilinear } from '../../image/sampling.js';
import { codedLuma } from './coded-luma.js';

/** Logarithm of a light over width × height pixels. */
export interface LightRest {
  readonly log: Float32Array;
  readonly width: number;
  readonly height: number;
}

/** What differs by more (log) is another thing or a shadow; darker than this (coded) nothing is told. Own choice. */
const MOST = 0.08;
const DARK = 0.05;
/** Sd of the smoothing, px; a place counts wholly from this share of what it smooths over on. */
const SMOOTH_PX = 5;
const WHOLE = 0.3;

/** The rest of `laid` over `base` where `weight` is over a half; null where it is nowhere told. */
export function lightRest(base: Picture, laid: Picture, weight: Float32Array): LightRest | null {
  const { width: w, height: h } = base;
  const a = codedLuma(base);
  const b = codedLuma(laid);
  const log = new Float32Array(w * h);
  const told = new Float32Array(w * h);
  for (let i = 0; i < log.length; i++) {
    if (!(weight[i]! > 0.5 && a[i]! > DARK && b[i]! > DARK)) continue;
    const d = Math.log(b[i]! / a[i]!);
    if (Math.abs(d) > MOST) continue;
    log[i] = d;
    told[i] = 1;
  }
  const sum = gaussianPlane(log, w, h, SMOOTH_PX);
  const share = gaussianPlane(told, w, h, SMOOTH_PX);
  let any = false;
  for (let i = 0; i < log.length; i++) {
    const s = share[i]!;
    log[i] = s > 0.02 ? sum[i]! / s : 0;
    told[i] = s > 0.02 ? Math.min(1, s / WHOLE) : 0;
    if (told[i]! > 0) any = true;
  }
  return any ? { log: pushPull([log], told, w, h)[0]!, width: w, height: h } : null;
}

/**
 * The factors of a row of pixels at x = (i + 0.5 + left) · scale, at height y of the field; `power` −1: one over them.
 */
export function restRow(r: LightRest, left: number, scale: number, y: number, power: 1 | -1, out: Float32Array): void {
  for (let i = 0; i < out.length; i++)
    out[i] = Math.exp(power * sampleBilinear(r.log, r.width, r.height, (i + 0.5 + left) * scale, y));
}
