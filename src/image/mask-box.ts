/** Boxes of pixels: x0, y0 inclusive, x1, y1 exclusive. */
export type PixelBox = readonly [x0: number, y0: number, x1: number, y1: number];

/** Smallest box about the pixels of a plane (height × width) that are over `above`; null where none is. */
export function maskBox(mask: ArrayLike<number>, width: number, height: number, above = 0): PixelBox | null {
  let x0 = width;
  let y0 = height;
  let x1 = 0;
  let y1 = 0;
  for (let y = 0, i = 0; y < height; y++)
    for (let x = 0; x < width; x++, i++)
      if (mask[i]! > above) {
        x0 = Math.min(x0, x);
        x1 = Math.max(x1, x + 1);
        y0 = Math.min(y0, y);
        y1 = y + 1;
      }
  return y1 === 0 ? null : [x0, y0, x1, y1];
}

/** The box with some room to every side, within a picture. */
export function withRoom([x0, y0, x1, y1]: PixelBox, room: number, width: number, height: number): PixelBox {
  return [Math.max(0, x0 - room), Math.max(0, y0 - room), Math.min(width, x1 + room), Math.min(height, y1 + room)];
}
