/**
 * What of a join does not hang on the plate's own pixels, whole: the performer stirred, drawn where it goes
 * (place-performer.ts), dressed in the plate's light (dress-performer.ts), and the shade that it throws. It can be made
 * ahead of the plate, and anywhere (prepare-lanes.ts).
 */
import { framesPerSecond, parseRate } from '../../core/rational.js';
import { plane } from '../../image/picture.js';
import type { ComposeTools } from './active-steps.js';
import { shadeGround, type GroundShade } from '../ground/ground.js';
import type { PerformerPicture } from '../peel/performer.js';
import { shadeOnPerformer } from '../light/plate-shade.js';
import { keptShade } from '../ground/kept-shadow.js';
import { stirPerformer } from '../ride/stir-warp.js';
import { softEdgePx } from './soft-edge.js';
import { dressPerformer } from './dress-performer.js';
import { type Placed, type PlateFrame, groundAt, placePerformer, takeToPlate } from './place-performer.js';

/** One plate frame's performer and shade, ready to be laid on the plate. */
export interface Prepared {
  readonly placed: Placed;
  readonly shade: GroundShade | null;
}

/** Null where the performer falls outside the picture or is not there. */
export function preparePerformer(tools: ComposeTools, still: PerformerPicture, on: PlateFrame): Prepared | null {
  const { frame, takeFrame, widthPx, heightPx, room } = on;
  const stir = tools.active.ride?.stir;
  const performer =
    stir === undefined || still.layers !== undefined
      ? still
      : stirPerformer(
          still,
          stir,
          (frame - tools.recipe.plate.in) / framesPerSecond(parseRate(tools.recipe.plate.rate)),
        );
  const raw = placePerformer(tools, performer, on);
  if (raw === null) return null;
  const placed = dressPerformer(tools, raw, frame);
  const { ground } = tools.active;
  if (ground?.onPerformer !== undefined)
    shadeOnPerformer(
      ground.onPerformer,
      tools.shadeOutlines.map((o) => o(frame)),
      placed.picture,
      placed.box,
      tools.active.light?.relight?.toCamera ?? null,
    );
  const at = groundAt(ground, frame);
  const alpha = plane(placed.picture, 3);
  const shade =
    ground === null || at === null
      ? null
      : still.shadow !== undefined
        ? keptShade(still.shadow, takeToPlate(tools, frame, takeFrame), widthPx, heightPx)
        : shadeGround(ground, at, {
            alpha,
            matteBox: placed.box,
            widthPx,
            heightPx,
            softEdgePx: softEdgePx(alpha, placed.picture.width, placed.picture.height),
            room,
          });
  return { placed, shade };
}
