/**
 * The truth set (`../shared/truth`, beside the checkout, or the folder that `--truth=FOLDER` on the command line
 * names): its files, numbers and cameras. A shot is treated by the first word of its folder's name: `pan-2` is a pan.
 *
 * Conventions of the set: world x right, y up, z away; camera x right, y down, z forward; p = R (X - C).
 */
import { existsSync, readdirSync, readFileSync } from 'node:fs';
import { dirname, join, resolve } from 'node:path';
import { fileURLToPath } from 'node:url';

/** A shot's folder name. */
export type TruthShot = string;
const KINDS = ['stand', 'turn', 'pan', 'push'] as const;
export type TruthKind = (typeof KINDS)[number];

export type Vec3 = readonly [number, number, number];
export type Px = [number, number];
type Rows = readonly [Vec3, Vec3, Vec3];

export interface TruthFrame {
  readonly frame: number;
  readonly cameraPosition: Vec3;
  readonly rotationWorldToCamera: Rows;
  readonly sunInCamera: Vec3;
  readonly mannequin: {
    readonly position: Vec3;
    readonly yaw: number;
    readonly feet: Px;
    readonly top: Px;
    readonly chest: Px;
  };
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

/** The command line's word for the set's folder, to be handed on to a process of its own. */
export function truthArgument(): string[] {
  return process.argv.filter((a) => a.startsWith('--truth='));
}

/** Folder of the truth set, or null where it is absent. */
export function truthFolder(): string | null {
  const named = truthArgument().at(-1);
  if (named !== undefined) return resolve(named.slice('--truth='.length));
  const here = dirname(fileURLToPath(import.meta.url));
  for (const up of ['../../shared/truth', '../../../shared/truth']) {
    const folder = resolve(here, up);
    if (existsSync(join(folder, 'stand', 'truth.json'))) return folder;
  }
  return null;
}

/** What kind of shot it is, by the first word of its name. Throws on another word. */
export function truthKind(shot: TruthShot): TruthKind {
  const kind = KINDS.find((k) => shot === k || shot.startsWith(`${k}-`));
  if (kind === undefined) throw new Error(`${shot}: a truth shot's name begins with ${KINDS.join(', ')}`);
  return kind;
}

/** Shots of the set, by kind, then name; none where the set is absent. */
export const TRUTH_SHOTS: readonly TruthShot[] = KINDS.flatMap((kind) => {
  const folder = truthFolder();
  return folder === null || !existsSync(folder)
    ? []
    : readdirSync(folder)
        .filter((n) => (n === kind || n.startsWith(`${kind}-`)) && existsSync(join(folder, n, 'truth.json')))
        .sort();
});

/** The set's first shot of a kind. Throws where it has none. */
export function firstOf(kind: TruthKind): TruthShot {
  const shot = TRUTH_SHOTS.find((s) => truthKind(s) === kind);
  if (shot === undefined)
    throw new Error(`the truth set has no ${kind} (${truthFolder() ?? '../shared/truth is not beside the checkout'})`);
  return shot;
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

export interface TruthCamera {
  readonly C: Vec3;
  readonly R: Rows;
  readonly f: number;
  readonly c: Px;
}

const dot = (a: Vec3, b: Vec3): number => a[0] * b[0] + a[1] * b[1] + a[2] * b[2];

/** World point (metres) to pixels. */
export function projectWorld(X: Vec3, cam: TruthCamera): Px {
  const d: Vec3 = [X[0] - cam.C[0], X[1] - cam.C[1], X[2] - cam.C[2]];
  const x = dot(cam.R[0], d);
  const y = dot(cam.R[1], d);
  const z = dot(cam.R[2], d);
  return [cam.c[0] + (cam.f * x) / z, cam.c[1] + (cam.f * y) / z];
}

/** The world point that a pixel shows at a depth z of the world, metres. */
export function backProject(p: Px, cam: TruthCamera, z: number): Vec3 {
  const d: Vec3 = [(p[0] - cam.c[0]) / cam.f, (p[1] - cam.c[1]) / cam.f, 1];
  const way = [0, 1, 2].map((k) => cam.R[0][k]! * d[0] + cam.R[1][k]! * d[1] + cam.R[2][k]! * d[2]);
  const s = (z - cam.C[2]) / way[2]!;
  return [cam.C[0] + s * way[0]!, cam.C[1] + s * way[1]!, z];
}

/** Unit vector towards the sun in the world: R transposed times the camera's. */
export function sunInWorld(s: Vec3, R: Rows): Vec3 {
  return [
    R[0][0] * s[0] + R[1][0] * s[1] + R[2][0] * s[2],
    R[0][1] * s[0] + R[1][1] * s[1] + R[2][1] * s[2],
    R[0][2] * s[0] + R[1][2] * s[1] + R[2][2] * s[2],
  ];
}

/** Where the shadow of world point X falls on the ground y = 0. */
export function shadowOnGround(X: Vec3, sun: Vec3): Vec3 {
  const k = X[1] / sun[1];
  return [X[0] - k * sun[0], 0, X[2] - k * sun[2]];
}

export function plateCamera(t: Truth, frame: number): TruthCamera {
  const f = t.frames[frame]!;
  return { C: f.cameraPosition, R: f.rotationWorldToCamera, f: t.focalPx, c: t.principal };
}

export function takeCamera(t: Truth): TruthCamera {
  return { C: t.take.cameraPosition, R: t.take.rotationWorldToCamera, f: t.take.focalPx, c: t.principal };
}
