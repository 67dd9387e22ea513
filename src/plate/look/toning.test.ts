/** Made pictures whose toning is known: coloured, black and white, toned, and one plain wall. */
import { describe, expect, it } from 'vitest';
import { RandomStream } from '../../core/random.js';
import { createPicture, type Picture } from '../../image/picture.js';
import { ToningCounter } from './toning.js';

const [W, H] = [320, 180];

/** Patches of random coded brightness lo..hi, their colour by `colour`, with noise of a pixel's own. */
function patches(seed: number, lo: number, hi: number, colour: (y: number, draw: RandomStream) => number[]): Picture {
  const p = createPicture(W, H, 3),
    draw = new RandomStream(seed, 1),
    side = 20;
  for (let top = 0; top < H; top += side)
    for (let left = 0; left < W; left += side) {
      const rgb = colour(lo + (hi - lo) * draw.uniform(), draw);
      for (let y = top; y < Math.min(H, top + side); y++)
        for (let x = left; x < left + side; x++) {
          const grain = 0.02 * draw.normal();
          for (let c = 0; c < 3; c++) p.data[c * W * H + y * W + x] = rgb[c]! + grain;
        }
    }
  return p;
}

function toningOf(...pictures: Picture[]): ReturnType<ToningCounter['toning']> {
  const counter = new ToningCounter();
  for (const p of pictures) counter.add(p);
  return counter.toning();
}

const sepia = (y: number): number[] => [y * 1.12, y * 0.98, y * (0.6 + 0.2 * y)];

describe('film without colours of its own', () => {
  it('is told where it is black and white, grain and all', () => {
    expect(toningOf(patches(1, 0.05, 0.9, (y) => [y, y, y]))).toEqual({ colours: [] });
    // Also where it shows one brightness alone.
    expect(toningOf(patches(2, 0.5, 0.55, (y) => [y, y, y]))).toEqual({ colours: [] });
  });

  it('is told where it is toned, with the colour of each brightness', () => {
    const toning = toningOf(patches(3, 0.05, 0.85, sepia), patches(4, 0.05, 0.85, sepia));
    expect(toning!.colours.length).toBeGreaterThan(20);
    for (const [r, g, b] of toning!.colours) {
      // The tone is 1.12 y, .98 y, (.6 + .2 y) y: red gives y.
      const y = r / 1.12;
      expect(Math.abs(g - 0.98 * y)).toBeLessThan(0.006);
      expect(Math.abs(b - (0.6 + 0.2 * y) * y)).toBeLessThan(0.006);
    }
  });

  it('is not believed of coloured things, of faint colours, of one wall under one light, of no picture', () => {
    const coloured = (amount: number): Picture =>
      patches(5, 0.2, 0.8, (y, draw) => [y + amount * draw.normal(), y, y + amount * draw.normal()]);
    expect(toningOf(coloured(0.1))).toBeNull();
    expect(toningOf(coloured(0.015))).toBeNull();
    // A grey room before a colour camera: hardly a colour in it, yet not grey to the code.
    expect(toningOf(coloured(0.006))).toBeNull();
    expect(toningOf(patches(6, 0.4, 0.5, (y) => [0.5 * y, 1.1 * y, 0.4 * y]))).toBeNull();
    expect(toningOf()).toBeNull();
  });
});
