/**
 * From where a frame of the plate sees the performer, as far as the view shift goes (view-shift.ts): a camera that
 * travels comes to look down more steeply and sees more of the one side.
 */
import type { RideStep } from '../types.js';

type View = NonNullable<RideStep['view']>;

/** Beyond this difference of elevation the parts that were never seen would have to be invented. */
export const MOST_SHIFT_DEG = 16;
/** Beyond this the far cheek that the take never showed would be wanted (own choice). */
const MOST_TURN_DEG = 12;

const within = (value: number, most: number): number => Math.max(-most, Math.min(most, value));

/** The elevation that the take's view is shifted to where the plate looks down by `plateElevationDeg`, degrees. */
export function shiftedElevation(view: View, plateElevationDeg = view.plateElevationDeg): number {
  return view.takeElevationDeg - within(view.takeElevationDeg - plateElevationDeg, MOST_SHIFT_DEG);
}

/**
 * Elevation of the sight on a plate frame and its turn to the right about the upright in the take's own picture
 * (before it is mirrored left for right), degrees.
 */
export function viewOnFrame(
  view: View,
  frame: number,
  mirror: boolean,
): { readonly elevationDeg: number; readonly turnDeg: number } {
  const at = view.overShot?.find((f) => f.frame === frame);
  if (at === undefined) return { elevationDeg: shiftedElevation(view), turnDeg: 0 };
  return {
    elevationDeg: shiftedElevation(view, at.elevationDeg),
    turnDeg: (mirror ? -1 : 1) * within(at.turnDeg, MOST_TURN_DEG),
  };
}
