/**
 * A made body and shadow that cross blotched ground: the masks against where the shadow was drawn, also under a
 * drifting exposure.
 */
import { describe, expect, it } from 'vitest';
import { RandomStream } from '../../core/random.js';
import { gaussianPlane } from '../../image/gaussian.js';
import { createPicture } from '../../image/picture.js';
import { sourceShadows, type LaidCoarse } from './source-shadows.js';

const W = 200,
  H = 90,
  n = W * H,
  FRAMES = 10,
  LEAVES = [0.55, 0.62, 0.7];
/**
 * The body's left side on a frame, px: it goes to the right; its shadow reaches 60 px to the right of it, at its feet.
 */
const bodyAt = (f: number, step: number): number => 20 + step * f;

/**
 * Blotched ground with a lasting shade of the set in its lowest rows, crossed by a body and its shadow; `step` px a
 * frame.
 */
function scene(step: number, drift = 0): { laid: LaidCoarse[]; dark: (f: number, x: number, y: number) => boolean } {
  const random = new RandomStream(11),
    noise = Float32Array.from({ length: n }, () => random.normal()),
    wide = gaussianPlane(noise, W, H, 2.5);
  const lit = Float32Array.from(wide, (v, i) => (0.5 + 0.3 * v) * (i >= 72 * W ? 0.6 : 1));
  const dark = (f: number, x: number, y: number): boolean => {
    const b = bodyAt(f, step) + 12;
    return y >= 50 && y < 64 && x >= b && x < b + 60;
  };
  const laid = Array.from({ length: FRAMES }, (_, f) => {
    const rgb = createPicture(W, H, 3),
      seen = new Float32Array(n),
      b = bodyAt(f, step);
    for (let y = 0; y < H; y += 1)
      for (let x = 0; x < W; x += 1) {
        const i = y * W + x,
          body = x >= b && x < b + 12 && y >= 10 && y < 64;
        seen[i] = body ? 0 : 1 + Math.min(1.5, Math.max(0, b - x, x - b - 12, y - 64, 10 - y) / 40);
        for (let c = 0; c < 3; c += 1)
          rgb.data[c * n + i] = body
            ? 0.3
            : lit[i]! * (dark(f, x, y) ? LEAVES[c]! : 1) * (1 - (drift * f) / FRAMES) + 0.004 * random.normal();
      }
    return { rgb, seen };
  });
  return { laid, dark };
}

describe('the shadow of what is erased in the sources', () => {
  it('is found on every frame where its ground is seen lit, and the lasting shade of the set never', () => {
    const s = scene(9),
      found = sourceShadows(s.laid, W, H)!;
    let hit = 0,
      all = 0,
      shade = 0,
      elsewhere = 0;
    found.forEach((m, f) => {
      for (let y = 0; y < H; y += 1)
        for (let x = 0; x < W; x += 1) {
          const i = y * W + x;
          if (s.dark(f, x, y) && y > 51 && y < 62) {
            all += 1;
            hit += m[i]!;
          }
          if (y >= 74) shade += m[i]!;
          if (y < 45) elsewhere += m[i]!;
        }
    });
    expect(hit / all).toBeGreaterThan(0.95);
    expect(shade).toBe(0);
    expect(elsewhere).toBe(0);
  });

  it('is not what a drifting exposure darkens', () => {
    const s = scene(9, 0.2),
      masks = sourceShadows(s.laid, W, H)!;
    let elsewhere = 0,
      hit = 0,
      all = 0;
    masks.forEach((m, f) => {
      for (let y = 0; y < H; y += 1)
        for (let x = 0; x < W; x += 1) {
          if (y < 45 || y >= 74) elsewhere += m[y * W + x]!;
          else if (s.dark(f, x, y) && y > 51 && y < 62) {
            all += 1;
            hit += m[y * W + x]!;
          }
        }
    });
    expect(elsewhere).toBe(0);
    expect(hit / all).toBeGreaterThan(0.85);
  });
});
