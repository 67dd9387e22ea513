/**
 * How something upright goes with a set whose motion no turn of the camera explains (the camera travels, and its way
 * over the ground is not known). The homography of such a set is that of a plane through what lies at many depths: what
 * it shears between the picture's upper and lower part is parallax, not lean. All of an upright stands at one depth, so
 * it goes as its foot does and takes turn and size from the homography along the picture's breadth there. On frames
 * where little of the set agrees with the homography (its support), the path is laid through the neighbours' by local
 * straight lines weighed by support (Cleveland 1979, without its repetition). The rule of the breadth and the limits
 * are our own.
 */
import { apply, invert, type Mat3 } from '../../geometry/mat3.js';
import type { CameraMove } from '../../plate/types.js';
import { cameraCarrier, type Carrier } from './carrier.js';

/** Below the first support a frame is told by its neighbours alone, above the second by itself. */
const POOR = 0.25,
  GOOD = 0.5;
/** Frames on either side that have a say in a poorly supported one. */
const REACH = 6;

/** Whether the set's motion is one that needs this: it moves, and no turn explains it. */
export function travelsUnknown(camera: CameraMove | undefined): camera is CameraMove {
  return camera !== undefined && camera.move !== 'static' && camera.frames.every((f) => f.panDeg === null);
}

/**
 * Similarities of an upright whose foot is at `ground` (px) on `frame`, from the set's first frame to every frame.
 * Its growth over the shot is the set's own (Carrier.progress).
 */
export function uprightCarrier(camera: CameraMove, frame: number, ground: readonly [number, number]): Carrier {
  const set = cameraCarrier(camera),
    at0 = set.at(frame);
  const [x0, y0] = apply(invert(at0), ground[0], ground[1]);
  const first = camera.frames[0]!.frame;
  const raw = camera.frames.map((f): readonly number[] => {
    const m = set.at(f.frame),
      [x, y] = apply(m, x0, y0),
      w = m[6] * x0 + m[7] * y0 + m[8];
    // Derivative along the breadth: how a level line through the foot turns and grows.
    const dx = (m[0] - m[6] * x) / w,
      dy = (m[3] - m[6] * y) / w;
    return [x, y, Math.log(Math.max(1e-6, Math.hypot(dx, dy))), Math.atan2(dy, dx)];
  });
  const weights = camera.frames.map((f) => Math.max(1e-3, f.support) ** 2);
  const path = raw.map((own, i) => {
    const sure = Math.min(1, Math.max(0, (camera.frames[i]!.support - POOR) / (GOOD - POOR)));
    return sure >= 1 ? own : own.map((v, k) => sure * v + (1 - sure) * lineAt(raw, weights, i, k));
  });
  const last = path.length - 1;
  return {
    at: (n): Mat3 => {
      const [x, y, size, turn] = path[Math.min(last, Math.max(0, Math.round(n) - first))]! as [
        number,
        number,
        number,
        number,
      ];
      const k = Math.exp(size),
        c = k * Math.cos(turn),
        s = k * Math.sin(turn);
      return [c, -s, x - c * x0 + s * y0, s, c, y - s * x0 - c * y0, 0, 0, 1];
    },
    ...(set.progress === undefined ? {} : { progress: set.progress }),
  };
}

/** Straight line through one number of the neighbours, at frame i. */
function lineAt(path: readonly (readonly number[])[], weights: readonly number[], i: number, k: number): number {
  let s = 0,
    st = 0,
    stt = 0,
    sv = 0,
    stv = 0;
  for (let j = Math.max(0, i - REACH); j <= Math.min(path.length - 1, i + REACH); j++) {
    const t = j - i,
      w = weights[j]! * (1 - (Math.abs(t) / (REACH + 1)) ** 3) ** 3,
      v = path[j]![k]!;
    s += w;
    st += w * t;
    stt += w * t * t;
    sv += w * v;
    stv += w * t * v;
  }
  const det = s * stt - st * st;
  return det > 1e-9 * s * s ? (stt * sv - st * stv) / det : sv / s;
}
