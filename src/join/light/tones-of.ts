/** What surfaces that a person knows tell in both pictures of a join: their marks, pictures and keys brought together. */
import type { ProposalInput, Side } from '../proposal-input.js';
import { marksOf } from '../proposal-input.js';
import {
  facingOverFlat,
  toneLine,
  unreadTone,
  type LightOnGround,
  type ToneLine,
  type ToneSeen,
} from './known-tone.js';
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
  /** What was marked and tells nothing, and marks that disagree, as sentences. */
  readonly tonesAmiss: readonly string[];
}

/** @param groundFill share of the light on the plate's open ground that is fill, a channel; null where not measured */
export async function tonesOf(
  { plate, take }: ProposalInput,
  groundFill: readonly [number, number, number] | null,
): Promise<TonesKnown> {
  const onPlate = keyOf(plate, groundFill === null ? null : luminance(groundFill)),
    onTake = keyOf(take, null),
    inPlate = await seenIn(plate),
    inTake = await seenIn(take),
    plateTone = toneLine(inPlate, onPlate ?? supposed(onTake)),
    takeTone = toneLine(inTake, onTake ?? supposed(onPlate));
  return {
    plateTone,
    takeTone,
    tonesAmiss: [...amiss('plate', inPlate, plateTone), ...amiss('take', inTake, takeTone)],
    facingStops: onPlate === null || onTake === null ? 0 : facingOverFlat(onPlate) - facingOverFlat(onTake),
  };
}

const seenIn = (side: Side): Promise<ToneSeen[]> =>
  Promise.all(
    marksOf(side.marks, 'tone').map(async ({ mark, frame }) => ({
      mark: { ...mark, frame },
      linear: await side.linear(frame),
    })),
  );

function amiss(of: 'plate' | 'take', seen: readonly ToneSeen[], line: ToneLine | null): string[] {
  const unread = seen.flatMap((t) => {
    const trouble = unreadTone(t);
    return trouble === null
      ? []
      : [
          `the known tone on frame ${t.mark.frame} of the ${of} (${Math.round(100 * t.mark.reflects)} % of the light) ` +
            `was not read: it ${trouble}${trouble === 'is too small' ? ', or lies outside the picture' : ''}`,
        ];
  });
  return line === null || line.apartStops === 0
    ? unread
    : [
        ...unread,
        `the ${of}'s known tones disagree by ${line.apartStops.toFixed(1)} stops and so count for less: ` +
          'look for one that lies in the shade, stands upright, or is named wrongly',
      ];
}

/** The key beside the camera's heading, with its fill; null where its direction is not known. */
function keyOf({ measures: { light } }: Side, groundFill: number | null): LightOnGround | null {
  const azimuthDeg = light?.azimuthDeg.value ?? null,
    elevationDeg = light?.elevationDeg.value ?? null,
    stops = light?.keyFillStops.value ?? null;
  if (azimuthDeg === null || elevationDeg === null) return null;
  const fill = groundFill !== null ? shareFacing(groundFill, elevationDeg) : stops === null ? USUAL_FILL : 2 ** -stops;
  return {
    azimuthDeg,
    elevationDeg,
    fill,
    sdDeg: { azimuth: light?.azimuthDeg.sd ?? 0, elevation: light?.elevationDeg.sd ?? 0 },
  };
}

/**
 * The other picture's key, for a picture that shows none. Else a face in both would be held to lie in one light and to
 * stand in another.
 */
const supposed = (other: LightOnGround | null): LightOnGround | null =>
  other === null ? null : { ...other, supposed: true };
