/** Made cobbles and grass under a shadow that leaves known light: what is read of it, and where nothing is. */
import { describe, expect, it } from 'vitest';
import { RandomStream } from '../../core/random.js';
import { createPicture, type Picture } from '../../image/picture.js';
import { measurePlateShadow } from './plate-shadow.js';

const W = 240,
  H = 160,
  LEFT = [0.2, 0.25, 0.4] as const;

/** Cobbles with dark joints, and a shadow of half the width `half` along the row 80 that leaves LEFT of the light. */
function street(half: number): Picture {
  const r = new RandomStream(3),
    p = createPicture(W, H, 3),
    n = W * H;
  const stones = Array.from({ length: 40 * 40 }, () => 0.22 + 0.12 * r.uniform());
  for (let y = 0, i = 0; y < H; y++)
    for (let x = 0; x < W; x++, i++) {
      const joint = x % 11 < 2 || y % 9 < 2,
        stone = joint ? 0.06 : stones[Math.floor(y / 9) * 40 + Math.floor(x / 11)]!;
      const t = Math.min(1, Math.max(0, half - Math.abs(y + 0.5 - 80) + 0.5));
      for (let c = 0; c < 3; c++) p.data[c * n + i] = stone * (1 - t * (1 - LEFT[c]!)) * (1 + 0.03 * r.normal());
    }
  return p;
}

describe("darkness of a plate's own shadow", () => {
  it('is read on cobbles whose joints are as dark', () => {
    const m = measurePlateShadow(street(14), [20, 80], [220, 80], [0, 1], 50)!;
    for (let c = 0; c < 3; c++) expect(m.transmission[c]! / LEFT[c]!).toBeGreaterThan(0.85);
    for (let c = 0; c < 3; c++) expect(m.transmission[c]! / LEFT[c]!).toBeLessThan(1.15);
  });

  it('is not read where the shadow is wider than what is looked at', () => {
    expect(measurePlateShadow(street(24), [20, 80], [220, 80], [0, 1], 18)).toBeNull();
  });

  it('is not taken for the border of another ground where it crosses one', () => {
    // A path above row 80, dark grass below it; a thin shadow runs along row 60 for most of the way, then down over
    // the border.
    const p = createPicture(W, H, 3),
      r = new RandomStream(4);
    const row = (x: number): number => (x < 150 ? 60 : 60 + (x - 150) * 0.35);
    for (let y = 0, i = 0; y < H; y++)
      for (let x = 0; x < W; x++, i++) {
        const shade = Math.abs(y - row(x)) < 4,
          ground = y < 80 ? [0.3, 0.3, 0.3] : [0.09, 0.14, 0.03];
        for (let c = 0; c < 3; c++)
          p.data[c * W * H + i] = ground[c]! * (shade ? LEFT[c]! : 1) * (1 + 0.03 * r.normal());
      }
    const m = measurePlateShadow(p, [20, 60], [220, 84], [0, 1], 30)!;
    expect(m.closed).toBe(true);
    for (let c = 0; c < 3; c++) expect(Math.abs(m.transmission[c]! / LEFT[c]! - 1)).toBeLessThan(0.15);
  });

  it('says so where there is nothing but a border', () => {
    const p = createPicture(W, H, 3),
      r = new RandomStream(4);
    for (let y = 0, i = 0; y < H; y++)
      for (let x = 0; x < W; x++, i++)
        for (let c = 0; c < 3; c++) p.data[c * W * H + i] = (y < 80 ? 0.3 : 0.1) * (1 + 0.03 * r.normal());
    expect(measurePlateShadow(p, [20, 82], [220, 82], [0, 1], 20)?.closed ?? false).toBe(false);
  });
});
