/** The performer's colour drawn outwards: the mean of solid neighbours takes over as alpha falls. */
import { boxMean } from '../../image/box.js';
import { createPicture, type Picture } from '../../image/picture.js';

/**
 * @param alpha 0..1 @param radius half side of the box about a pixel, px @returns scene-linear RGB of `linear`'s size
 */
export function solidColour(linear: Picture, alpha: Float32Array, radius: number): Picture {
  const { width: w, height: h } = linear;
  const n = w * h;
  const solid = new Float32Array(n);
  for (let i = 0; i < n; i += 1) solid[i] = alpha[i]! > 0.9 ? 1 : 1e-4 * alpha[i]!;
  const weight = boxMean(solid, w, h, radius);
  const out = createPicture(w, h, 3);
  const product = new Float32Array(n);
  for (let p = 0; p < 3; p += 1) {
    for (let i = 0; i < n; i += 1) product[i] = solid[i]! * linear.data[p * n + i]!;
    const mean = boxMean(product, w, h, radius);
    for (let i = 0; i < n; i += 1) {
      const own = linear.data[p * n + i]!;
      const near = weight[i]! > 1e-6 ? mean[i]! / weight[i]! : own;
      out.data[p * n + i] = Math.max(0, alpha[i]! * own + (1 - alpha[i]!) * near);
    }
  }
  return out;
}
