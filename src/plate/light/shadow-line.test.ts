/** A dark line drawn between known points and marked a pixel aside: the line found against it. */
import { describe, expect, it } from 'vitest';
import { RandomStream } from '../../core/random.js';
import { createPicture } from '../../image/picture.js';
import { shadowLine } from './shadow-line.js';

const W = 640;
const H = 260;
const FOOT = [120.6, 160.2] as const;
const TIP = [481.6, 127.4] as const;

/** Grainy ground with a dark line between two points, `wide` px across; `dark` the light that is left. */
function ground(wide: number, dark: number, seed = 3): ReturnType<typeof createPicture> {
  const r = new RandomStream(seed);
  const p = createPicture(W, H, 3);
  const n = W * H;
  const dx = TIP[0] - FOOT[0];
  const dy = TIP[1] - FOOT[1];
  const long = Math.hypot(dx, dy);
  for (let y = 0; y < H; y++)
    for (let x = 0; x < W; x++) {
      const px = x + 0.5 - FOOT[0];
      const py = y + 0.5 - FOOT[1];
      const t = (px * dx + py * dy) / (long * long);
      const off = Math.abs(px * dy - py * dx) / long;
      const shade = t < 0 || t > 1 ? 0 : Math.min(1, Math.max(0, wide / 2 - off + 0.5));
      const v = 0.2 * (1 + 0.12 * r.normal()) * (1 - shade * (1 - dark));
      for (let c = 0; c < 3; c++) p.data[c * n + y * W + x] = v;
    }
  return p;
}
/** Px that a point lies beside the true line. */
const beside = (p: readonly [number, number]): number => {
  const dx = TIP[0] - FOOT[0];
  const dy = TIP[1] - FOOT[1];
  return ((p[0] - FOOT[0]) * dy - (p[1] - FOOT[1]) * dx) / Math.hypot(dx, dy);
};

describe('line of a marked shadow', () => {
  it('is found where foot and tip were marked a pixel aside', () => {
    // A broad one lies less finely: it only must be nearer than its marks.
    for (const [wide, most] of [
      [1.5, 0.35],
      [4, 0.7],
    ] as const)
      for (const [a, b] of [
        [1, -0.8],
        [-0.7, -1],
        [0, 0],
      ] as const) {
        const found = shadowLine(ground(wide, 0.4), { foot: [FOOT[0], FOOT[1] + a], tip: [TIP[0], TIP[1] + b] })!;
        expect(Math.abs(beside(found.foot))).toBeLessThan(most);
        expect(Math.abs(beside(found.tip))).toBeLessThan(most);
      }
  });

  it('is left to its marks where no dark line is seen, and where the mark is short', () => {
    expect(shadowLine(ground(2, 1), { foot: [FOOT[0], FOOT[1]], tip: [TIP[0], TIP[1]] })).toBeNull();
    expect(shadowLine(ground(2, 0.4), { foot: [120, 160], tip: [128, 160] })).toBeNull();
  });
});
