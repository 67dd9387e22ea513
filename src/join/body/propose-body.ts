/**
 * The caster's depth proposed from the take: by likeness to a usual body (propose-likeness.ts), by the shadow that it
 * throws there (propose-by-shadow.ts), else by its turn (turn-depth.ts), else by its outline's likeness alone; with
 * what its coat's own motion tells of the front.
 */
import { plane } from '../../image/picture.js';
import { marksOf, type ProposalInput } from '../proposal-input.js';
import { FLAT } from './depth-search.js';
import { frontsOfTurn } from './propose-surface.js';
import { depthAt, depthFromTurn } from './turn-depth.js';
import type { BodyDepth } from '../ground/types.js';
import { type BodyProposal, betweenFrames, part, shape } from './body-proposal.js';
import { type TakeStand, standing } from './take-standing.js';
import { fromLikeness, fromOutline } from './propose-likeness.js';
import { fromShadow, fromShadows } from './propose-by-shadow.js';

/**
 * A usual body that throws so much less of the shadow seen than one carved from that shadow is another body's (own
 * choice: made bodies carved throw up to .1 more where likeness is as near or nearer, .2 more where it is not).
 */
const CARVED_BETTER = 0.1,
  MOST_CARVED = 0.9;

/**
 * `takeFrame`: what each plate frame shows. Null where the take's camera moves, its view is not known, or where none of
 * shadow, turn and outline tells anything new.
 */
export function proposeBody(
  input: ProposalInput,
  stand: TakeStand,
  takeFrame: (frame: number) => number,
): BodyProposal | null {
  const tm = input.take.measures;
  if (tm.camera !== undefined && tm.camera.move !== 'static') return null;
  if (new Set(marksOf(input.take.marks, 'performer').map((m) => m.frame)).size > 1) return null;
  const told =
    fromShadows(input, stand, takeFrame) ??
    fromLikenessOrShadow(input, stand) ??
    fromTurn(input, stand, takeFrame) ??
    fromOutline(input, stand);
  return withFronts(told, input, stand, takeFrame);
}

/**
 * By a usual body where its shadow lies about as well as that of one carved from the shadow seen, else by that shadow.
 */
function fromLikenessOrShadow(input: ProposalInput, stand: TakeStand): BodyProposal | null {
  const like = fromLikeness(input, stand);
  if (like !== null && like.thrown >= MOST_CARVED - CARVED_BETTER) return like;
  const carved = fromShadow(input, stand);
  return carved === null || (like !== null && like.thrown >= carved.thrown - CARVED_BETTER) ? like : carved;
}

/**
 * What the coat's own motion tells of the front goes along on as many frames as it takes; the depth told otherwise
 * stands behind it.
 */
function withFronts(
  told: BodyProposal | null,
  input: ProposalInput,
  stand: TakeStand,
  takeFrame: (frame: number) => number,
): BodyProposal | null {
  const tm = input.take.measures,
    first = input.seen?.turned?.[0],
    g = first === undefined ? null : standing(input, stand, first.frame);
  const found = g === null ? null : frontsOfTurn(input, { ...g, widthPx: tm.widthPx, heightPx: tm.heightPx });
  if (found === null) return told;
  const sure =
    `how its coat moves as it turns tells its front on ${found.measured} frames (${part(found.left)} of that ` +
    'motion is none of a rigid turn)';
  const bodies = found.frames.map((f, i): BodyDepth => ({ ...depthToldAt(told, f), front: found.fronts[i]! }));
  return {
    depth: null,
    bodies,
    at: (n) => betweenFrames(found.frames, takeFrame(n)),
    why: told === null ? sure : `${told.why}; ${sure}`,
  };
}

/** What was told otherwise, at a take frame: of several bodies the nearest. */
function depthToldAt(told: BodyProposal | null, frame: number): BodyDepth {
  if (told === null) return FLAT;
  if (told.bodies !== undefined && told.atTake !== undefined)
    return told.bodies[Math.round(told.atTake(frame))] ?? FLAT;
  return told.ofTake?.(frame) ?? told.depth ?? FLAT;
}

function fromTurn(input: ProposalInput, stand: TakeStand, takeFrame: (frame: number) => number): BodyProposal | null {
  const tm = input.take.measures,
    turned = input.seen?.turned ?? [];
  if (
    turned.length < 2 ||
    turned.some((t) => (t.performer.unit ?? 1) !== 1 || t.performer.box[2] <= t.performer.box[0])
  )
    return null;
  const g = standing(input, stand, turned[0]!.frame);
  if (g === null) return null;
  const found = depthFromTurn(
    turned.map((t) => ({
      frame: t.frame,
      yawDeg: t.yawDeg,
      alpha: plane(t.performer.picture, 3),
      box: t.performer.box,
    })),
    { ...g, widthPx: tm.widthPx, heightPx: tm.heightPx },
  );
  if (found === null) return null;
  if (found.carved) {
    const frames = found.frames.map((f) => f.frame);
    return {
      depth: null,
      bodies: found.frames.map((f) => f.depth),
      at: (n) => betweenFrames(frames, takeFrame(n)),
      atTake: (n) => betweenFrames(frames, n),
      why:
        `its turn in the take tells the body's depth on ${frames.length} frames (outlines overlap ` +
        `${found.before.toFixed(2)} as flat, ${found.after.toFixed(2)})`,
    };
  }
  const middle = depthAt(found.frames, (found.frames[0]!.frame + found.frames.at(-1)!.frame) / 2);
  return {
    depth: null,
    ofFrame: (n) => depthAt(found.frames, takeFrame(n)),
    ofTake: (n) => depthAt(found.frames, n),
    why:
      `its turn in the take tells the body's depth (outlines overlap ${found.before.toFixed(2)} as flat, ` +
      `${found.after.toFixed(2)}): half way ${shape(middle)}`,
  };
}
