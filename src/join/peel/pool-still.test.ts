/** Frames of a take pooled where they show the same, and not where anything moved. */
import { describe, expect, it } from 'vitest';
import { RandomStream } from '../../core/random.js';
import { mostSay, pooledStill, samePlaces } from './pool-still.js';
import type { SmallLinear } from './small-linear.js';

const W = 60,
  H = 40,
  N = W * H;

/** A grey ramp with noise, and a bright block of ten pixels from column `at` on. */
function frame(seed: number, at: number): SmallLinear {
  const random = new RandomStream(seed, 3),
    data = new Float32Array(3 * N);
  for (let p = 0; p < 3; p += 1)
    for (let i = 0; i < N; i += 1) {
      const x = i % W,
        y = Math.floor(i / W),
        block = y >= 15 && y < 25 && x >= at && x < at + 10;
      data[p * N + i] = (block ? 0.5 : 0.2 + 0.002 * x) + 0.004 * random.normal();
    }
  return { width: W, height: H, block: 2, data };
}

describe('frames pooled where they show the same', () => {
  const own = frame(1, 20),
    others = [2, 3, 4, 5].map((seed) => frame(seed, 20 + 2 * (seed - 3.5))),
    same = samePlaces(own, others),
    { data } = pooledStill(own, others, same);

  it('halves the noise of what stands still', () => {
    let [before, after, count] = [0, 0, 0];
    for (let i = 0; i < N; i += 1) {
      if (Math.floor(i / W) > 10) continue;
      const truth = 0.2 + 0.002 * (i % W);
      before += (own.data[i]! - truth) ** 2;
      after += (data[i]! - truth) ** 2;
      count += 1;
    }
    expect(Math.sqrt(after / count)).toBeLessThan(0.6 * Math.sqrt(before / count));
  });

  it('leaves to the frame what no other shows at its place', () => {
    // The block went on by 2 to 3 pixels each frame: the column before it is set on some and block on others.
    for (let y = 18; y < 22; y += 1) {
      expect(data[y * W + 20]).toBeGreaterThan(0.47);
      expect(data[y * W + 18]).toBeLessThan(0.27);
    }
    const far = samePlaces(own, [frame(6, 45)])[0]!;
    for (let y = 16; y < 24; y += 1) for (let x = 21; x < 29; x += 1) expect(far[y * W + x]).toBe(0);
  });

  it('lets most of them decide, and those alone that show the same', () => {
    const yes = new Uint8Array(N).fill(1),
      no = new Uint8Array(N);
    const all = [0, 1, 2].map(() => new Float32Array(N).fill(0.9)),
      none = all.map(() => new Float32Array(N));
    expect(mostSay(no, [yes, yes, no], all).every((v) => v === 0)).toBe(true);
    expect(mostSay(no, [yes, yes, yes], all).every((v) => v === 1)).toBe(true);
    expect(mostSay(no, [yes, yes, yes], none)).toEqual(no);
    expect(mostSay(yes, [no, no, no], none)).toEqual(yes);
  });
});
