/** Holds the ground's shade out where something that stands on the plate's ground is seen before it. */
import { gaussianPlane } from '../../image/gaussian.js';
import { rasterizePolygon } from '../../image/polygon.js';
import type { Box } from './ground.js';

type Outline = readonly (readonly [number, number])[];

/**
 * How much of each pixel of a box no shade of the ground reaches: what passes in front (`hidden`), and what stands
 * within the outlines, as softly as the lens spreads its edges (`lensPx`, an sd). The same array where no outline meets
 * the shade.
 */
export function heldOut(
  hidden: Float32Array | null,
  outlines: readonly Outline[],
  shaded: Box,
  box: Box,
  lensPx: number,
): Float32Array | null {
  const w = box[2] - box[0],
    h = box[3] - box[1],
    met = outlines.filter((o) => meets(o, shaded));
  if (met.length === 0) return hidden;
  const out = new Float32Array(w * h);
  for (const outline of met) {
    const cover = rasterizePolygon(
      outline.map(([x, y]) => [x - box[0], y - box[1]] as const),
      w,
      h,
    );
    if (lensPx > 0) gaussianPlane(cover, w, h, lensPx, lensPx, cover);
    for (let i = 0; i < out.length; i++) out[i] = Math.max(out[i]!, cover[i]!);
  }
  if (hidden !== null) for (let i = 0; i < out.length; i++) out[i] = Math.max(out[i]!, hidden[i]!);
  return out;
}

/** Whether its bounds and the box have something in common. */
function meets(outline: Outline, [x0, y0, x1, y1]: Box): boolean {
  const xs = outline.map((p) => p[0]),
    ys = outline.map((p) => p[1]);
  return Math.max(...xs) > x0 && Math.min(...xs) < x1 && Math.max(...ys) > y0 && Math.min(...ys) < y1;
}
