/**
 * Boxes for performers, cut or whole: which border cuts them, how deep the cut shows in the plate and on which frame.
 */
import { describe, expect, it } from 'vitest';
import { createPicture, plane } from '../../image/picture.js';
import type { Mat3 } from '../../geometry/mat3.js';
import { cutsOf, feetCut, loweredBy, reachesInFrom, sayShown, shownCuts } from './cut-off.js';
import type { PerformerPicture } from './performer.js';

const W = 320,
  H = 180;

/** A performer that is opaque in a box of the take. */
function performer(x0: number, y0: number, x1: number, y1: number, unit = 1): PerformerPicture {
  const picture = createPicture((x1 - x0) / unit, (y1 - y0) / unit, 4);
  plane(picture, 3).fill(1);
  return { picture, box: [x0 / unit, y0 / unit, x1 / unit, y1 / unit], ...(unit === 1 ? {} : { unit }) };
}

const to = (k: number, x: number, y: number): Mat3 => [k, 0, x, 0, k, y, 0, 0, 1];

describe('a performer cut off by the take', () => {
  it('knows a bust from one who stands clear, at full size and halved', () => {
    for (const unit of [1, 2]) {
      expect(cutsOf(performer(100, 40, 200, 180, unit), W, H)).toEqual([
        { side: 'bottom', from: [100, 180], to: [200, 180] },
      ]);
      expect(cutsOf(performer(100, 40, 200, 170, unit), W, H)).toEqual([]);
      expect(cutsOf(performer(0, 60, 120, 100, unit), W, H)).toEqual([{ side: 'left', from: [0, 60], to: [0, 100] }]);
    }
    const cuts = cutsOf(performer(100, 40, 200, 180), W, H);
    expect(feetCut(cuts, [150, 179], H)).toBe(true);
    expect(feetCut(cuts, [150, 120], H)).toBe(false);
    expect(feetCut([], [150, 179], H)).toBe(false);
  });

  it('knows arms that reach in all along from one who comes in from a side, and from a bust', () => {
    const on = (...sides: ('left' | 'right' | 'bottom')[]) => ({
      cuts: sides.map((side) => ({ side, from: [0, 0] as const, to: [0, 1] as const })),
    });
    const times = <T>(n: number, of: T): T[] => Array.from({ length: n }, () => of);
    expect(reachesInFrom(times(16, on('right')))).toBe('right');
    expect(reachesInFrom([...times(15, on('left')), on()])).toBe('left');
    expect(reachesInFrom([...times(8, on('left')), ...times(8, on())])).toBeNull();
    expect(reachesInFrom(times(16, on('right', 'bottom')))).toBeNull();
    expect(reachesInFrom(times(3, on('right')))).toBeNull();
    expect(reachesInFrom(undefined)).toBeNull();
  });

  it('says how far the cut lies inside the picture, on which frame, and lowers it no further than that', () => {
    const cuts = cutsOf(performer(100, 40, 200, 180), W, H),
      span = { in: 10, out: 14 },
      window = [0, 20, 640, 340] as const;
    // The cut lies at 330 on frame 10 and two px higher on each after.
    const shown = shownCuts(
      () => cuts,
      span,
      (n) => to(1.5, 0, 60 - 2 * (n - 10)),
      window,
    );
    expect(shown).toEqual([{ side: 'bottom', depthPx: 16, frame: 13, frames: 4 }]);
    expect(loweredBy(shown, 210)).toBe(17);
    expect(loweredBy(shown, 100)).toBe(0);
    expect(sayShown(shown, false)).toMatch(/lower border cuts the performer off.*4 frames.*frame 13 \(16 px/);
    expect(
      shownCuts(
        () => cuts,
        span,
        () => to(1.5, 0, 71),
        window,
      ),
    ).toEqual([]);
    // Beside the picture nothing is seen.
    expect(
      shownCuts(
        () => cuts,
        span,
        () => to(1.5, 700, 0),
        window,
      ),
    ).toEqual([]);
  });
});
