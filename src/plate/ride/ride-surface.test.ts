import { describe, expect, it } from 'vitest';
import { RandomStream } from '../../core/random.js';
import { apply, type Point2 } from '../../geometry/mat3.js';
import { carryOnSurface, sharedSimilarity } from './ride-surface.js';
import type { LumaSource } from './ride-source.js';
import type { RideFrame, RideTrack } from '../types.js';

// A spotted upright cylinder of radius 70 px turns by 3° a frame and walks aside; behind it a still, spotted wall.
const W = 260;
const H = 200;
const COUNT = 15;
const RADIUS = 70;
const noise = new Float32Array(4096);
{
  const r = new RandomStream(11);
  for (let i = 0; i < noise.length; i++) noise[i] = r.uniform();
}
const spots = (x: number, y: number): number => {
  const i = Math.floor(x);
  const j = Math.floor(y);
  const t = x - i;
  const u = y - j;
  const sx = t * t * (3 - 2 * t);
  const sy = u * u * (3 - 2 * u);
  const at = (a: number, b: number): number => noise[(a * 131 + b * 313) & 4095]!;
  return (at(i, j) * (1 - sx) + at(i + 1, j) * sx) * (1 - sy) + (at(i, j + 1) * (1 - sx) + at(i + 1, j + 1) * sx) * sy;
};
const turned = (n: number): number => (n * 3 * Math.PI) / 180;
const middle = (n: number): number => 120 + 1.5 * n;
const luma = (n: number): Float32Array =>
  Float32Array.from({ length: W * H }, (_, k) => {
    const x = (k % W) + 0.5;
    const y = Math.floor(k / W) + 0.5;
    const d = (x - middle(n)) / RADIUS;
    return Math.abs(d) < 1
      ? 0.15 + 0.7 * spots((Math.asin(d) - turned(n)) * 10 + 40, y / 7)
      : 0.4 + 0.2 * spots(x / 9 + 100, y / 9);
  });
const source: LumaSource = {
  widthPx: W,
  heightPx: H,
  frameCount: COUNT,
  async *frames(from, to) {
    for (let index = from; index < Math.min(to, COUNT); index++) yield { index, luma: luma(index) };
  },
};
/** Where the point that faced the lens on the first frame is. */
const facing = (n: number): Point2 => [middle(n) + RADIUS * Math.sin(turned(n)), 100];
const polygon: Point2[] = [
  [95, 75],
  [145, 75],
  [145, 125],
  [95, 125],
];
const frame = (n: number, confidence: number): RideFrame => ({
  frame: n,
  corners: polygon as unknown as RideFrame['corners'],
  homography: [1, 0, 0, 0, 1, 0, 0, 0, 1],
  confidence,
  visible: confidence > 0,
});
const track = (confidence: (n: number) => number): RideTrack => ({
  atFrame: 0,
  model: 'affine',
  frames: Array.from({ length: COUNT }, (_, n) => frame(n, confidence(n))),
});
const off = (t: RideTrack, n: number): number => {
  const p = apply(t.frames[n]!.homography, 120, 100);
  const q = facing(n);
  return Math.hypot(p[0] - q[0], p[1] - q[1]);
};

describe('a followed region carried on over a body that turns away', () => {
  it('stays on the body where the flat region was lost', async () => {
    const lost = track((n) => (n === 0 ? 1 : 0));
    expect(off(lost, COUNT - 1)).toBeGreaterThan(60);
    const kept = await carryOnSurface(source, lost, { polygon, anchors: [0] });
    for (let n = 1; n < COUNT; n++) expect(off(kept, n)).toBeLessThan(1 + 0.35 * n);
    expect(kept.frames[5]!.confidence).toBeLessThan(0.3);
  });
  it('meets both marks where the lost stretch lies between two, and leaves alone what was found again by itself', async () => {
    const hidden = track((n) => (n > 3 && n < 8 ? 0 : 0.9));
    expect(await carryOnSurface(source, hidden, { polygon, anchors: [0] })).toEqual(hidden);
    const far = facing(COUNT - 1);
    const placed = track((n) => (n === 0 || n === COUNT - 1 ? 1 : 0));
    const ends = {
      ...placed,
      frames: placed.frames.map((f) =>
        f.frame === COUNT - 1 ? { ...f, homography: [1, 0, far[0] - 120, 0, 1, far[1] - 100, 0, 0, 1] as const } : f,
      ),
    };
    const kept = await carryOnSurface(source, ends, { polygon, anchors: [0, COUNT - 1] });
    for (let n = 1; n < COUNT - 1; n++) expect(off(kept, n)).toBeLessThan(4);
    expect(off(kept, COUNT - 2)).toBeLessThan(1.5);
  });
  it('takes the motion that most points share', () => {
    const grid = Array.from({ length: 100 }, (_, k) => {
      const x = k % 10;
      const y = Math.floor(k / 10);
      return k % 4 === 0
        ? { x, y, u: 8, v: -5, weight: 1 }
        : { x, y, u: 0.1 * x - 0.05 * y + 2, v: 0.05 * x + 0.1 * y - 1, weight: 1 };
    });
    const [c, s, tx, , , ty] = sharedSimilarity(grid);
    expect(c).toBeCloseTo(1.1, 3);
    expect(s).toBeCloseTo(-0.05, 3);
    expect(tx).toBeCloseTo(2, 2);
    expect(ty).toBeCloseTo(-1, 2);
  });
});
