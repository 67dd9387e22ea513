/**
 * A coat crisper than its plate by nature reads as right beside its own take; sharpened or softened since, it does not.
 */
import { describe, expect, it } from 'vitest';
import { RandomStream } from '../../core/random.js';
import { gaussianPlane } from '../../image/gaussian.js';
import { createPicture } from '../../image/picture.js';
import { readAgainstTake } from './against-take.js';
import { matteBox, type SeenFrame } from '../reader/frame.js';

const W = 200,
  H = 120,
  N = W * H;

function coat(seed: number): Float32Array {
  const r = new RandomStream(seed),
    luma = new Float32Array(N).fill(0.45);
  for (const px of [0.6, 1, 1.5, 2.2, 3.3]) {
    const n = gaussianPlane(
      Float32Array.from({ length: N }, () => r.normal()),
      W,
      H,
      px,
    );
    for (let i = 0; i < N; i++) luma[i] = luma[i]! + 0.09 * px * n[i]!;
  }
  return luma;
}

const matte = Float32Array.from({ length: N }, (_, i) =>
  Math.abs((i % W) - 100) < 35 && Math.abs(Math.floor(i / W) - 60) < 45 ? 1 : 0,
);
const seen = (luma: Float32Array): SeenFrame => {
  const p = createPicture(W, H, 3);
  return {
    frame: 0,
    join: p,
    plate: p,
    luma,
    plateLuma: gaussianPlane(luma, W, H, 2),
    matte,
    box: matteBox(matte, W, H),
  };
};

describe('sharpness beside the take through the recipe', () => {
  const take = coat(5),
    expected = { coded: createPicture(W, H, 3), luma: take, matte };
  it('is one for what the recipe makes, whatever the plate is like', () => {
    expect(readAgainstTake(seen(take), expected)).toBeCloseTo(1, 6);
    // Another draw of the same coat, elsewhere: nothing is laid over the other.
    expect(readAgainstTake(seen(coat(9)), expected)).toBeGreaterThan(0.93);
    expect(readAgainstTake(seen(coat(9)), expected)).toBeLessThan(1.07);
  });
  it('falls with a sharpening and rises with a blur', () => {
    const soft = gaussianPlane(take, W, H, 1),
      values = [0.5, 1, 2].map((k) => readAgainstTake(seen(take.map((v, i) => v + k * (v - soft[i]!))), expected)!);
    expect(values[0]!).toBeLessThan(0.94);
    expect(values[1]!).toBeLessThan(values[0]! - 0.03);
    expect(values[2]!).toBeLessThan(values[1]! - 0.03);
    expect(readAgainstTake(seen(gaussianPlane(take, W, H, 0.7)), expected)).toBeGreaterThan(1.08);
  });
  it('says nothing where there is nothing to see', () => {
    expect(readAgainstTake(seen(new Float32Array(N).fill(0.4)), expected)).toBeNull();
    expect(readAgainstTake({ ...seen(take), box: null }, expected)).toBeNull();
  });
});
