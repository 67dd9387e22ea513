/**
 * Marks files made from the numbers of the truth set (`../shared/truth`, beside the checkout), as a careful person would
 * make them: the man's feet and hat, the tip of his shadow, where the performer is to stand, what is to be erased, what
 * passes in front. For benches and for tests that say loudly when the set is absent.
 *
 * Conventions of the set: world x right, y up, z away; camera x right, y down, z forward; p = R (X - C).
 */
import { existsSync, readFileSync } from 'node:fs';
import { dirname, join, resolve } from 'node:path';
import { fileURLToPath } from 'node:url';
import type { Mark, MarksFile } from '../src/plate/marks.js';

export type TruthShot = 'stand' | 'turn' | 'pan' | 'push';
export const TRUTH_SHOTS: readonly TruthShot[] = ['stand', 'turn', 'pan', 'push'];

type Vec3 = readonly [number, number, number];
type Px = [number, number];
type Rows = readonly [Vec3, Vec3, Vec3];

export interface TruthFrame {
  readonly frame: number;
  readonly cameraPosition: Vec3;
  readonly rotationWorldToCamera: Rows;
  readonly sunInCamera: Vec3;
  readonly mannequin: { readonly position: Vec3; readonly yaw: number; readonly feet: Px; readonly top: Px; readonly chest: Px };
  readonly performer: { readonly position: Vec3; readonly yaw: number; readonly ground: Px; readonly top: Px };
  readonly posterCorners: Readonly<Record<string, readonly [Px, Px, Px, Px]>>;
  readonly takeYaw: number;
  readonly sun: { readonly azimuthDeg: number; readonly elevationDeg: number };
  readonly view: { readonly viewElevationDeg: number; readonly distance: number };
  readonly tiltDeg: number;
  readonly headingDeg: number;
}
export interface Truth {
  readonly name: string;
  readonly width: number;
  readonly height: number;
  readonly rate: string;
  readonly focalPx: number;
  readonly principal: Px;
  readonly heights: { readonly mannequin: number; readonly performer: number };
  readonly frames: readonly TruthFrame[];
  readonly take: {
    readonly cameraPosition: Vec3;
    readonly look: Vec3;
    readonly focalPx: number;
    readonly rotationWorldToCamera: Rows;
    readonly sunInCamera: Vec3;
    readonly pace: number;
    readonly note: string;
    readonly sun: { readonly azimuthDeg: number; readonly elevationDeg: number };
    readonly view: { readonly viewElevationDeg: number; readonly distance: number };
  };
}

/** Folder of the truth set beside the checkout, or null where it is absent. */
export function truthFolder(): string | null {
  const here = dirname(fileURLToPath(import.meta.url));
  for (const up of ['../../shared/truth', '../../../shared/truth']) {
    const folder = resolve(here, up);
    if (existsSync(join(folder, 'stand', 'truth.json'))) return folder;
  }
  return null;
}

/** Path of one file of a shot (`plate.mp4`, `take.mp4`, ...). Throws where the set is absent. */
export function truthFile(shot: TruthShot, name: string): string {
  const folder = truthFolder();
  if (folder === null) throw new Error('the truth set is not beside the checkout (../shared/truth)');
  return join(folder, shot, name);
}

export function readTruth(shot: TruthShot): Truth {
  return JSON.parse(readFileSync(truthFile(shot, 'truth.json'), 'utf8')) as Truth;
}

interface Camera { readonly C: Vec3; readonly R: Rows; readonly f: number; readonly c: Px }

const dot = (a: Vec3, b: Vec3): number => a[0] * b[0] + a[1] * b[1] + a[2] * b[2];

/** World point (metres) to pixels. */
export function projectWorld(X: Vec3, cam: Camera): Px {
  const d: Vec3 = [X[0] - cam.C[0], X[1] - cam.C[1], X[2] - cam.C[2]];
  const x = dot(cam.R[0], d), y = dot(cam.R[1], d), z = dot(cam.R[2], d);
  return [cam.c[0] + (cam.f * x) / z, cam.c[1] + (cam.f * y) / z];
}

/** Unit vector towards the sun in the world: R transposed times the camera's. */
function sunInWorld(s: Vec3, R: Rows): Vec3 {
  return [
    R[0][0] * s[0] + R[1][0] * s[1] + R[2][0] * s[2],
    R[0][1] * s[0] + R[1][1] * s[1] + R[2][1] * s[2],
    R[0][2] * s[0] + R[1][2] * s[1] + R[2][2] * s[2],
  ];
}

