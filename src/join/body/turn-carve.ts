/**
 * A turning body carved from its outlines: each ball of one frame's outline is pushed along its line of sight, and
 * where it would stick out of the outline of another frame, the body turned, it can't stand (shape from silhouettes:
 * Laurentini, "The visual hull concept for silhouette-based image understanding", PAMI 16, 1994; chosen as in
 * shadow-carve.ts). What another outline shows and nothing fills makes the body deeper. About which upright it turns is
 * not marked well enough: of the uprights near the foot it is the one about which the balls find room in all outlines.
 *
 * Yaw grows as the front turns to the picture's left. Lengths along the picture in cells, in the scene in metres.
 */
import { dot, type Vec3 } from '../../geometry/mat3.js';
import type { Ball } from './body-volume.js';
import { outlineScreen, type Screen } from './carve-screens.js';
import type { GroundGeometry } from '../ground/ground-geometry.js';
import { facing } from './solid-body.js';

/** Nearer poses tell nothing, farther ones show too much that was hidden. */
const LEAST_TURN_DEG = 8,
  MOST_TURN_DEG = 62;
/** Balls that the axis is told by: so large in heights, the largest so many of each outline. */
const LEAST_RADIUS = 0.045,
  MOST_BALLS = 24;
/** Depths tried for the axis, in heights. */
const STEP = 0.06,
  FARTHEST = 0.9;
/**
 * How far from the foot the axis is sought, first and last step of the search, and what a whole sd of the marked foot's
 * place costs in room found; heights.
 */
const AXIS_STEP = 0.12,
  AXIS_LAST = 0.015,
  AXIS_SD = 0.1,
  COST = 0.004;

/** A frame of the turn: its balls and its alpha over the same width × height cells. */
export interface TurnFrame {
  readonly yawDeg: number;
  readonly balls: readonly Ball[];
  readonly matte: Float32Array;
}

/** Frames whose outlines tell of frame `r`. */
export function tellingFrames(frames: readonly TurnFrame[], r: number): number[] {
  return frames
    .map((_, k) => k)
    .filter((k) => {
      const by = Math.abs(frames[k]!.yawDeg - frames[r]!.yawDeg);
      return by >= LEAST_TURN_DEG && by <= MOST_TURN_DEG;
    });
}

/** Screens of the outlines that tell of frame `r`. `size`: the body's height in metres. */
export function turnScreens(
  frames: readonly TurnFrame[],
  r: number,
  g: GroundGeometry,
  width: number,
  height: number,
  axis: readonly [number, number],
  size: number,
): Screen[] {
  return tellingFrames(frames, r).map((k) =>
    outlineScreen(g, frames[k]!.matte, width, height, frames[r]!.yawDeg - frames[k]!.yawDeg, axis, size),
  );
}

/**
 * Where the upright stands about which the body turns: metres aside and ahead of the foot. `tall`: the body's height in
 * cells.
 */
export function axisOfTurn(
  frames: readonly TurnFrame[],
  g: GroundGeometry,
  width: number,
  height: number,
  tall: number,
): [number, number] {
  const size = (tall / g.focalPx) * g.foot[2],
    ahead = facing(g),
    reach = dot(ahead, g.foot);
  const large = frames.map((f) =>
    f.balls
      .filter((b) => b.r > LEAST_RADIUS * tall)
      .sort((a, b) => b.r - a.r)
      .slice(0, MOST_BALLS),
  );
  /** Mean share of a ball that lies within all outlines at its best depth, less what a far axis costs. */
  const room = (axis: readonly [number, number]): number => {
    let sum = 0,
      weight = 0;
    for (let r = 0; r < frames.length; r++) {
      const screens = turnScreens(frames, r, g, width, height, [axis[0] * size, axis[1] * size], size);
      if (screens.length === 0) continue;
      for (const b of large[r]!) {
        const d: Vec3 = [(b.x - g.principal[0]) / g.focalPx, (b.y - g.principal[1]) / g.focalPx, 1],
          plane = reach / dot(ahead, d);
        let best = 0;
        for (let near = -FARTHEST; near <= FARTHEST; near += STEP) {
          const k = plane * (1 - (near * size) / g.foot[2]),
            at: Vec3 = [d[0] * k, d[1] * k, d[2] * k],
            radius = (b.r / g.focalPx) * k;
          let least = 1;
          for (const s of screens) {
            const { known, body } = s.count(s.show(at, radius));
            if (known > 0) least = Math.min(least, body / known);
            if (least <= best) break;
          }
          best = Math.max(best, least);
        }
        sum += b.r * b.r * best;
        weight += b.r * b.r;
      }
    }
    return (weight > 0 ? sum / weight : 0) - COST * ((axis[0] / AXIS_SD) ** 2 + (axis[1] / AXIS_SD) ** 2);
  };
  let best: [number, number] = [0, 0],
    most = room(best);
  for (let step = AXIS_STEP; step >= AXIS_LAST; step /= 2) {
    for (const along of [1, 0] as const)
      for (const way of [-1, 1])
        for (let again = 0; again < 3; again++) {
          const next: [number, number] = [best[0], best[1]];
          next[along] += way * step;
          const v = room(next);
          if (v <= most) break;
          most = v;
          best = next;
        }
  }
  return [best[0] * size, best[1] * size];
}
