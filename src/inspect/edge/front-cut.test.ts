/**
 * A made post before a patterned set: cuts that lie on its sides pass, cuts beside them, drifting ones and cuts in the
 * set are named with their px.
 */
import { describe, expect, it } from 'vitest';
import { RandomStream } from '../../core/random.js';
import { gaussianPlane } from '../../image/gaussian.js';
import type { SmallFrame } from '../../join/outline/small-frame.js';
import type { Recipe } from '../../join/types.js';
import { noiseOf, readFrontCut, wrongCuts, type CutReading } from './front-cut.js';
import { judge } from '../verdict.js';
import { emptySeries, type Series } from '../reader/series.js';

const W = 260,
  H = 140,
  N = W * H,
  FRAMES = 12,
  GRAIN = 0.01;
const leftAt = (n: number): number => 70 + 6.3 * n,
  WIDE = 16;

function plate(n: number, seed: number, sunk: number): SmallFrame {
  const r = new RandomStream(seed, 1),
    set = gaussianPlane(
      Float32Array.from({ length: N }, () => r.normal()),
      W,
      H,
      2,
    ).map((v) => 0.45 + 0.9 * v),
    g = new RandomStream(seed, 50 + n),
    data = new Float32Array(3 * N);
  for (let y = 0; y < H; y++)
    for (let x = 0; x < W; x++) {
      const left = leftAt(n),
        cover = Math.max(0, Math.min(1, x + 1 - left)) - Math.max(0, Math.min(1, x + 1 - left - WIDE));
      data[y * W + x] = cover * sunk + (1 - cover) * set[y * W + x]!;
    }
  const soft = gaussianPlane(data.subarray(0, N), W, H, 0.7);
  for (let i = 0; i < N; i++) data[i] = soft[i]! + GRAIN * g.normal();
  return { width: W, height: H, block: 1, data };
}
const post = (n: number, off: number): [number, number][] => [
  [leftAt(n) + off, -5],
  [leftAt(n) + WIDE + off, -5],
  [leftAt(n) + WIDE + off, H + 5],
  [leftAt(n) + off, H + 5],
];

function read(seed: number, off: (n: number) => number, sunk = 0.2): CutReading[] {
  return Array.from({ length: FRAMES }, (_, n) => {
    const p = plate(n, seed, sunk);
    return { frame: n, thing: 0, sides: readFrontCut(p, post(n, off(n)), () => true, noiseOf(p)) };
  });
}
const series = (cuts: CutReading[]): Series => ({
  ...emptySeries(0),
  frames: cuts.map((c) => c.frame),
  cuts,
});
const recipe = {
  version: 1,
  plate: {},
  take: {},
  steps: [{ step: 'front', on: true, why: '', region: { frames: [] }, pane: null, softPx: 0.6 }],
} as unknown as Recipe;
const matter = (cuts: CutReading[]): ReturnType<typeof judge>['matters'][number] =>
  judge(series(cuts), recipe).matters.find((m) => m.matter === 'front')!;

describe('where what passes cuts the performer', () => {
  for (const seed of [1, 2, 3, 4]) {
    it(`passes where it lies on the plate's own edges (seed ${seed})`, () => {
      expect(wrongCuts(read(seed, () => 0)).length).toBe(FRAMES);
      expect(matter(read(seed, () => 0)).passes).toBe(true);
      expect(matter(read(seed, (n) => 0.6 * Math.sin(n))).passes).toBe(true);
    });
    it(`is named where it lies 3 px beside them, either way (seed ${seed})`, () => {
      for (const off of [3, -3]) {
        const m = matter(read(seed, () => off));
        expect(m.passes).toBe(false);
        expect(m.step).toBe('front');
        expect(Math.abs(m.value! - 3)).toBeLessThan(0.7);
      }
    });
    it(`is named where it drifts, on a frame where it is off (seed ${seed})`, () => {
      const m = matter(read(seed, (n) => 0.7 * n));
      expect(m.passes).toBe(false);
      expect(m.worstFrame).toBeGreaterThan(5);
      expect(m.advice).toContain(`frame ${m.worstFrame}`);
    });
    it(`is named where it slides off into the set (seed ${seed})`, () =>
      expect(matter(read(seed, (n) => (n < 6 ? 0 : 30))).passes).toBe(false));
  }
  it('says nothing of what looks like the set behind it, nor without anything that passes', () => {
    const flat: SmallFrame = { width: W, height: H, block: 1, data: new Float32Array(3 * N).fill(0.4) };
    expect(readFrontCut(flat, post(3, 0), () => true, 1e-6)).toEqual([]);
    expect(matter([]).passes).toBeNull();
    expect(judge(series([]), { ...recipe, steps: [] }).matters.find((m) => m.matter === 'front')!.reason).toContain(
      'no mark says that anything passes',
    );
  });
});