/** Where the shadow of world point X falls on the ground y = 0. */
function shadowOnGround(X: Vec3, sun: Vec3): Vec3 {
  const k = X[1] / sun[1];
  return [X[0] - k * sun[0], 0, X[2] - k * sun[2]];
}

const round = (p: Px): Px => [Math.round(p[0] * 10) / 10, Math.round(p[1] * 10) / 10];

export function plateCamera(t: Truth, frame: number): Camera {
  const f = t.frames[frame]!;
  return { C: f.cameraPosition, R: f.rotationWorldToCamera, f: t.focalPx, c: t.principal };
}

export function takeCamera(t: Truth): Camera {
  return { C: t.take.cameraPosition, R: t.take.rotationWorldToCamera, f: t.take.focalPx, c: t.principal };
}

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
  const ux = (tip[0] - foot[0]) / len, uz = (tip[2] - foot[2]) / len;
  const strip = (along: number, aside: number): Px =>
    projectWorld([foot[0] + ux * along - uz * aside, 0, foot[2] + uz * along + ux * aside], cam);
  const a = strip(0, 0.5), b = strip(0, -0.5), tipA = strip(len + 0.3, 0.5), tipB = strip(len + 0.3, -0.5);
  const [near, far] = a[1] > b[1] ? [a, b] : [b, a];
  const [tipNear, tipFar] = a[1] > b[1] ? [tipA, tipB] : [tipB, tipA];
  const left = tipNear[0] < cx;
  const xs = left ? cx - half : cx + half;
  const xo = left ? cx + half : cx - half;
  const yBottom = f.mannequin.feet[1] + 0.12 * pxPerM;
  // Where the far edge of the shadow meets the box's side.
  const k = (xs - far[0]) / (tipFar[0] - far[0]);
  const yMeet = far[1] + (tipFar[1] - far[1]) * Math.min(Math.max(k, 0), 1);
  return [[xs, yTop], [xo, yTop], [xo, yBottom], [near[0], Math.max(near[1], yBottom)], tipNear, tipFar, [xs, Math.min(yMeet, yBottom - 1)]].map((p) => round(p as Px));
}

/**
 * The pole that passes before the performer in `push`: its sides at the top of the picture, and how far it leans to the
 * right at the bottom, read off the plate (the truth's numbers do not give it).
 */
const PUSH_POLE: readonly { readonly frame: number; readonly left: number; readonly right: number; readonly lean: number }[] = [
  { frame: 0, left: 447, right: 465, lean: 0 },
  { frame: 5, left: 445, right: 463, lean: 0 },
  { frame: 10, left: 427, right: 447, lean: 0 },
  { frame: 15, left: 405, right: 427, lean: 0 },
  { frame: 20, left: 361, right: 387, lean: 1 },
  { frame: 25, left: 315, right: 343, lean: 1 },
  { frame: 30, left: 265, right: 297, lean: 2 },
  { frame: 35, left: 239, right: 273, lean: 3 },
];

/** The man's face, where the picture shows it (read by eye): for the light from shading. */
const HEADS: Partial<Record<TruthShot, readonly [number, number, number, number, number]>> = {
  stand: [545, 136, 20.6, 20.6, 0],
  turn: [426.5, 100, 46, 46, 0],
  pan: [507, 185, 18.6, 18.6, 0],
  push: [631.5, 119, 20.2, 20.2, 0],
};

/** Frames at which a careful person would mark what moves: first, thirds, last. */
function keyFrames(n: number): number[] {
  return [0, Math.round((n - 1) / 4), Math.round((n - 1) / 2), Math.round((3 * (n - 1)) / 4), n - 1];
}

export interface TruthMarksOptions {
  /** Leave out the take's focal length and camera height, as one who does not know the camera. Default false. */
  readonly takeCameraUnknown?: boolean;
  /** Give the performer's height at the stand mark (metres in the film's world). Default true. */
  readonly standHeight?: boolean;
  /** Mark the performer's place (and the man who tells the view) on the first frame alone, as a hurried person would. Default false: on five. */
  readonly once?: boolean;
}

