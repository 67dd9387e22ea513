/**
 * The camera's own move over a clip: homographies of the set to the first frame, the kind of move, pan,
 * tilt and roll in degrees and the focal length where the camera turns enough about a fixed point, and the shake of a
 * hand. Angles relative to the first frame: pan positive right, tilt positive up, roll positive where the picture's
 * content turns clockwise. A push cannot give a focal length, nor can a camera that stands still: said so.
 */
import { measured, notMeasurable, type Measure } from '../../core/measure.js';
import { apply, IDENTITY3, multiply, normalise, transpose, type Mat3 } from '../../geometry/mat3.js';
import { panTiltRollDeg } from '../../geometry/rotation.js';
import { barsOf, withinBars, type Bars } from '../bars.js';
import { inverseOr, SetFollower, type SetFrame, type SetKey } from './camera-follow.js';
import { describeMove } from './camera-kind.js';
import { lumaAt, type LumaSource } from '../ride/ride-source.js';
import { calibrateTurning, pairRotation, turnedDeg, type Calibration, type RayPair } from './self-calibration.js';
import type { CameraMove, CameraMoveFrame } from '../types.js';

export interface CameraRequest {
  readonly framesPerSecond: number;
  readonly span?: { readonly in: number; readonly out: number };
  /** Focal length where the lens is known beforehand, px: angles are then had from any turn. */
  readonly focalPx?: number;
  readonly onProgress?: (done: number, of: number) => void;
  readonly signal?: AbortSignal;
}

/**
 * Measures the move. Black bars round the picture are left out. Frames that could not be
 * aligned carry the last alignment and support 0.
 */
export async function measureCameraMove(source: LumaSource, request: CameraRequest): Promise<CameraMove> {
  const { widthPx: w, heightPx: h } = source;
  const bars = barsOf([await lumaAt(source, request.span?.in ?? 0)], w, h);
  if (bars === null) return moveOf(source, request);
  const within = await moveOf(sourceWithin(source, bars), request);
  // As seen from the whole picture's corner; bars are as wide on one side as on the
  // other, so the lens stays in the middle.
  const out: Mat3 = [1, 0, bars.left, 0, 1, bars.top, 0, 0, 1];
  const back: Mat3 = [1, 0, -bars.left, 0, 1, -bars.top, 0, 0, 1];
  return {
    ...within,
    frames: within.frames.map((f) => ({
      ...f,
      homographyToFirst: normalise(multiply(multiply(out, f.homographyToFirst as Mat3), back)),
    })),
  };
}

function sourceWithin(source: LumaSource, bars: Bars): LumaSource {
  const { widthPx: w, heightPx: h } = source;
  const widthPx = w - bars.left - bars.right;
  const heightPx = h - bars.top - bars.bottom;
  const luma = new Float32Array(widthPx * heightPx);
  return {
    widthPx,
    heightPx,
    frameCount: source.frameCount,
    async *frames(from: number, to: number) {
      for await (const f of source.frames(from, to))
        yield { index: f.index, luma: withinBars(f.luma, w, h, bars, luma) };
    },
  };
}

