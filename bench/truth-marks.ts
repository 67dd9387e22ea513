/**
 * Marks files made from the numbers of the truth set (truth-set.ts), as a careful person would make them: the man's
 * feet and hat, the tip of his shadow, where the performer is to stand, what is to be erased, what passes in front. For
 * benches and for tests that say loudly when the set is absent.
 */
import type { Mark, MarksFile } from '../src/plate/marks/marks.js';
import { passingPole } from './passing-pole.js';
import {
  plateCamera,
  projectWorld,
  readTruth,
  shadowOnGround,
  sunInWorld,
  takeCamera,
  truthFile,
  truthKind,
  TRUTH_SHOTS,
  type Px,
  type Truth,
  type TruthShot,
} from './truth-set.js';

const round = (p: Px): Px => [Math.round(p[0] * 10) / 10, Math.round(p[1] * 10) / 10];

/**
 * The man's box and his ground shadow as one simple polygon with the same corners at every frame, so that it can be
 * carried corner to corner. Half a metre and more beside his axis holds his arms whichever way he faces.
 */
function erasePolygon(t: Truth, frame: number): Px[] {
  const f = t.frames[frame]!;
  const cam = plateCamera(t, frame);
  const sun = sunInWorld(f.sunInCamera, cam.R);
  const pxPerM = (f.mannequin.feet[1] - f.mannequin.top[1]) / t.heights.mannequin;
  const half = 0.62 * pxPerM;
  const cx = (f.mannequin.feet[0] + f.mannequin.top[0]) / 2;
  const yTop = f.mannequin.top[1] - 0.06 * pxPerM;
  const foot = f.mannequin.position;
  const tip = shadowOnGround([foot[0], t.heights.mannequin, foot[2]], sun);
  const len = Math.hypot(tip[0] - foot[0], tip[2] - foot[2]);
  const ux = (tip[0] - foot[0]) / len;
  const uz = (tip[2] - foot[2]) / len;
  const strip = (along: number, aside: number): Px =>
    projectWorld([foot[0] + ux * along - uz * aside, 0, foot[2] + uz * along + ux * aside], cam);
  const a = strip(0, 0.5);
  const b = strip(0, -0.5);
  const tipA = strip(len + 0.3, 0.5);
  const tipB = strip(len + 0.3, -0.5);
  const [near, far] = a[1] > b[1] ? [a, b] : [b, a];
  const [tipNear, tipFar] = a[1] > b[1] ? [tipA, tipB] : [tipB, tipA];
  const left = tipNear[0] < cx;
  const xs = left ? cx - half : cx + half;
  const xo = left ? cx + half : cx - half;
  const yBottom = f.mannequin.feet[1] + 0.12 * pxPerM;
  // Where the far edge of the shadow meets the box's side.
  const k = (xs - far[0]) / (tipFar[0] - far[0]);
  const yMeet = far[1] + (tipFar[1] - far[1]) * Math.min(Math.max(k, 0), 1);
  return [
    [xs, yTop],
    [xo, yTop],
    [xo, yBottom],
    [near[0], Math.max(near[1], yBottom)],
    tipNear,
    tipFar,
    [xs, Math.min(yMeet, yBottom - 1)],
  ].map((p) => round(p as Px));
}

/**
 * The man's head, of his hat's height: middle under the top of the hat along his axis, and its half-width, metres (the
 * set's mannequin).
 */
const HEAD_UNDER = 0.22;
const HEAD_HALF = 0.123;

/** The upright that passes before the performer, on a push: found once a shot. */
const poles = new Map<TruthShot, Awaited<ReturnType<typeof passingPole>>>();
for (const shot of TRUTH_SHOTS)
  if (truthKind(shot) === 'push')
    poles.set(shot, await passingPole(readTruth(shot), truthFile(shot, 'performer-matte.mkv')));

/** Frames at which a careful person would mark what moves: first, thirds, last. */
function keyFrames(n: number): number[] {
  return [0, Math.round((n - 1) / 4), Math.round((n - 1) / 2), Math.round((3 * (n - 1)) / 4), n - 1];
}

export interface TruthMarksOptions {
  /** Leave out the take's focal length and camera height, as one who does not know the camera. Default false. */
  readonly takeCameraUnknown?: boolean;
  /** Mark the take's performer's pose on its first frame alone, as if it held still. Default false: on three. */
  readonly takeHoldsStill?: boolean;
  /** Leave out the take's performer and its shadow, as one who marks nothing in the take. Default false. */
  readonly takePerformerUnknown?: boolean;
  /** Give the performer's height at the stand mark (metres in the film's world). Default true. */
  readonly standHeight?: boolean;
  /**
   * Mark the performer's place (and the man who tells the view) on the first frame alone, as
   * a hurried person would. Default false: on five.
   */
  readonly once?: boolean;
}

/** First, middle and last frame: where a pose is marked. */
function poseFrames(n: number): number[] {
  return [0, Math.round((n - 1) / 2), n - 1];
}

