/**
 * What a picture's edges say of its light's colour: the grey-edge hypothesis of J. van de Weijer, T. Gevers & A.
 * Gijsenij, "Edge-based color constancy" (IEEE Trans. Image Processing 16, 2007): the differences between
 * neighbours are taken to be grey on the (Minkowski) mean, so their colour is the light's. Whole walls of one
 * paint count with their borders only, unlike in the mean colour of the picture. Weak: on open test sets such
 * statistics are five to six degrees off in the middle.
 */
import { gaussianPlane } from '../../image/gaussian.js';
import type { Picture } from '../../image/picture.js';
import { withinBars, type Bars } from '../bars.js';

/** Minkowski norm of the paper's best first-order settings. */
const NORM = 6;
/** Smoothing before differences are taken, as a share of the picture's width: 2 px on 854. */
const SMOOTHED = 2 / 854;
/** What is this bright may be clipped, and has lost its colour. */
const CLIPPED = 0.93;
const LEAST_PIXELS = 1000;

/**
 * Linear colour of the light (only its ratios mean something), or null where a channel shows no edges. `linear`:
 * scene-linear RGB; `bars`: black bars to leave out.
 */
export function greyEdge(linear: Picture, bars: Bars | null = null): [number, number, number] | null {
  const b = bars ?? { left: 0, right: 0, top: 0, bottom: 0 };
  const n = linear.width * linear.height;
  const w = linear.width - b.left - b.right;
  const h = linear.height - b.top - b.bottom;
  const planes = [0, 1, 2].map((c) =>
    gaussianPlane(
      withinBars(linear.data.subarray(c * n, (c + 1) * n), linear.width, linear.height, b),
      w,
      h,
      Math.max(0.5, SMOOTHED * linear.width),
    ),
  );
  const [red, green, blue] = planes as [Float32Array, Float32Array, Float32Array];
  const sums = [0, 0, 0];
  let count = 0;
  for (let y = 1; y < h - 1; y++)
    for (let x = 1; x < w - 1; x++) {
      const i = y * w + x;
      if (Math.max(red[i]!, green[i]!, blue[i]!) > CLIPPED) continue;
      count++;
      for (let c = 0; c < 3; c++) {
        const p = planes[c]!;
        sums[c] = sums[c]! + Math.hypot(p[i + 1]! - p[i - 1]!, p[i + w]! - p[i - w]!) ** NORM;
      }
    }
  if (count < LEAST_PIXELS) return null;
  const out = sums.map((s) => (s / count) ** (1 / NORM)) as [number, number, number];
  return Math.min(...out) > 1e-4 ? out : null;
}
