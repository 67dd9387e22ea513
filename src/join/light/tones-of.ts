/** What surfaces that a person knows tell in both pictures of a join: their marks, pictures and keys brought together. */
import type { ProposalInput, Side } from '../proposal-input.js';
import { marksOf } from '../proposal-input.js';
import { facingOverFlat, toneLine, type LightOnGround, type ToneLine } from './known-tone.js';
import { USUAL_FILL } from './propose-light.js';
import { shareFacing } from './take-fill.js';
import { luminance } from './white-balance.js';

/** What is known in both pictures. */
export interface TonesKnown {
  readonly plateTone: ToneLine | null;
  readonly takeTone: ToneLine | null;
  /**
   * By how much more of the light what faces the key gets than what lies flat, in the plate beside the take, stops: a
   * performer's key is turned at what faces it (relight.ts). 0 where a key is not known.
   */
  readonly facingStops: number;
}

/** @param groundFill share of the light on the plate's open ground that is fill, a channel; null where not measured */
export async function tonesOf(
  { plate, take }: ProposalInput,
  groundFill: readonly [number, number, number] | null,
): Promise<TonesKnown> {
  const onPlate = keyOf(plate, groundFill === null ? null : luminance(groundFill)),
    onTake = keyOf(take, null);
  return {
    plateTone: await told(plate, onPlate),
    takeTone: await told(take, onTake),
    facingStops: onPlate === null || onTake === null ? 0 : facingOverFlat(onPlate) - facingOverFlat(onTake),
  };
}

async function told(side: Side, light: LightOnGround | null): Promise<ToneLine | null> {
  const seen = marksOf(side.marks, 'tone').map(async ({ mark, frame }) => ({ mark, linear: await side.linear(frame) }));
  return toneLine(await Promise.all(seen), light);
}

/** The key beside the camera's heading, with its fill; null where its direction is not known. */
function keyOf({ measures: { light } }: Side, groundFill: number | null): LightOnGround | null {
  const azimuthDeg = light?.azimuthDeg.value ?? null,
    elevationDeg = light?.elevationDeg.value ?? null,
    stops = light?.keyFillStops.value ?? null;
  if (azimuthDeg === null || elevationDeg === null) return null;
  const fill = groundFill !== null ? shareFacing(groundFill, elevationDeg) : stops === null ? USUAL_FILL : 2 ** -stops;
  return { azimuthDeg, elevationDeg, fill };
}
