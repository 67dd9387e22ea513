/**
 * Where the performer goes: take pixels → plate pixels for every plate frame, from where its ground and top are marked
 * in the take and in the plate, carried by the plate's measured motion. Sub-pixel throughout; nothing is rounded.
 */
import { mapTuple } from '../../core/tuples.js';
import { PlatewrightError } from '../../core/errors.js';
import { multiply, type Mat3 } from '../../geometry/mat3.js';
import { carryPoint, type Carrier, type Keyed } from './carrier.js';
import type { RideStep } from '../types.js';

export type Px = readonly [number, number];

/** Where the performer stands on a plate frame: foot and top, plate pixels. */
export interface Stand {
  readonly frame: number;
  readonly ground: Px;
  readonly top: Px;
}

/**
 * The matrix that lays take ground on plate ground and take top on plate top. `across` widens (above 1) or narrows the
 * picture square to the upright. `mirror` flips the take about its upright.
 * Throws `PW-JOIN-STAND` where a ground and top coincide.
 */
export function placeUpright(
  take: { readonly ground: Px; readonly top: Px },
  plate: { readonly ground: Px; readonly top: Px },
  across: number,
  mirror: boolean,
): Mat3 {
  const tx = take.top[0] - take.ground[0],
    ty = take.top[1] - take.ground[1];
  const px = plate.top[0] - plate.ground[0],
    py = plate.top[1] - plate.ground[1];
  const lt = Math.hypot(tx, ty),
    lp = Math.hypot(px, py);
  if (!(lt > 1) || !(lp > 1)) {
    throw new PlatewrightError(
      'PW-JOIN-STAND',
      `the performer's ground and top are ${lt.toFixed(1)} px apart in the take and ${lp.toFixed(1)} px in the ` +
        'plate; mark them where they are, at least a few pixels apart',
    );
  }
  const scale = lp / lt;
  // Into the take's upright frame (u across, v along), scale there, out along the plate's upright.
  const ut = [tx / lt, ty / lt] as const,
    up = [px / lp, py / lp] as const;
  const side = mirror ? -1 : 1;
  const toUpright: Mat3 = [
    -ut[1],
    ut[0],
    ut[1] * take.ground[0] - ut[0] * take.ground[1],
    ut[0],
    ut[1],
    -(ut[0] * take.ground[0] + ut[1] * take.ground[1]),
    0,
    0,
    1,
  ];
  const stretch: Mat3 = [scale * across * side, 0, 0, 0, scale, 0, 0, 0, 1];
  const fromUpright: Mat3 = [-up[1], up[0], plate.ground[0], up[0], up[1], plate.ground[1], 0, 0, 1];
  return multiply(fromUpright, multiply(stretch, toUpright));
}

/** Ground and top of the performer in the plate on any frame. */
export function carryStand(
  stands: readonly Stand[],
  carrier: Carrier,
): (frame: number) => { ground: [number, number]; top: [number, number] } {
  const ground: Keyed[] = stands.map((s) => ({ frame: s.frame, point: s.ground }));
  const top: Keyed[] = stands.map((s) => ({ frame: s.frame, point: s.top }));
  const g = carryPoint(ground, carrier),
    t = carryPoint(top, carrier);
  return (n) => ({ ground: g(n), top: t(n) });
}

/** ln of how far the carried upright's length may leave that of the marks beside it (own choice). */
const STRAY = Math.log(1.06);

/**
 * Does a followed region go where the marks go? Each mark between two others is told from the rest, once with the
 * region's motion and once with the set's (leave-one-out): the region is trusted where it tells them at least as well,
 * and where the upright that it carries stays about as long as the marks on either side have it. With fewer than three
 * marked frames there is nothing to tell, and it is trusted.
 */