async function moveOf(source: LumaSource, request: CameraRequest): Promise<CameraMove> {
  const first = request.span?.in ?? 0;
  const end = Math.min(source.frameCount, request.span?.out ?? source.frameCount);
  const { widthPx: w, heightPx: h } = source;
  const follower = new SetFollower({ index: first, luma: await lumaAt(source, first) }, w, h);
  const frames: SetFrame[] = [];
  try {
    if (end > first + 1) {
      for await (const f of source.frames(first + 1, end)) {
        request.signal?.throwIfAborted();
        frames.push(follower.follow(f));
        request.onProgress?.(f.index - first + 1, end - first);
      }
    }
  } finally {
    follower.close();
  }
  const lens = solveLens(follower.keys, frames, w, h, request.focalPx);
  const rotations =
    lens.focalPx === null
      ? null
      : chainRotations(follower.keys, frames, { focalPx: lens.focalPx, k1: lens.k1, cx: w / 2, cy: h / 2 });
  const kind = describeMove(
    frames.map((f) => f.fromFirst),
    w,
    h,
    request.framesPerSecond,
    lens.calibration !== null,
  );
  const out: CameraMoveFrame[] = [
    {
      frame: first,
      homographyToFirst: IDENTITY3,
      panDeg: rotations ? 0 : null,
      tiltDeg: rotations ? 0 : null,
      rollDeg: rotations ? 0 : null,
      support: 1,
    },
  ];
  frames.forEach((f, i) => {
    const a = rotations === null ? null : panTiltRollDeg(transpose(rotations[i]!));
    out.push({
      frame: f.frame,
      homographyToFirst: normalise(inverseOr(f.fromFirst)),
      panDeg: a?.panDeg ?? null,
      tiltDeg: a?.tiltDeg ?? null,
      rollDeg: a?.rollDeg ?? null,
      support: f.lost ? 0 : f.support,
    });
  });
  return {
    move: kind.move,
    focalPx: lens.measure,
    frames: out,
    shake: kind.shake,
    ...(lens.distortion === null ? {} : { distortionK1: lens.distortion }),
    ...(rotations === null ? { reason: lens.measure.reason ?? 'the focal length is not known' } : {}),
  };
}

interface LensAnswer {
  readonly focalPx: number | null;
  readonly k1: number;
  readonly measure: Measure;
  readonly distortion: Measure | null;
  readonly calibration: Calibration | null;
}

function solveLens(
  keys: readonly SetKey[],
  frames: readonly SetFrame[],
  w: number,
  h: number,
  known: number | undefined,
): LensAnswer {
  const span: readonly [number, number] = [keys[0]!.frame, frames.at(-1)?.frame ?? keys[0]!.frame];
  const fit = fitLens(keys, frames, w, h);
  const knownFocal = known === undefined ? null : measured(known, 'px', 0, 'known beforehand', span);
  if ('reason' in fit)
    return {
      focalPx: known ?? null,
      k1: 0,
      measure: knownFocal ?? notMeasurable('px', fit.reason, OTHER_WAY_TO_A_LENS),
      distortion: null,
      calibration: null,
    };
  const { calibration, distorted, turnDeg } = fit;
  const how =
    `self-calibration from a turn of ${turnDeg.toFixed(1)}° over matched points of the ` +
    `set${distorted ? ', with radial distortion' : ''}`;
  const bent = 'radial distortion k1: undistorted = distorted · (1 + k1 r²), r in focal lengths';
  return {
    focalPx: known ?? calibration.focalPx,
    k1: calibration.k1,
    calibration,
    measure: knownFocal ?? measured(calibration.focalPx, 'px', calibration.focalSd, how, span),
    distortion: distorted ? measured(calibration.k1, '1', calibration.k1Sd, bent, span) : null,
  };
}

const OTHER_WAY_TO_A_LENS = 'mark uprights of known height or ground lines, or take a shot of the same lens that pans';

type LensFit =
  | { readonly reason: string }
  | { readonly calibration: Calibration; readonly distorted: boolean; readonly turnDeg: number };

/** The lens by self-calibration, or why it does not show. */
function fitLens(keys: readonly SetKey[], frames: readonly SetFrame[], w: number, h: number): LensFit {
  const steps = usefulFrames(frames);
  const pairs = steps.map((f) => toPair(keys[f.key]!, f));
  if (pairs.length === 0) return { reason: 'the frames could not be aligned to the first' };
  if (furthestMove(frames, w, h) < 0.02 * w)
    return { reason: 'the camera stands still or moves too little: a lens shows only when it turns' };
  const plain = calibrateTurning(pairs, w, h, false);
  if (plain === null)
    return {
      reason: 'the picture moves, but not as a turning camera would show it: the camera travels, or turns too little',
    };
  const bent = calibrateTurning(pairs, w, h, true);
  const distorted =
    bent !== null &&
    Math.abs(bent.k1) > 3 * bent.k1Sd &&
    Math.abs(bent.k1) > 0.004 &&
    bent.residualPx < 0.97 * plain.residualPx;
  const calibration = distorted ? bent : plain;
  const turnDeg = Math.max(...calibration.rotations.map(turnedDeg));
  const free = freeResidual(pairs, steps, keys);
  if (calibration.residualPx > Math.max(0.3, 2.2 * free))
    return {
      reason:
        `the picture does not move as a turning camera's would (${calibration.residualPx.toFixed(2)} px left over ` +
        `against ${free.toFixed(2)} px for a free plane): the camera travels`,
    };
  const { focalPx, focalSd } = calibration;
  if (focalSd > 0.12 * focalPx || turnDeg < 1.5) {
    const little =
      turnDeg < 5
        ? `the camera turns too little (${turnDeg.toFixed(1)}°)`
        : 'too little of the set is found again while the camera turns';
    return {
      reason: `${little} to tell the lens: ${focalPx.toFixed(0)} px would be uncertain by ${focalSd.toFixed(0)} px`,
    };
  }
  return { calibration, distorted, turnDeg };
}

