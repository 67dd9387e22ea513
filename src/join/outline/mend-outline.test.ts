/**
 * A carried outline mended by the set (`mend-outline.ts`): made pictures whose performer is known, a block before
 * leaves.
 */
import { describe, expect, it } from 'vitest';
import { RandomStream } from '../../core/random.js';
import type { Mat3 } from '../../geometry/mat3.js';
import { mendOutline, type OtherFrame } from './mend-outline.js';
import type { SmallFrame } from './small-frame.js';

const W = 200,
  H = 140,
  SIDE = 44,
  HOLD: Mat3 = [1, 0, 0, 0, 1, 0, 0, 0, 1];
const performer = (x: number, y: number, left: number): boolean =>
  (x >= left && x < left + SIDE && y >= 50 && y < 50 + SIDE) ||
  // A tail.
  (x >= left - 24 && x < left && y >= 56 && y < 66);
const tail = (x: number, left: number): boolean => x < left;
/** Dragged along above the back. */
const strip = (x: number, y: number, left: number): boolean => x >= left && x < left + 20 && y >= 36 && y < 50;

/** `stirs`: the set is another one on every frame, as leaves in a storm. */
function frameAt(left: number, stirs: boolean): SmallFrame {
  const random = new RandomStream(stirs ? left : 3),
    noise = new RandomStream(100 + left),
    leaves = Float32Array.from({ length: (W / 4) * (H / 4) }, () => 0.25 + 0.4 * random.uniform()),
    n = W * H,
    data = new Float32Array(3 * n);
  for (let y = 0, i = 0; y < H; y++)
    for (let x = 0; x < W; x++, i++) {
      const own = performer(x, y, left);
      data[i] =
        (own ? 0.55 + 0.05 * Math.sin((x - left) / 3) : leaves[(y >> 2) * (W / 4) + (x >> 2)]!) +
        0.01 * (noise.uniform() - 0.5);
      data[n + i] = own ? 0.02 : -0.05;
    }
  return { width: W, height: H, block: 1, data };
}
const maskOf = (of: (x: number, y: number) => boolean): Uint8Array =>
  Uint8Array.from({ length: W * H }, (_, i) => (of(i % W, Math.floor(i / W)) ? 1 : 0));
const others = (stirs: boolean): OtherFrame[] =>
  [40, 60, 110, 130].map((left) => ({
    frame: frameAt(left, stirs),
    mask: maskOf((x, y) => performer(x, y, left)),
    move: HOLD,
  }));
const share = (mask: Uint8Array, of: (x: number, y: number) => boolean): number => {
  let all = 0,
    set = 0;
  for (let i = 0; i < mask.length; i++)
    if (of(i % W, Math.floor(i / W))) {
      all++;
      set += mask[i]!;
    }
  return set / all;
};

describe('a carried outline mended by the set', () => {
  const left = 85,
    truth = (x: number, y: number): boolean => performer(x, y, left),
    carried = maskOf((x, y) => (truth(x, y) && !tail(x, left)) || strip(x, y, left));

  it('takes in a tail that was lost and lets go a strip of set that was dragged along', () => {
    const mended = mendOutline({ frame: frameAt(left, false), mask: carried }, others(false))!;
    expect(mended).not.toBeNull();
    expect(share(mended, (x, y) => truth(x, y) && tail(x, left))).toBeGreaterThan(0.9);
    // Squares of three by three are compared: within two pixels of the performer a place is not told from it.
    expect(share(mended, (x, y) => strip(x, y, left) && y < 48)).toBeLessThan(0.05);
    expect(share(mended, truth)).toBeGreaterThan(0.97);
  });

  it('leaves a right line as it is', () => {
    const right = maskOf(truth);
    expect(mendOutline({ frame: frameAt(left, false), mask: right }, others(false))).toBeNull();
  });

  it('takes nothing in where the set is not found again', () => {
    const mended = mendOutline({ frame: frameAt(left, true), mask: carried }, others(true)) ?? carried;
    expect(share(mended, (x, y) => !truth(x, y) && !strip(x, y, left))).toBeLessThan(0.003);
  });
});
