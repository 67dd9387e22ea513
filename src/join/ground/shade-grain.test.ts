/**
 * Grain grown in a shadow against the law it was given, and the kernel against its plain twin whichever way the tile
 * is read.
 */
import { describe, expect, it } from 'vitest';
import { createPicture, type Picture } from '../../image/picture.js';
import { TILE, type Grower } from '../air/grain.js';
import { grainInShade, grainInShadePlain } from './shade-grain.js';

const W = 128,
  H = 128,
  N = W * H;
const flat = (v: number): Picture => {
  const p = createPicture(W, H, 3);
  p.data.fill(v);
  return p;
};
/** Noise of sd 1 that a frame reads, and a law that is even, or grows with the coded level. */
function film(law: (coded: number) => number): Grower {
  let s = 7;
  const next = (): number => {
    s = (Math.imul(s, 1664525) + 1013904223) >>> 0;
    return s / 2 ** 32;
  };
  const tile = Float32Array.from(
    { length: TILE * TILE },
    () => Math.sqrt(-2 * Math.log(next() + 1e-9)) * Math.cos(2 * Math.PI * next()),
  );
  const curve = Float32Array.from({ length: 64 }, (_, i) => law(i / 63));
  return {
    add: () => undefined,
    field: () => ({ tiles: [tile, tile, tile], ox: 5, oy: 9, sx: 1, sy: 1 }),
    curves: [curve, curve, curve],
  };
}
/** Sd of what was grown over the middle of a frame where `left` of the light is left. */
function grown(
  law: (coded: number) => number,
  left: number,
  cover = 0,
): { readonly inside: number; readonly beside: number } {
  const before = new Float32Array(96 * 96).fill(0.5),
    after = flat(0.5),
    coded = flat(0.7);
  for (let c = 0; c < 3; c++)
    for (let y = 32; y < 96; y++)
      for (let x = 32; x < 96; x++) {
        after.data[c * N + y * W + x] = 0.5 * left;
        coded.data[c * N + y * W + x] = 0.7 * left ** 0.45;
      }
  const clean = coded.data.slice();
  grainInShade({
    share: 1,
    plate: film(law),
    frame: 3,
    box: [0, 0, W, H],
    shaded: [16, 16, 112, 112],
    before,
    after,
    coded,
    matte: new Float32Array(N).fill(cover),
  });
  let a = 0,
    na = 0,
    b = 0;
  for (let y = 0; y < H; y++)
    for (let x = 0; x < W; x++) {
      const d = coded.data[y * W + x]! - clean[y * W + x]!;
      if (x >= 32 && x < 96 && y >= 32 && y < 96) {
        a += d * d;
        na++;
      } else b += d * d;
    }
  return { inside: Math.sqrt(a / na), beside: Math.sqrt(b) };
}

describe('grain inside a laid shadow', () => {
  it("is brought up to the film's own at that level", () => {
    // Even law: .02 wanted, .02 times what is left of the coded value is there.
    for (const left of [0.1, 0.3, 0.6])
      expect(grown(() => 0.02, left).inside).toBeCloseTo(0.02 * Math.sqrt(1 - (left ** 0.45) ** 2), 3);
  });
  it('is left where what is there is enough: grain that goes with the coded level goes down with it', () => {
    expect(grown((v) => 0.03 * v, 0.3).inside).toBeLessThan(0.003);
  });
  it('is neither beside the shadow nor on the performer', () => {
    expect(grown(() => 0.02, 0.3).beside).toBe(0);
    expect(grown(() => 0.02, 0.3, 1).inside).toBe(0);
  });
  it('is by the kernel what it is by plain code, whichever way round the tile is read', () => {
    let seed = 3;
    const next = (): number => {
      seed = (Math.imul(seed, 1664525) + 1013904223) >>> 0;
      return seed / 2 ** 32;
    };
    const wide = 101,
      high = 93,
      before = Float32Array.from({ length: wide * high }, () => next() * 0.8),
      after = flat(0);
    for (let i = 0; i < after.data.length; i++) after.data[i] = 0.8 * next() * next();
    // Some without any light left, some a little below black and above white.
    for (let i = 0; i < after.data.length; i += 17) after.data[i] = 0;
    const coded = flat(0);
    for (let i = 0; i < coded.data.length; i++) coded.data[i] = -0.05 + 1.15 * next();
    const matte = Float32Array.from({ length: N }, () => (next() < 0.3 ? next() : 0));
    const grain = film((v) => 0.02 + 0.01 * Math.sin(40 * v));
    for (const [sx, sy] of [
      [1, 1],
      [-1, 1],
      [1, -1],
      [-1, -1],
    ] as const) {
      const turned: Grower = { ...grain, field: (n) => ({ ...grain.field(n), ox: 200, oy: 509, sx, sy }) };
      const at = { share: 0.8, plate: turned, frame: 1, before, after, matte };
      const where = { box: [3, 5, 3 + W, 5 + H], shaded: [14, 21, 14 + wide, 21 + high] } as const;
      const one = { ...coded, data: coded.data.slice() },
        other = { ...coded, data: coded.data.slice() };
      grainInShade({ ...at, ...where, coded: one });
      grainInShadePlain({ ...at, ...where, coded: other });
      let moved = 0,
        beyond = 0;
      for (let i = 0; i < one.data.length; i++) {
        const grown = Math.abs(other.data[i]! - coded.data[i]!);
        if (grown > 0) moved++;
        // A level on the edge between two of the curve may fall on either side.
        beyond = Math.max(beyond, Math.abs(one.data[i]! - other.data[i]!) - 0.005 * grown);
      }
      expect(beyond).toBeLessThan(1e-6);
      expect(moved).toBeGreaterThan(3000);
    }
  });
});
