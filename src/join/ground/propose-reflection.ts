/**
 * The reflection of the ground step: where a person marked what mirrors, how much it throws back (read from what the
 * plate mirrors there, else by its angle) and how roughly.
 */
import { dot, unit } from '../../geometry/mat3.js';
import type { Carrier } from '../ride/carrier.js';
import type { GroundGeometry } from './ground-geometry.js';
import { mirrorShare } from './mirror-share.js';
import { marksOf, type ProposalInput } from '../proposal-input.js';
import { carriedFrames } from './propose-receivers.js';
import { wallPlane } from './receivers.js';
import { levelShare, schlick } from './reflect.js';
import type { GroundStep } from '../types.js';
import type { GroundFrame } from './types.js';

/** Of floors and water; glass is smooth. Own choice. */
const FLOOR_ROUGHNESS = 0.2;

/** Null where nothing that mirrors is marked. @param frames the step's, @param geometry of a frame */
export async function proposeReflection(
  input: ProposalInput,
  set: Carrier,
  frames: readonly GroundFrame[],
  geometry: (at: GroundFrame) => GroundGeometry,
): Promise<{ readonly reflection: NonNullable<GroundStep['reflection']>; readonly why: string } | null> {
  const marks = marksOf(input.plate.marks, 'reflector'),
    first = marks[0];
  if (first === undefined) return null;
  const { mark } = first,
    pm = input.plate.measures,
    at = frames.find((f) => f.frame === first.frame) ?? frames[0];
  const carried =
    mark.base === undefined
      ? []
      : carriedFrames(
          marks.filter((m) => m.mark.base !== undefined),
          set,
          pm.span,
        );
  let share = mark.share,
    how = 'as marked';
  if (share === undefined && at !== undefined) {
    const g = geometry(at),
      read = mark.base === undefined ? mirrorShare(await input.plate.linear(first.frame), mark.polygon, g) : null;
    if (read !== null) {
      share = read;
      how = 'read from what it mirrors of the set';
    } else if (mark.base === undefined) {
      share = levelShare(at.foot, at.tiltDeg, at.rollDeg, g.focalPx, 2 * g.principal[0], 2 * g.principal[1]);
      how = 'as a clear coat or water throws back at this angle';
    } else {
      const p = wallPlane(g, mark.base, 0),
        middle = mark.polygon.reduce(
          ([a, b], [x, y]) => [a + x / mark.polygon.length, b + y / mark.polygon.length],
          [0, 0],
        );
      // Two faces of a pane throw back.
      const one =
        p === null
          ? 0.04
          : schlick(
              Math.abs(
                dot(
                  p.n,
                  unit([(middle[0]! - g.principal[0]) / g.focalPx, (middle[1]! - g.principal[1]) / g.focalPx, 1]),
                ),
              ),
            );
      share = (2 * one) / (1 + one);
      how = 'as a pane of glass throws back at this angle';
    }
  }
  share = Math.round(1000 * Math.min(1, share ?? 0.15)) / 1000;
  return {
    reflection: {
      share,
      roughness: mark.roughness ?? (mark.base === undefined ? FLOOR_ROUGHNESS : 0),
      region: { frames: marks.map((m) => ({ frame: m.frame, polygon: m.mark.polygon })) },
      ...(carried.length === 0
        ? {}
        : { base: carried.filter((f) => f.base !== undefined).map((f) => ({ frame: f.frame, line: f.base! })) }),
    },
    why: `it is mirrored where marked, ${(100 * share).toFixed(0)} % (${how})`,
  };
}
