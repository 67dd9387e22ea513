/**
 * The view shift of the ride step: the take seen from the plate's elevation (view-shift.ts), where both elevations are
 * known well enough.
 */
import { RAD_PER_DEG } from '../../core/angles.js';
import { elevationAt, viewAngles, type ProposalInput } from '../proposal-input.js';
import type { Stand } from '../ride/ride.js';
import type { SightOnFrame } from '../ride/sight-over-shot.js';
import type { RideStep } from '../types.js';
import { MOST_SHIFT_DEG, shiftedElevation } from './view-over-shot.js';

type View = NonNullable<RideStep['view']>;

export interface ViewProposal {
  /** Absent where a view is not known, or known less well than it differs. */
  readonly view: View | undefined;
  /** The take's top mark as it stands after the shift, px. */
  readonly top: readonly [number, number];
  /** The elevation from which the performer is seen in the join, degrees. */
  readonly sightDeg: number;
  /** For the ride step's why: begins with a semicolon, or is empty. */
  readonly why: string;
}

/** What the marks say of the performer on both sides. */
export interface MarkedBoth {
  readonly take: Stand;
  readonly plate: Stand;
  readonly carried: boolean;
  /** The take's lower border cuts the feet off, so that how it was looked down on is not known. */
  readonly noFeet: boolean;
  /** How the plate's camera sees the stand over the shot, where it travels; null where it does not. */
  readonly overShot: readonly SightOnFrame[] | null;
}

/** Proposes the view shift, or says why the take's view is left as it is. */
export function proposeView(input: ProposalInput, marked: MarkedBoth): ViewProposal {
  const pm = input.plate.measures,
    tm = input.take.measures,
    inTake = elevationAt(tm, marked.take.ground, marked.take.top, marked.take.frame),
    inPlate = elevationAt(pm, marked.plate.ground, marked.plate.top, marked.plate.frame);
  const unshifted = { view: undefined, top: marked.take.top, sightDeg: inPlate ?? 0 };
  if (inTake === null || inPlate === null || tm.view === undefined) return { ...unshifted, why: '' };
  const sd = Math.hypot(tm.view.tiltDeg.sd ?? 0, pm.view?.tiltDeg.sd ?? 0),
    differ = Math.abs(inTake - inPlate);
  // A warp by a guess would show more than the difference, and a view known less well than the largest shift is none at
  // all.
  if (differ < sd || sd > MOST_SHIFT_DEG)
    return {
      ...unshifted,
      why:
        `; the views differ by ${differ.toFixed(1)}°, which is known to ± ${sd.toFixed(1)}° only: ` +
        `the take's view is left as it is`,
    };
  if (marked.noFeet) return { ...unshifted, why: '' };
  const view: View = {
    foot: marked.take.ground,
    top: marked.take.top,
    takeElevationDeg: inTake,
    plateElevationDeg: inPlate,
    takeFocalPx: viewAngles(tm, marked.take.frame)!.focalPx,
    plateFocalPx: viewAngles(pm, marked.plate.frame)!.focalPx,
    floor: !marked.carried,
    ...(marked.overShot === null ? {} : { overShot: marked.overShot }),
  };
  return {
    view,
    top: liftedTop(view),
    sightDeg: shiftedElevation(view),
    why:
      `; the take looks down ${inTake.toFixed(1)}° where the plate looks down ${inPlate.toFixed(1)}°: ` +
      `its view is shifted by the difference${differ > MOST_SHIFT_DEG ? ` as far as ${MOST_SHIFT_DEG}°` : ''}` +
      sayOverShot(marked.overShot),
  };
}

/** Says how the sight changes over the shot. */
function sayOverShot(overShot: readonly SightOnFrame[] | null): string {
  if (overShot === null) return '';
  const range = (values: readonly number[]): string => (Math.max(...values) - Math.min(...values)).toFixed(1);
  return (
    `, and over the shot as the plate's camera travels (it comes to look down by ` +
    `${range(overShot.map((f) => f.elevationDeg))}° more or less and goes round by ` +
    `${range(overShot.map((f) => f.turnDeg))}°)`
  );
}

/** The take's top mark after the view shift: an upright has no depth of its own, it only stretches. */
function liftedTop(view: View): [number, number] {
  const k = Math.cos(shiftedElevation(view) * RAD_PER_DEG) / Math.cos(view.takeElevationDeg * RAD_PER_DEG);
  return [view.foot[0] + (view.top[0] - view.foot[0]) * k, view.foot[1] + (view.top[1] - view.foot[1]) * k];
}
