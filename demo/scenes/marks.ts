// Marks that a careful person would make on the plates and takes, computed from the scenes: files of the program's own
// marks format. Frames count from the pick's (the take's) first frame.
import { project, shadowOf, type Camera } from './camera.js';
import type { Pick } from './guests.js';
import { pane } from './indoor-shots.js';
import { headOutline } from './head-outline.js';
import { CHEST_PATCH, CONDUCTOR_HEIGHT, ofPerson } from './people.js';
import { conductorPose } from './street-shots.js';
import { RABBIT_HEIGHT } from './rabbit.js';
import { PEG_HEIGHT, SEAM_X, SEAM_Z } from './take-scene.js';
import { pegOf, type Take } from './takes.js';
import { add, type Point, type Vec3 } from './vector.js';
import {
  type Mark,
  type Standing,
  around,
  every,
  lines,
  poly,
  round,
  spread,
  uprightAndShadow,
} from './mark-shapes.js';
import { FACE_FRAME, HELD_FRAME, headOf, headShade, heldAt } from './head-marks.js';

/** The marks file of a pick. */
export function pickMarks(pick: Pick): { frame: number; marks: Mark[] } {
  const { shot } = pick;
  const count = pick.out - pick.in;
  const local = (f: number): Record<string, unknown> => shot.truth(f + pick.in);
  const cameraAt = (f: number): Camera => shot.camera(f + pick.in);
  const marks: Mark[] = [];
  let frame = 0;
  const stand = (f: number): void => {
    if (!pick.guest) return;
    const at = pick.guest.at(f + pick.in);
    marks.push({
      kind: 'stand',
      frame: f,
      ground: round(project(cameraAt(f), at)),
      top: round(project(cameraAt(f), add(at, [0, RABBIT_HEIGHT, 0]))),
      height: RABBIT_HEIGHT,
    });
  };
  const first = local(0) as Record<string, unknown>;
  switch (pick.id) {
    case 'poster':
      marks.push(...uprightAndShadow(0, first['post'] as Standing, false), lines(0, first['groundLines']));
      for (const f of spread(count, 5))
        marks.push({ kind: 'carry', frame: f, region: poly((local(f)['flat'] as { board: Point[] }).board) });
      break;
    case 'platform':
      marks.push(
        ...uprightAndShadow(0, first['passenger'] as Standing),
        ...uprightAndShadow(0, first['post'] as Standing),
        lines(0, first['groundLines']),
      );
      stand(0);
      break;
    case 'pan': {
      const late = count - 8;
      marks.push(
        ...uprightAndShadow(0, first['passenger'] as Standing),
        lines(0, first['groundLines']),
        ...uprightAndShadow(late, local(late)['post'] as Standing),
        ...uprightAndShadow(late, local(late)['passenger'] as Standing),
        lines(late, local(late)['groundLines']),
      );
      for (const f of spread(count, 9))
        marks.push({
          kind: 'erase',
          frame: f,
          polygon: around(cameraAt(f), (local(f)['passenger'] as Standing).position, 0.4, 1.74),
        });
      stand(0);
      break;
    }
    case 'punch':
      marks.push(lines(0, first['groundLines']), ...uprightAndShadow(0, first['bell'] as Standing));
      for (const f of spread(count, 9))
        marks.push({ kind: 'front', frame: f, polygon: heldAt(cameraAt(f), f + pick.in, HELD_FRAME + pick.in) });
      {
        // The panels behind the counter.
        const c = cameraAt(0);
        const seen = (list: readonly Vec3[]): [number, number][] => poly(list.map((p) => project(c, p)));
        marks.push({
          kind: 'receiver',
          frame: 0,
          surface: 'wall',
          polygon: seen([
            [-0.9, 0, 0.95],
            [0.9, 0, 0.95],
            [0.9, 0.33, 1.25],
            [-0.9, 0.33, 1.25],
          ]),
          base: seen([
            [-0.6, 0, 1.25],
            [0.6, 0, 1.25],
          ]),
        });
      }
      stand(0);
      break;
    case 'conductor':
      frame = FACE_FRAME;
      for (const u of local(frame)['uprights'] as Standing[]) marks.push(...uprightAndShadow(frame, u, false));
      for (const f of spread(count, 7)) {
        const at = pick.guest?.at(f + pick.in) ?? [0, 0, 0];
        const c = cameraAt(f);
        const man = { position: [-0.08, 0, 1.7] as Vec3, yaw: local(f)['yawDeg'] as number };
        const chest = poly(CHEST_PATCH.map((q) => project(c, ofPerson(man, q))));
        marks.push({
          kind: 'carry',
          frame: f,
          region: chest,
          ground: round(project(c, at)),
          top: round(project(c, add(at, [0, RABBIT_HEIGHT, 0]))),
          height: RABBIT_HEIGHT,
        });
        marks.push({ kind: 'pose', frame: f, yawDeg: Math.round(man.yaw * 10) / 10 });
        marks.push({ kind: 'shade', frame: f, polygon: poly(headShade(man, at, shot.sun).map((p) => project(c, p))) });
      }
      // His head, all along: the program knows when the shoulder comes out from behind it.
      for (const f of every(count, 3))
        marks.push({ kind: 'front', frame: f, polygon: poly(headOutline(conductorPose(f + pick.in), cameraAt(f))) });
      {
        const c = cameraAt(frame);
        const man = { position: [-0.08, 0, 1.7] as Vec3, yaw: local(frame)['yawDeg'] as number };
        const face = project(c, ofPerson(man, [0, 1.614, 0]));
        const k = c.focalPx / (man.position[2] - c.position[2]);
        marks.push({
          kind: 'head',
          frame,
          ellipse: [...round(face), Math.round(k * 0.112 * 10) / 10, Math.round(k * 0.099 * 10) / 10, 0],
          yawDeg: Math.round(man.yaw * 10) / 10,
        });
        const waist = project(c, add(man.position, [0, 1.0, 0]));
        const crown = project(c, add(man.position, [0, CONDUCTOR_HEIGHT, 0]));
        marks.push({ kind: 'body', frame, axis: [round(waist), round(crown)] });
      }
      break;
    case 'window':
      for (const u of first['uprights'] as Standing[]) marks.push(...uprightAndShadow(0, u, false));
      marks.push(...uprightAndShadow(0, first['jar'] as Standing), lines(0, first['groundLines']), {
        kind: 'pane',
        frame: 0,
        polygon: poly(pane().corners),
      });
      stand(0);
      break;
    case 'railing':
      for (const b of first['bollards'] as Standing[]) marks.push(...uprightAndShadow(0, b));
      marks.push(lines(0, first['groundLines']));
      for (const f of spread(count, 9)) {
        for (const part of Object.values(local(f)['front'] as Record<string, Point[]>))
          marks.push({ kind: 'front', frame: f, polygon: poly(part) });
      }
      stand(0);
      break;
  }
  return { frame, marks };
}

