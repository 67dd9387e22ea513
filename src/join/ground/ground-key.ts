/**
 * The key as it stands on the ground at the performer's foot: the plate's own, or that of a lamp so near that it comes
 * from another side there; and why no shadow can be cast where it is not known.
 */
import type { MarksFile } from '../../plate/marks/marks.js';
import { onShadowLines } from '../../plate/light/shadow-line.js';
import { marksOf, viewAngles, type Side } from '../proposal-input.js';
import type { Place } from '../ride/travel-stand.js';
import { keyOfLamp, LEAST_ELEVATION } from './near-lamp.js';

export interface GroundKey {
  /** Why no shadow is cast, in words; null where the key is known. */
  readonly missing: string | null;
  /** Degrees beside the camera's heading on the frame `reference`. */
  readonly azimuthDeg: number;
  readonly elevationDeg: number;
  readonly reference: number;
  /** The camera's focal length, px: measured, or a usual one. */
  readonly focalPx: number;
  /** The lamp, where it stands near. */
  readonly lamp: ReturnType<typeof keyOfLamp>;
  /** No shadow is marked: it was found at the feet of marked uprights. */
  readonly shadowsFound: boolean;
  /** The lamp that one marked shadow or none tells: by what lies dark at another upright, or by the floor's light. */
  readonly lampFound: 'upright' | 'floor' | null;
  /** A shadow is marked on the plate. */
  readonly shadowMarked: boolean;
}

/** A focal length in picture widths where no view was measured. */
const USUAL_FOCAL = 1.2;

/** @param frame the first marked frame, which tells the view; `carried`: the performer rides on something */
export async function keyOnGround(plate: Side, where: Place, frame: number, carried: boolean): Promise<GroundKey> {
  const pm = plate.measures,
    { marks } = plate,
    { light } = pm,
    missing = whyNoShadow(plate, frame),
    lamp = missing === null && !carried ? await lampAtFoot(plate, where) : null;
  return {
    missing,
    azimuthDeg: lamp?.azimuthDeg ?? light?.azimuthDeg.value ?? 0,
    elevationDeg: lamp?.elevationDeg ?? light?.elevationDeg.value ?? 45,
    reference: light?.azimuthDeg.frames?.[0] ?? marksOf(marks, 'shadow')[0]?.frame ?? marks.frame,
    focalPx: viewAngles(pm, frame)?.focalPx ?? USUAL_FOCAL * pm.widthPx,
    lamp,
    shadowsFound: pm.foundShadows !== undefined,
    lampFound: pm.foundLamp === undefined ? null : pm.foundLamp.byFloor === true ? 'floor' : 'upright',
    shadowMarked: pm.foundShadows === undefined && marksOf(marks, 'shadow').length > 0,
  };
}

function whyNoShadow({ measures, marks }: Side, frame: number): string | null {
  const { light } = measures;
  if (viewAngles(measures, frame) === null)
    return "the plate's view was not measured (marks: an upright of known height and ground lines)";
  if (light === undefined || light.azimuthDeg.value === null || light.elevationDeg.value === null)
    return howToTellTheKey(marks);
  if (light.elevationDeg.value < LEAST_ELEVATION)
    return (
      `the key was read at ${light.elevationDeg.value.toFixed(0)}°, ` +
      'level with the ground or under it (a lamp that low, or a reading that is off): no shadow is cast on it'
    );
  return null;
}

async function lampAtFoot(plate: Side, where: Place): Promise<GroundKey['lamp']> {
  const { view, widthPx, foundLamp } = plate.measures;
  if (view === undefined) return null;
  const onLines = onShadowLines(await plate.linear(view.frame), { ...plate.marks, frame: view.frame });
  return keyOfLamp(view, onLines, where(view.frame).ground, widthPx / 1000, foundLamp);
}

/**
 * What a person may mark so that the plate's own things tell where its key stands: what is marked already comes first.
 */
export function howToTellTheKey(marks: MarksFile): string {
  const half = marksOf(marks, 'shadow').find(({ mark }) => mark.height === undefined && mark.top === undefined);
  // A shadow marked by foot and tip alone tells from which side the key comes: what it lacks is asked for, not another
  // mark.
  if (half !== undefined)
    return (
      `the plate's key direction is not known, so no shadow is cast. ` +
      `The shadow marked at ${half.mark.foot.map((v) => v.toFixed(0)).join(', ')} tells from which side it comes, ` +
      'not how high it stands: give the height of what casts it, or point at its top'
    );
  const near = marksOf(marks, 'upright')
    .map((u) => u.mark.foot)
    .map(([x, y]) => `${x.toFixed(0)}, ${y.toFixed(0)}`);
  const own =
    near.length === 0
      ? 'foot and tip of the shadow of anybody or anything upright in the shot'
      : `foot and tip of the shadow of what stands at ${near.slice(0, 3).join(' or ')}, which is marked already`;
  return (
    `the plate's key direction is not known, so no shadow is cast. The plate's own can tell it: ` +
    `mark a shadow (${own}), or a head, whose shading tells it roughly`
  );
}
