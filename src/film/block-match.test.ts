/** The block-matching kernel is held to its plain twin, to the bit; a picture slid by known cells is found again. */
import fc from 'fast-check';
import { expect, it } from 'vitest';
import { RandomStream } from '../core/random.js';
import { BLOCKS, BlockMatcher, emptyMatch } from './block-match.js';
import { PlainBlockMatcher } from './block-match-plain.js';
import { SMALL_H, SMALL_LENGTH, SMALL_W } from './small-frame.js';

/**
 * Value noise at several scales on a plane larger than the frame, cut out at (x, y), with gain, bias, grain and bars.
 */
function frame(
  seed: number,
  x: number,
  y: number,
  gain: number,
  bias: number,
  grain: number,
  bars: number,
): Uint16Array {
  const at = (ix: number, iy: number, k: number): number => {
    const h = Math.imul((ix * 73856093) ^ (iy * 19349663) ^ ((seed + k) * 83492791), 2654435761) >>> 8;
    return (h & 0xffff) / 65535;
  };
  const r = new RandomStream(seed + 5);
  const f = new Uint16Array(SMALL_LENGTH).fill(32768);
  for (let v = 0; v < SMALL_H; v++)
    for (let u = 0; u < SMALL_W; u++) {
      let s = 0;
      for (const [k, n] of [3, 7, 15].entries()) {
        const px = (u + x + 200) / n;
        const py = (v + y + 200) / n;
        const ix = Math.floor(px);
        const iy = Math.floor(py);
        const tx = px - ix;
        const ty = py - iy;
        s +=
          (at(ix, iy, k) * (1 - tx) + at(ix + 1, iy, k) * tx) * (1 - ty) +
          (at(ix, iy + 1, k) * (1 - tx) + at(ix + 1, iy + 1, k) * tx) * ty;
      }
      const c = v < bars || v >= SMALL_H - bars ? 0 : bias + gain * 60000 * (s / 3) + grain * r.normal();
      f[v * SMALL_W + u] = Math.max(0, Math.min(65535, c));
    }
  return f;
}

it('kernel and twin give the same numbers', () => {
  const one = new BlockMatcher();
  const two = new PlainBlockMatcher();
  fc.assert(
    fc.property(
      fc.record({
        seed: fc.integer({ min: 1, max: 9999 }),
        other: fc.boolean(),
        dx: fc.integer({ min: -40, max: 40 }),
        dy: fc.integer({ min: -20, max: 20 }),
        gain: fc.double({ min: 0, max: 1.5, noNaN: true }),
        bias: fc.integer({ min: 0, max: 66000 }),
        grain: fc.integer({ min: 0, max: 3000 }),
        bars: fc.integer({ min: 0, max: 14 }),
        reach: fc.integer({ min: 0, max: 3 }),
      }),
      (c) => {
        const a = frame(c.seed, 0, 0, 1, 0, 0, c.bars);
        const b = frame(c.other ? c.seed + 77 : c.seed, c.dx, c.dy, c.gain, c.bias, c.grain, c.bars);
        const m = one.match(a, b, c.reach, emptyMatch());
        const p = two.match(a, b, c.reach, emptyMatch());
        expect(m).toEqual(p);
        expect(one.fields()).toEqual(two.fields());
      },
    ),
    { numRuns: 60, seed: 11 },
  );
});

it('finds a picture again that slid by known cells while its light fell', () => {
  const m = new BlockMatcher();
  const r = m.match(frame(3, 0, 0, 1, 0, 0, 0), frame(3, 9, -6, 0.5, 2000, 0, 0), 2, emptyMatch());
  expect([r.dx, r.dy]).toEqual([-9, 6]);
  // 17 of the 72 blocks went out of sight and count a little; all others are found to the bit but for rounding.
  expect(r.dissimilarity).toBeLessThan(0.25 * (17 / 55) + 0.02);
  const moved = m.blockShifts().filter((s) => s.left < 0.05 && s.dx === -9 && s.dy === 6).length;
  expect(moved).toBeGreaterThan(0.6 * BLOCKS);
  expect(
    m.match(frame(3, 0, 0, 1, 0, 0, 0), frame(900, 0, 0, 1, 0, 0, 0), 2, emptyMatch()).dissimilarity,
  ).toBeGreaterThan(0.5);
});
