/**
 * A drawing in several layers, placed in the plate's view and moved by its solved camera. At one frame (the one of the
 * plate's stand or carry mark) all layers lie as they were drawn; each is a plane square to the camera's line of sight
 * there, at its own distance, and on other frames shows through the homography that the camera's move induces in its
 * plane, K (R + t nᵀ/d) K⁻¹ (Hartley & Zisserman, *Multiple View Geometry*, 2004, equation 13.2). A camera that only
 * turns shows no parallax: then all layers follow the set, whatever their distance.
 */
import { PlatewrightError } from '../../core/errors.js';
import { apply, invert, multiply, type Mat3 } from '../../geometry/mat3.js';
import { homographyFromQuad } from '../../geometry/homography.js';
import type { MarksFile } from '../../plate/marks/marks.js';
import {
  AT_HOME,
  chain,
  inversePose,
  movedPlane,
  planeHomographyCentred,
  type Pose,
} from '../../plate/travel/travel-pose.js';
import type { PlateMeasures, Travel } from '../../plate/types.js';
import type { Carrier } from './carrier.js';
import { marksOf, type MarkOf, type ProposalInput } from '../proposal-input.js';
import { placeUpright, type Stand } from './ride.js';
import type { RideLayer, RideStep } from '../types.js';

/** Is the take a drawing in layers? */
export function isLayered(marks: MarksFile): boolean {
  return marks.marks.some((m) => m.kind === 'layer');
}

/** A layer that the camera comes closer to than this share of its distance is passed. */
const PASSED = 0.08;

/**
 * The ride step's placements for every layer, and the sentence that says how they were had.
 * @throws `PW-JOIN-TRAVEL` where the camera travels and its way is not known, `PW-JOIN-LAYER` where a distance is
 * missing or can't be used
 */
export function proposeLayers(
  input: ProposalInput,
  stands: readonly Stand[],
  set: Carrier,
): { ride: Pick<RideStep, 'placement' | 'layers'>; why: string } {
  const pm = input.plate.measures,
    span = pm.span;
  const marks = marksOf(input.take.marks, 'layer')
    .map((l) => l.mark)
    .sort((a, b) => a.frame - b.frame);
  const twice = marks.find((m, i) => marks[i - 1]?.frame === m.frame);
  if (twice !== undefined)
    throw new PlatewrightError(
      'PW-JOIN-LAYER',
      `picture ${twice.frame + 1} of the drawing has two layer marks; keep one`,
    );
  const whole = drawnOnPlate(input, stands);
  const at = whole.frame;
  const moving = movingOf(pm);
  const every = Array.from({ length: span.out - span.in }, (_, i) => span.in + i);
  if (moving.travel === null) {
    const home = invert(set.at(at));
    const placement = every.map((frame) => ({ frame, matrix: multiply(multiply(set.at(frame), home), whole.matrix) }));
    // The far ones first where distances are told, else as they come.
    const order = [...marks].sort(
      (a, b) => (b.distance ?? b.share ?? 0) - (a.distance ?? a.share ?? 0) || a.frame - b.frame,
    );
    return {
      ride: { placement, layers: order.map((m) => ({ picture: m.frame, distance: null, placement })) },
      why: `${marks.length} layers ${whole.how}, together: ${moving.why}`,
    };
  }
  const { travel } = moving;
  const poses = new Map(travel.frames.map((f) => [f.frame, { r: f.rotation, t: f.translation } satisfies Pose]));
  const poseAt = (n: number): Pose => poses.get(Math.min(span.out - 1, Math.max(span.in, n))) ?? AT_HOME;
  const back = inversePose(poseAt(at));
  const distances = marks.map((m) => distanceOf(m, pm, travel, poseAt(at), stands, whole));
  const centre = (m: Mat3): Mat3 =>
    multiply(
      [1, 0, pm.widthPx / 2, 0, 1, pm.heightPx / 2, 0, 0, 1],
      multiply(m, [1, 0, -pm.widthPx / 2, 0, 1, -pm.heightPx / 2, 0, 0, 1]),
    );
  const layers = marks.map((m, i): RideLayer => {
    const d = distances[i]!;
    const placement = every.map((frame) => {
      const p = chain(poseAt(frame), back);
      // Along the line of sight, how far the layer still is.
      const left = (p.r[8] * d + p.t[2]) / d;
      if (left < PASSED)
        throw new PlatewrightError(
          'PW-JOIN-LAYER',
          `picture ${m.frame + 1} of the drawing is ${d.toFixed(2)} ${travel.unit} from the camera, ` +
            `which passes it on frame ${frame}; put it farther away, or end the pick sooner`,
        );
      return { frame, matrix: multiply(centre(planeHomographyCentred(p, [0, 0, 1], d, travel.focalPx)), whole.matrix) };
    });
    return { picture: m.frame, distance: d, placement };
  });
  layers.sort((a, b) => b.distance! - a.distance! || a.picture - b.picture);
  const near = layers[layers.length - 1]!,
    far = layers[0]!;
  let apart = 0;
  const [x, y] = whole.middle;
  near.placement.forEach((p, i) => {
    const a = apply(p.matrix, x, y),
      b = apply(far.placement[i]!.matrix, x, y);
    apart = Math.max(apart, Math.hypot(a[0] - b[0], a[1] - b[1]));
  });
  const unsure = apart * ((travel.way.sd ?? 0) / Math.max(1e-9, travel.way.value ?? 1));
  return {
    ride: { placement: near.placement, layers },
    why:
      `${marks.length} layers ${whole.how} and moved by the camera's own way (${travel.way.value!.toFixed(2)} ± ` +
      `${travel.way.sd!.toFixed(2)} ${travel.unit} at most): from ${near.distance!.toFixed(1)} to ` +
      `${far.distance!.toFixed(1)} ${travel.unit} away, which shows as up to ${apart.toFixed(1)} ± ` +
      `${unsure.toFixed(1)} px between the nearest and the farthest`,
  };
}

