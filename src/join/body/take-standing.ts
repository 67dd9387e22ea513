/**
 * How the take's camera sees the ground under its performer, on one frame, from where the performer was marked to
 * stand.
 */
import { viewAngles, type ProposalInput } from '../proposal-input.js';
import { scaleOfUpright } from '../ground/ground-frames.js';
import type { Stand } from '../ride/ride.js';
import type { GroundFrame } from '../ground/types.js';

export type TakeStand = Stand & { readonly height: number | null };

/** How the take's camera sees the ground under its performer on a frame; null where its view is not known. */
export function standing(
  input: ProposalInput,
  stand: TakeStand,
  frame: number,
): { at: GroundFrame; focalPx: number } | null {
  const tm = input.take.measures,
    view = viewAngles(tm, frame);
  return view === null
    ? null
    : {
        focalPx: view.focalPx,
        at: {
          frame,
          foot: stand.ground,
          pxPerMetre: scaleOfUpright(stand.ground, stand.top, stand.height ?? 1, view, tm.widthPx, tm.heightPx),
          tiltDeg: view.tiltDeg,
          rollDeg: view.rollDeg,
          azimuthDeg: tm.light?.azimuthDeg.value ?? 0,
        },
      };
}
