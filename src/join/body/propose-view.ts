/**
 * The view shift of the ride step: the take seen from the plate's elevation (view-shift.ts), by as much of the
 * difference as is likely. Warping costs nothing of its own, so that half of a difference mended is half of it gone; a
 * view told badly is mended by little, as takes are filmed to look down about as the plate does.
 */
import { RAD_PER_DEG } from '../../core/angles.js';
import { HOME_CAMERA } from '../../take/take-marks.js';
import { elevationAt, viewAngles, type ProposalInput } from '../proposal-input.js';
import type { Stand } from '../ride/ride.js';
import type { SightOnFrame } from '../ride/sight-over-shot.js';
import type { RideStep } from '../types.js';
import { MOST_SHIFT_DEG, shiftedElevation } from './view-over-shot.js';

type View = NonNullable<RideStep['view']>;

/**
 * How far a take's elevation lies from what its plate asked for (sd, degrees; own choice): the verdict has a take shot
 * again that is off by more.
 */
const AS_ASKED_SD_DEG = 8;
/** A smaller shift is not seen (own choice). */
const LEAST_SHIFT_DEG = 0.7;

export interface ViewProposal {
  /** Absent where a view is not known, or led by usual cameras, or hardly differs. */
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
  const likely = likelyDifference(inTake - inPlate, tm.view, pm.view),
    takeElevationDeg = inPlate + likely;
  if (Math.abs(likely) < LEAST_SHIFT_DEG)
    return {
      ...unshifted,
      why:
        `; the views differ by ${Math.abs(inTake - inPlate).toFixed(1)}°, which is known to ` +
        `± ${sdOf(tm.view, pm.view).toFixed(1)}°: the take's view is left as it is`,
    };
  if (marked.noFeet) return { ...unshifted, why: '' };
  const view: View = {
    foot: marked.take.ground,
    top: marked.take.top,
    takeElevationDeg,
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
      sayShift(inTake - inPlate, likely, sdOf(tm.view, pm.view)) +
      sayOverShot(marked.overShot),
  };
}

type SolvedView = NonNullable<ProposalInput['take']['measures']['view']>;

/** Sd of the difference of two views, degrees. */
function sdOf(take: SolvedView, plate: SolvedView | undefined): number {
  return Math.hypot(take.tiltDeg.sd ?? 0, plate?.tiltDeg.sd ?? 0);
}

/**
 * The difference of the elevations to be expected from what was measured of it and from what takes are like: both
 * normal, their product's mean. A take's view holds what home cameras are usually tilted by; where the plate says what
 * was asked for, that takes its place. A view that is led by what is usual, and is
 * no surer than twice that, tells nothing.
 */
function likelyDifference(measured: number, take: SolvedView, plate: SolvedView | undefined): number {
  const usual = 1 / HOME_CAMERA.tilt.sdDeg ** 2,
    told = 1 / Math.max(0.01, take.tiltDeg.sd ?? 0) ** 2,
    own = told - usual;
  if (own <= 0 || (take.tiltDeg.priorLed === true && told < 4 * usual)) return 0;
  // The elevation rises by what the tilt falls.
  const atUsual = measured + (take.tiltDeg.value ?? 0) - HOME_CAMERA.tilt.meanDeg,
    mean = (told * measured - usual * atUsual) / own,
    variance = 1 / own + (plate?.tiltDeg.sd ?? 0) ** 2;
  return (mean * AS_ASKED_SD_DEG ** 2) / (AS_ASKED_SD_DEG ** 2 + variance);
}

/** Says by how much the view is shifted, and why not by more. */
function sayShift(differ: number, likely: number, sd: number): string {
  if (Math.abs(differ) > MOST_SHIFT_DEG && Math.abs(likely) > MOST_SHIFT_DEG)
    return `its view is shifted by the difference as far as ${MOST_SHIFT_DEG}°`;
  return Math.abs(likely - differ) < Math.max(0.5, 0.05 * Math.abs(differ))
    ? 'its view is shifted by the difference'
    : `its view is shifted by ${Math.abs(likely).toFixed(1)}°, as the difference is known to ± ${sd.toFixed(1)}° only ` +
        'and takes are mostly filmed as they are asked for';
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
