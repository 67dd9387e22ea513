/** Made ground for tests, and shadows laid on it in linear light. */
import { decodePlane, encodePlane, transferTable } from '../../colour/transfer-plane.js';
import { RandomStream } from '../../core/random.js';
import { gaussianPlane } from '../../image/gaussian.js';
import { createPicture, plane, type Picture } from '../../image/picture.js';

/** How bright ground is (coded, R'G'B'), and how strong its fine and its broad pattern are. */
export interface GroundLook {
  readonly level: readonly [number, number, number];
  readonly fine: number;
  readonly broad: number;
}

const STONE: GroundLook = { level: [0.5, 0.46, 0.4], fine: 0.12, broad: 0.5 };

/** Ground with a pattern, the same for the same seed. */
export function madeGround(seed: number, width: number, height: number, look = STONE): Picture {
  const ground = createPicture(width, height, 3);
  const random = new RandomStream(seed);
  const pattern = (sigmaPx: number): Float32Array => {
    const noise = new Float32Array(width * height).map(() => random.normal());
    return gaussianPlane(noise, width, height, sigmaPx);
  };
  const fine = pattern(1.2);
  const broad = pattern(12);
  look.level.forEach((level, c) =>
    plane(ground, c).set(fine.map((f, i) => level + look.fine * f + look.broad * broad[i]!)),
  );
  return ground;
}

/**
 * The picture where `cover` (height × width, 0..1) lets through a share of the light, linear, a channel each, over a
 * soft edge.
 */
export function shadowed(
  picture: Picture,
  cover: Float32Array,
  share: readonly [number, number, number],
  edgePx: number,
): Picture {
  const table = transferTable('bt709');
  const soft = gaussianPlane(cover, picture.width, picture.height, edgePx);
  const out = { ...picture, data: picture.data.slice() };
  for (let c = 0; c < 3; c++) {
    const lit = decodePlane(plane(picture, c), table);
    const dark = lit.map((v, i) => v * (1 - (1 - share[c]!) * soft[i]!));
    plane(out, c).set(encodePlane(dark, table));
  }
  return out;
}
