/**
 * A drawn hand moved by known ways: the way found, and what of its outline's chatter is left once that is taken out.
 */
import { describe, expect, it } from 'vitest';
import { movedPlane } from '../movement/motion.js';
import { readChatter } from './chatter.js';
import { ownWay } from './own-way.js';

const W = 160,
  H = 120;

/** A hand of four fingers 8 px broad, 16 px apart, that point up to row `top`; soft rims of three pixels. */
function hand(left: number, top: number): Float32Array {
  const out = new Float32Array(W * H);
  const soft = (d: number): number => Math.min(1, Math.max(0, d / 3 + 0.5));
  for (let y = 0; y < H; y++)
    for (let x = 0; x < W; x++)
      for (let k = 0; k < 4; k++) {
        const inside = Math.min(4 - Math.abs(x - left - 16 * k), y - top);
        out[y * W + x] = Math.max(out[y * W + x]!, soft(inside));
      }
  return out;
}

const WHOLE = [0, 0, W, H] as const;
const own = (m: Float32Array, now: Float32Array): Float32Array =>
  movedPlane(m, W, H, ownWay(m, now, [W, H], WHOLE), WHOLE);

describe("a performer's own way", () => {
  it('is found to a part of a pixel, also where the picture cuts it off', () => {
    for (const [dx, dy] of [
      [0, 0],
      [7, -3],
      [41, 0],
      [-12.4, 22.3],
    ] as const) {
      const [x, y] = ownWay(hand(60, 60), hand(60 + dx, 60 + dy), [W, H], WHOLE);
      expect(Math.abs(x - dx)).toBeLessThan(0.15);
      expect(Math.abs(y - dy)).toBeLessThan(0.15);
    }
  });

  it('taken out, a hand that reaches in by more than its fingers are broad does not chatter', () => {
    const now = hand(40, 50),
      plain = readChatter(hand(32, 70), now, hand(48, 80), WHOLE, W, [0, 0])!;
    expect(plain).toBeGreaterThan(0.1);
    expect(readChatter(own(hand(32, 70), now), now, own(hand(48, 80), now), WHOLE, W, [0, 0])!).toBeLessThan(0.016);
  });

  it('taken out, patches of the outline that come and go stay as they are', () => {
    const worn = hand(40, 50);
    for (let i = 0; i < W * H; i++) if (Math.floor(i / W / 6) % 2 === 0 && worn[i]! < 0.97) worn[i] = 0.4 * worn[i]!;
    const calm = hand(40, 50),
      plain = readChatter(calm, worn, calm, WHOLE, W, [0, 0])!;
    expect(plain).toBeGreaterThan(0.016);
    expect(readChatter(own(calm, worn), worn, own(calm, worn), WHOLE, W, [0, 0])!).toBeGreaterThan(0.8 * plain);
  });
});
