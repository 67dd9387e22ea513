/**
 * A ball of mottled coat lit by Lambert's law: the side it looks lit from, and what does not fit a key on the other.
 */
import { describe, expect, it } from 'vitest';
import { bt709Encode } from '../../colour/transfer.js';
import { RandomStream } from '../../core/random.js';
import type { Vec3 } from '../../geometry/mat3.js';
import { createPicture } from '../../image/picture.js';
import { lumaOf, matteBox, type SeenFrame } from '../reader/frame.js';
import { readKeySide } from './key-side.js';
import { UNLIKE } from '../limits.js';

const W = 120,
  H = 110,
  N = W * H;
const unit = (v: Vec3): Vec3 => {
  const l = Math.hypot(...v);
  return [v[0] / l, v[1] / l, v[2] / l];
};

function ball(light: Vec3): SeenFrame {
  const join = createPicture(W, H, 3),
    matte = new Float32Array(N),
    r = new RandomStream(3);
  for (let y = 0; y < H; y++)
    for (let x = 0; x < W; x++) {
      const nx = (x - 60) / 40,
        ny = (y - 55) / 40,
        q = nx * nx + ny * ny,
        i = y * W + x;
      matte[i] = q < 1 ? 1 : 0;
      const lit = q < 1 ? 0.4 + Math.max(0, nx * light[0] + ny * light[1] - Math.sqrt(1 - q) * light[2]) : 0;
      for (let c = 0; c < 3; c++)
        join.data[c * N + i] = bt709Encode(q < 1 ? 0.25 * lit * Math.exp(0.2 * r.normal()) : 0.2);
    }
  const luma = lumaOf(join);
  return { frame: 0, join, plate: join, luma, plateLuma: luma, matte, box: matteBox(matte, W, H) };
}

describe('the side that a performer looks lit from', () => {
  const right = unit([0.7, -0.5, -0.5]),
    left = unit([-0.7, -0.5, -0.5]);
  it('agrees with the key that lit it', () => {
    for (const key of [right, left]) {
      const side = readKeySide(ball(key), key)!;
      expect(side.offDeg).toBeLessThan(25);
      expect(side.unlike).toBeLessThan(UNLIKE);
      expect(Math.sign(side.from[0])).toBe(Math.sign(key[0]));
    }
  });
  it('does not fit a key on the other side', () => {
    const side = readKeySide(ball(left), right)!;
    expect(side.offDeg).toBeGreaterThan(70);
    expect(side.unlike).toBeGreaterThan(UNLIKE);
  });
  it('says nothing of a key near the lens', () => {
    expect(readKeySide(ball(right), unit([0.1, -0.1, -1]))).toBeNull();
  });
});