/** The marks file of a take. The studio knows its own lens, so the focal length stands in the file. */
export function takeMarks(t: Take): { frame: number; focalPx: number; marks: Mark[] } {
  const c = t.camera;
  const peg = pegOf(t);
  const marks: Mark[] = [];
  const foot = project(c, peg);
  // Where the frame cuts the peg's foot off, the mark lies below the frame line, where the peg would meet the cloth.
  marks.push({
    kind: 'upright',
    frame: 0,
    foot: round(foot),
    top: round(project(c, add(peg, [0, PEG_HEIGHT, 0]))),
    height: PEG_HEIGHT,
  });
  marks.push({
    kind: 'shadow',
    frame: 0,
    foot: round(foot),
    tip: round(project(c, shadowOf(add(peg, [0, PEG_HEIGHT, 0]), t.sun))),
    height: PEG_HEIGHT,
  });
  marks.push({
    kind: 'groundLines',
    frame: 0,
    lines: SEAM_X.map((x) => SEAM_Z.map((z) => round(project(c, [x, 0, z])))),
  });
  marks.push({
    kind: 'performer',
    frame: 0,
    ground: round(project(c, [0, 0, 0])),
    top: round(project(c, [0, RABBIT_HEIGHT, 0])),
    height: RABBIT_HEIGHT,
  });
  const head = headOf(t, 0);
  marks.push({
    kind: 'head',
    frame: 0,
    ellipse: [...round(head.centre), head.rx, head.ry, 0],
    yawDeg: Math.round((t.yaw(0) + (t.pose(0).headYaw ?? 0)) * 10) / 10,
  });
  const turns = Math.abs(t.yaw(t.frames - 1) - t.yaw(0)) > 20;
  if (turns)
    for (const f of spread(t.frames, 9)) marks.push({ kind: 'pose', frame: f, yawDeg: Math.round(t.yaw(f) * 10) / 10 });
  return { frame: 0, focalPx: c.focalPx, marks };
}
