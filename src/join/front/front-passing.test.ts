/**
 * Two upright cylinders, one carried round the other: what is hidden falls from all to nothing, between bounds of a
 * traced pair.
 */
import { describe, expect, it } from 'vitest';
import { passedCover } from './front-passing.js';

const W = 120,
  H = 40,
  HEAD: [number, number][] = [
    [20, 0],
    [60, 0],
    [60, H],
    [20, H],
  ];
/**
 * A performer 40 px wide about x = 70, before a thing 40 px wide about x = 40: two upright cylinders of radius 20, seen
 * from far.
 */
const matte = Float32Array.from({ length: W * H }, (_, i) => (i % W >= 50 && i % W < 90 ? 1 : 0));

/** Pixels of the overlap (x 50 to 60) that the thing hides on a row. */
function hidden(nearer: number): number {
  const cover = Float32Array.from({ length: W * H }, (_, i) => (i % W >= 20 && i % W < 60 ? 1 : 0));
  passedCover(cover, HEAD, matte, [0, 0, W, H], nearer);
  return cover.slice(20 * W + 50, 20 * W + 60).reduce((a, b) => a + b, 0);
}

describe('a performer that is carried round what stands before it', () => {
  it('comes out from behind it part by part', () => {
    const seen = [-40, -15, -8, 0, 8, 15, 40].map(hidden);
    expect(seen[0]).toBeCloseTo(10, 5);
    expect(seen.at(-1)).toBeCloseTo(0, 5);
    for (let k = 1; k < seen.length; k++) expect(seen[k]!).toBeLessThanOrEqual(seen[k - 1]!);
    // Level with each other the thing hides most of it: .74 to .83 of the overlap of a traced rabbit on a shoulder.
    expect(seen[3]!).toBeGreaterThan(6.5);
    expect(seen[3]!).toBeLessThan(9);
    expect(seen[2]!).toBeGreaterThan(seen[3]! + 0.5);
    expect(seen[4]!).toBeLessThan(seen[3]! - 1);
  });
  it('goes by the middles alone where the performer is not given', () => {
    const cover = new Float32Array(W * H).fill(1);
    passedCover(cover, HEAD, null, [0, 0, W, H], -3);
    expect(cover[0]).toBe(1);
    passedCover(cover, HEAD, null, [0, 0, W, H], 3);
    expect(cover[0]).toBe(0);
  });
});
