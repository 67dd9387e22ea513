/**
 * How rough a picture is about each pixel: the mean absolute difference of its luma from its neighbours, along a row
 * and along a column. Two patches that are alike in colour may differ in this, and patches that vote on a hole's
 * colours settle on smooth ones, because a mean of rough ones is smooth; so it is compared beside colour and voted for
 * beside it, which no mean wears away (A. Newson et al., "Video inpainting of complex scenes", SIAM J. Imaging Sciences
 * 7, 2014, section 3.3: texture features).
 */

/** Weight of a squared difference of roughness beside a squared one of colour: that of Newson et al. (from memory). */
export const ROUGH = 50;

/**
 * @param rgb height × width × 3 interleaved
 * @param valued > 0 where a pixel has a value
 * @returns height × width × 2 interleaved: along the row, along the column; 0 where nothing is known
 */
export function roughness(rgb: Float32Array, valued: ArrayLike<number>, w: number, h: number): Float32Array {
  const out = new Float32Array(2 * w * h),
    luma = new Float32Array(w * h);
  for (let i = 0; i < luma.length; i++)
    luma[i] = 0.2126 * rgb[3 * i]! + 0.7152 * rgb[3 * i + 1]! + 0.0722 * rgb[3 * i + 2]!;
  const meanStep = (i: number, back: boolean, on: boolean, step: number): number => {
    let sum = 0,
      count = 0;
    if (back && valued[i - step]! > 0) {
      sum += Math.abs(luma[i - step]! - luma[i]!);
      count++;
    }
    if (on && valued[i + step]! > 0) {
      sum += Math.abs(luma[i + step]! - luma[i]!);
      count++;
    }
    return count === 0 ? 0 : sum / count;
  };
  for (let y = 0, i = 0; y < h; y++)
    for (let x = 0; x < w; x++, i++) {
      if (!(valued[i]! > 0)) continue;
      out[2 * i] = meanStep(i, x > 0, x + 1 < w, 1);
      out[2 * i + 1] = meanStep(i, y > 0, y + 1 < h, w);
    }
  return out;
}
