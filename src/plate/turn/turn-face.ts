/**
 * Turn of a head whose face is seen: eyes, tip of the nose and mouth followed from the marked frames (point-follow.ts),
 * a rigid symmetric shape fitted to them (face-pose.ts), and the yaws smoothed by penalised least squares (E. T.
 * Whittaker, *On a New Method of Graduation*, Proc. Edinburgh Math. Soc. 41, 1922), which also bridges frames that show
 * no face. Yaw 0 looks into the camera; where poses are marked they set the zero and hold on their frames.
 */
import { PlatewrightError } from '../../core/errors.js';
import type { Rate } from '../../core/rational.js';
import { factorBand, inverseInBand, solveBand } from '../../geometry/banded.js';
import type { Point2 } from '../../geometry/mat3.js';
import { LANDMARKS, solveFace, type FacePose, type Landmark, type Sighting } from '../light/face-pose.js';
import type { Mark, MarksFile } from '../marks/marks.js';
import { followPoints } from '../camera/point-follow.js';
import type { LumaSource } from '../ride/ride-source.js';
import { posesOf, type Pose } from './turn-poses.js';
import { POSE_SD, turnOfYaws } from './turn-profile.js';
import type { Turn } from '../types.js';

/** Errors of neighbouring frames are alike (the same window slides the same way), so each counts for less. */
const ALIKE = 2;
/** What rigid shape and distant view leave out, degrees: half of it is what the practice set's man shows. */
const MODEL_SD = 2;

type FaceMark = Extract<Mark, { kind: 'face' }>;

/** Marked faces, each with its frame. */
export function facesOf(marks: MarksFile): (FaceMark & { readonly frame: number })[] {
  return marks.marks.flatMap((m) => (m.kind === 'face' ? [{ ...m, frame: m.frame ?? marks.frame }] : []));
}

/**
 * Yaw from the first to the last frame on which the face is followed. Throws
 * `PW-TURN-FACE` where it can't be followed at all.
 */
export async function turnOfFace(
  source: LumaSource,
  request: {
    readonly marks: MarksFile;
    readonly rate: Rate;
    readonly span?: { readonly in: number; readonly out: number };
    readonly onProgress?: (done: number, of: number) => void;
    readonly signal?: AbortSignal;
  },
): Promise<Turn & { readonly how: string }> {
  const span = { in: request.span?.in ?? 0, out: Math.min(source.frameCount, request.span?.out ?? source.frameCount) };
  const faces = facesOf(request.marks).filter((m) => m.frame >= span.in && m.frame < span.out);
  if (faces.length === 0)
    throw new PlatewrightError(
      'PW-TURN-FACE',
      `no face is marked on a frame from ${span.in} to ${span.out - 1}; ` +
        'mark both eyes and the tip of the nose on a frame that shows them',
    );
  const widest = Math.max(...faces.map((m) => Math.hypot(m.leftEye[0] - m.rightEye[0], m.leftEye[1] - m.rightEye[1])));
  const radius = Math.round(Math.min(24, Math.max(6, 0.25 * widest)));
  const marked = LANDMARKS.map(
    (k) =>
      new Map(
        faces.flatMap((m): [number, Point2][] => {
          const p = m[k];
          return p === undefined ? [] : [[m.frame, [p[0], p[1]]]];
        }),
      ),
  );
  const total = span.out - span.in;
  let done = 0;
  const paths = await followPoints(
    source,
    marked,
    radius,
    span,
    () => request.onProgress?.(Math.min(total, ++done), total),
    request.signal,
  );
  const sightings: Sighting[] = [];
  for (let f = span.in; f < span.out; f++) {
    const points: Partial<Record<Landmark, { x: number; y: number; sdPx: number }>> = {};
    LANDMARKS.forEach((k, i) => {
      const p = paths[i]!.at.get(f);
      if (p !== undefined) points[k] = p;
    });
    sightings.push({ frame: f, points });
  }
  const fit = solveFace(sightings);
  if (fit === null)
    throw new PlatewrightError(
      'PW-TURN-FACE',
      'the marked face has lost its eyes or nose on every frame; ' +
        'mark it where both eyes and the tip of the nose are clear',
    );
  const poses = posesOf(request.marks).filter((p) => p.frame >= span.in && p.frame < span.out);
  const yaws = smoothed(fit.poses, poses);
  const seen = fit.poses.length;
  return {
    ...turnOfYaws(yaws, request.rate),
    how:
      `${faces.length} face mark${faces.length === 1 ? '' : 's'}, followed over ${seen} of ${yaws.length} frames; ` +
      `the nose stands out by ${fit.nose.value.toFixed(2)} ± ${fit.nose.sd.toFixed(2)} half eye ` +
      'distances' +
      (poses.length > 0 ? `; ${poses.length === 1 ? 'a pose sets' : `${poses.length} poses set`} the zero` : ''),
  };
}

