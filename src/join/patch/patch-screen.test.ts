/** Made heads before a green screen: what of the screen a patch may take along. */
import { describe, expect, it } from 'vitest';
import { RandomStream } from '../../core/random.js';
import { gaussianPlane } from '../../image/gaussian.js';
import { createPicture, plane, type Picture } from '../../image/picture.js';
import { patchRegion } from './patch.js';
import { screenTest } from './patch-screen.js';

const W = 160,
  H = 120,
  GREEN = [0.25, 0.62, 0.3],
  SKIN = [0.72, 0.55, 0.45];

/** @param rx half breadth of the head @param red its mouth */
function head(rx: number, red: boolean): Picture {
  const p = createPicture(W, H, 3),
    random = new RandomStream(9);
  const fine = gaussianPlane(
    new Float32Array(W * H).map(() => random.normal()),
    W,
    H,
    1.6,
  );
  for (let y = 0; y < H; y++)
    for (let x = 0; x < W; x++) {
      const on = Math.hypot((x - 80) / rx, (y - 60) / 45) < 1,
        mouth = red && Math.hypot((x - 80) / 12, (y - 75) / 5) < 1;
      for (let c = 0; c < 3; c++)
        plane(p, c)[y * W + x] = (mouth ? [0.7, 0.2, 0.2] : on ? SKIN : GREEN)[c]! + (on ? 0.1 * fine[y * W + x]! : 0);
    }
  return p;
}
const box = (x0: number, y0: number, x1: number, y1: number): [number, number][] => [
  [x0, y0],
  [x1, y0],
  [x1, y1],
  [x0, y1],
];
const green = (p: Picture, i: number): number => plane(p, 1)[i]! - plane(p, 0)[i]!;

describe('a patch before a screen', () => {
  it("lays a mouth whose outline reaches over the lender's cheek, and none of the screen beyond it", () => {
    // The lender's face is narrower: on the right its outline takes in ten pixels of screen.
    const target = head(42, false),
      source = head(24, true),
      region = box(58, 64, 116, 88);
    const options = { chromaShift: [0, 0] as const, fitBelow: 0 };
    const plain = patchRegion(target, source, region, region, options)!,
      got = patchRegion(target, source, region, region, { ...options, screen: screenTest(source, 'bt709')! })!;
    const [x0, y0] = got.box,
      w = got.coded.width,
      worst = (q: typeof got): number => {
        let most = -1;
        for (let y = 66; y < 86; y++)
          for (let x = 60; x < 114; x++)
            if (Math.hypot((x - 80) / 42, (y - 60) / 45) < 0.9)
              most = Math.max(most, green(q.coded, (y - y0) * w + x - x0));
        return most;
      };
    expect(worst(plain)).toBeGreaterThan(0.1);
    expect(worst(got)).toBeLessThan(0);
    // The mouth is there.
    const i = (75 - y0) * w + 80 - x0;
    expect(plane(got.coded, 0)[i]! - plane(got.coded, 1)[i]!).toBeGreaterThan(0.3);
  });

  it("takes no light from where one shows its screen beside the other's cheek", () => {
    // The outline ends on the lender's cheek, three pixels before its screen.
    const target = head(42, false),
      source = head(32, true),
      region = box(58, 64, 107, 86);
    const off = (screen: boolean): number => {
      const got = patchRegion(target, source, region, region, {
          chromaShift: [0, 0],
          fitBelow: 0,
          ...(screen ? { screen: screenTest(source, 'bt709')! } : {}),
        })!,
        [x0, y0] = got.box,
        w = got.coded.width;
      let most = 0;
      for (let y = 66; y < 84; y++)
        for (let x = 96; x < 104; x++)
          for (let c = 0; c < 3; c++)
            most = Math.max(most, Math.abs(plane(got.coded, c)[(y - y0) * w + x - x0]! - plane(target, c)[y * W + x]!));
      return most;
    };
    expect(off(false)).toBeGreaterThan(2 * off(true));
    expect(off(true)).toBeLessThan(0.03);
  });

  it('takes a whole head with its own outline, screen and all', () => {
    const target = head(42, false),
      source = head(24, true),
      region = box(30, 8, 130, 112);
    const got = patchRegion(target, source, region, region, {
      chromaShift: [0, 0],
      fitBelow: 0,
      screen: screenTest(source, 'bt709')!,
    })!;
    const [x0, y0] = got.box,
      w = got.coded.width;
    // Where the broader head was, the narrower one's screen is.
    expect(green(got.coded, (60 - y0) * w + 112 - x0)).toBeGreaterThan(0.2);
    expect(green(got.coded, (60 - y0) * w + 80 - x0)).toBeLessThan(0);
  });

  it('knows no screen where nothing is green or blue', () => {
    const p = createPicture(W, H, 3);
    p.data.fill(0.5);
    expect(screenTest(p, 'bt709')).toBeNull();
  });
});
