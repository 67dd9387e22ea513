/** Ground that only its shadow shows, relit (erase-relight.ts) and laid into the still picture of the set. */
import { maskBox, withRoom } from '../../image/mask-box.js';
import { plane } from '../../image/picture.js';
import type { Mosaic } from './erase-mosaic.js';
import { relightShadow } from './erase-relight.js';
import { cropPicture, cropPlane } from './erase-seam.js';

/** Ground that only `shaded` shows, relit, becomes part of the mosaic. Returns what is to be said of it. */
export function layRelit(mosaic: Mosaic, shaded: Mosaic): string[] {
  const { width: w, height: h } = mosaic,
    n = w * h;
  const dark = new Float32Array(n),
    known = new Float32Array(n);
  for (let y = 0, i = 0; y < h; y++)
    for (let x = 0; x < w; x++, i++) {
      known[i] = mosaic.count[i]! > 0 || shaded.count[i]! > 0 ? 1 : 0;
      if (mosaic.count[i]! > 0 || !(shaded.count[i]! > 0)) continue;
      dark[i] = 1;
      mosaic.count[i] = shaded.count[i]!;
      for (let c = 0; c < 3; c++) mosaic.picture.data[c * n + i] = shaded.picture.data[c * n + i]!;
    }
  const darkBox = maskBox(dark, w, h);
  if (darkBox === null) return ['every part of the marked shadow is seen lit in some frame: nothing had to be relit'];
  const box = withRoom(
    darkBox,
    40 + Math.ceil(0.25 * Math.max(darkBox[2] - darkBox[0], darkBox[3] - darkBox[1])),
    w,
    h,
  );
  const part = cropPicture(mosaic.picture, box);
  const found = relightShadow(part, cropPlane(dark, w, box), cropPlane(known, w, box));
  if (found === null) return ['the marked shadow is not darker than the ground beside it: left as it is'];
  for (let c = 0; c < 3; c++)
    for (let y = box[1]; y < box[3]; y++)
      for (let x = box[0]; x < box[2]; x++) {
        if (dark[y * w + x]! > 0)
          mosaic.picture.data[(c * h + y) * w + x] = plane(part, c)[(y - box[1]) * part.width + x - box[0]]!;
      }
  return [
    'a shadow that no frame shows lit was relit: it let through ' +
      `${found.ratio.map((v) => (100 * v).toFixed(0)).join(', ')} % of red, green, blue`,
  ];
}
