/** Takes whose file repeats frames in a known cycle (24 frames over 30): the paced curve against its own frames. */
import { describe, expect, it } from 'vitest';
import { withoutRepeats } from './held-frames.js';
import type { PaceStep } from '../performer-steps.js';

const step = (curve: readonly number[]): PaceStep => ({
  step: 'pace',
  on: true,
  method: 'flow',
  curve: [...curve],
  why: 'w',
});
const measures = { file: 'take.mp4', span: { in: 0, out: 60 }, rate: '30/1', widthPx: 64, heightPx: 48 };
/** Frames of 30 that 24 are spread over: every fifth repeats. */
const held = Array.from({ length: 60 }, (_, n) => n).filter(
  (n) => n > 0 && Math.floor(n * 0.8) === Math.floor((n - 1) * 0.8),
);

describe('a take whose file repeats frames', () => {
  it("in a cycle, on a plate of its own frames' rate, is played own frame for own frame", () => {
    const s = withoutRepeats(step(Array.from({ length: 40 }, (_, i) => 1.25 * i)), {
      held,
      heldStride: 1.25,
      measures,
    });
    expect(s.method).toBe('nearest');
    expect(s.held).toBeUndefined();
    expect(s.curve).toEqual(
      Array.from({ length: 60 }, (_, n) => n)
        .filter((n) => !held.includes(n))
        .slice(0, 40),
    );
  });

  it('in a cycle, on a plate of another rate, lies between two of its own at even distances of time', () => {
    const s = withoutRepeats(step(Array.from({ length: 40 }, (_, i) => i)), { held, heldStride: 1.25, measures }),
      own = Array.from({ length: 60 }, (_, n) => n).filter((n) => !held.includes(n));
    expect(s.method).toBe('flow');
    // Plate frame i is own frame .8 i.
    s.curve.forEach((v, i) => {
      const k = Math.floor(0.8 * i + 1e-6),
        t = 0.8 * i - k;
      expect(v).toBeCloseTo(own[k]! + t * (own[k + 1]! - own[k]!), 6);
    });
    expect(s.held!.every((n) => held.includes(n))).toBe(true);
  });

  it('starts at the frame that a held start repeats, and stays within the take', () => {
    const s = withoutRepeats(step([held[2]!, held[2]! + 1.25, 59, 59]), { held, heldStride: 1.25, measures });
    expect(s.curve[0]).toBe(held[2]! - 1);
    expect(Math.max(...s.curve)).toBeLessThanOrEqual(59);
  });

  it('leaves a take without repeats alone', () => {
    const plain = step([0, 1, 2]);
    expect(withoutRepeats(plain, { measures })).toBe(plain);
    expect(withoutRepeats(plain, { held: [30], measures })).toBe(plain);
  });
});
