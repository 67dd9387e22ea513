/** A made wall through a lens with a known loss towards its corners: what the fitted plane leaves of the difference. */
import { describe, expect, it } from 'vitest';
import { RandomStream } from '../../core/random.js';
import { gaussianPlane } from '../../image/gaussian.js';
import { createPicture, plane, type Picture } from '../../image/picture.js';
import { lightPlane, shineOn } from './light-plane.js';

const W = 320,
  H = 180,
  SHIFT = 90;

/** A flat wall of patches seen through a lens that loses light with the square of the distance from its axis. */
function seen(fromX: number, exposure: number, fall: number): Picture {
  const random = new RandomStream(3),
    big = W + SHIFT,
    p = createPicture(W, H, 3);
  const wall = gaussianPlane(
    new Float32Array(big * H).map(() => random.normal()),
    big,
    H,
    3,
  );
  for (let c = 0; c < 3; c++)
    for (let y = 0; y < H; y++)
      for (let x = 0; x < W; x++) {
        const r2 = ((x - W / 2) ** 2 + (y - H / 2) ** 2) / (W / 2) ** 2;
        plane(p, c)[y * W + x] = (0.42 + 0.02 * c + wall[y * big + x + fromX]!) * exposure * Math.exp(-fall * r2);
      }
  return p;
}

describe('light as a plane', () => {
  it('is that of a lens that falls off while the camera turns, and holds beyond what told it', () => {
    // The same lens a good quarter of the picture further right, somebody dark in it, and only the left four fifths
    // looked at.
    const first = seen(0, 1, 0.12),
      other = seen(SHIFT, 0.9, 0.12);
    const laid = createPicture(W, H, 3),
      told = new Float32Array(W * H),
      both = new Float32Array(W * H);
    for (let y = 0; y < H; y++)
      for (let x = SHIFT; x < W; x++) {
        both[y * W + x] = 1;
        told[y * W + x] = x < 0.8 * W ? 1 : 0;
        for (let c = 0; c < 3; c++)
          plane(laid, c)[y * W + x] = plane(other, c)[y * W + x - SHIFT]! * (x > 120 && x < 150 ? 0.5 : 1);
      }
    const light = lightPlane(first, laid, told)!;
    shineOn(laid, light, -1);
    let worst = 0;
    for (let i = 0; i < both.length; i++)
      if (both[i] === 1 && !(i % W > 118 && i % W < 152))
        worst = Math.max(worst, Math.abs(laid.data[i]! / first.data[i]! - 1));
    expect(worst).toBeLessThan(0.01);
    expect(light.gain[1]).toBeGreaterThan(0.8);
  });

  it('multiplies by a light and divides by it again', () => {
    const p = seen(0, 1, 0),
      was = p.data.slice();
    const light = { gain: [0.8, 0.9, 1.1] as const, lean: [0.0005, -0.0008] as const, x0: 100, y0: 60 };
    shineOn(p, light, 1, 0.5, 10, 4);
    expect(p.data[0]! / was[0]!).toBeLessThan(0.9);
    shineOn(p, light, -1, 0.5, 10, 4);
    for (let i = 0; i < was.length; i += 97) expect(p.data[i]).toBeCloseTo(was[i]!, 5);
  });

  it('says nothing where nothing is seen of both', () => {
    expect(lightPlane(seen(0, 1, 0), seen(0, 1, 0), new Float32Array(W * H))).toBeNull();
  });
});
