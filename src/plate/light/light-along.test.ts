/** A made set under light of known stops, passed by pans and pushes: the stops read against them. */
import { describe, expect, it } from 'vitest';
import { bt709Encode } from '../../colour/transfer.js';
import { RandomStream } from '../../core/random.js';
import { LightAlong } from './light-along.js';

const W = 320,
  H = 180;

/** A set without end: waves of many lengths over a slope of light of two stops a picture's width. Linear luminance. */
function setOf(seed: number): (x: number, y: number) => number {
  const r = new RandomStream(seed),
    waves = Array.from({ length: 9 }, () => {
      const wide = 12 * 1.32 ** (10 * r.uniform()),
        turn = 6.28 * r.uniform();
      return [Math.cos(turn) / wide, Math.sin(turn) / wide, 6.28 * r.uniform()] as const;
    });
  return (x, y) => {
    let s = 0;
    for (const [u, v, p] of waves) s += Math.sin(6.28 * (u * x + v * y) + p);
    return 0.12 * 2 ** (0.5 * s + (2 * (x - W / 2)) / W);
  };
}

/**
 * Stops as read at each frame of a camera that goes by `dx`, `dy` px and nears by `nears` a frame, before light of
 * `light(n)` stops.
 */
function read(
  frames: number,
  way: { readonly dx: number; readonly dy: number; readonly nears: number },
  light: (n: number) => number,
  over: (n: number, x: number, y: number) => number | null = () => null,
): (number | null)[] {
  const set = setOf(7),
    grain = new RandomStream(3),
    along = new LightAlong();
  return Array.from({ length: frames }, (_, n) => {
    const k = (1 + way.nears) ** n,
      luma = new Float32Array(W * H);
    for (let y = 0; y < H; y++)
      for (let x = 0; x < W; x++) {
        const linear = over(n, x, y) ?? set(W / 2 + (x - W / 2) / k + n * way.dx, H / 2 + (y - H / 2) / k + n * way.dy);
        const coded = bt709Encode(Math.min(1, linear * 2 ** light(n)));
        luma[y * W + x] = Math.min(1, Math.max(0, coded + 0.01 * grain.normal()));
      }
    return along.add(luma, W, H);
  });
}

const most = (read: readonly (number | null)[], light: (n: number) => number): number =>
  Math.max(...read.map((v, n) => (v === null ? 0 : Math.abs(v - light(n) + light(0)))));

describe('light along a moving camera', () => {
  it('reads none where a pan goes from the dark side of a set to the bright one', () => {
    const r = read(24, { dx: 6, dy: 0.7, nears: 0 }, () => 0);
    expect(most(r, () => 0)).toBeLessThan(0.06);
  });

  // Towards black the dark cells go under what tells, the brightest of them last, so a fade reads a little too short.
  it('reads a fade inside a pan and inside a push within a tenth of it', () => {
    const fade = (n: number): number => (n < 8 ? 0 : (-2.4 * (n - 8)) / 15);
    expect(most(read(24, { dx: -4.3, dy: 1, nears: 0 }, fade), fade)).toBeLessThan(0.24);
    expect(most(read(24, { dx: 0.4, dy: 0, nears: 0.006 }, fade), fade)).toBeLessThan(0.24);
  });

  it('reads a flash that clips the bright parts, and comes back', () => {
    const flash = (n: number): number => (n >= 5 && n < 8 ? 1.3 : 0);
    const r = read(12, { dx: 3, dy: 0, nears: 0 }, flash);
    expect(most(r, flash)).toBeLessThan(0.12);
  });

  it('is not led by a dark thing that fills a quarter of the picture and goes its own way', () => {
    const r = read(
      16,
      { dx: 5, dy: 0, nears: 0 },
      () => 0,
      (n, x, y) => (x > 20 * n - 40 && x < 20 * n + 120 && y > 40 ? 0.02 : null),
    );
    expect(most(r, () => 0)).toBeLessThan(0.08);
  });
});
