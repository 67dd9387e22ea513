/** Lit, shaded and dark ground of known colours: which counts as the plate's own shadow. */
import { describe, expect, it } from 'vitest';
import { createPicture } from '../../image/picture.js';
import { ownShadowAt, ownShadowOf, ownShadowToBorder, softened } from './own-shadow.js';

const LIT = [0.2, 0.15, 0.1] as const,
  T = [0.25, 0.3, 0.42] as const;
const one = (rgb: readonly number[]): ReturnType<typeof createPicture> => {
  const p = createPicture(1, 1, 3);
  p.data.set(rgb);
  return p;
};

describe("shadows of the plate's own", () => {
  it('knows a full shadow, lit ground, and dark ground in the light', () => {
    const o = ownShadowOf({ linear: LIT, spread: 0.3 }, T)!;
    expect(ownShadowAt(o, one(LIT.map((v, c) => v * T[c]!)), 0)).toBe(1);
    expect(ownShadowAt(o, one(LIT), 0)).toBe(0);
    // Stone of a third of the reflectance, as dark as the shadow but of the key's colour.
    expect(ownShadowAt(o, one(LIT.map((v) => v / 3)), 0)).toBeLessThan(0.1);
    // Dark stone in the shadow is in the shadow all the same.
    expect(ownShadowAt(o, one(LIT.map((v, c) => (v * T[c]!) / 1.5)), 0)).toBeGreaterThan(0.9);
  });

  it('keeps to the border of a shadow, however wide the plate is smoothed', () => {
    const w = 40,
      h = 12,
      p = createPicture(w, h, 3),
      o = ownShadowOf({ linear: LIT, spread: 0.1 }, T)!;
    // Left half in shadow; the ground a tenth lighter and darker from pixel to pixel.
    for (let i = 0; i < w * h; i++)
      for (let c = 0; c < 3; c++)
        p.data[c * w * h + i] = LIT[c]! * (i % w < w / 2 ? T[c]! : 1) * ((i + Math.floor(i / w)) % 2 === 0 ? 1.1 : 0.9);
    const soft = softened(p, 5);
    for (let i = 0; i < w * h; i++) {
      const share = ownShadowToBorder(o, soft, i, p, i);
      if (i % w < w / 2) expect(share).toBeGreaterThan(0.85);
      else expect(share).toBeLessThan(0.05);
    }
  });

  it('goes by darkness where fill and key are of one colour, and says nothing where the shadow hardly shows', () => {
    const grey = ownShadowOf({ linear: LIT, spread: 0.1 }, [0.3, 0.3, 0.3])!;
    expect(ownShadowAt(grey, one(LIT.map((v) => v * 0.3)), 0)).toBe(1);
    expect(ownShadowOf({ linear: LIT, spread: 0.1 }, [0.9, 0.9, 0.9])).toBeNull();
    expect(ownShadowOf(undefined, T)).toBeNull();
  });
});
