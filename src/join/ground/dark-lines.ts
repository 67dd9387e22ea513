/**
 * Joints, cracks and grooves of a ground: dark, and no shadows. Where a window holds both them and the stone beside, a
 * pixel that stands for itself would be taken for one that lies in a shadow of the plate's own, and the performer's
 * shadow would leave it as light as it was. A grey closing (Serra, Image Analysis and Mathematical Morphology, 1982)
 * fills what is narrower than its window and leaves the border of a broad shadow where it is; how wide it has to be is
 * read off the lit ground itself.
 */
import { plane, createPicture, type Picture } from '../../image/picture.js';
import { close } from '../../image/morphology.js';
import { ownShadowToBorder, softened, type OwnShadow } from './own-shadow.js';

/** What counts as taken for a shadow: a quarter of a full one shows. */
const TAKEN = 0.25;
/** Share of the ground that may be taken wrongly: so few single pixels are hardly seen. */
const FEW = 0.01;

/**
 * Half the window that fills the ground's dark lines, px: the least that leaves hardly more taken for shadow than the
 * widest does, which leaves true ones; 0 where nothing is to be filled. Nothing wider than the smoothing is looked for:
 * the shadow of a thin pole, which is narrower, would be filled as well.
 *
 * @param linear scene-linear RGB of a frame of the plate
 * @param own how its shadows are told @param radius px over which it is smoothed for that
 * @param ground pixel numbers of the ground about the foot, lit or not
 */
export function darkLinesPx(linear: Picture, own: OwnShadow, radius: number, ground: readonly number[]): number {
  if (ground.length === 0) return 0;
  const [part, at] = cutAround(linear, ground, 2 * radius),
    soft = softened(part, radius);
  const taken = Array.from({ length: radius + 1 }, (_, half) => {
    const sharp = half === 0 ? part : withoutDarkLines(part, half);
    return at.filter((i) => ownShadowToBorder(own, soft, i, sharp, i) > TAKEN).length / at.length;
  });
  const least = Math.min(...taken);
  return taken.findIndex((t) => t <= least + FEW);
}

/** A picture whose dark lines up to 2 `half` + 1 px are filled. @param out may be `picture` */
export function withoutDarkLines(
  picture: Picture,
  half: number,
  out: Picture = createPicture(picture.width, picture.height, 3),
): Picture {
  for (let c = 0; c < 3; c++) close(plane(picture, c), picture.width, picture.height, half, half, plane(out, c));
  return out;
}

/** The part of a picture about some of its pixels, and their numbers in it. */
function cutAround(picture: Picture, pixels: readonly number[], margin: number): [Picture, number[]] {
  const w = picture.width;
  let [x0, y0, x1, y1] = [w, picture.height, 0, 0];
  for (const i of pixels) {
    const x = i % w,
      y = Math.floor(i / w);
    [x0, y0, x1, y1] = [Math.min(x0, x), Math.min(y0, y), Math.max(x1, x), Math.max(y1, y)];
  }
  [x0, y0] = [Math.max(0, x0 - margin), Math.max(0, y0 - margin)];
  [x1, y1] = [Math.min(w, x1 + margin + 1), Math.min(picture.height, y1 + margin + 1)];
  const part = createPicture(x1 - x0, y1 - y0, 3);
  for (let c = 0; c < 3; c++)
    for (let y = y0; y < y1; y++)
      plane(part, c).set(plane(picture, c).subarray(y * w + x0, y * w + x1), (y - y0) * part.width);
  return [part, pixels.map((i) => (Math.floor(i / w) - y0) * part.width + (i % w) - x0)];
}