/** Marks for plate and take of one truth shot. Throws where the truth set is absent. */
export function truthMarks(shot: TruthShot, options: TruthMarksOptions = {}): { plate: MarksFile; take: MarksFile } {
  const t = readTruth(shot);
  const n = t.frames.length;
  const f0 = t.frames[0]!;
  const cam0 = plateCamera(t, 0);
  const marks: Mark[] = [];
  const uprightFrames = options.once !== true && (shot === 'pan' || shot === 'push') ? keyFrames(n) : [0];
  for (const k of uprightFrames) {
    const m = t.frames[k]!.mannequin;
    marks.push({ kind: 'upright', frame: k, foot: round(m.feet), top: round(m.top), height: t.heights.mannequin });
  }
  const man = f0.mannequin;
  const tip = projectWorld(shadowOnGround([man.position[0], t.heights.mannequin, man.position[2]], sunInWorld(f0.sunInCamera, cam0.R)), cam0);
  marks.push({ kind: 'shadow', frame: 0, foot: round(man.feet), tip: round(tip), height: t.heights.mannequin, top: round(man.top) });
  for (const corners of Object.values(f0.posterCorners)) {
    marks.push({ kind: 'rectangle', frame: 0, corners: corners.map((p) => round(p)) as [Px, Px, Px, Px], plane: 'wall' });
  }
  const head = HEADS[shot];
  if (head) marks.push({ kind: 'head', frame: 0, ellipse: [...head] });
  const height = options.standHeight === false ? {} : { height: t.heights.performer };
  if (shot === 'turn') {
    for (const k of keyFrames(n)) {
      const f = t.frames[k]!;
      const [x, y] = f.mannequin.chest;
      marks.push({ kind: 'carry', frame: k, region: [[x - 60, y - 60], [x + 60, y - 60], [x + 60, y + 80], [x - 60, y + 80]].map((p) => round(p as Px)), ground: round(f.performer.ground), top: round(f.performer.top), ...height });
    }
    for (const k of [0, Math.round((n - 1) / 2), n - 1]) marks.push({ kind: 'pose', frame: k, yawDeg: Math.round(t.frames[k]!.mannequin.yaw * 10) / 10 });
    marks.push({ kind: 'body', frame: 0, axis: [round(man.feet), round(man.top)] });
  } else {
    // Still camera: one stand is enough; moving camera: where the same ground point is seen at a few frames.
    for (const k of shot === 'stand' || options.once === true ? [0] : keyFrames(n)) {
      const p = t.frames[k]!.performer;
      marks.push({ kind: 'stand', frame: k, ground: round(p.ground), top: round(p.top), ...height });
    }
    // The performer's own turning, which the take has to match.
    for (const k of [0, Math.round((n - 1) / 2), n - 1]) marks.push({ kind: 'pose', frame: k, yawDeg: Math.round(t.frames[k]!.performer.yaw * 10) / 10 });
  }
  if (shot === 'pan') for (let k = 0; k < n; k += 5) marks.push({ kind: 'erase', frame: k, polygon: erasePolygon(t, k) });
  if (shot === 'push') for (const p of PUSH_POLE) marks.push({ kind: 'front', frame: p.frame, polygon: [[p.left, -2], [p.right, -2], [p.right + p.lean, 482], [p.left + p.lean, 482]] });

  const tc = takeCamera(t);
  const hp = t.heights.performer;
  const takeSun = sunInWorld(t.take.sunInCamera, tc.R);
  const ground = projectWorld([0, 0, 0], tc), top = projectWorld([0, hp, 0], tc);
  const takeTip = projectWorld(shadowOnGround([0, hp, 0], takeSun), tc);
  const takeMarks: Mark[] = [
    { kind: 'performer', frame: 0, ground: round(ground), top: round(top), height: hp },
    { kind: 'shadow', frame: 0, foot: round(ground), tip: round(takeTip), height: hp, top: round(top) },
  ];
  for (const k of [0, Math.round((n - 1) / 2), n - 1]) takeMarks.push({ kind: 'pose', frame: k, yawDeg: Math.round(t.frames[k]!.takeYaw * 10) / 10 });
  const known = options.takeCameraUnknown === true ? {} : { focalPx: Math.round(t.take.focalPx), cameraHeight: Math.round(t.take.cameraPosition[1] * 100) / 100 };
  return { plate: { frame: 0, marks }, take: { frame: 0, ...known, marks: takeMarks } };
}
