/**
 * Made ground with shadows, red things and dark coats beside the outline: what is taken for the shadow, by its share.
 */
import { describe, expect, it } from 'vitest';
import { RandomStream } from '../../core/random.js';
import { gaussianPlane } from '../../image/gaussian.js';
import { createPicture, type Picture } from '../../image/picture.js';
import { shadowBeside } from './erase-shadow.js';
import { shadowBesidePassing } from './erase-shadow-passing.js';

const W = 160,
  H = 100,
  n = W * H;

/** Blotched ground, and the same with a shadow of `ratios` (coded, a channel) beside the outline. */
function scene(ratios: readonly [number, number, number]): {
  clean: Picture;
  frame: Picture;
  hidden: Float32Array;
  seen: Float32Array;
} {
  const random = new RandomStream(7),
    noise = new Float32Array(n);
  for (let i = 0; i < n; i += 1) noise[i] = random.normal();
  const wide = gaussianPlane(noise, W, H, 2),
    clean = createPicture(W, H, 3),
    frame = createPicture(W, H, 3),
    hidden = new Float32Array(n);
  for (let y = 0; y < H; y += 1)
    for (let x = 0; x < W; x += 1) {
      const i = y * W + x,
        shade = x > 60 && x < 105 && y > 50 && y < 80;
      if (x >= 105 && x < 130 && y > 20 && y < 80) hidden[i] = 1;
      for (let c = 0; c < 3; c += 1) {
        const v = 0.5 + 0.35 * wide[i]!;
        clean.data[c * n + i] = v;
        frame.data[c * n + i] = v * (shade ? ratios[c]! : 1);
      }
    }
  return { clean, frame, hidden, seen: new Float32Array(n).fill(1) };
}

const share = (m: Float32Array | null): number => {
  let k = 0;
  if (m !== null) for (let y = 54; y < 77; y += 1) for (let x = 64; x < 102; x += 1) k += m[y * W + x]!;
  return k / (23 * 38);
};

describe('the shadow beside what is erased', () => {
  it('is found where a low warm sun leaves a blue sky to light it', () => {
    const s = scene([0.53, 0.65, 0.77]);
    expect(share(shadowBeside(s.frame, s.clean, s.hidden, s.seen))).toBeGreaterThan(0.95);
    const plain = scene([0.6, 0.6, 0.6]);
    expect(share(shadowBeside(plain.frame, plain.clean, plain.hidden, plain.seen))).toBeGreaterThan(0.95);
  });

  it('is not what holds back blue most, as a red thing does', () => {
    const s = scene([0.77, 0.65, 0.45]);
    expect(shadowBeside(s.frame, s.clean, s.hidden, s.seen)).toBeNull();
  });

  it('is found whole where the ground loses its relief in shade, and a dark thing without texture is none where the camera travels', () => {
    const s = scene([0.55, 0.58, 0.62]);
    for (let y = 51; y < 80; y += 1)
      for (let x = 61; x < 105; x += 1)
        for (let c = 0; c < 3; c += 1) s.frame.data[c * n + y * W + x] = 0.5 * [0.55, 0.58, 0.62][c]!;
    expect(share(shadowBeside(s.frame, s.clean, s.hidden, s.seen))).toBeGreaterThan(0.95);
    expect(shadowBesidePassing(s.frame, s.clean, s.hidden, s.seen)).toBeNull();
  });

  it('is not somebody dark in a patterned coat, and leaves the even part of that coat too', () => {
    const s = scene([0.6, 0.6, 0.6]),
      random = new RandomStream(8),
      own = new Float32Array(n);
    for (let i = 0; i < n; i += 1) own[i] = random.normal();
    const pattern = gaussianPlane(own, W, H, 1);
    for (let y = 51; y < 80; y += 1)
      for (let x = 61; x < 105; x += 1)
        for (let c = 0; c < 3; c += 1)
          s.frame.data[c * n + y * W + x] = x < 68 ? 0.28 : Math.max(0.1, 0.28 + 0.2 * pattern[y * W + x]!);
    expect(shadowBeside(s.frame, s.clean, s.hidden, s.seen)).toBeNull();
  });

  it('takes its soft rim along, and leaves the shade of the set that it meets', () => {
    const s = scene([0.6, 0.6, 0.6]),
      soft = new Float32Array(n);
    for (let y = 51; y < 80; y += 1) for (let x = 61; x < 105; x += 1) soft[y * W + x] = 1;
    const cover = gaussianPlane(soft, W, H, 3);
    // Below the shadow lies shade of the set, in plate and clean plate alike.
    for (let i = 0; i < n; i += 1)
      for (let c = 0; c < 3; c += 1) {
        const ground = s.clean.data[c * n + i]! * (i >= 90 * W ? 0.5 : 1);
        s.clean.data[c * n + i] = ground;
        s.frame.data[c * n + i] = ground * (1 - 0.4 * cover[i]!);
      }
    const mask = shadowBeside(s.frame, s.clean, s.hidden, s.seen)!;
    let missed = 0,
      rim = 0,
      shade = 0;
    for (let i = 0; i < n; i += 1) {
      if (s.hidden[i] === 0 && cover[i]! > 0.15) {
        rim += 1;
        if (mask[i] === 0) missed += 1;
      }
      if (i >= 95 * W) shade += mask[i]!;
    }
    expect(rim).toBeGreaterThan(1200);
    expect(missed).toBe(0);
    expect(shade).toBe(0);
  });
});
