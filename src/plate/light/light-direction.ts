/**
 * Azimuth and elevation of the key as measures: from shadows where there are any, else from shading or the floor's
 * light, else why not.
 */
import { measured, notMeasurable, type Measure } from '../../core/measure.js';
import type { Head, WeighedHead } from './light-from-heads.js';
import type { View } from '../types.js';
import type { FallenLight } from './lamp-by-falloff.js';

/** What to mark where no direction is told; ends a sentence. */
export const WOULD_HELP =
  'the foot and the tip of a shadow on the ground, with the height of what casts it; ' +
  'or an outline round a head or ball';

/** What shadows say of the key; see light-shadow.ts and light-upright-shadow.ts. */
export interface ShadowDirection {
  readonly azimuthDeg: number;
  readonly azimuthSd: number;
  readonly elevationDeg: number | null;
  readonly elevationSd: number | null;
  readonly used: readonly unknown[];
}

/** What the key's direction is told from. */
export interface Told {
  readonly direction: ShadowDirection | null;
  /** True where the shadows were found in the picture and marked by nobody. */
  readonly found: boolean;
  /** A lamp told by the floor's light where no shadow is marked. */
  readonly floor: FallenLight | null;
  /** The merged key of those heads that follow one, and all that were read. */
  readonly head: Head | null;
  readonly keyed: readonly WeighedHead[];
  readonly heads: readonly WeighedHead[];
  readonly view: View | null;
  readonly frames: [number, number];
}

export interface Direction {
  readonly azimuth: Measure;
  readonly elevation: Measure;
}

/** Shadow first: it is an order of magnitude surer than shading, unless the view itself is loose. */
export function keyDirection(told: Told): Direction {
  const { direction, head, floor } = told;
  if (floor !== null) return byFloor(floor, told.frames);
  if (direction !== null && (head === null || direction.azimuthSd < 2 * head.sd)) return byShadow(told, direction);
  if (head !== null) return byShading(told, head);
  const why = told.heads.some((h) => h.light.keyFillStops < 0.3)
    ? 'the marked head shows no key: its shading is even'
    : told.heads.length > 0
      ? 'the shading of the marked head does not follow one light well enough to tell'
      : 'no shadow and no head is marked on this frame';
  return { azimuth: notMeasurable('deg', why, WOULD_HELP), elevation: notMeasurable('deg', why, WOULD_HELP) };
}

function byShadow({ view, found, head, frames }: Told, direction: ShadowDirection): Direction {
  const led = view!.focalPx.priorLed === true || view!.tiltDeg.priorLed === true;
  const extra = found
    ? { priorLed: led, wouldHelp: 'the foot and the tip of that shadow, marked by hand' }
    : led
      ? { priorLed: true, wouldHelp: view!.focalPx.priorLed ? view!.focalPx.wouldHelp : view!.tiltDeg.wouldHelp }
      : {};
  const how =
    `${direction.used.length} shadow${direction.used.length === 1 ? '' : 's'} ` +
    `${!found ? 'on the ground' : 'found at the feet of marked uprights'} through the solved view`;
  const azimuth = measured(direction.azimuthDeg, 'deg', direction.azimuthSd, how, frames, clean(extra));
  const elevation =
    direction.elevationDeg !== null
      ? measured(direction.elevationDeg, 'deg', direction.elevationSd!, how, frames, clean(extra))
      : head !== null
        ? measured(head.elevation, 'deg', head.sd, 'shading on a head-like outline', frames, {
            wouldHelp: 'the height of what casts the shadow',
          })
        : notMeasurable(
            'deg',
            'the shadow mark says neither how high the thing is that casts it nor where its top is',
            'a height or a top on the shadow mark',
          );
  return { azimuth, elevation };
}

function byFloor(floor: FallenLight, frames: [number, number]): Direction {
  const how = "fall-off of a near lamp's light over the floor, where the performer stands";
  const wouldHelp = { wouldHelp: 'the foot and the tip of a shadow, marked by hand' };
  return {
    azimuth: measured(floor.azimuthDeg, 'deg', floor.azimuthSd, how, frames, wouldHelp),
    elevation: measured(floor.elevationDeg, 'deg', floor.elevationSd, how, frames, wouldHelp),
  };
}

function byShading({ keyed, frames }: Told, head: Head): Direction {
  const how = `shading on ${keyed.length === 1 ? 'a head-like outline' : `${keyed.length} head-like outlines`}`;
  const azimuth = measured(
    head.azimuth,
    'deg',
    head.sd / Math.max(0.2, Math.cos((head.elevation * Math.PI) / 180)),
    how,
    frames,
    { wouldHelp: WOULD_HELP },
  );
  const elevation = measured(head.elevation, 'deg', head.sd, how, frames, { wouldHelp: WOULD_HELP });
  return { azimuth, elevation };
}

function clean(extra: { priorLed?: boolean; wouldHelp?: string | undefined }): {
  priorLed?: boolean;
  wouldHelp?: string;
} {
  return { ...(extra.priorLed ? { priorLed: true } : {}), ...(extra.wouldHelp ? { wouldHelp: extra.wouldHelp } : {}) };
}
