/** Pictures bent by a known field: the field found against it, also over what is hidden. */
import { describe, expect, it } from 'vitest';
import { RandomStream } from '../../core/random.js';
import { gaussianPlane } from '../../image/gaussian.js';
import { sampleBilinear } from '../../image/sampling.js';
import { addFields, fieldAt } from './field-cells.js';
import { localField } from './local-field.js';

const W = 240,
  H = 160;

/**
 * A textured plane of more than the picture's size, and the picture that shows at x what the plane shows at x − d(x).
 */
function moved(d: (x: number, y: number) => readonly [number, number]): {
  template: Float32Array;
  picture: Float32Array;
} {
  const random = new RandomStream(5);
  const big = gaussianPlane(
    new Float32Array((W + 40) * (H + 40)).map(() => random.normal()),
    W + 40,
    H + 40,
    1.5,
  ).map((v) => 0.5 + 0.5 * v);
  const template = new Float32Array(W * H),
    picture = new Float32Array(W * H);
  for (let y = 0; y < H; y++)
    for (let x = 0; x < W; x++) {
      template[y * W + x] = sampleBilinear(big, W + 40, H + 40, x + 20.5, y + 20.5);
      const [u, v] = d(x + 0.5, y + 0.5);
      picture[y * W + x] = sampleBilinear(big, W + 40, H + 40, x + 20.5 - u, y + 20.5 - v);
    }
  return { template, picture };
}

describe('local field', () => {
  const bend = (x: number, y: number): readonly [number, number] => [2.5 * Math.sin(x / 70), 1.5 * Math.cos(y / 60)];

  it('finds a smooth displacement within a fifth of a pixel, and carries it over what is hidden', () => {
    const { template, picture } = moved(bend);
    const weight = new Float32Array(W * H).fill(1);
    for (let y = 60; y < 100; y++)
      for (let x = 100; x < 140; x++) {
        weight[y * W + x] = 0;
        picture[y * W + x] = 0.9;
      }
    const f = localField(template, picture, weight, W, H, { reachPx: 8 });
    expect(f).not.toBeNull();
    const out = new Float64Array(2);
    let sum = 0,
      n = 0,
      inside = 0;
    for (let y = 20; y < H - 20; y += 5)
      for (let x = 20; x < W - 20; x += 5) {
        fieldAt(f!, x, y, out);
        const [u, v] = bend(x, y),
          e = Math.hypot(out[0]! - u, out[1]! - v);
        if (x > 95 && x < 145 && y > 55 && y < 105) inside = Math.max(inside, e);
        else {
          sum += e * e;
          n++;
        }
      }
    expect(Math.sqrt(sum / n)).toBeLessThan(0.2);
    expect(inside).toBeLessThan(0.6);
  });

  it('says nothing where the two lie together, or where nothing is to be seen', () => {
    const { template, picture } = moved(() => [0, 0]);
    const all = new Float32Array(W * H).fill(1);
    expect(localField(template, picture, all, W, H, { reachPx: 8 })).toBeNull();
    expect(
      localField(new Float32Array(W * H).fill(0.4), new Float32Array(W * H).fill(0.4), all, W, H, { reachPx: 8 }),
    ).toBeNull();
    expect(localField(template, picture, new Float32Array(W * H), W, H, { reachPx: 8 })).toBeNull();
  });

  it('lets what walks by itself, beyond reach, have no say', () => {
    const { template, picture } = moved((x, y) => (x > 100 && x < 150 && y > 50 && y < 110 ? [14, 0] : [1, 0]));
    const f = localField(template, picture, new Float32Array(W * H).fill(1), W, H, { reachPx: 5 })!;
    const out = new Float64Array(2);
    for (const [x, y] of [
      [40, 80],
      [200, 40],
      [60, 130],
    ] as const) {
      fieldAt(f, x, y, out);
      expect(Math.hypot(out[0]! - 1, out[1]!)).toBeLessThan(0.2);
    }
    fieldAt(f, 125, 80, out);
    expect(Math.hypot(out[0]!, out[1]!)).toBeLessThan(5);
  });

  it('adds two steps', () => {
    const grid = (u: number) => ({
      cellPx: 10,
      columns: 4,
      rows: 4,
      u: new Float32Array(16).fill(u),
      v: new Float32Array(16),
    });
    const sum = addFields(grid(1), grid(0.5))!,
      out = new Float64Array(2);
    fieldAt(sum, 20, 20, out);
    expect(out[0]).toBeCloseTo(1.5, 6);
    expect(addFields(null, null)).toBeNull();
  });
});