export function followsMarks(stands: readonly Stand[], region: Carrier, set: Carrier): boolean {
  const sorted = [...stands].sort((a, b) => a.frame - b.frame);
  if (new Set(sorted.map((s) => s.frame)).size < 3) return true;
  const misses = (carrier: Carrier): number => {
    let sum = 0;
    for (let i = 1; i < sorted.length - 1; i++) {
      const s = sorted[i]!,
        told = carryStand(
          sorted.filter((_, k) => k !== i),
          carrier,
        )(s.frame);
      sum +=
        (told.ground[0] - s.ground[0]) ** 2 +
        (told.ground[1] - s.ground[1]) ** 2 +
        (told.top[0] - s.top[0]) ** 2 +
        (told.top[1] - s.top[1]) ** 2;
    }
    return sum;
  };
  if (misses(region) > misses(set)) return false;
  const length = (s: { readonly ground: Px; readonly top: Px }): number =>
    Math.log(Math.max(1, Math.hypot(s.top[0] - s.ground[0], s.top[1] - s.ground[1])));
  const told = carryStand(sorted, region);
  for (let i = 1; i < sorted.length; i++) {
    const a = sorted[i - 1]!,
      b = sorted[i]!,
      low = Math.min(length(a), length(b)) - STRAY,
      high = Math.max(length(a), length(b)) + STRAY;
    for (let f = a.frame + 1; f < b.frame; f++) {
      const l = length(told(f));
      if (l < low || l > high) return false;
    }
  }
  return true;
}

/** Take pixels mirrored about the line from ground to top. */
export function mirrorAbout(ground: Px, top: Px): Mat3 {
  const x = top[0] - ground[0],
    y = top[1] - ground[1],
    l2 = x * x + y * y;
  const a = (x * x - y * y) / l2,
    b = (2 * x * y) / l2;
  return [a, b, ground[0] - a * ground[0] - b * ground[1], b, -a, ground[1] - b * ground[0] + a * ground[1], 0, 0, 1];
}

/** Matrix of the step at a plate frame, mirrored where the step says so; frames outside the span take its nearest. */
export function placementAt(step: RideStep, frame: number): Mat3 {
  const plain = listedPlacement(step, frame);
  return step.mirror && step.upright !== undefined
    ? multiply(plain, mirrorAbout(step.upright.ground, step.upright.top))
    : plain;
}

function listedPlacement(step: RideStep, frame: number): Mat3 {
  const list = step.placement;
  const first = list[0];
  if (first === undefined)
    throw new PlatewrightError(
      'PW-JOIN-RIDE',
      'the ride step places the performer on no frame; mark where it stands ("stand") or what it rides on ("carry")',
    );
  const i = Math.min(list.length - 1, Math.max(0, frame - first.frame));
  const guess = list[i]!;
  if (guess.frame === frame) return guess.matrix;
  let best = first;
  for (const p of list) if (Math.abs(p.frame - frame) < Math.abs(best.frame - frame)) best = p;
  return best.matrix;
}

/**
 * Matrices over which the picture is smeared for the plate's shutter: the placement between the neighbouring frames at
 * even steps inside the open shutter, enough of them that no step exceeds half a pixel at the corners of `box`. One
 * matrix where the motion or the shutter is too small to show.
 * @param beside the frames before and after that show another picture (held-plate.ts)
 */
export function shutterPlacements(
  step: RideStep,
  frame: number,
  box: readonly [number, number, number, number],
  beside: readonly [number, number] = [frame - 1, frame + 1],
  most = 24,
): Mat3[] {
  const here = placementAt(step, frame);
  const open = step.motionBlur / 360;
  if (!(open > 0.02)) return [here];
  const before = placementAt(step, beside[0]),
    after = placementAt(step, beside[1]);
  const half = open / 2;
  const at = (t: number): Mat3 => {
    const other = t < 0 ? before : after,
      k = Math.abs(t);
    return mapTuple(here, (v, i) => v + (other[i]! - v) * k);
  };
  const start = at(-half),
    end = at(half);
  let way = 0;
  for (const [x, y] of [
    [box[0], box[1]],
    [box[2], box[1]],
    [box[0], box[3]],
    [box[2], box[3]],
  ] as const) {
    const w0 = start[6] * x + start[7] * y + start[8],
      w1 = end[6] * x + end[7] * y + end[8];
    way = Math.max(
      way,
      Math.hypot(
        (start[0] * x + start[1] * y + start[2]) / w0 - (end[0] * x + end[1] * y + end[2]) / w1,
        (start[3] * x + start[4] * y + start[5]) / w0 - (end[3] * x + end[4] * y + end[5]) / w1,
      ),
    );
  }
  if (way < 0.5) return [here];
  const count = Math.min(most, Math.max(2, Math.ceil(way / 0.75)));
  return Array.from({ length: count }, (_, i) => at(-half + (2 * half * (i + 0.5)) / count));
}
