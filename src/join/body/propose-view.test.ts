/**
 * Views known to several standard errors: the share of their difference that is taken, against the mean of two normal
 * readings.
 */
import { describe, expect, it } from 'vitest';
import { RAD_PER_DEG } from '../../core/angles.js';
import { solveView } from '../../plate/view/view.js';
import type { View } from '../../plate/types.js';
import { HOME_CAMERA } from '../../take/take-marks.js';
import type { ProposalInput } from '../proposal-input.js';
import { proposeView } from './propose-view.js';

const widthPx = 854,
  heightPx = 480,
  ground: [number, number] = [427, 380],
  top: [number, number] = [427, 60],
  stand = { frame: 0, ground, top };

/** A take's view told by one sight to its performer's middle, known to `sd`, or by usual cameras alone. */
function takeSeen(elevationDeg: number, sd: number | null): View {
  return solveView(
    { frame: 0, marks: [{ kind: 'performer', ground, top, height: 0.75 }] },
    {
      widthPx,
      heightPx,
      priors: HOME_CAMERA,
      extra:
        sd === null
          ? []
          : [{ kind: 'sight', at: [427, 220], elevationRad: elevationDeg * RAD_PER_DEG, sdRad: sd * RAD_PER_DEG }],
    },
  );
}

const plate = solveView(
  { frame: 0, focalPx: 1000, cameraHeight: 1.2, marks: [{ kind: 'upright', foot: ground, top, height: 0.75 }] },
  { widthPx, heightPx },
);

function shiftOf(take: View): number {
  const input = {
      plate: { measures: { view: plate, widthPx, heightPx } },
      take: { measures: { view: take, widthPx, heightPx } },
    } as unknown as ProposalInput,
    { view } = proposeView(input, { take: stand, plate: stand, carried: false, noFeet: false, overShot: null });
  return view === undefined ? 0 : view.takeElevationDeg - view.plateElevationDeg;
}

describe('how far the view is shifted', () => {
  // The performer's middle is seen 20 px over the picture's.
  const plateDeg = -plate.tiltDeg.value! - Math.atan(20 / 1000) / RAD_PER_DEG;
  it('is all of a difference that is surely known, and less the less surely', () => {
    const shifts = [0.2, 3, 6].map((sd) => shiftOf(takeSeen(plateDeg + 10, sd)));
    expect(shifts[0]!).toBeGreaterThan(9.5);
    expect(shifts[0]!).toBeLessThan(10.5);
    // Two normal words on one number, ± 8° and ± 3°: 64 / 73 of the way.
    expect(shifts[1]! / shifts[0]!).toBeGreaterThan(0.78);
    expect(shifts[1]! / shifts[0]!).toBeLessThan(0.95);
    expect(shifts[2]!).toBeLessThan(shifts[1]!);
    expect(shifts[2]!).toBeGreaterThan(0.4 * shifts[0]!);
  });
  it('is nothing where usual cameras alone tell the take’s view, or where both look alike', () => {
    expect(shiftOf(takeSeen(0, null))).toBe(0);
    expect(shiftOf(takeSeen(plateDeg, 0.2))).toBe(0);
  });
});
