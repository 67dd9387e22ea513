/**
 * Finds which colour the screen has: the strongest peak of the hue histogram among saturated pixels in the
 * green or blue family, in scene-linear light. Hue is taken in the plane across the grey axis, so that a
 * yellow-green wall is found as well as a studio green.
 */

export interface ScreenHue {
  readonly family: 'green' | 'blue';
  /** Direction in the chroma plane, degrees: green 90-ish from red 0 in (u, v) below. */
  readonly hueDeg: number;
  /** Mean scene-linear colour of the pixels at the peak. */
  readonly linear: readonly [number, number, number];
  /** Half-width of the peak, degrees. */
  readonly spreadDeg: number;
  /** Share of the picture that belongs to the peak. */
  readonly share: number;
}

const BINS = 120;
/** So many pixels of all pictures together tell a hue as well as all do. */
const LOOKED_AT = 120_000;

/** Hue angle in degrees 0..360 (red 0, green 120, blue 240). */
export function hueDegrees(r: number, g: number, b: number): number {
  const u = r - 0.5 * (g + b);
  const v = 0.8660254 * (g - b);
  const d = (Math.atan2(v, u) * 180) / Math.PI;
  return d < 0 ? d + 360 : d;
}

/**
 * Calls `see` with every pixel looked at that has a hue: light enough, and of some saturation. Gives their number in
 * all.
 */
function eachHue(
  pictures: readonly Float32Array[],
  step: number,
  see: (r: number, g: number, b: number) => void,
): number {
  let looked = 0;
  for (const picture of pictures) {
    const n = picture.length / 3;
    for (let i = 0; i < n; i += step) {
      const r = picture[i]!;
      const g = picture[n + i]!;
      const b = picture[2 * n + i]!;
      const high = Math.max(r, g, b);
      looked += 1;
      if (high >= 0.004 && (high - Math.min(r, g, b)) / high >= 0.35) see(r, g, b);
    }
  }
  return looked;
}

/** Whether a screen may have this hue, degrees. */
function mayBeScreen(hue: number, wanted: 'green' | 'blue' | undefined): boolean {
  const green = hue >= 62 && hue <= 175;
  const blue = hue >= 190 && hue <= 275;
  return (green && wanted !== 'blue') || (blue && wanted !== 'green');
}

/** Middle and half width (degrees) of the strongest hue that a screen may have; null where there is none. */
function strongestHue(
  weight: Float64Array,
  wanted: 'green' | 'blue' | undefined,
): { readonly centre: number; readonly spread: number } | null {
  const smooth = new Float64Array(BINS);
  for (let i = 0; i < BINS; i += 1) {
    for (let k = -3; k <= 3; k += 1) smooth[i] = smooth[i]! + weight[(i + k + BINS) % BINS]! * (4 - Math.abs(k));
  }
  const degrees = (bin: number): number => ((bin + 0.5) * 360) / BINS;
  let best = -1;
  for (let i = 0; i < BINS; i += 1)
    if (mayBeScreen(degrees(i), wanted) && (best < 0 || smooth[i]! > smooth[best]!)) best = i;
  if (best < 0 || smooth[best]! <= 0) return null;
  let low = best;
  let high = best;
  const floor = 0.15 * smooth[best]!;
  while (best - low < 10 && smooth[(low - 1 + BINS) % BINS]! > floor) low -= 1;
  while (high - best < 10 && smooth[(high + 1) % BINS]! > floor) high += 1;
  return { centre: degrees(best), spread: Math.max(6, ((high - low + 1) * 0.5 * 360) / BINS) };
}

/**
 * @param pictures small scene-linear RGB pictures (planar, n pixels each), several frames of one take
 * @returns null where no more than `leastShare` of the pixels have one green or blue hue
 */
export function findScreenHue(
  pictures: readonly Float32Array[],
  leastShare = 0.03,
  wanted?: 'green' | 'blue',
): ScreenHue | null {
  // An odd step that does not divide a common width, so that no column is looked at alone.
  const step = 2 * Math.floor(pictures.reduce((sum, p) => sum + p.length / 3, 0) / LOOKED_AT / 2) + 1;
  const weight = new Float64Array(BINS);
  const pixels = eachHue(pictures, step, (r, g, b) => {
    const bin = Math.min((hueDegrees(r, g, b) / 360) * BINS, BINS - 1) | 0;
    weight[bin] = weight[bin]! + 1;
  });
  const hue = strongestHue(weight, wanted);
  if (hue === null) return null;
  let count = 0;
  const sum: [number, number, number] = [0, 0, 0];
  eachHue(pictures, step, (r, g, b) => {
    if (hueGap(hueDegrees(r, g, b), hue.centre) > hue.spread) return;
    count += 1;
    sum[0] += r;
    sum[1] += g;
    sum[2] += b;
  });
  const share = count / Math.max(pixels, 1);
  if (share < leastShare) return null;
  const linear: [number, number, number] = [sum[0] / count, sum[1] / count, sum[2] / count];
  const family = hue.centre > 180 ? 'blue' : 'green';
  return { family, hueDeg: hueDegrees(...linear), linear, spreadDeg: hue.spread, share };
}

/**
 * Whether a colour's hue lies within `gapDeg` of `hueDeg`: the same as by `hueGap`, without an
 * arc tangent a pixel. @returns a test of r, g, b
 */
export function hueWithin(hueDeg: number, gapDeg: number): (r: number, g: number, b: number) => boolean {
  const c = Math.cos((hueDeg * Math.PI) / 180);
  const s = Math.sin((hueDeg * Math.PI) / 180);
  const least = Math.cos((gapDeg * Math.PI) / 180);
  return (r, g, b) => {
    const u = r - 0.5 * (g + b);
    const v = 0.8660254 * (g - b);
    const along = u * c + v * s;
    return least >= 0
      ? along > 0 && along * along > least * least * (u * u + v * v)
      : along > least * Math.sqrt(u * u + v * v);
  };
}

/** Smallest angle between two hues, degrees. */
export function hueGap(a: number, b: number): number {
  const d = Math.abs(a - b) % 360;
  return d > 180 ? 360 - d : d;
}
