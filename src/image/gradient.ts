/**
 * First derivatives of one plane in units per pixel. 'central': (−1 0 1)/2; 'sobel': smoothed by [1 2 1]/4
 * across (I. Sobel, 1968); 'scharr': by [3 10 3]/16, of better rotational symmetry (H. Scharr,
 * dissertation, Heidelberg 2000). The edge pixel repeats.
 */
import { convolveSeparable } from './convolve.js';

export type GradientFilter = 'central' | 'sobel' | 'scharr';

const DERIVATIVE = [-0.5, 0, 0.5];
const SMOOTH: Record<GradientFilter, readonly number[]> = {
  central: [1],
  sobel: [0.25, 0.5, 0.25],
  scharr: [3 / 16, 10 / 16, 3 / 16],
};

/** Derivatives across (x) and down (y). */
export function gradient(
  src: Float32Array,
  width: number,
  height: number,
  filter: GradientFilter = 'central',
  dstX?: Float32Array,
  dstY?: Float32Array,
): { x: Float32Array; y: Float32Array } {
  const smooth = SMOOTH[filter];
  // Both read src, so the first result may not overwrite it.
  const x = convolveSeparable(src, width, height, DERIVATIVE, smooth, 'clamp', dstX === src ? undefined : dstX);
  const y = convolveSeparable(src, width, height, smooth, DERIVATIVE, 'clamp', dstY);
  if (dstX === src) {
    dstX.set(x);
    return { x: dstX, y };
  }
  return { x, y };
}

/** Gradient magnitude, units per pixel. */
export function gradientMagnitude(
  src: Float32Array,
  width: number,
  height: number,
  filter: GradientFilter = 'central',
  dst?: Float32Array,
): Float32Array {
  const g = gradient(src, width, height, filter);
  const out = dst ?? g.x;
  for (let i = 0; i < out.length; i++) out[i] = Math.hypot(g.x[i]!, g.y[i]!);
  return out;
}
