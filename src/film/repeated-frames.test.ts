/**
 * Made films whose repeated frames are known: dropped ones, cadences of 24 in 30, 12 in 24 and 24 in 60, and rests
 * that are none.
 */
import { describe, expect, it } from 'vitest';
import { RandomStream } from '../core/random.js';
import { rate } from '../core/rational.js';
import { RepeatWatch, repeatsInWords, type Repeats } from './repeated-frames.js';

const W = 240,
  H = 135;

/** A patterned ball at a place over a plain wall with a coder's noise of .4 code: the small picture of one moment. */
function moment(x: number, draw: number): Float32Array {
  const out = new Float32Array(W * H),
    noise = new RandomStream(draw, 11);
  for (let v = 0; v < H; v++)
    for (let u = 0; u < W; u++) {
      const dx = u - x,
        dy = v - 70,
        inside = dx * dx + dy * dy < 24 * 24;
      out[v * W + u] =
        (inside ? 0.5 + 0.3 * Math.sin(0.9 * dx) * Math.cos(0.7 * dy) : 0.3) + (0.4 / 255) * noise.normal();
    }
  return out;
}

/** What is found where file frame n shows the moment of a source frame. */
function found(shown: readonly number[], place: (source: number) => number, fps = 30): Repeats | null {
  const watch = new RepeatWatch(W * H);
  shown.forEach((source, n) => watch.add(moment(place(source), n)));
  return watch.repeats(rate(fps));
}

const even = (count: number, of: (n: number) => number): number[] => Array.from({ length: count }, (_, n) => of(n));
const wander = (source: number): number => 120 + 60 * Math.sin(source / 9);

describe('frames that only repeat', () => {
  it('names those a phone left out, one or several in a row, and no other', () => {
    const shown = even(60, (n) => (n === 11 ? 10 : n === 24 || n === 25 ? 23 : n === 40 ? 39 : n));
    expect(found(shown, (s) => 40 + 2 * s)).toEqual({ held: [11, 24, 25, 40] });
  });

  it('finds the cycle of 24 in 30, 12 in 24 and 24 in 60', () => {
    for (const [own, fps] of [
      [24, 30],
      [12, 24],
      [24, 60],
    ] as const) {
      const r = found(
        even(60, (n) => Math.floor((n * own) / fps)),
        wander,
        fps,
      )!;
      expect(r.cycle?.ownFps).toBe(own);
      expect(r.cycle?.stride).toBeCloseTo(fps / own, 9);
      expect(r.held).toEqual(
        even(60, (n) => n).filter((n) => n > 0 && Math.floor((n * own) / fps) === Math.floor(((n - 1) * own) / fps)),
      );
    }
  });

  it('knows the repeats of a cycle where nothing moves, too', () => {
    // The ball rests for the middle third.
    const r = found(
      even(75, (n) => Math.floor((n * 24) / 30)),
      (s) => (s < 20 ? 40 + 2 * s : s < 40 ? 80 : 80 + 2 * (s - 40)),
    )!;
    expect(r.cycle?.ownFps).toBe(24);
    expect(r.held).toEqual(
      even(75, (n) => n).filter((n) => n > 0 && Math.floor((n * 24) / 30) === Math.floor(((n - 1) * 24) / 30)),
    );
  });

  it('takes neither a turning point nor a rest nor a still picture for one', () => {
    // There and back, with two frames at the same place where it turns.
    expect(
      found(
        even(40, (n) => n),
        (s) => 60 + 3 * Math.min(s % 14, 13 - (s % 14)),
      ),
    ).toBeNull();
    expect(
      found(
        even(40, (n) => n),
        (s) => (s < 12 ? 60 + 2 * s : s < 24 ? 84 : 84 + 2 * (s - 24)),
      ),
    ).toBeNull();
    expect(
      found(
        even(40, (n) => n),
        () => 90,
      ),
    ).toBeNull();
    expect(
      found(
        even(60, (n) => n),
        wander,
      ),
    ).toBeNull();
  });

  it('says in a sentence what is there and what is done', () => {
    expect(repeatsInWords({ held: [4, 9], cycle: { stride: 1.25, ownFps: 24 } }, 60, 30)).toMatch(
      /30 frames a second, but only 24 of them are pictures of their own/,
    );
    expect(repeatsInWords({ held: [11] }, 60, 30)).toMatch(
      /1 of 60 frames only repeats the one before \(the first is frame 11\)/,
    );
  });
});
