/**
 * A body's depth proposed by the shadow that it throws in the take (body-depth.ts), on one frame or on several of its
 * turn.
 */
import { plane } from '../../image/picture.js';
import { depthFromShadow, type DepthFound } from './body-depth.js';
import type { ProposalInput } from '../proposal-input.js';
import { posesOf } from '../pace/pace-yaws.js';
import type { PerformerPicture } from '../peel/performer.js';
import { type BodyProposal, type ByShadow, MOST_TURN_DEG, betweenFrames, shape } from './body-proposal.js';
import { type TakeStand, standing } from './take-standing.js';

/** Where the performer turns: its depth on each of the frames that show it so. Null where any of them tells none. */
export function fromShadows(
  input: ProposalInput,
  stand: TakeStand,
  takeFrame: (frame: number) => number,
): BodyProposal | null {
  const turned = [...(input.seen?.turned ?? [])].sort((a, b) => a.frame - b.frame);
  if (turned.length < 2) return null;
  const found: DepthFound[] = [];
  for (const t of turned) {
    const f = shadowOf(input, stand, t.frame, t.performer);
    if (f === null) return null;
    found.push(f);
  }
  const mean = (k: 'before' | 'after'): string => (found.reduce((a, f) => a + f[k], 0) / found.length).toFixed(2),
    frames = turned.map((t) => t.frame);
  return {
    depth: null,
    bodies: found.map((f) => f.depth),
    at: (n) => betweenFrames(frames, takeFrame(n)),
    atTake: (n) => betweenFrames(frames, n),
    why:
      `the take's shadow tells the body's depth on ${found.length} frames of its turn (overlap ${mean('before')} ` +
      `as flat, ${mean('after')})`,
  };
}

function shadowOf(
  input: ProposalInput,
  stand: TakeStand,
  frame: number,
  performer: PerformerPicture,
): DepthFound | null {
  const tm = input.take.measures,
    light = tm.light,
    g = standing(input, stand, frame);
  if (
    performer.shadow === undefined ||
    (performer.unit ?? 1) !== 1 ||
    g === null ||
    light?.azimuthDeg.value == null ||
    light.elevationDeg.value == null
  )
    return null;
  return depthFromShadow(
    { alpha: plane(performer.picture, 3), box: performer.box, shadow: performer.shadow },
    {
      ...g,
      azimuthDeg: light.azimuthDeg.value,
      elevationDeg: light.elevationDeg.value,
      softnessDeg: light.softnessDeg.value ?? 0.53,
      widthPx: tm.widthPx,
      heightPx: tm.heightPx,
    },
  );
}

/**
 * The body's depth by the shadow on the frame that was looked at; null where the take turns too far for one frame to
 * tell, or where no shadow, view or key is told.
 */
export function fromShadow(input: ProposalInput, stand: TakeStand): ByShadow | null {
  const { seen } = input,
    yaws = posesOf(input.take).map((p) => p.yawDeg);
  if (seen == null || (yaws.length > 0 && Math.max(...yaws) - Math.min(...yaws) > MOST_TURN_DEG)) return null;
  const found = shadowOf(input, stand, seen.frame, seen.performer);
  return found === null
    ? null
    : {
        depth: found.depth,
        thrown: found.after,
        why:
          `the take's shadow tells the body's depth (overlap ${found.before.toFixed(2)} as flat, ` +
          `${found.after.toFixed(2)}): ${shape(found.depth)}`,
      };
}
