/**
 * Made readings of a performer that leaves the picture: what its last sliver is blamed for, and what a whole one is.
 */
import { describe, expect, it } from 'vitest';
import { blank, recipe } from '../judge/made-readings.js';
import type { Series } from '../reader/series.js';
import type { Box } from '../../join/ground/ground.js';
import { judge } from '../verdict.js';
import { withoutSlivers } from './without-slivers.js';

const { widthPx: W, heightPx: H } = recipe.plate;
const frames = [0, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11];
/** A performer that leaves over the right border, and jumps and breathes on its last frames. */
const leaves = (core: (n: number) => number, box: (n: number) => Box): Series => ({
  ...blank(),
  frames,
  boxes: new Map(frames.map((n) => [n, box(n)])),
  levels: frames.map((frame) => ({ frame, inside: frame > 8 ? (frame % 2) * 0.6 : 0, plate: 0, core: core(frame) })),
  shift: frames.map((frame) => ({ frame, x: frame > 8 ? 2 * (frame % 2) : 0, y: 0, core: core(frame) })),
  jitter: frames.slice(1, -1).map((frame) => ({ frame, x: frame > 8 ? 4 : 0, y: 0, plain: [frame > 8 ? 4 : 0, 0] })),
  readings: { seenChatter: frames.slice(1, -1).map((frame) => ({ frame, value: frame > 8 ? 0.4 : 0.01 })) },
});
const blamed = (s: Series): readonly string[] =>
  judge(s, recipe)
    .matters.filter((m) => m.passes === false)
    .map((m) => m.matter);

describe('a performer that leaves the picture', () => {
  const going = (n: number): Box => [Math.min(W - 8, 200 + 12 * n), 40, Math.min(W, 260 + 12 * n), 160];
  // A sliver from the ninth frame on: less in each, yet most of what its neighbours show.
  const sliver = (n: number): number => (n > 8 ? 400 - 20 * n : 4000);
  it('is not blamed for what its last sliver does', () => {
    expect(blamed(leaves(sliver, going))).toEqual([]);
  });
  it('is where as much is seen of it as ever', () => {
    expect(blamed(leaves(() => 4000, going))).toEqual(['slip', 'chatter', 'flicker']);
  });
  it('is where it is as small but whole: nothing cuts it', () => {
    const s = leaves(sliver, () => [100, 40, 160, 160]);
    expect(withoutSlivers(s, W, H)).toBe(s);
  });
  it('keeps all where hardly a frame shows more', () => {
    const s = leaves(
      (n) => (n === 0 ? 4000 : 100),
      () => [W - 20, 40, W, 160],
    );
    expect(withoutSlivers(s, W, H)).toBe(s);
  });
});
