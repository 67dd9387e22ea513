/**
 * Light beside a body whose columns have known values, by hand; the table of light against ITU-R BT.709-6's formula.
 */
import { expect, test } from 'vitest';
import { bt709Decode, bt709Encode } from '../../colour/transfer.js';
import { lightOf, lightOfCode } from './edge-light.js';
import { NearestBody } from './nearest-light.js';

const W = 20,
  H = 16,
  N = W * H;

/** A body in columns 4 to 9, rows 4 to 11, whose light rises by a hundredth a column; a wall of .9 about it. */
function scene(): { data: Float32Array; matte: Float32Array } {
  const data = new Float32Array(3 * N),
    matte = new Float32Array(N);
  for (let y = 0; y < H; y++)
    for (let x = 0; x < W; x++) {
      const inside = x >= 4 && x < 10 && y >= 4 && y < 12;
      matte[y * W + x] = inside ? 1 : 0;
      for (let c = 0; c < 3; c++) data[c * N + y * W + x] = bt709Encode(inside ? 0.2 + 0.01 * x : 0.9);
    }
  return { data, matte };
}

test('the light of a grey pixel is its linear value, whatever the weights', () => {
  const { data } = scene();
  expect(lightOf(data, N, 5 * W + 7)).toBeCloseTo(0.27, 5);
});

test('beside the body its nearest columns count, and nothing of the wall', () => {
  const { data, matte } = scene(),
    box = [1, 2, 18, 14] as const,
    body = new NearestBody(matte, W, box, 0.9),
    at = (x: number, y: number): number => (y - box[1]) * (box[2] - box[0]) + x - box[0];
  expect(body.count).toBe(6 * 8);
  expect(body.distance[at(12, 8)]).toBeCloseTo(3, 5);
  expect(body.distance[at(6, 6)]).toBe(0);
  // Nearest is column 9; within a pixel of it lie 8 and 9, within two 7, 8 and 9.
  expect(body.light(data, N, at(12, 8), 1)).toBeCloseTo(0.285, 5);
  expect(body.light(data, N, at(12, 8), 2)).toBeCloseTo(0.28, 5);
});

test('thin cover is no body', () => {
  const { matte } = scene();
  expect(
    new NearestBody(
      matte.map((a) => 0.5 * a),
      W,
      [0, 0, W, H],
      0.9,
    ).count,
  ).toBe(0);
});

test('light by the table is that of the formula (ITU-R BT.709-6, item 1.2) within 2e-7, beyond 0..1 too', () => {
  let worst = 0;
  for (let v = -0.2; v < 1.3; v += 1.7e-4) worst = Math.max(worst, Math.abs(lightOfCode(v) - bt709Decode(v)));
  expect(worst).toBeLessThan(2e-7);
  expect(lightOfCode(1)).toBeCloseTo(1, 12);
});