/** How the plate's camera moves, as layers need it. */
function movingOf(pm: PlateMeasures): { travel: Travel | null; why: string } {
  const { camera } = pm;
  if (pm.travel !== undefined) return { travel: pm.travel, why: '' };
  if (camera === undefined || camera.move === 'static')
    return { travel: null, why: 'the camera stands still, so none moves' };
  if (camera.frames.some((f) => f.panDeg !== null))
    return {
      travel: null,
      why:
        `the camera only turns (${camera.move}), and a turning camera shows no parallax, ` +
        `so all follow the set's motion`,
    };
  const reason =
    pm.notes?.find((n) => n.startsWith('travel: '))?.slice(8) ??
    'how the camera looks at the ground was not measured (mark an upright of known height and a pair of ground lines)';
  if (camera.move === 'handheld')
    return {
      travel: null,
      why:
        `a hand's sway was measured, but not whether the camera travels with it (${reason}), ` +
        `so all follow the set's motion without parallax`,
    };
  throw new PlatewrightError(
    'PW-JOIN-TRAVEL',
    `the plate's camera travels (${camera.move}), so layers at several depths move apart, ` +
      `and how far can't be known: ${reason}`,
    { kind: 'finding' },
  );
}

/** Distance of a layer along the line of sight at the frame it is placed on, in the travel's unit. */
function distanceOf(
  m: MarkOf<'layer'>,
  pm: PlateMeasures,
  travel: Travel,
  pose: Pose,
  stands: readonly Stand[],
  whole: { readonly matrix: Mat3 },
): number {
  const ground = movedPlane(travel.groundNormal, travel.height, pose);
  const onGround = (p: readonly [number, number], what: string): number => {
    const k =
      (ground.n[0] * (p[0] - pm.widthPx / 2) + ground.n[1] * (p[1] - pm.heightPx / 2)) / travel.focalPx + ground.n[2];
    if (!(k > 1e-3))
      throw new PlatewrightError(
        'PW-JOIN-LAYER',
        `${what} lies above the plate's horizon, so it can't stand on the ground; give the layer's distance in metres`,
      );
    return ground.d / k;
  };
  if (m.distance !== undefined) {
    if (travel.unit !== 'm')
      throw new PlatewrightError(
        'PW-JOIN-LAYER',
        `picture ${m.frame + 1} of the drawing is given in metres, but no length is known in the plate; ` +
          `mark an upright with its height, or give the layer's distance as a share of the stand mark's`,
      );
    return m.distance;
  }
  if (m.foot !== undefined)
    return onGround(apply(whole.matrix, m.foot[0], m.foot[1]), `the foot of picture ${m.frame + 1}`);
  if (m.share !== undefined) {
    const stand = stands[0];
    if (stand === undefined)
      throw new PlatewrightError(
        'PW-JOIN-LAYER',
        `picture ${m.frame + 1} of the drawing is given as a share, and no mark says of what; ` +
          `add {"kind":"stand","ground":[x,y],"top":[x,y]} to the plate's marks`,
      );
    return m.share * onGround(stand.ground, 'the stand mark');
  }
  throw new PlatewrightError(
    'PW-JOIN-LAYER',
    `picture ${m.frame + 1} of the drawing does not say how far away it is, and the plate's camera travels; ` +
      `give its layer mark a distance (metres), a share (of the stand mark's distance) or a foot (the point that ` +
      'stands on the ground)',
  );
}

/** Where the drawing as a whole lies on the plate, at which frame, and the middle of it in its own pixels. */
function drawnOnPlate(
  input: ProposalInput,
  stands: readonly Stand[],
): { matrix: Mat3; frame: number; how: string; middle: [number, number] } {
  const pm = input.plate.measures,
    tm = input.take.measures;
  const middle: [number, number] = [tm.widthPx / 2, tm.heightPx / 2];
  const carry = marksOf(input.plate.marks, 'carry').find((c) => c.mark.region.length === 4);
  if (carry !== undefined) {
    const matrix = homographyFromQuad(
      [
        [0, 0],
        [tm.widthPx, 0],
        [tm.widthPx, tm.heightPx],
        [0, tm.heightPx],
      ],
      carry.mark.region,
    );
    if (matrix === null)
      throw new PlatewrightError(
        'PW-JOIN-PIN',
        `the region's corners at frame ${carry.frame} lie on a line; mark it again`,
      );
    return { matrix, frame: carry.frame, how: `laid into the four corners marked on frame ${carry.frame}`, middle };
  }
  const performer = marksOf(input.take.marks, 'performer')[0],
    stand = stands[0];
  if (performer !== undefined && stand !== undefined) {
    return {
      matrix: placeUpright({ ground: performer.mark.ground, top: performer.mark.top }, stand, 1, false),
      frame: stand.frame,
      how: `laid so that the drawing's ground and top meet the stand mark of frame ${stand.frame}`,
      middle,
    };
  }
  const k = Math.max(pm.widthPx / tm.widthPx, pm.heightPx / tm.heightPx);
  const frame = stand?.frame ?? pm.travel?.atFrame ?? pm.span.in;
  return {
    matrix: [k, 0, pm.widthPx / 2 - k * middle[0], 0, k, pm.heightPx / 2 - k * middle[1], 0, 0, 1],
    frame,
    how: `laid over the whole picture as it stands on frame ${frame} (no marks say where in it)`,
    middle,
  };
}
