/** Luminance, CIE L*, and the mixtures of performer and background that an outline may be by right. */
import { bt709Decode, bt709Encode } from '../../colour/transfer.js';

/** Of linear R, G, B (BT.709). */
export function luminance(r: number, g: number, b: number): number {
  return 0.2126 * r + 0.7152 * g + 0.0722 * b;
}

/** Steps of the table of light. */
const STEPS = 2048;
const LIGHT = Float64Array.from({ length: STEPS + 1 }, (_, i) => bt709Decode(i / STEPS));

/** Code under which the formula is asked: its rounded constants leave a jump of 5.5e-5 at .081. */
const FOOT = 0.082;

/**
 * Light of a display code by a table with linear interpolation, within 2e-7 of the formula; that itself near black and
 * above 1.
 */
export function lightOfCode(coded: number): number {
  if (!(coded >= FOOT && coded < 1)) return bt709Decode(coded);
  const t = STEPS * coded,
    k = t | 0,
    a = LIGHT[k]!;
  return a + (LIGHT[k + 1]! - a) * (t - k);
}

/** Linear luminance of pixel `i` of a display-coded picture whose planes hold `n` each. */
export function lightOf(data: Float32Array, n: number, i: number): number {
  return luminance(lightOfCode(data[i]!), lightOfCode(data[n + i]!), lightOfCode(data[2 * n + i]!));
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
