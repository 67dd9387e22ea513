/** The edge of a performer found by difference: thin dark limbs of another colour than the trunk; a soft edge. */
import { describe, expect, it } from 'vitest';
import { RandomStream } from '../../core/random.js';
import { createPicture } from '../../image/picture.js';
import { peelByDifference } from './peel-difference.js';

const W = 240,
  H = 320,
  N = W * H;
const SET = [0.12, 0.1, 0.08] as const;

/**
 * A pale trunk with two dark legs of twelve pixels before a dark fence; edges fall over `soft` pixels. Told by the
 * trunk's colour alone the legs would be a fifth covered.
 */
function coverAt(x: number, y: number, soft: number): number {
  const trunk = Math.min(x - 90.3, 150.3 - x, y - 60, 180 - y),
    leg = (at: number): number => Math.min(x - at, at + 12 - x, y - 178, 290 - y);
  return Math.min(1, Math.max(0, 0.5 + Math.max(trunk, leg(96.3), leg(132.3)) / soft));
}

function shown(stands: boolean, soft: number, seed: number): ReturnType<typeof createPicture> {
  const random = new RandomStream(seed, 5),
    out = createPicture(W, H, 3);
  for (let y = 0, i = 0; y < H; y += 1)
    for (let x = 0; x < W; x += 1, i += 1) {
      const a = stands ? coverAt(x + 0.5, y + 0.5, soft) : 0,
        board = 1 + 0.25 * Math.sin(0.7 * x),
        across = y < 180 ? (x - 90) / 60 : x < 120 ? (x - 96) / 12 : (x - 132) / 12,
        lit = (y < 180 ? 0.45 : 0.22) + 0.05 * Math.min(1, Math.max(0, across));
      for (let p = 0; p < 3; p += 1)
        out.data[p * N + i] = a * lit * [1, 0.95, 0.85][p]! + (1 - a) * SET[p]! * board + 0.004 * random.normal();
    }
  return out;
}

/** Mean of the matte over pixels that the truth covers wholly and not at all, and its mean error. */
function peeled(soft: number): { legs: number; beside: number; error: number } {
  const frame = shown(true, soft, 2),
    { data } = peelByDifference(frame, frame, shown(false, soft, 1)).alpha;
  let [legs, count, beside, out, error, band] = [0, 0, 0, 0, 0, 0];
  for (let y = 0, i = 0; y < H; y += 1)
    for (let x = 0; x < W; x += 1, i += 1) {
      const t = coverAt(x + 0.5, y + 0.5, soft);
      if (t === 1 && y > 186 && y < 286) {
        legs += data[i]!;
        count += 1;
      } else if (t === 0) {
        beside += data[i]!;
        out += 1;
      }
      if (t > 0 && t < 1) {
        error += Math.abs(data[i]! - t);
        band += 1;
      }
    }
  return { legs: legs / count, beside: beside / out, error: error / band };
}

describe('the edge of a performer found by difference', () => {
  it('keeps thin dark legs whole before a dark fence', () => {
    const { legs, beside, error } = peeled(1);
    expect(legs).toBeGreaterThan(0.98);
    expect(beside).toBeLessThan(0.0003);
    expect(error).toBeLessThan(0.1);
  });

  it('leaves a soft edge soft', () => {
    const { legs, beside, error } = peeled(6);
    expect(legs).toBeGreaterThan(0.98);
    expect(beside).toBeLessThan(0.0003);
    expect(error).toBeLessThan(0.1);
  });
});
