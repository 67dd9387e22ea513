/**
 * Where the performer's pixels go on a plate frame: steadied, carried by the ride over the shutter's time, its view
 * turned to the plate's, layers one before the other; and drawn there.
 */
import { RAD_PER_DEG } from '../../core/angles.js';
import { multiply, type Mat3 } from '../../geometry/mat3.js';
import { createPicture, plane, type Picture } from '../../image/picture.js';
import type { ComposeTools } from './active-steps.js';
import { IDENTITY } from '../ride/carrier.js';
import { drawPlaced } from './draw-placed.js';
import type { ViewShift } from './placed-lay.js';
import { fartherFoot, floorBefore, sightBetween } from '../body/view-sight.js';
import type { FrameRoom } from './frame-room.js';
import type { Box } from '../ground/ground.js';
import type { PerformerPicture } from '../peel/performer.js';
import { picturesBeside } from './held-plate.js';
import { placementAt, shutterPlacements } from '../ride/ride.js';
import { steadyMatrix } from '../ride/steady.js';
import { bodiesAt } from '../ground/ground.js';
import { frontField } from '../body/view-shift.js';
import { shiftedElevation, viewOnFrame } from '../body/view-over-shot.js';
import type { StandingDepth } from '../body/front-depth.js';
import type { GroundStep, RideStep } from '../types.js';
import type { GroundFrame } from '../ground/types.js';

/** The performer on the plate, premultiplied linear RGBA over a box of plate pixels. */
export interface Placed {
  readonly picture: Picture;
  readonly box: Box;
}

/** The picture that a performer is made for. */
export interface PlateFrame {
  /** Number of the plate's frame. */
  readonly frame: number;
  /** The take's frame shown on it; may lie between two. */
  readonly takeFrame: number;
  /** Size of the plate. */
  readonly widthPx: number;
  readonly heightPx: number;
  /** Where pictures are made, if told. */
  readonly room?: FrameRoom;
}

/**
 * Performer placed on the plate: box in plate pixels, premultiplied linear RGBA. Null where it falls outside the
 * picture.
 */
export function placePerformer(tools: ComposeTools, performer: PerformerPicture, on: PlateFrame): Placed | null {
  const { frame, takeFrame } = on;
  const { ride, steady, air } = tools.active;
  if (performer.layers !== undefined) return ride === null ? null : placeLayers(tools, performer.layers, on);
  if (performer.box[2] <= performer.box[0]) return null;
  // All in the performer's own pixels: take pixels, or twice or more that where it was halved.
  const unit = performer.unit ?? 1;
  const steadied = multiply(steadyMatrix(steady, takeFrame), [unit, 0, 0, 0, unit, 0, 0, 0, 1]);
  const [bx0, by0, bx1, by1] = performer.box;
  const placements =
    ride === null
      ? [IDENTITY]
      : shutterPlacements(
          ride,
          frame,
          [bx0 * unit, by0 * unit, bx1 * unit, by1 * unit],
          picturesBeside(tools.recipe.plate, frame),
        );
  const matrices = placements.map((m) => multiply(m, steadied));
  const soften = air?.softenPx ?? 0;
  const first = placements[0]!;
  const shift =
    ride?.view === undefined
      ? null
      : viewShift(
          inUnits(ride.view, unit),
          performer,
          unit * Math.sqrt(Math.abs(first[0] * first[4] - first[1] * first[3])),
          toldDepth(tools.active.ground, frame),
          viewOnFrame(ride.view, frame, ride.mirror),
        );
  const reach = shift === null ? performer.box : shiftedReach(performer.box, shift);
  const box = clip(boundsThrough(matrices, reach, 3 + 4 * soften), on.widthPx, on.heightPx);
  if (box === null) return null;
  const origin = [performer.box[0], performer.box[1]] as const;
  const out = drawPlaced(performer.picture, origin, matrices, box, shift, { averaged: unit > 1, room: on.room });
  return { picture: out, box };
}

/**
 * What the view's shift may draw the box's content to: how far before the upright a part stands at most, and what
 * perspective widens (both generous).
 */
function shiftedReach([x0, y0, x1, y1]: Box, { sight }: ViewShift): Box {
  const turn = Math.abs(sight.sinFrom * sight.cosTo - sight.cosFrom * sight.sinTo),
    lifted = turn * Math.max(0.5 * (x1 - x0), 0.7 * (y1 - y0)) + 0.04 * (y1 - y0),
    wider = 0.1 * (x1 - x0) + Math.abs(sight.sinTurn) * Math.max(0.5 * (x1 - x0), 0.7 * (y1 - y0));
  return [x0 - wider, y0 - lifted, x1 + wider, y1 + lifted];
}

/**
 * Every picture of a layered take where its depth puts it, the far ones first, each with the shutter's smear of its own
 * way.
 */
function placeLayers(
  tools: ComposeTools,
  pictures: ReadonlyMap<number, PerformerPicture>,
  on: PlateFrame,
): Placed | null {
  const ride = tools.active.ride!;
  let all: Placed | null = null;
  for (const l of ride.layers ?? []) {
    const picture = pictures.get(l.picture);
    if (picture === undefined) continue;
    const placed = placePerformer(
      { ...tools, active: { ...tools.active, ride: { ...ride, placement: l.placement } } },
      picture,
      // Several pictures at once: a room holds one.
      { ...on, room: undefined },
    );
    if (placed !== null) all = all === null ? placed : layNear(all, placed);
  }
  return all;
}

