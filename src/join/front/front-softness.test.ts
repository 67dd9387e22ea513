/** A board softened by known Gaussians, its outline drawn a pixel beside: the softness that is read. */
import { describe, expect, it } from 'vitest';
import { RandomStream } from '../../core/random.js';
import { gaussianPlane } from '../../image/gaussian.js';
import { createPicture, type Picture } from '../../image/picture.js';
import { rasterizePolygon } from '../../image/polygon.js';
import { edgeVariances, frontSoftness } from './front-softness.js';

const W = 200,
  H = 140;
const BOARD: [number, number][] = [
  [70, 18],
  [128, 25],
  [122, 118],
  [64, 112],
];

/** A dark board before a mottled wall, its cover softened by a Gaussian of `soft` px. */
function plate(soft: number, contrast = 0.36, seed = 3): Picture {
  const p = createPicture(W, H, 3),
    n = W * H,
    r = new RandomStream(seed, 1),
    hard = rasterizePolygon(BOARD, W, H),
    cover = soft > 0 ? gaussianPlane(hard, W, H, soft) : hard;
  for (let y = 0; y < H; y++)
    for (let x = 0; x < W; x++) {
      const back = 0.4 + 0.03 * Math.sin(x / 7) + 0.03 * Math.sin(y / 5 + x / 23),
        i = y * W + x,
        v = cover[i]! * (back - contrast) + (1 - cover[i]!) * back;
      for (let c = 0; c < 3; c++) p.data[c * n + i] = Math.max(0, v + 0.008 * r.normal());
    }
  return p;
}

describe('how softly a thing in front is cut by its plate', () => {
  it('reads the softness that its edges were given, with the outline drawn a pixel beside', async () => {
    const drawn = BOARD.map(([x, y]) => [x + 0.8, y - 0.6] as [number, number]);
    for (const soft of [0.5, 1, 2, 3.5]) {
      const got = await frontSoftness(
        () => drawn,
        [0],
        0,
        () => Promise.resolve(plate(soft)),
      );
      expect(Math.abs(got.softPx! - soft), `${soft}: ${got.softPx}`).toBeLessThan(Math.max(0.1, 0.1 * soft));
    }
  });
  it('says nothing where the thing looks like what lies behind it', async () => {
    const plain = await frontSoftness(
        () => BOARD,
        [0],
        0,
        () => Promise.resolve(plate(1)),
      ),
      lost = await frontSoftness(
        () => BOARD,
        [0],
        0,
        () => Promise.resolve(plate(1, 0.02)),
      );
    expect(plain.told).toBeGreaterThan(0.8);
    expect(lost.softPx).toBeNull();
    expect(lost.told).toBeLessThan(0.4);
  });
  it('takes off what the motion smears under an open shutter', () => {
    const still = edgeVariances(
        plate(2),
        BOARD,
        BOARD.map(() => [0, 0] as const),
        0.5,
      ).variances,
      moved = edgeVariances(
        plate(2),
        BOARD,
        BOARD.map(() => [6, 0] as const),
        0.5,
      ).variances;
    // 3 px of smear across the upright sides: 9/12 of a square pixel.
    expect(Math.max(...still) - Math.min(...moved)).toBeGreaterThan(0.6);
  });
});