/** How far the set moves at most over the frames, px, at four places within the picture's corners. */
function furthestMove(frames: readonly SetFrame[], w: number, h: number): number {
  const places = [
    [0.2 * w, 0.2 * h],
    [0.8 * w, 0.2 * h],
    [0.8 * w, 0.8 * h],
    [0.2 * w, 0.8 * h],
  ] as const;
  const moves = frames.map((f) =>
    Math.max(
      ...places.map(([px, py]) => {
        const [x, y] = apply(f.fromFirst, px, py);
        return Math.hypot(x - px, y - py);
      }),
    ),
  );
  return Math.max(...moves);
}

/** At most forty frames spread over the clip, and every frame that became a key. */
function usefulFrames(frames: readonly SetFrame[]): SetFrame[] {
  const good = frames.filter((f) => !f.lost && f.matches.length >= 16);
  if (good.length <= 40) return good;
  return Array.from({ length: 40 }, (_, i) => good[Math.round((i * (good.length - 1)) / 39)]!);
}

/**
 * Points within 2.5 px of the homography of the set: what moves by itself is left out; the lens is judged on the rest.
 */
function toPair(key: SetKey, f: SetFrame): RayPair {
  const kept = f.matches.filter((m) => {
    const p = key.patches[m.patch]!;
    const [x, y] = apply(f.fromKey, p[0], p[1]);
    return Math.hypot(x - m.x, y - m.y) < 2.5;
  });
  return {
    patch: Int32Array.from(kept, (m) => m.patch),
    from: Float64Array.from(kept.flatMap((m) => [...key.patches[m.patch]!])),
    to: Float64Array.from(kept.flatMap((m) => [m.x, m.y])),
    weight: new Float64Array(kept.length).fill(1),
  };
}

/** Robust rms of the points about the free homography of each frame. */
function freeResidual(pairs: readonly RayPair[], frames: readonly SetFrame[], keys: readonly SetKey[]): number {
  const all: number[] = [];
  frames.forEach((f, i) => {
    const key = keys[f.key]!;
    const pair = pairs[i]!;
    pair.patch.forEach((p, k) => {
      const [x, y] = apply(f.fromKey, key.patches[p]![0], key.patches[p]![1]);
      all.push(Math.hypot(x - pair.to[2 * k]!, y - pair.to[2 * k + 1]!));
    });
  });
  all.sort((a, b) => a - b);
  return (all[all.length >> 1] ?? 0) / 1.1774;
}

/** Rotation first → frame for every frame, through the keys. */
function chainRotations(
  keys: readonly SetKey[],
  frames: readonly SetFrame[],
  lens: { focalPx: number; k1: number; cx: number; cy: number },
): Mat3[] {
  const ofKey: Mat3[] = [IDENTITY3];
  const out: Mat3[] = [];
  for (const f of frames) {
    const pair = toPair(keys[f.key]!, f);
    const base = ofKey[f.key] ?? IDENTITY3;
    const r = pair.patch.length >= 6 ? multiply(pairRotation(pair, lens), base) : (out.at(-1) ?? base);
    out.push(r);
    const next = keys.findIndex((k, i) => i > 0 && k.frame === f.frame);
    if (next > 0) ofKey[next] = r;
  }
  return out;
}
