// Marks that a careful person would make on the plates and takes, computed from the scenes: files of the program's own
// marks format. Frames count from the pick's (the take's) first frame.

import { project, shadowOf, type Camera } from './camera.js';
import { type Pick } from './guests.js';
import { handCamera, wristAt } from './home.js';
import { handBob, pane } from './indoor-shots.js';
import { headOutline } from './head-outline.js';
import { CHEST_PATCH, CONDUCTOR_HEIGHT, ofPerson } from './people.js';
import { conductorPose } from './street-shots.js';
import { RABBIT_HEIGHT } from './rabbit.js';
import { PEG_HEIGHT, SEAM_X, SEAM_Z } from './take-scene.js';
import { pegOf, type Take } from './takes.js';
import { add, turnY, type Point, type Vec3 } from './vector.js';

export type Mark = Record<string, unknown> & { readonly kind: string };

interface Standing {
  readonly foot: Point;
  readonly top: Point;
  readonly shadowTip: Point;
  readonly height: number;
  readonly position: Vec3;
}

export const round = (p: Point): [number, number] => [Math.round(p[0] * 100) / 100, Math.round(p[1] * 100) / 100];
const poly = (points: readonly Point[]): [number, number][] => points.map(round);

/** First, last and evenly spaced frames between. */
function spread(count: number, marks: number): number[] {
  return Array.from({ length: marks }, (_, i) => Math.round((i * (count - 1)) / (marks - 1)));
}

/** Box round a standing person in the picture, a little larger than the person. */
function around(c: Camera, at: Vec3, half: number, height: number): [number, number][] {
  const top = project(c, add(at, [0, height, 0]));
  const foot = project(c, at);
  const w = (c.focalPx * half) / Math.hypot(at[0] - c.position[0], at[2] - c.position[2]);
  const drop = w * 0.28;
  return poly([
    [top[0] - w * 0.5, top[1] - 5],
    [top[0] + w * 0.5, top[1] - 5],
    [top[0] + w * 0.72, top[1] + (foot[1] - top[1]) * 0.2],
    [foot[0] + w, top[1] + (foot[1] - top[1]) * 0.45],
    [foot[0] + w * 0.95, foot[1] + drop],
    [foot[0] - w * 0.95, foot[1] + drop],
    [foot[0] - w, top[1] + (foot[1] - top[1]) * 0.45],
    [top[0] - w * 0.72, top[1] + (foot[1] - top[1]) * 0.2],
  ]);
}

const uprightAndShadow = (frame: number, s: Standing, shadow = true): Mark[] => [
  { kind: 'upright', frame, foot: round(s.foot), top: round(s.top), height: s.height },
  ...(shadow ? [{ kind: 'shadow', frame, foot: round(s.foot), tip: round(s.shadowTip), height: s.height }] : []),
];
const lines = (frame: number, l: unknown): Mark => ({
  kind: 'groundLines',
  frame,
  lines: (l as [Point, Point][]).map((x) => poly(x)),
});

/** Frame of the conductor's pick in which his bare face, between cap and collar, shows the light best. */
const FACE_FRAME = 22;

/**
 * What of the conductor stands between the sun and his shoulder, in his own frame:
 * height and half size of cap, head and collar.
 */
const HEAD_PARTS: readonly (readonly [y: number, wide: number, tall: number])[] = [
  [1.83, 0.23, 0.108],
  [1.66, 0.15, 0.13],
  [1.5, 0.16, 0.14],
];

/** Every so many frames of a pick, and the last. */
const every = (count: number, step: number): number[] =>
  Array.from({ length: count }, (_, n) => n).filter((n) => n % step === 0 || n === count - 1);

/**
 * Outline of the shadow of his head on an upright card at `at` that faces the camera; it leaves to the side
 * while the card is nearer to the sun than he is.
 */
function headShade(man: { readonly position: Vec3; readonly yaw: number }, at: Vec3, sun: Vec3): Vec3[] {
  const parts = HEAD_PARTS.map(([y, wide, tall]) => {
    const p = ofPerson(man, [0, y, 0]);
    const k = (p[2] - at[2]) / sun[2];
    return { x: p[0] - k * sun[0] + 4 * Math.min(0, k), y: p[1] - k * sun[1], wide, tall };
  });
  return hullOf(parts, at[2]);
}

/** Support points of the parts in sixteen directions: their hull, always of as many corners. */
function hullOf(
  parts: readonly { readonly x: number; readonly y: number; readonly wide: number; readonly tall: number }[],
  z: number,
): Vec3[] {
  return Array.from({ length: 16 }, (_, i): Vec3 => {
    const cx = Math.cos((i * Math.PI) / 8);
    const cy = Math.sin((i * Math.PI) / 8);
    let best: Vec3 = [0, 0, z];
    let most = -Infinity;
    for (const q of parts) {
      const reach = Math.hypot(q.wide * cx, q.tall * cy);
      const far = q.x * cx + q.y * cy + reach;
      if (far > most) {
        most = far;
        best = [q.x + (q.wide * q.wide * cx) / reach, q.y + (q.tall * q.tall * cy) / reach, z];
      }
    }
    return best;
  });
}

/**
 * Outline of the hand that holds the ticket, with it, as drawn by eye on one frame of
 * its pick: the shadow falls behind it.
 */
const HELD_FRAME = 6;
const HELD: readonly Point[] = [
  [150, 484],
  [153, 457],
  [186, 445],
  [186, 418],
  [202, 408],
  [205, 368],
  [221, 313],
  [244, 270],
  [284, 225],
  [302, 220],
  [332, 228],
  [558, 243],
  [554, 345],
  [500, 342],
  [394, 340],
  [392, 382],
  [367, 412],
  [316, 440],
  [292, 460],
  [296, 484],
];

function heldAt(c: Camera, f: number, drawn: number): [number, number][] {
  const there: Vec3 = [-0.05, 0.24, -0.12];
  const a = project(c, add(there, handBob(drawn)));
  const b = project(c, add(there, handBob(f)));
  return poly(HELD.map(([x, y]): Point => [x + b[0] - a[0], y + b[1] - a[1]]));
}

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

/** Head of the performer as an upright ellipse in the picture. */
export function headOf(t: Take, f: number): { centre: Point; rx: number; ry: number } {
  const at = turnY([0, 0.385, -0.014], t.yaw(f));
  const d = Math.hypot(t.camera.position[0] - at[0], t.camera.position[1] - at[1], t.camera.position[2] - at[2]);
  const k = t.camera.focalPx / d;
  return { centre: project(t.camera, at), rx: Math.round(k * 0.112 * 10) / 10, ry: Math.round(k * 0.1 * 10) / 10 };
}

/** Marks of the hand take: where the wrist is when it pinches. */
export function handMarks(): { frame: number; focalPx: number; marks: Mark[] } {
  const w = wristAt(24);
  return {
    frame: 24,
    focalPx: handCamera.focalPx,
    marks: [
      {
        kind: 'performer',
        frame: 24,
        ground: round(project(handCamera, add(w, [-0.05, -0.07, 0]))),
        top: round(project(handCamera, add(w, [-0.05, 0.06, 0]))),
        height: 0.13,
      },
    ],
  };
}