function smoothed(found: readonly FacePose[], poses: readonly Pose[]): { frame: number; yawDeg: number; sd: number }[] {
  // The zero of the poses may be another than the camera's: their mean distance from the face is taken over.
  let shift = 0;
  let weight = 0;
  for (const p of poses) {
    const f = found.find((q) => q.frame === p.frame);
    if (f === undefined) continue;
    const w = 1 / (f.sd ** 2 + POSE_SD ** 2);
    shift += w * (p.yawDeg - f.yawDeg);
    weight += w;
  }
  if (weight > 0) shift /= weight;
  const first = Math.min(found[0]!.frame, ...poses.map((p) => p.frame));
  const last = Math.max(found.at(-1)!.frame, ...poses.map((p) => p.frame));
  const n = last - first + 1;
  const steps = found
    .slice(1)
    .map((p, i) => Math.abs(p.yawDeg - found[i]!.yawDeg) / (p.frame - found[i]!.frame))
    .sort((a, b) => a - b);
  const usual = Math.max(0.5, steps[Math.floor(0.9 * steps.length)] ?? 0.5);
  const bend = 0.2 * usual;
  const band = 2;
  const w = band + 1;
  const a = new Float64Array(n * w);
  const b = new Float64Array(n);
  const put = (i: number, j: number, v: number): void => {
    if (j <= i) a[i * w + band + j - i] = a[i * w + band + j - i]! + v;
  };
  const tell = (frame: number, yaw: number, sd: number): void => {
    const i = frame - first;
    put(i, i, 1 / (sd * sd));
    b[i] = b[i]! + yaw / (sd * sd);
  };
  for (const p of found) tell(p.frame, p.yawDeg + shift, ALIKE * Math.max(1, p.sd));
  for (const p of poses) tell(p.frame, p.yawDeg, POSE_SD);
  for (let i = 1; i < n - 1; i++) {
    const terms = [
      [i - 1, 1],
      [i, -2],
      [i + 1, 1],
    ] as const;
    for (const [p, x] of terms) for (const [q, y] of terms) put(p, q, (x * y) / (bend * bend));
  }
  // At the ends a head tends to rest; loosely, as the body's turn has it.
  const rest = 1 / (2 * usual) ** 2;
  for (const [i, j] of n > 1
    ? ([
        [0, 1],
        [n - 2, n - 1],
      ] as const)
    : []) {
    put(i, i, rest);
    put(j, j, rest);
    put(j, i, -rest);
  }
  for (let i = 0; i < n; i++) put(i, i, 1e-6);
  const factor = factorBand(a, n, band);
  if (factor === null) return found.map((p) => ({ frame: p.frame, yawDeg: p.yawDeg + shift, sd: p.sd }));
  const y = solveBand(factor, b);
  const c = inverseInBand(factor);
  return Array.from({ length: n }, (_, i) => ({
    frame: first + i,
    yawDeg: y[i]!,
    sd: Math.hypot(MODEL_SD, Math.sqrt(Math.max(0, c[i * w + band]!))),
  }));
}
