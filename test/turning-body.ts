/**
 * A spotted body .5 m wide, .7 m high and .4 m deep that turns about its upright, seen from 2.5 m by a pinhole of 600
 * px that looks down at its middle; drawn for tests.
 */
import { RAD_PER_DEG } from '../src/core/angles.js';
import { RandomStream } from '../src/core/random.js';
import type { SeenBody } from '../src/take/sight-from-turn.js';

export const W = 320,
  H = 320,
  FOCAL = 600,
  DISTANCE = 2.5;
const spots = (() => {
  const random = new RandomStream(7);
  return Array.from({ length: 2500 }, () => {
    const z = 2 * random.uniform() - 1,
      a = 2 * Math.PI * random.uniform(),
      r = Math.sqrt(1 - z * z);
    return { at: [0.25 * r * Math.cos(a), 0.35 * z, 0.2 * r * Math.sin(a)] as const, light: random.uniform() };
  });
})();

/** `yaw` of a spot by how high it lies, -1 at the foot to 1 at the top. */
export function seenFrom(downDeg: number, yaw: (high: number) => number): SeenBody {
  const sum = new Float64Array(W * H),
    weight = new Float64Array(W * H),
    nearest = new Float64Array(W * H).fill(Infinity),
    sin = Math.sin(downDeg * RAD_PER_DEG),
    cos = Math.cos(downDeg * RAD_PER_DEG);
  const drawn = spots.map(({ at: [x, u, a], light }) => {
    // Yaw grows as the front turns to the picture's left.
    const y = yaw(u / 0.35) * RAD_PER_DEG,
      aside = x * Math.cos(y) - a * Math.sin(y),
      near = a * Math.cos(y) + x * Math.sin(y),
      depth = DISTANCE - near * cos - u * sin;
    return { x: W / 2 + (FOCAL * aside) / depth, y: H / 2 + (FOCAL * (near * sin - u * cos)) / depth, depth, light };
  });
  const each = (s: (typeof drawn)[number], put: (i: number, off2: number) => void): void => {
    for (let dy = -6; dy <= 6; dy++)
      for (let dx = -6; dx <= 6; dx++) {
        const px = Math.round(s.x) + dx,
          py = Math.round(s.y) + dy;
        if (px >= 0 && py >= 0 && px < W && py < H) put(py * W + px, (px + 0.5 - s.x) ** 2 + (py + 0.5 - s.y) ** 2);
      }
  };
  for (const s of drawn) each(s, (i) => (nearest[i] = Math.min(nearest[i]!, s.depth)));
  // What lies on the far side is hidden.
  for (const s of drawn)
    each(s, (i, off2) => {
      if (s.depth > nearest[i]! + 0.12) return;
      const w = Math.exp(-off2 / 9);
      sum[i]! += w * s.light;
      weight[i]! += w;
    });
  const covered = new Uint8Array(W * H),
    luma = new Float32Array(W * H);
  const box = { x0: W, y0: H, x1: 0, y1: 0 };
  for (let i = 0; i < W * H; i++) {
    if (weight[i]! < 0.3) continue;
    covered[i] = 1;
    luma[i] = sum[i]! / weight[i]!;
    box.x0 = Math.min(box.x0, i % W);
    box.x1 = Math.max(box.x1, (i % W) + 1);
    box.y0 = Math.min(box.y0, Math.floor(i / W));
    box.y1 = Math.max(box.y1, Math.floor(i / W) + 1);
  }
  return { luma, covered, width: W, height: H, box };
}