/** The man and the posters: what tells the plate's view and light. */
function viewMarks(t: Truth, uprightFrames: readonly number[]): Mark[] {
  const marks: Mark[] = [];
  const f0 = t.frames[0]!;
  const cam0 = plateCamera(t, 0);
  for (const k of uprightFrames) {
    const m = t.frames[k]!.mannequin;
    marks.push({ kind: 'upright', frame: k, foot: round(m.feet), top: round(m.top), height: t.heights.mannequin });
  }
  const man = f0.mannequin;
  const tip = projectWorld(
    shadowOnGround([man.position[0], t.heights.mannequin, man.position[2]], sunInWorld(f0.sunInCamera, cam0.R)),
    cam0,
  );
  marks.push({
    kind: 'shadow',
    frame: 0,
    foot: round(man.feet),
    tip: round(tip),
    height: t.heights.mannequin,
    top: round(man.top),
  });
  for (const corners of Object.values(f0.posterCorners)) {
    marks.push({
      kind: 'rectangle',
      frame: 0,
      corners: corners.map((p) => round(p)) as [Px, Px, Px, Px],
      plane: 'wall',
    });
  }
  const perMetre = Math.hypot(man.top[0] - man.feet[0], man.top[1] - man.feet[1]) / t.heights.mannequin;
  const down = HEAD_UNDER / t.heights.mannequin;
  const half = Math.round(HEAD_HALF * perMetre * 10) / 10;
  const head = round([man.top[0] + (man.feet[0] - man.top[0]) * down, man.top[1] + (man.feet[1] - man.top[1]) * down]);
  marks.push({ kind: 'head', frame: 0, ellipse: [...head, half, half, 0] });
  return marks;
}

/** A performer carried by the man: the region that it rides on, where it sits, and how he turns. */
function carryMarks(t: Truth, height: { readonly height?: number }): Mark[] {
  const marks: Mark[] = [];
  const n = t.frames.length;
  const man = t.frames[0]!.mannequin;
  for (const k of keyFrames(n)) {
    const f = t.frames[k]!;
    const [x, y] = f.mannequin.chest;
    marks.push({
      kind: 'carry',
      frame: k,
      region: [
        [x - 60, y - 60],
        [x + 60, y - 60],
        [x + 60, y + 80],
        [x - 60, y + 80],
      ].map((p) => round(p as Px)),
      ground: round(f.performer.ground),
      top: round(f.performer.top),
      ...height,
    });
  }
  for (const k of poseFrames(n))
    marks.push({ kind: 'pose', frame: k, yawDeg: Math.round(t.frames[k]!.mannequin.yaw * 10) / 10 });
  marks.push({ kind: 'body', frame: 0, axis: [round(man.feet), round(man.top)] });
  return marks;
}

/** A performer that stands: where, and its own turning, which the take has to match. */
function standMarks(t: Truth, frames: readonly number[], height: { readonly height?: number }): Mark[] {
  const marks: Mark[] = [];
  for (const k of frames) {
    const p = t.frames[k]!.performer;
    marks.push({ kind: 'stand', frame: k, ground: round(p.ground), top: round(p.top), ...height });
  }
  for (const k of poseFrames(t.frames.length))
    marks.push({ kind: 'pose', frame: k, yawDeg: Math.round(t.frames[k]!.performer.yaw * 10) / 10 });
  return marks;
}

/** The take's performer, its shadow and its poses, and what is known of the take's camera. */
function takeMarks(t: Truth, options: TruthMarksOptions): MarksFile {
  const tc = takeCamera(t);
  const hp = t.heights.performer;
  const takeSun = sunInWorld(t.take.sunInCamera, tc.R);
  const ground = projectWorld([0, 0, 0], tc);
  const top = projectWorld([0, hp, 0], tc);
  const takeTip = projectWorld(shadowOnGround([0, hp, 0], takeSun), tc);
  const marks: Mark[] =
    options.takePerformerUnknown === true
      ? []
      : [
          { kind: 'performer', frame: 0, ground: round(ground), top: round(top), height: hp },
          { kind: 'shadow', frame: 0, foot: round(ground), tip: round(takeTip), height: hp, top: round(top) },
        ];
  for (const k of options.takeHoldsStill === true ? [0] : poseFrames(t.frames.length))
    marks.push({ kind: 'pose', frame: k, yawDeg: Math.round(t.frames[k]!.takeYaw * 10) / 10 });
  const known =
    options.takeCameraUnknown === true
      ? {}
      : { focalPx: Math.round(t.take.focalPx), cameraHeight: Math.round(t.take.cameraPosition[1] * 100) / 100 };
  return { frame: 0, ...known, marks };
}

/** Marks for plate and take of one truth shot. Throws where the truth set is absent. */
export function truthMarks(shot: TruthShot, options: TruthMarksOptions = {}): { plate: MarksFile; take: MarksFile } {
  const t = readTruth(shot);
  const is = truthKind(shot);
  const n = t.frames.length;
  const often = options.once !== true;
  const height = options.standHeight === false ? {} : { height: t.heights.performer };
  const marks = viewMarks(t, often && (is === 'pan' || is === 'push') ? keyFrames(n) : [0]);
  // Still camera: one stand is enough; moving camera: where the same ground point is seen at a few frames.
  if (is === 'turn') marks.push(...carryMarks(t, height));
  else marks.push(...standMarks(t, is !== 'stand' && often ? keyFrames(n) : [0], height));
  if (is === 'pan') for (let k = 0; k < n; k += 5) marks.push({ kind: 'erase', frame: k, polygon: erasePolygon(t, k) });
  const pole = poles.get(shot) ?? null;
  if (pole !== null)
    for (let k = 0; k < n; k += 5) {
      const outline = pole(k);
      if (outline.some((p) => p[0] > 0 && p[0] < t.width))
        marks.push({ kind: 'front', frame: k, polygon: outline.map((p) => round(p)) });
    }
  return { plate: { frame: 0, marks }, take: takeMarks(t, options) };
}
