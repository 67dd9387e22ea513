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

/** A pick as its marks are computed: frames count from its first. */
interface Marked {
  readonly pick: Pick;
  readonly count: number;
  readonly truthAt: (f: number) => Record<string, unknown>;
  readonly cameraAt: (f: number) => Camera;
}

/** Where the guest stands on a frame. */
function standMarks({ pick, cameraAt }: Marked, f: number): Mark[] {
  if (!pick.guest) return [];
  const at = pick.guest.at(f + pick.in);
  return [
    {
      kind: 'stand',
      frame: f,
      ground: round(project(cameraAt(f), at)),
      top: round(project(cameraAt(f), add(at, [0, RABBIT_HEIGHT, 0]))),
      height: RABBIT_HEIGHT,
    },
  ];
}

function posterMarks(m: Marked): Mark[] {
  const first = m.truthAt(0);
  return [
    ...uprightAndShadow(0, first['post'] as Standing, false),
    lines(0, first['groundLines']),
    ...spread(m.count, 5).map(
      (f): Mark => ({ kind: 'carry', frame: f, region: poly((m.truthAt(f)['flat'] as { board: Point[] }).board) }),
    ),
  ];
}

function platformMarks(m: Marked): Mark[] {
  const first = m.truthAt(0);
  return [
    ...uprightAndShadow(0, first['passenger'] as Standing),
    ...uprightAndShadow(0, first['post'] as Standing),
    lines(0, first['groundLines']),
    ...standMarks(m, 0),
  ];
}

function panMarks(m: Marked): Mark[] {
  const first = m.truthAt(0);
  const late = m.count - 8;
  return [
    ...uprightAndShadow(0, first['passenger'] as Standing),
    lines(0, first['groundLines']),
    ...uprightAndShadow(late, m.truthAt(late)['post'] as Standing),
    ...uprightAndShadow(late, m.truthAt(late)['passenger'] as Standing),
    lines(late, m.truthAt(late)['groundLines']),
    ...spread(m.count, 9).map(
      (f): Mark => ({
        kind: 'erase',
        frame: f,
        polygon: around(m.cameraAt(f), (m.truthAt(f)['passenger'] as Standing).position, 0.4, 1.74),
      }),
    ),
    ...standMarks(m, 0),
  ];
}

function punchMarks(m: Marked): Mark[] {
  const first = m.truthAt(0);
  const { cameraAt, pick } = m;
  const seen = (list: readonly Vec3[]): [number, number][] => poly(list.map((p) => project(cameraAt(0), p)));
  return [
    lines(0, first['groundLines']),
    ...uprightAndShadow(0, first['bell'] as Standing),
    ...spread(m.count, 9).map(
      (f): Mark => ({ kind: 'front', frame: f, polygon: heldAt(cameraAt(f), f + pick.in, HELD_FRAME + pick.in) }),
    ),
    // The panels behind the counter.
    {
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
    },
    ...standMarks(m, 0),
  ];
}

function conductorMarks(m: Marked): Mark[] {
  const { pick, cameraAt } = m;
  const manAt = (f: number) => ({ position: [-0.08, 0, 1.7] as Vec3, yaw: m.truthAt(f)['yawDeg'] as number });
  const yawDeg = (f: number): number => Math.round(manAt(f).yaw * 10) / 10;
  const marks = (m.truthAt(FACE_FRAME)['uprights'] as Standing[]).flatMap((u) =>
    uprightAndShadow(FACE_FRAME, u, false),
  );
  for (const f of spread(m.count, 7)) {
    const at = pick.guest?.at(f + pick.in) ?? [0, 0, 0];
    const c = cameraAt(f);
    const man = manAt(f);
    marks.push(
      {
        kind: 'carry',
        frame: f,
        region: poly(CHEST_PATCH.map((q) => project(c, ofPerson(man, q)))),
        ground: round(project(c, at)),
        top: round(project(c, add(at, [0, RABBIT_HEIGHT, 0]))),
        height: RABBIT_HEIGHT,
      },
      { kind: 'pose', frame: f, yawDeg: yawDeg(f) },
      { kind: 'shade', frame: f, polygon: poly(headShade(man, at, pick.shot.sun).map((p) => project(c, p))) },
    );
  }
  // His head, all along: the program knows when the shoulder comes out from behind it.
  for (const f of every(m.count, 3))
    marks.push({ kind: 'front', frame: f, polygon: poly(headOutline(conductorPose(f + pick.in), cameraAt(f))) });
  const c = cameraAt(FACE_FRAME);
  const man = manAt(FACE_FRAME);
  const face = project(c, ofPerson(man, [0, 1.614, 0]));
  const k = c.focalPx / (man.position[2] - c.position[2]);
  const waist = project(c, add(man.position, [0, 1.0, 0]));
  const crown = project(c, add(man.position, [0, CONDUCTOR_HEIGHT, 0]));
  marks.push(
    {
      kind: 'head',
      frame: FACE_FRAME,
      ellipse: [...round(face), Math.round(k * 0.112 * 10) / 10, Math.round(k * 0.099 * 10) / 10, 0],
      yawDeg: yawDeg(FACE_FRAME),
    },
    { kind: 'body', frame: FACE_FRAME, axis: [round(waist), round(crown)] },
  );
  return marks;
}

function windowMarks(m: Marked): Mark[] {
  const first = m.truthAt(0);
  return [
    ...(first['uprights'] as Standing[]).flatMap((u) => uprightAndShadow(0, u, false)),
    ...uprightAndShadow(0, first['jar'] as Standing),
    lines(0, first['groundLines']),
    { kind: 'pane', frame: 0, polygon: poly(pane().corners) },
    ...standMarks(m, 0),
  ];
}

function railingMarks(m: Marked): Mark[] {
  const first = m.truthAt(0);
  return [
    ...(first['bollards'] as Standing[]).flatMap((b) => uprightAndShadow(0, b)),
    lines(0, first['groundLines']),
    ...spread(m.count, 9).flatMap((f) =>
      Object.values(m.truthAt(f)['front'] as Record<string, Point[]>).map(
        (part): Mark => ({ kind: 'front', frame: f, polygon: poly(part) }),
      ),
    ),
    ...standMarks(m, 0),
  ];
}

const MARKS_OF: Readonly<Record<string, (m: Marked) => Mark[]>> = {
  poster: posterMarks,
  platform: platformMarks,
  pan: panMarks,
  punch: punchMarks,
  conductor: conductorMarks,
  window: windowMarks,
  railing: railingMarks,
};

/** The marks file of a pick; `frame`: on which view and light are solved. */
export function pickMarks(pick: Pick): { frame: number; marks: Mark[] } {
  const marks = MARKS_OF[pick.id]?.({
    pick,
    count: pick.out - pick.in,
    truthAt: (f) => pick.shot.truth(f + pick.in),
    cameraAt: (f) => pick.shot.camera(f + pick.in),
  });
  return { frame: pick.id === 'conductor' ? FACE_FRAME : 0, marks: marks ?? [] };
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
