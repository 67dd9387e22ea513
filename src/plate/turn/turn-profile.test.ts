/**
 * An ellipse that turns by a known curve, its surface's slide by geometry: the yaw found against it; poses alone by
 * their bounds.
 */
import { describe, expect, it } from 'vitest';
import type { SurfaceRate } from './turn-flow.js';
import { turnFromPoses } from './turn-poses.js';
import { ANY_SWING, PERSON_SWING, solveProfile } from './turn-profile.js';

const RATE = { num: 24, den: 1 };
const N = 36;
/** A turn of 130° eased by a cosine. */
const yaw = (t: number): number => -60 + 65 * (1 - Math.cos((Math.PI * t) / (N - 1)));

/**
 * Slide of the surface where it lies nearest the camera: an ellipse of half width 1 and
 * half depth `depth`, exact but for its units.
 */
function slides(depth: number): SurfaceRate[] {
  return Array.from({ length: N - 1 }, (_, i) => {
    const a = (((yaw(i) + yaw(i + 1)) / 2) * Math.PI) / 180;
    const radius = 1 / Math.hypot(Math.sin(a), Math.cos(a) / depth);
    return { frame: i + 1, rate: (radius * (yaw(i + 1) - yaw(i)) * Math.PI) / 180 / 1.3, spread: 0.003, patches: 100 };
  });
}

function worst(
  depth: number,
  frames: readonly number[],
  swing: typeof PERSON_SWING,
): { worst: number; inside: number } {
  const turn = solveProfile(
    frames.map((frame) => ({ frame, yawDeg: yaw(frame) })),
    slides(depth),
    0,
    RATE,
    swing,
  );
  const off = turn.frames.map((f) => Math.abs(f.yawDeg - yaw(f.frame)));
  return { worst: Math.max(...off), inside: turn.frames.filter((f, i) => off[i]! <= 2 * f.sd).length };
}

describe('yaw from poses and the slide of a surface', () => {
  it('of a body wider than deep is within 3°, and nearer than by a round one', () => {
    for (const depth of [0.55, 0.65, 0.8]) {
      const flat = worst(depth, [0, 18, 35], PERSON_SWING);
      const round = worst(depth, [0, 18, 35], { mean: 0, sd: 1e-3 });
      expect(flat.worst, `depth ${depth}`).toBeLessThan(3);
      expect(flat.worst).toBeLessThan(round.worst);
      expect(flat.inside).toBe(N);
    }
  });
  it('of a round thing is not led astray', () => {
    expect(worst(1, [0, 18, 35], ANY_SWING).worst).toBeLessThan(1);
    expect(worst(1, [0, 18, 35], PERSON_SWING).worst).toBeLessThan(4);
  });
});

describe('yaw from poses alone', () => {
  const poses = (of: (t: number) => number, frames: readonly number[]): { frame: number; yawDeg: number }[] =>
    frames.map((frame) => ({ frame, yawDeg: of(frame) }));
  it('goes through the poses, never turns back, and lies between an even turn and one at rest at its ends', () => {
    for (const frames of [
      [0, 35],
      [0, 18, 35],
      [0, 9, 35],
      [0, 7, 15, 30, 35],
    ]) {
      const turn = turnFromPoses(poses(yaw, frames), N, RATE)!;
      for (const f of frames) expect(turn.frames[f]!.yawDeg).toBeCloseTo(yaw(f), 9);
      for (let i = 1; i < N; i++)
        expect(turn.frames[i]!.yawDeg).toBeGreaterThanOrEqual(turn.frames[i - 1]!.yawDeg - 1e-9);
    }
    const even = (t: number): number => -60 + (130 * t) / (N - 1);
    for (const of of [yaw, even]) {
      const turn = turnFromPoses(poses(of, [0, 18, 35]), N, RATE)!;
      // A straight line through the eased turn's poses is 13° off.
      expect(Math.max(...turn.frames.map((f) => Math.abs(f.yawDeg - of(f.frame))))).toBeLessThan(9);
    }
  });
});
