/**
 * Made ground under a shadow that moves: its rest relit against the ground as it was made; a dark rug and still dark
 * are left alone.
 */
import { describe, expect, it } from 'vitest';
import { IDENTITY3 } from '../../geometry/mat3.js';
import { type Picture } from '../../image/picture.js';
import { codedLuma } from './coded-luma.js';
import type { Mosaic } from './erase-mosaic.js';
import { madeGround, shadowed } from './made-shadow.js';
import { relightRest } from './moving-shadow.js';

const W = 260,
  H = 120,
  N = W * H,
  RATIO = [0.4, 0.44, 0.5] as const;

const ground = (seed: number): Picture => madeGround(seed, W, H, { level: [0.6, 0.56, 0.5], fine: 0.1, broad: 0.4 });

/** The picture with a share of the light where `cover` is 1. */
const darkened = (p: Picture, cover: Float32Array): Picture => shadowed(p, cover, RATIO, 0.8);

const strip = (from: number, to: number): Float32Array =>
  Float32Array.from({ length: N }, (_, i) => {
    const x = i % W,
      y = Math.floor(i / W);
    return x >= from && x < to && y >= 50 && y < 74 ? 1 : 0;
  });

/**
 * A shadow 24 px high that moved over x = 60..200 and lies on 110..150 on every frame: lit elsewhere, and known to have
 * been dark there.
 */
function still(truth: Picture, moved: boolean): Mosaic {
  const never = strip(110, 150),
    came = strip(60, 200),
    picture = darkened(truth, never),
    dark = codedLuma(darkened(truth, came));
  const shaded = Float32Array.from({ length: N }, (_, i) => (moved && came[i]! > 0 && never[i]! === 0 ? dark[i]! : 0));
  return {
    picture,
    count: new Float32Array(N).fill(8),
    spread: new Float32Array(N),
    shaded,
    fromReference: IDENTITY3,
    width: W,
    height: H,
  };
}

const db = (p: Picture, truth: Picture, at: (i: number) => boolean): number => {
  let e = 0,
    n = 0;
  for (let i = 0; i < N; i++)
    if (at(i)) {
      n++;
      for (let c = 0; c < 3; c++) e += (p.data[c * N + i]! - truth.data[c * N + i]!) ** 2 / 3;
    }
  return -10 * Math.log10(e / n);
};

describe('the rest of a shadow that moves', () => {
  it('is relit where no frame shows it lit', () => {
    const truth = ground(3),
      m = still(truth, true),
      never = strip(110, 150),
      before = db(m.picture, truth, (i) => never[i]! > 0);
    const found = relightRest(m);
    expect(found).not.toBeNull();
    expect(before).toBeLessThan(16);
    // The border counts as never seen and is made up afterwards.
    expect(db(m.picture, truth, (i) => never[i]! > 0 && m.count[i]! > 0)).toBeGreaterThan(before + 12);
    for (let i = 0; i < N; i++) if (never[i]! > 0) expect(found!.mask[i]).toBe(1);
  });

  it('is nothing where no shadow was seen to move, though the ground is dark', () => {
    const m = still(ground(3), false),
      kept = m.picture.data.slice();
    expect(relightRest(m)).toBeNull();
    expect(m.picture.data).toEqual(kept);
  });

  it('is not a dark rug beside its way', () => {
    const truth = ground(5),
      rug = strip(110, 150);
    for (let c = 0; c < 3; c++)
      for (let i = 0; i < N; i++) if (rug[i]! > 0) truth.data[c * N + i] = 0.22 * truth.data[c * N + i]!;
    // The shadow goes on each side of it; the rug's own dark is another.
    const came = strip(60, 200),
      dark = codedLuma(darkened(truth, came)),
      kept = truth.data.slice();
    const shaded = Float32Array.from({ length: N }, (_, i) => (came[i]! > 0 && rug[i]! === 0 ? dark[i]! : 0));
    expect(
      relightRest({
        picture: truth,
        count: new Float32Array(N).fill(8),
        spread: new Float32Array(N),
        shaded,
        fromReference: IDENTITY3,
        width: W,
        height: H,
      }),
    ).toBeNull();
    expect(truth.data).toEqual(kept);
  });
});
