/**
 * Mean place of what is set in a mask `w` wide, in columns and rows (a pixel's own middle lies half a pixel on); null
 * where nothing is set.
 */
export function middleOfMask(mask: Uint8Array, w: number): readonly [number, number] | null {
  let x = 0,
    y = 0,
    k = 0;
  for (let i = 0; i < mask.length; i++)
    if (mask[i] === 1) {
      x += i % w;
      y += Math.floor(i / w);
      k++;
    }
  return k === 0 ? null : [x / k, y / k];
}
