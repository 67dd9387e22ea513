/**
 * A textured part seen again turned, moved and in another light: its place is found to a fraction of a pixel, a mouth
 * that opened in between or not.
 */
import { describe, expect, it } from 'vitest';
import { RandomStream } from '../../core/random.js';
import type { Point2 } from '../../geometry/mat3.js';
import { gaussianPlane } from '../../image/gaussian.js';
import { fitPart, partShape, placeOf, poseOf, type PartPose } from './part-motion.js';

const W = 220,
  H = 180;
const outline: Point2[] = Array.from({ length: 20 }, (_, k) => [
  104 + 30 * Math.cos((k * Math.PI) / 10),
  88 + 26 * Math.sin((k * Math.PI) / 10),
]);
const shape = partShape(outline);

/** Source, and the target that shows it under a pose; light and a mouth as asked. */
function pair(pose: PartPose, mouth: boolean): { target: Float32Array; source: Float32Array } {
  const random = new RandomStream(11),
    rough = gaussianPlane(
      new Float32Array(W * H).map(() => random.normal()),
      W,
      H,
      2.2,
    ),
    source = rough.map((v) => 0.5 + 0.9 * v);
  const read = (x: number, y: number): number => {
    const u = Math.min(W - 1.01, Math.max(0, x - 0.5)),
      v = Math.min(H - 1.01, Math.max(0, y - 0.5)),
      i = Math.floor(u),
      j = Math.floor(v),
      a = u - i,
      b = v - j,
      o = j * W + i;
    return (
      (1 - b) * ((1 - a) * source[o]! + a * source[o + 1]!) + b * ((1 - a) * source[o + W]! + a * source[o + W + 1]!)
    );
  };
  const target = new Float32Array(W * H);
  for (let y = 0, i = 0; y < H; y++)
    for (let x = 0; x < W; x++, i++) {
      const [u, v] = placeOf(shape, pose, x + 0.5, y + 0.5);
      // Darker to the right, and everywhere by a fifth.
      target[i] = (0.8 - 0.001 * (x - 100)) * read(u, v) + 0.01 * random.normal();
      if (mouth && ((x - 104) / 12) ** 2 + ((y - 96) / 7) ** 2 < 1) target[i] = 0.05;
    }
  return { target, source };
}

describe('a part found again in another picture', () => {
  const truth = Float64Array.of(5.2, 1.1, -1.4, 2.6, -3.1, 1.2, 0.7, -1.9);
  for (const mouth of [false, true])
    it(`turned, moved and relit${mouth ? ', its mouth open in one alone' : ''}`, () => {
      const { target, source } = pair(truth, mouth);
      const fit = fitPart({ luma: target, width: W, height: H }, outline, { luma: source, width: W, height: H }, [
        poseOf(shape, [1, 0, 2, 0, 1, -1, 0, 0, 1]),
      ]);
      expect(fit.alike).toBeGreaterThan(fit.before);
      for (const [x, y] of [...outline, [104, 88] as Point2, [90, 80] as Point2]) {
        const a = placeOf(shape, fit.pose, x, y),
          b = placeOf(shape, truth, x, y);
        expect(Math.hypot(a[0] - b[0], a[1] - b[1]), `at ${x}, ${y}`).toBeLessThan(0.35);
      }
    });

  it('of two starts the one that leads there is taken', () => {
    const { target, source } = pair(truth, false);
    const start = (dx: number, dy: number): PartPose => poseOf(shape, [1, 0, dx, 0, 1, dy, 0, 0, 1]);
    const fit = fitPart({ luma: target, width: W, height: H }, outline, { luma: source, width: W, height: H }, [
        start(-60, 40),
        start(3, -2),
      ]),
      at = placeOf(shape, fit.pose, shape.cx, shape.cy),
      want = placeOf(shape, truth, shape.cx, shape.cy);
    expect(Math.hypot(at[0] - want[0], at[1] - want[1])).toBeLessThan(0.35);
  });
});
