/** Marks of a place that is known, set by a hand of known error, against that place. */
import { describe, expect, it } from 'vitest';
import { RandomStream } from '../../core/random.js';
import { STILL } from './carrier.js';
import { likelyStands, type Told } from './likely-stands.js';
import { carryStand, type Stand } from './ride.js';
import { bySet } from './stand-carriers.js';

const COUNT = 36,
  WIDE = 854,
  DRAWS = 10;
type Way = (frame: number) => readonly [number, number];

/** A camera that stands; the foot at 400, 400 and where it goes, marked evenly over the shot by a hand that errs. */
function marked(way: Way, marks: number, handPx: number, seed: number): Stand[] {
  const random = new RandomStream(seed, 5),
    off = (): number => handPx * random.normal();
  return Array.from({ length: marks }, (_, i) => {
    const frame = Math.round((i * (COUNT - 1)) / (marks - 1)),
      [x, y] = way(frame);
    return {
      frame,
      ground: [400 + x + off(), 400 + y + off()],
      top: [402 + x + off(), 250 + y + off()],
    };
  });
}

/** rms over the frames of how far the foot is off, less its mean, px. */
function slip(stands: readonly Stand[], way: Way): number {
  const place = carryStand(stands, STILL);
  const off = Array.from({ length: COUNT }, (_, n) => {
    const [x, y] = place(n).ground,
      [u, v] = way(n);
    return [x - u, y - v] as const;
  });
  const mean = [0, 1].map((c) => off.reduce((s, o) => s + o[c]!, 0) / COUNT);
  return Math.sqrt(off.reduce((s, o) => s + (o[0] - mean[0]!) ** 2 + (o[1] - mean[1]!) ** 2, 0) / COUNT);
}

/** rms over the draws, as marked and as it most likely is. */
function slips(way: Way, marks: number, handPx: number): readonly [number, number] {
  const all = Array.from({ length: DRAWS }, (_, k) => {
    const stands = marked(way, marks, handPx, k + 1);
    return [slip(stands, way), slip(bySet(stands, STILL, false, WIDE).stands, way)] as const;
  });
  return [0, 1].map((c) => Math.sqrt(all.reduce((s, a) => s + a[c]! ** 2, 0) / all.length)) as [number, number];
}

const stays: Way = () => [0, 0];

describe('where a foot most likely stands', () => {
  it('does not swim where it stands: by under a third of what the marks do, with five under a sixth', () => {
    for (const marks of [2, 3, 9])
      for (const hand of [1.5, 3]) {
        const [before, after] = slips(stays, marks, hand);
        expect(after, `${marks} marks, ${hand} px`).toBeLessThan(before / 3);
      }
    const [before, after] = slips(stays, 5, 3);
    expect(before).toBeGreaterThan(2.5);
    expect(after).toBeLessThan(before / 6);
  });

  it('follows one who walks, freed of a part of the noise, and by exact marks exactly', () => {
    for (const length of [20, 120]) {
      const walks: Way = (n) => [(length * n) / (COUNT - 1), 0];
      const [before, after] = slips(walks, 9, 1.5);
      expect(after).toBeLessThan(0.85 * before);
      expect(slips(walks, 5, 0)[1]).toBeLessThan(0.05);
    }
  });

  it('follows one mark that was set aside on purpose', () => {
    const aside = marked((n) => [n > 12 && n < 24 ? 10 : 0, 0], 5, 0, 1),
      { stands, departurePx } = bySet(aside, STILL, false, WIDE);
    expect(Math.abs(stands[2]!.ground[0] - aside[2]!.ground[0])).toBeLessThan(0.5);
    expect(departurePx[2]!).toBeGreaterThan(5);
  });

  it("tells the hand's error", () => {
    const told = [0.5, 1.5, 3].map((hand) => {
      const all = Array.from(
        { length: DRAWS },
        (_, k) => bySet(marked(stays, 5, hand, k + 1), STILL, false, WIDE).handPx,
      );
      return all.reduce((a, b) => a + b, 0) / all.length;
    });
    expect(told[0]!).toBeGreaterThan(0.35);
    expect(told[0]!).toBeLessThan(0.75);
    expect(told[1]!).toBeGreaterThan(1.1);
    expect(told[1]!).toBeLessThan(1.9);
    expect(told[2]!).toBeGreaterThan(2.2);
    expect(told[2]!).toBeLessThan(3.6);
  });

  it('is the place of least squares where nothing departs (the normal equations, solved here by hand)', () => {
    const stands = marked(stays, 4, 2, 3),
      scales = [1, 1.2, 1.5, 2];
    // The ground moves by the scale alone, so that its place is Σ s y / Σ s².
    const told = scales.map(
      (s): Told => ({
        ground: [0, 0],
        top: [0, 0],
        moved: [
          [s, 0, 0, 0],
          [0, s, 0, 0],
          [0, 0, s, 0],
          [0, 0, 0, s],
        ],
      }),
    );
    const place = (of: (s: Stand) => number): number =>
      stands.reduce((sum, s, i) => sum + scales[i]! * of(s), 0) / scales.reduce((sum, s) => sum + s * s, 0);
    // Far off the hand's errors, the place is still the least squares' own.
    const likely = likelyStands(stands, told, { sizes: [[0, 1]], together: 0.9 }, WIDE).stands;
    likely.forEach((s, i) => {
      expect(s.ground[0]).toBeCloseTo(scales[i]! * place((q) => q.ground[0]), 6);
      expect(s.top[1]).toBeCloseTo(scales[i]! * place((q) => q.top[1]), 6);
    });
  });

  it('leaves marks of one frame as they are', () => {
    const one = marked(stays, 2, 3, 1).slice(0, 1);
    expect(bySet(one, STILL, false, WIDE).stands).toEqual(one);
  });
});
