/**
 * Whether the green or blue of an empty set is that of cloth or paint, or of grass, leaves or sky. Cloth and paint are
 * smooth at small scale and, unless faded, pure; grass and leaves are rough and about as red as green; the sky is as
 * smooth as paint, but is not what fills an empty frame from edge to edge.
 */
import { boxMean } from '../../image/box.js';
import { hueWithin, type ScreenHue } from './screen-hue.js';

/** Half side of the box, in pixels about 240 a picture's width, against whose mean a pixel is held. */
const BOX = 2;
/** Standard deviation of a normal over its median amount. */
const NORMAL = 1.4826;
/**
 * Screen channel over the strongest of the others (of green: over red), linear light, from which a colour is pure: 3.0
 * to 27 on screens, 1.1 to 1.6 on lawns, hedges, a yellow-green wall and a faded cloth.
 */
const PURE = 2;
/**
 * Most that the light may stray from the mean about it, over that mean (robust standard deviation). Pure: .002 to .029
 * on screens from studio to crumpled and to slats' shadows, .19 and .40 on a lawn and on bushes. Impure: .005 on a
 * painted wall, .013 on a faded cloth with creases, .038 to .042 on made gardens. Between them on a scale of ratios.
 */
const MOST_ROUGH_PURE = 0.074;
const MOST_ROUGH = 0.022;
/** Least share of the empty frame's useful part that an impure colour must fill to be a wall: own choice. */
const LEAST_FILLED = 0.6;
/** Least share of the part for any (as of a take's screen). */
const LEAST_SHARE = 0.12;

/** A picture in scene-linear light, planar RGB. */
export interface LinearPicture {
  readonly width: number;
  readonly height: number;
  readonly data: Float32Array;
}

export interface ClothReading {
  /** Share of the useful part that has the hue. */
  readonly share: number;
  readonly purity: number;
  /**
   * How far the light strays from the mean about it, share of that (robust standard
   * deviation); 0 where the hue fills no box.
   */
  readonly rough: number;
}

/** @param clean the empty set @param useful 1 where the set counts, of the size of `clean`; all of it where absent */
export function readCloth(
  clean: LinearPicture,
  { hueDeg, spreadDeg, family }: ScreenHue,
  useful?: Float32Array,
): ClothReading {
  const block = Math.max(1, Math.round(clean.width / 240));
  const { width: w, height: h, data } = blockMeans(clean, block);
  const n = w * h;
  const within = hueWithin(hueDeg, spreadDeg);
  const inside = new Float32Array(n);
  const root = new Float32Array(n);
  const purity: number[] = [];
  const rough: number[] = [];
  let counted = 0;
  for (let i = 0; i < n; i += 1) {
    const x = i % w;
    const y = (i - x) / w;
    if (
      useful !== undefined &&
      useful[
        Math.min(clean.height - 1, y * block + (block >> 1)) * clean.width +
          Math.min(clean.width - 1, x * block + (block >> 1))
      ]! < 0.5
    )
      continue;
    counted += 1;
    const r = data[i]!;
    const g = data[n + i]!;
    const b = data[2 * n + i]!;
    const top = Math.max(r, g, b);
    if (top < 0.004 || top - Math.min(r, g, b) < 0.35 * top || !within(r, g, b)) continue;
    inside[i] = 1;
    root[i] = Math.sqrt(0.2126 * r + 0.7152 * g + 0.0722 * b);
    purity.push(family === 'green' ? g / Math.max(r, 1e-4) : b / Math.max(r, g, 1e-4));
  }
  // Against the mean about it a slope of light (a shadow's soft edge, a fold) counts for
  // nothing. Of a square root twice as much is light's.
  const whole = boxMean(inside, w, h, BOX);
  const mean = boxMean(root, w, h, BOX);
  for (let i = 0; i < n; i += 1)
    if (whole[i]! > 0.99) rough.push((2 * NORMAL * Math.abs(root[i]! - mean[i]!)) / mean[i]!);
  return { share: purity.length / Math.max(1, counted), purity: median(purity), rough: median(rough) };
}

/** Why what is green or blue of an empty set is no screen; null where it may be one. */
export function clothDoubt({ share, purity, rough }: ClothReading, family: 'green' | 'blue'): string | null {
  const pure = purity >= PURE;
  if (share < LEAST_SHARE)
    return `what is ${family} holds ${(100 * share).toFixed(0)} % of the empty frame, too little for a screen`;
  if (rough > (pure ? MOST_ROUGH_PURE : MOST_ROUGH))
    return (
      `what is ${family} in the empty frame is as rough as grass or leaves (its light strays ` +
      `by ${(100 * rough).toFixed(0)} % from pixel to pixel), not as cloth or paint`
    );
  return !pure && share < LEAST_FILLED
    ? `what is ${family} in the empty frame is no pure ${family} and fills ${(100 * share).toFixed(0)} % of it: ` +
        'the rest would be taken for the performer'
    : null;
}

/** Means of blocks; those at the right and bottom edge may hold fewer pixels. */
function blockMeans({ width, height, data }: LinearPicture, block: number): LinearPicture {
  const w = Math.ceil(width / block);
  const h = Math.ceil(height / block);
  const out = new Float32Array(3 * w * h);
  const count = new Float32Array(w * h);
  for (let y = 0, i = 0; y < height; y += 1)
    for (let x = 0; x < width; x += 1, i += 1) {
      const j = Math.floor(y / block) * w + Math.floor(x / block);
      count[j] = count[j]! + 1;
      for (let p = 0; p < 3; p += 1) out[p * w * h + j] = out[p * w * h + j]! + data[p * width * height + i]!;
    }
  for (let k = 0; k < out.length; k += 1) out[k] = out[k]! / count[k % (w * h)]!;
  return { width: w, height: h, data: out };
}

function median(values: number[]): number {
  values.sort((a, b) => a - b);
  return values[values.length >> 1] ?? 0;
}
