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
      levels: film.map((plate, frame) => ({
        frame,
        plate,
        inside: inside[frame]! - 2 + trembles(frame),
        core: 1000,
      })),
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

describe('a performer before whom something passes', () => {
  const passed = (core: readonly number[], stops: readonly number[]): InspectionMatter =>
    told(
      { ...blank(), levels: core.map((c, frame) => ({ frame, plate: 0, inside: stops[frame]!, core: c })) },
      'flicker',
    );
  // Core (px) and mean brightness (stops) of a true join as read on a traced push with a pole (bench/truth-scenes.ts,
  // seed 360).
  const CORE = [
      1504, 1472, 1437, 1468, 1343, 1328, 1281, 1190, 1059, 1089, 1002, 1099, 1462, 1895, 2269, 2659, 2797, 2812, 2826,
      2923,
    ],
    SHOWN = [
      -3.104, -3.112, -3.094, -3.096, -3.064, -3.046, -3.034, -3.03, -3.132, -3.248, -3.622, -4.112, -4.011, -3.663,
      -3.433, -3.254, -3.194, -3.192, -3.162, -3.124,
    ];
  it('does not flicker as more and less of it shows', () => {
    expect(passed(CORE, SHOWN).passes).toBe(true);
    expect(
      passed(
        CORE.map(() => 1000),
        SHOWN,
      ).passes,
    ).toBe(false);
  });
  it('is named where it flickers on the frames that show it whole', () => {
    const m = passed(
      CORE,
      SHOWN.map((v, n) => v + (n % 2 === 0 ? 0.1 : -0.1)),
    );
    expect(m.passes).toBe(false);
    expect(m.value).toBeGreaterThan(0.1);
  });
  it('is not judged where no frame shows as much as its neighbours', () => {
    const m = passed([1000, 800, 1000, 700, 1000, 600, 900], [0, 0.1, 0, 0.1, 0, 0.1, 0]);
    expect(m.passes).toBeNull();
  });
});
