/** A made wall with a bar through a hole: the drawn bar against the wall without the hole. */
import { describe, expect, it } from 'vitest';
import { drawSpans } from './line-spans.js';

const W = 120;
const H = 60;

/**
 * A wall that brightens downwards, with a hole from column 40 to 79. `bar` says how much of a dark bar covers a pixel.
 */
function wall(bar: (x: number, y: number) => number): {
  truth: Float32Array;
  rgb: Float32Array;
  hole: Uint8Array;
  known: Uint8Array;
} {
  const truth = new Float32Array(3 * W * H);
  const hole = new Uint8Array(W * H);
  for (let y = 0; y < H; y++)
    for (let x = 0; x < W; x++) {
      const i = y * W + x;
      const a = bar(x, y);
      for (let c = 0; c < 3; c++) truth[3 * i + c] = (0.5 + 0.002 * y) * (1 - a) + 0.1 * a;
      hole[i] = x >= 40 && x < 80 ? 1 : 0;
    }
  const rgb = truth.map((v, k) => (hole[Math.floor(k / 3)] !== 0 ? 0 : v));
  return { truth, rgb, hole, known: Uint8Array.from(hole, (v) => 1 - v) };
}

const slanted = (x: number, y: number): number => Math.min(1, Math.max(0, 3 - Math.abs(y - 20 - 0.21 * x)));

describe('lines that go through a hole', () => {
  it('are drawn where they were, though less of them is seen than the hole is wide', () => {
    const { truth, rgb, hole, known } = wall((x, y) => (x > 15 && x < 104 ? slanted(x, y) : 0));
    const before = hole.slice();
    expect(drawSpans({ rgb, hole, known, w: W, h: H })).toBeGreaterThan(0);
    let bar = 0;
    let missed = 0;
    let off = 0;
    let drawn = 0;
    for (let i = 0; i < W * H; i++) {
      if (before[i] === 0) continue;
      const inBar = slanted(i % W, Math.floor(i / W)) > 0.5;
      if (inBar) bar++;
      if (inBar && hole[i] !== 0) missed++;
      if (hole[i] === 0) {
        drawn++;
        off += (rgb[3 * i]! - truth[3 * i]!) ** 2;
        expect(known[i]).toBe(1);
      }
    }
    expect(bar).toBeGreaterThan(180);
    expect(missed).toBe(0);
    // A quarter of a pixel off would be .25 × .4 of contrast on two edge pixels of seven drawn: .053.
    expect(Math.sqrt(off / drawn)).toBeLessThan(0.053);
  });

  it('are not drawn where one only ends, nor where another stands elsewhere behind the hole', () => {
    const ends = wall((x, y) => (x < 50 ? slanted(x, y) : 0));
    expect(drawSpans({ ...ends, w: W, h: H })).toBe(0);
    const other = wall((x, y) => (x < 60 ? slanted(x, y) : Math.min(1, Math.max(0, 3 - Math.abs(y - 12)))));
    expect(drawSpans({ ...other, w: W, h: H })).toBe(0);
  });

  it('are drawn between ends that lie a little apart in light, and not where they lie far apart', () => {
    const lit = (more: number): number => {
      const { rgb, ...rest } = wall(slanted);
      const brighter = rgb.map((v, k) => (Math.floor(k / 3) % W < 80 ? v : v + more));
      return drawSpans({ rgb: brighter, ...rest, w: W, h: H });
    };
    expect(lit(0.1)).toBeGreaterThan(0);
    expect(lit(0.2)).toBe(0);
  });
});
