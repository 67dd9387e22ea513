/**
 * The steady step: the take's own motion at the performer, from its camera's measured move and the performer's marks,
 * so that it can be taken out.
 */
import { RAD_PER_DEG } from '../../core/angles.js';
import { apply, invert, multiply } from '../../geometry/mat3.js';
import { marksOf, type ProposalInput } from '../proposal-input.js';
import type { SteadyStep } from '../performer-steps.js';
import { cameraCarrier, carryPoint, STILL } from './carrier.js';

/** @param takeFrame the frame on which the performer's marks are taken as its place; everything is brought there */
export function proposeSteady(input: ProposalInput, takeFrame: number): SteadyStep {
  const tm = input.take.measures;
  const camera = tm.camera;
  const marks = marksOf(input.take.marks, 'performer');
  const moving = camera !== undefined && camera.move !== 'static';
  if (!moving && marks.length < 2)
    return {
      step: 'steady',
      on: false,
      anchor: [],
      why:
        camera === undefined
          ? "the take's camera move was not measured: where it was held in a hand, mark the performer on several frames"
          : "the take's camera stands still",
    };
  const carrier = moving ? cameraCarrier(camera) : STILL;
  const first = marks.find((m) => m.frame === takeFrame) ?? marks[0];
  if (first === undefined)
    return {
      step: 'steady',
      on: false,
      anchor: [],
      why: "no performer mark says where the anchor is; add one to the take's marks",
    };
  const list = marks.map((m) => ({ frame: m.frame, ground: m.mark.ground, top: m.mark.top }));
  const ground = carryPoint(
    list.map((m) => ({ frame: m.frame, point: m.ground })),
    carrier,
  );
  const top = carryPoint(
    list.map((m) => ({ frame: m.frame, point: m.top })),
    carrier,
  );
  const pose = (f: number): { x: number; y: number; angleDeg: number; scale: number } => {
    const g = ground(f),
      t = top(f);
    if (camera?.of === 'ground' && moving) {
      // The ground's own plane says nothing of what stands on it but its turn and scale where it stands, along the
      // picture's breadth.
      const m = multiply(carrier.at(f), invert(carrier.at(first.frame))),
        [ax, ay] = apply(m, first.mark.ground[0] - 1, first.mark.ground[1]),
        [bx, by] = apply(m, first.mark.ground[0] + 1, first.mark.ground[1]);
      return {
        x: g[0],
        y: g[1],
        angleDeg: Math.atan2(by - ay, bx - ax) / RAD_PER_DEG,
        scale: Math.hypot(bx - ax, by - ay) / 2,
      };
    }
    return {
      x: g[0],
      y: g[1],
      angleDeg: Math.atan2(t[0] - g[0], -(t[1] - g[1])) / RAD_PER_DEG,
      scale: Math.hypot(t[0] - g[0], t[1] - g[1]),
    };
  };
  // The reference pose comes first: everything is brought to where the performer was marked.
  const anchor = [{ frame: first.frame, ...pose(first.frame) }];
  for (let f = tm.span.in; f < tm.span.out; f++) if (f !== first.frame) anchor.push({ frame: f, ...pose(f) });
  let way = 0;
  for (const a of anchor) way = Math.max(way, Math.hypot(a.x - anchor[0]!.x, a.y - anchor[0]!.y));
  return {
    step: 'steady',
    on: way > 0.15,
    anchor,
    why: moving
      ? `the take's camera moves (${camera.move}): up to ${way.toFixed(1)} px at the performer are taken out`
      : `the performer was marked on ${marks.length} frames: up to ${way.toFixed(1)} px are taken out`,
  };
}