/** `near` over `far` (T. Porter & T. Duff, Compositing Digital Images, SIGGRAPH 1984), on the box that holds both. */
function layNear(far: Placed, near: Placed): Placed {
  const box: Box = [
    Math.min(far.box[0], near.box[0]),
    Math.min(far.box[1], near.box[1]),
    Math.max(far.box[2], near.box[2]),
    Math.max(far.box[3], near.box[3]),
  ];
  const out = createPicture(box[2] - box[0], box[3] - box[1], 4),
    n = out.width * out.height;
  for (const p of [far, near]) {
    const { width: w, height: h, data } = p.picture,
      m = w * h;
    for (let y = 0, i = 0; y < h; y++) {
      for (let x = 0, o = (y + p.box[1] - box[1]) * out.width + p.box[0] - box[0]; x < w; x++, i++, o++) {
        const a = data[3 * m + i]!;
        if (a === 0) continue;
        for (let c = 0; c < 4; c++) out.data[c * n + o] = data[c * m + i]! + (1 - a) * out.data[c * n + o]!;
      }
    }
  }
  return { picture: out, box };
}

/** Share of the upright's length below the foot at which the floor's depth is taken; paws lie about so low. */
const FLOOR_AT = 0.08;

/** A view measured in take pixels, in larger ones. */
function inUnits(view: NonNullable<RideStep['view']>, unit: number): NonNullable<RideStep['view']> {
  return unit === 1
    ? view
    : {
        ...view,
        foot: [view.foot[0] / unit, view.foot[1] / unit],
        top: [view.top[0] / unit, view.top[1] / unit],
        takeFocalPx: view.takeFocalPx / unit,
      };
}

/** The body's depth on a frame as the take told it; null where it told none. */
function toldDepth(ground: GroundStep | null, frame: number): StandingDepth['bodies'] | null {
  const at = groundAt(ground, frame),
    bodies = ground === null || at === null ? [] : bodiesAt(ground, at);
  return bodies.some((b) => b.body !== undefined) ? bodies : null;
}

function viewShift(
  view: NonNullable<RideStep['view']>,
  performer: PerformerPicture,
  scale: number,
  bodies: StandingDepth['bodies'] | null,
  to: ReturnType<typeof viewOnFrame>,
): ViewShift | null {
  const lx = view.top[0] - view.foot[0],
    ly = view.top[1] - view.foot[1],
    l = Math.hypot(lx, ly);
  const e = view.takeElevationDeg * RAD_PER_DEG;
  // The take is placed so that its upright, shortened as the plate's sight shortens it, has the length marked
  // (body/propose-view.ts).
  const sight = sightBetween(
    view.takeElevationDeg,
    to.elevationDeg,
    view.takeFocalPx,
    view.plateFocalPx / scale,
    l,
    (l * Math.cos(shiftedElevation(view) * RAD_PER_DEG)) / Math.cos(e),
    to.turnDeg,
  );
  const field = frontField(
    plane(performer.picture, 3),
    performer.picture.width,
    performer.picture.height,
    performer.box[0],
    performer.box[1],
    view.floor ? Math.max(0, view.takeElevationDeg) * RAD_PER_DEG : 0,
    bodies === null ? null : { bodies, foot: view.foot, elevation: e, farther: fartherFoot(sight) },
  );
  if (field === null) return null;
  return {
    field,
    floor: view.floor && view.takeElevationDeg > 2 ? floorBefore(sight, -FLOOR_AT * l) / (FLOOR_AT * l) : 0,
    foot: view.foot,
    along: [lx / l, ly / l],
    sight,
  };
}

function boundsThrough(matrices: readonly Mat3[], box: Box, pad: number): Box {
  let x0 = Infinity,
    y0 = Infinity,
    x1 = -Infinity,
    y1 = -Infinity;
  for (const m of matrices) {
    for (const [x, y] of [
      [box[0], box[1]],
      [box[2], box[1]],
      [box[0], box[3]],
      [box[2], box[3]],
    ] as const) {
      const w = m[6] * x + m[7] * y + m[8];
      const u = (m[0] * x + m[1] * y + m[2]) / w,
        v = (m[3] * x + m[4] * y + m[5]) / w;
      x0 = Math.min(x0, u);
      x1 = Math.max(x1, u);
      y0 = Math.min(y0, v);
      y1 = Math.max(y1, v);
    }
  }
  return [Math.floor(x0 - pad), Math.floor(y0 - pad), Math.ceil(x1 + pad), Math.ceil(y1 + pad)];
}

function clip(box: Box, widthPx: number, heightPx: number): Box | null {
  const b: Box = [Math.max(0, box[0]), Math.max(0, box[1]), Math.min(widthPx, box[2]), Math.min(heightPx, box[3])];
  return b[2] > b[0] && b[3] > b[1] ? b : null;
}

/** The ground of a frame; frames outside the step's span take its last. */
export function groundAt(ground: GroundStep | null, frame: number): GroundFrame | null {
  return ground === null
    ? null
    : (ground.frames.find((f) => f.frame === frame) ?? ground.frames[ground.frames.length - 1] ?? null);
}

/** Take pixels → plate pixels at a frame, the shutter's middle. */
export function takeToPlate(tools: ComposeTools, frame: number, takeFrame: number): Mat3 {
  const { ride, steady } = tools.active;
  const steadied = steadyMatrix(steady, takeFrame);
  return ride === null ? steadied : multiply(placementAt(ride, frame), steadied);
}
