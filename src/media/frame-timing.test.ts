/** The rate that times follow, on made lists of time stamps; rates and gaps are what they were made with. */
import { describe, expect, it } from 'vitest';
import { rate } from '../core/rational.js';
import type { FrameIndex } from './frame-index.js';
import { timingOf } from './frame-timing.js';

/** A stream of key frames at these ticks of a clock. */
function indexOf(ticks: readonly number[], timeBase: readonly [number, number]): FrameIndex {
  const each = ticks.map((_, i) => i);
  return {
    version: 1,
    timeBase,
    pts: ticks,
    dts: ticks,
    keys: each,
    shown: each,
    lastDuration: 0,
    damaged: 0,
    untimed: false,
  };
}
const even = (count: number, step: number, from = 0): number[] =>
  Array.from({ length: count }, (_, i) => from + i * step);

describe('holes in the times', () => {
  const after = (seconds: number): FrameIndex =>
    indexOf([...even(24, 3000), ...even(24, 3000, 23 * 3000 + Math.round(seconds * 90_000))], [1, 90_000]);

  it('three days in which nothing was recorded are closed up, and the place is named', () => {
    const t = timingOf(after(3 * 86_400), [rate(30)]);
    expect(t.rate).toEqual(rate(30));
    expect([t.frameCount, t.sourceOf, t.variable]).toEqual([48, null, false]);
    expect(t.holeSeconds).toBeCloseTo(3 * 86_400 - 1 / 30, 6);
    expect(t.notes).toEqual(['nothing was recorded for 3 days after frame 23; closed up']);
  });

  it('a clock that was set to the date after the first frames needs no memory for it', () => {
    const t = timingOf(indexOf([...even(5, 33), ...even(40, 33, 1.7e12)], [1, 1000]), [rate(30)]);
    expect(t.frameCount).toBe(45);
    expect(t.notes[0]).toMatch(/after frame 4; closed up/);
  });

  it('a minute stays where sound may go on meanwhile; longer holes close, and the sound is spoken of', () => {
    const held = timingOf(after(90), [rate(30)], true);
    // 24 frames, 90 s of the last of them, and 23 more steps.
    expect(held.frameCount).toBe(23 + 90 * 30 + 24);
    expect(held.holeSeconds).toBe(0);
    const closed = timingOf(after(700), [rate(30)], true);
    expect(closed.frameCount).toBe(48);
    expect(closed.notes[0]).toMatch(/sound after it may be out of step/);
  });

  it('several are counted', () => {
    const t = timingOf(indexOf([...even(10, 40), ...even(10, 40, 200_000), ...even(10, 40, 900_000)], [1, 1000]), []);
    expect(t.notes).toEqual([
      'nothing was recorded in 2 places, the first after frame 9, for up to 12 minutes; closed up',
    ]);
  });

  it('pictures that are shown for a minute each are a slow film, not holes', () => {
    const t = timingOf(indexOf(even(6, 61), [1, 1]), [rate(1, 61)]);
    expect([t.rate, t.frameCount, t.holeSeconds]).toEqual([rate(1, 61), 6, 0]);
  });
});

describe('frames left out of an even beat', () => {
  /** 90 frames at 59.94 on a clock of 90 kHz without the ones named, each off by up to a fiftieth of a frame. */
  const without = (gone: (n: number) => boolean): FrameIndex =>
    indexOf(
      even(90, 1)
        .filter((n) => !gone(n))
        .map((n) => Math.round(n * 1501.5 + (n === 0 ? 0 : 30 * Math.sin(2 * n)))),
      [1, 90_000],
    );

  it('a single one is held, not closed up', () => {
    const t = timingOf(
      without((n) => n === 45),
      [rate(60000, 1001)],
    );
    expect([t.rate, t.frameCount]).toEqual([rate(60000, 1001), 90]);
    expect([...t.sourceOf!.slice(43, 48)]).toEqual([43, 44, 44, 45, 46]);
  });

  it('every ninth one, whatever mean the container claims', () => {
    const t = timingOf(
      without((n) => n % 9 === 4),
      [rate(5328, 100)],
    );
    expect([t.rate, t.frameCount]).toEqual([rate(60000, 1001), 90]);
    expect(t.notes.join()).toMatch(/80 frames became 90, 10 held longer, 0 left out/);
    expect(t.sourceOf![4]).toBe(t.sourceOf![3]);
  });
});

describe('times that hardly stray', () => {
  it('a hundredth of a frame is no wandering', () => {
    const ticks = even(12, 41_667).map((t, i) => t + (i % 2 === 0 ? 0 : 300));
    expect(timingOf(indexOf(ticks, [1, 1_000_000]), [rate(24)])).toMatchObject({ variable: false, notes: [] });
    const more = even(12, 41_667).map((t, i) => t + (i % 2 === 0 ? 0 : 3000));
    expect(timingOf(indexOf(more, [1, 1_000_000]), [rate(24)]).variable).toBe(true);
  });
});
