/**
 * How plate and take turn over their frames, yaw in degrees, as the pace asks for it (propose-pace.ts): through marked
 * poses or a face's measured turn; a take known by few poses follows the plate's own curve at the pace that lays both
 * on one, corrected so that its poses hold.
 */
import { smoothCubic } from '../../geometry/cubic-curve.js';
import { facesOf } from '../../plate/turn/turn-face.js';
import { paceOfPoses } from '../../take/verdict/pace-poses.js';
import { marksOf, type Side } from '../proposal-input.js';

/** A face's turn is known on every frame; so many of them draw its curve. */
const FACE_POSES = 12;

type Yaw = (frame: number) => number;

interface Pose {
  readonly frame: number;
  readonly yawDeg: number;
}

/** Start poses nearer than this are one pose read twice. */
export const SAME_START_DEG = 8;
/** A pace known no better than this share is not used to shape the take's turn. */
const SURE_PACE = 0.2;

/** Poses in order, each within half a turn of the one before; mirrored, they count the other way. */
export function posesOf(side: Side, mirrored = false): Pose[] {
  const out: Pose[] = [];
  for (const { mark, frame } of marksOf(side.marks, 'pose').sort((a, b) => a.frame - b.frame)) {
    let yawDeg = mirrored ? -mark.yawDeg : mark.yawDeg;
    const last = out.at(-1);
    if (last !== undefined) {
      if (frame === last.frame) continue;
      while (yawDeg - last.yawDeg > 180) yawDeg -= 360;
      while (yawDeg - last.yawDeg < -180) yawDeg += 360;
    }
    out.push({ frame, yawDeg });
  }
  return out;
}

/** Poses of a take: as marked, else read off the turn that was measured from its face. */
export function posesOfTake(side: Side, mirrored: boolean): Pose[] {
  const marked = posesOf(side, mirrored),
    turn = side.measures.turn?.frames ?? [];
  if (marked.length >= 2 || turn.length < 2 || facesOf(side.marks).length === 0) return marked;
  const many = Math.min(turn.length, FACE_POSES);
  return Array.from({ length: many }, (_, i) => turn[Math.round((i * (turn.length - 1)) / (many - 1))]!).map((p) => ({
    frame: p.frame,
    yawDeg: mirrored ? -p.yawDeg : p.yawDeg,
  }));
}

function throughPoses(poses: readonly Pose[]): Yaw | null {
  return poses.length >= 2
    ? smoothCubic(
        poses.map((p) => p.frame),
        poses.map((p) => p.yawDeg),
      )
    : null;
}

/** @param carried whether the performer rides on who turns: then the measured turn tells, else the marked poses */
export function yawOfPlate(side: Side, poses: readonly Pose[], carried: boolean): Yaw | null {
  const turn = side.measures.turn;
  if (carried && turn !== undefined && turn.frames.length > 1)
    return smoothCubic(
      turn.frames.map((f) => f.frame),
      turn.frames.map((f) => f.yawDeg),
    );
  return throughPoses(poses);
}

/** The plate's curve at the take's pace, its misfit at the take's poses shared out between them. */
export function yawOfTake(
  poses: readonly Pose[],
  platePoses: readonly Pose[],
  plate: Yaw,
  plateFps: number,
  takeFps: number,
): Yaw | null {
  const plain = throughPoses(poses);
  const first = poses[0],
    wanted = platePoses[0];
  if (plain === null || first === undefined || wanted === undefined) return plain;
  // Where both start alike, the difference is the eye's, not a different start.
  const apart = Math.abs(first.yawDeg - wanted.yawDeg) <= SAME_START_DEG ? wanted.yawDeg - first.yawDeg : 0;
  const pace = paceOfPoses(
    platePoses,
    poses.map((p) => ({ frame: p.frame, yawDeg: p.yawDeg + apart })),
    plateFps,
    takeFps,
  );
  if (pace === null || pace.sd > SURE_PACE * pace.pace) return plain;
  const shaped: Yaw = (f) => plate(((pace.pace * f) / takeFps + pace.offsetS) * plateFps);
  const rest = smoothCubic(
    poses.map((p) => p.frame),
    poses.map((p) => p.yawDeg - shaped(p.frame)),
  );
  return (f) => shaped(f) + rest(f);
}
