/** Luminance, CIE L*, and the mixtures of performer and background that an outline may be by right. */
import { bt709Decode, bt709Encode } from '../../colour/transfer.js';

/** Of linear R, G, B (BT.709). */
export function luminance(r: number, g: number, b: number): number {
  return 0.2126 * r + 0.7152 * g + 0.0722 * b;
}

/** CIE L* of a luminance (white = 1). */
export function lightness(y: number): number {
  return y > 216 / 24389 ? 116 * Math.cbrt(y) - 16 : (24389 / 27) * Math.max(0, y);
}

/** L* of a mixture of display codes. */
export function codeMixture(own: number, back: number, a: number): number {
  return lightness(bt709Decode(a * bt709Encode(own) + (1 - a) * bt709Encode(back)));
}

/** Where a print's shoulder begins, display-linear, and the last that is told from white. */
const SHOULDER = 0.5,
  WHITE = 0.985;

/**
 * The mixture as it is where lens or join mixed the light before a tone curve held the brightest back: straight up to a
 * half, then an exponential that reaches for 1 (own choice among usual curves). A body near white is then brighter than
 * it shows, and its outline with it.
 */
export function beforeShoulder(own: number, back: number, a: number): number {
  const open = (v: number): number =>
      v < SHOULDER ? v : SHOULDER - (1 - SHOULDER) * Math.log((1 - Math.min(WHITE, v)) / (1 - SHOULDER)),
    y = a * open(own) + (1 - a) * open(back);
  return y < SHOULDER ? y : 1 - (1 - SHOULDER) * Math.exp((SHOULDER - y) / (1 - SHOULDER));
}

/** Change of L* with luminance. */
export function slopeOfLightness(y: number): number {
  return y > 216 / 24389 ? 116 / 3 / Math.cbrt(y * y) : 24389 / 27;
}
