/** A made garden with a body and a shadow that leaves .45 of the light: the light missing inside it and beside it. */
import { describe, expect, it } from 'vitest';
import { RandomStream } from '../../core/random.js';
import { createPicture, type Picture } from '../../image/picture.js';
import { shadowOnSet } from './set-shadow.js';

const W = 480,
  H = 270,
  LEFT = 0.45;
const inShadow = (x: number, y: number): boolean => x > 200 && x < 320 && y > 190 && y < 225,
  inBody = (x: number, y: number): boolean => x >= 180 && x < 220 && y >= 100 && y < 210;

/** A garden of many colours, empty or with a body and its shadow; each frame with grain of its own. */
function garden(who: boolean, seed: number): Picture {
  const r = new RandomStream(seed),
    p = createPicture(W, H, 3),
    n = W * H;
  for (let y = 0; y < H; y++)
    for (let x = 0; x < W; x++)
      for (let c = 0; c < 3; c++) {
        const set = (0.15 + 0.1 * Math.sin(0.31 * x + c) * Math.sin(0.23 * y)) * (y < 120 ? 0.5 : 1),
          lit = who && inShadow(x, y) ? LEFT : 1;
        p.data[c * n + y * W + x] = (who && inBody(x, y) ? [0.3, 0.2, 0.1][c]! : set * lit) * (1 + 0.04 * r.normal());
      }
  return p;
}

describe('shadow on a set shot empty too', () => {
  it("is what is missing of the empty set's light, beside the performer", () => {
    const picture = createPicture(40, 110, 4);
    picture.data.fill(1);
    const s = shadowOnSet(garden(true, 1), garden(false, 2), { picture, box: [180, 100, 220, 210] });
    expect([s.width, s.height, s.cell]).toEqual([W, H, 1]);
    let inside = 0,
      n = 0,
      beside = 0,
      m = 0;
    for (let y = 0; y < H; y++)
      for (let x = 0; x < W; x++) {
        if (x > 228 && x < 312 && y > 196 && y < 219) {
          inside += s.density[y * W + x]!;
          n++;
        }
        if ((x < 160 || x > 335) && y > 10) {
          beside = Math.max(beside, s.density[y * W + x]!);
          m += s.density[y * W + x]!;
        }
      }
    expect(Math.abs(inside / n - (1 - LEFT))).toBeLessThan(0.03);
    expect(m / (W * H)).toBeLessThan(0.005);
    expect(beside).toBeLessThan(0.12);
  });
});
