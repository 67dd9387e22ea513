import { describe, expect, it } from 'vitest';
import type { InspectionMatter } from '../types.js';
import { blank, told } from './made-readings.js';

/** The film's light and the performer's beside it, stops, over eight frames; the performer trembles by `own`. */
function over(film: readonly number[], inside: readonly number[], own = 0): InspectionMatter {
  const trembles = (n: number): number => own * Math.sin(2.3 * n);
  return told(
    {
      ...blank(),
      filmLight: film.map((plate, frame) => ({ frame, plate, inside: inside[frame]! - 2 + trembles(frame) })),
      levels: film.map((plate, frame) => ({ frame, plate, inside: inside[frame]! - 2 + trembles(frame) })),
    },
    'flicker',
  );
}
const FADE = [0, 0, -0.2, -0.6, -1, -1.4, -1.8, -2.2],
  FLASH = [0, 0, 0, 1.2, 1.2, 1.1, 0, 0],
  STEADY = [0, 0, 0, 0, 0, 0, 0, 0];

describe("the film's own light", () => {
  it('passes a performer that goes along with a fade or a flash, a little less or more than the film', () => {
    for (const light of [FADE, FLASH])
      for (const share of [0.8, 1, 1.15])
        expect(
          over(
            light,
            light.map((v) => share * v),
            0.02,
          ).passes,
        ).toBe(true);
  });

  it('names one that does not, with how far and where', () => {
    const fade = over(FADE, STEADY, 0.02),
      flash = over(FLASH, STEADY, 0.02);
    for (const m of [fade, flash]) {
      expect(m.passes).toBe(false);
      expect(m.step).toBe('light');
    }
    expect(fade.value).toBeCloseTo(2.2, 1);
    expect(fade.worstFrame).toBe(7);
    expect(fade.advice).toContain('2.2 stops');
    expect(flash.worstFrame).toBe(3);
  });

  it('names one that fades where the film goes twice as far, and leaves small changes of the film alone', () => {
    expect(
      over(
        FADE,
        FADE.map((v) => 2 * v),
      ).passes,
    ).toBe(false);
    expect(
      over(
        FADE.map((v) => 0.2 * v),
        STEADY,
        0.02,
      ).passes,
    ).toBe(true);
  });
});
