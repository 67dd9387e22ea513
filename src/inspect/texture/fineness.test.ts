/** The same texture in performer and plate; softened and sharpened it reads as what was done to it. */
import { describe, expect, it } from 'vitest';
import { RandomStream } from '../../core/random.js';
import { gaussianPlane } from '../../image/gaussian.js';
import { createPicture } from '../../image/picture.js';
import { readFineness } from './fineness.js';
import { matteBox, type SeenFrame } from '../reader/frame.js';

const W = 200,
  H = 120,
  N = W * H;

function frame(change: (luma: Float32Array) => Float32Array): SeenFrame {
  const r = new RandomStream(8),
    luma = new Float32Array(N).fill(0.45);
  // Amplitude falls with frequency, as in pictures of things.
  for (const px of [1, 1.5, 2.2, 3.3, 5]) {
    const n = gaussianPlane(
      Float32Array.from({ length: N }, () => r.normal()),
      W,
      H,
      px,
    );
    for (let i = 0; i < N; i++) luma[i] = luma[i]! + 0.09 * px * n[i]!;
  }
  const matte = Float32Array.from({ length: N }, (_, i) =>
    Math.abs((i % W) - 100) < 35 && Math.abs(Math.floor(i / W) - 60) < 45 ? 1 : 0,
  );
  const other = change(luma),
    seen = luma.map((v, i) => (matte[i] === 1 ? other[i]! : v));
  const picture = createPicture(W, H, 3);
  return { frame: 0, join: picture, plate: picture, luma: seen, plateLuma: luma, matte, box: matteBox(matte, W, H) };
}

describe('sharpness of the performer beside the plate', () => {
  const plain = readFineness(frame((l) => l))!;
  it('rises with a blur and falls with a sharpening', () => {
    const blurred = [0.7, 1].map((px) => readFineness(frame((l) => gaussianPlane(l, W, H, px)))! / plain);
    expect(blurred[0]!).toBeGreaterThan(1.15);
    expect(blurred[1]!).toBeGreaterThan(blurred[0]! + 0.1);
    const sharp =
      readFineness(
        frame((l) => {
          const s = gaussianPlane(l, W, H, 1);
          return l.map((v, i) => v + 2 * (v - s[i]!));
        }),
      )! / plain;
    expect(sharp).toBeLessThan(0.85);
  });
  it('says nothing where there is nothing to see', () => {
    expect(readFineness({ ...frame((l) => l), luma: new Float32Array(N).fill(0.4) })).toBeNull();
    expect(readFineness({ ...frame((l) => l), box: null })).toBeNull();
  });
});
