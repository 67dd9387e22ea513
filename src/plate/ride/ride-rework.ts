/**
 * From a raw track to an answer: the frames are smoothed as one track (ride-smooth.ts); those that were not found,
 * hardly seen, or contradicted by the rest are looked at again with what the rest says of them; all are aligned to an
 * average of the best (ride-refine.ts), and what is doubtful once more; then the model is chosen.
 * A confidence is the chance that the corners are within one pixel (Rayleigh with the track's own sd there), lowered
 * where little of the region agrees with the key frame; a frame on which nothing was seen is never claimed above 0.45.
 */
import { mapTuple } from '../../core/tuples.js';
import { IDENTITY3, multiply, normalise, tryInvert, type Mat3 } from '../../geometry/mat3.js';
import type { Follower } from './ride-follow.js';
import type { FollowedFrame } from './ride-keys.js';
import { chooseModel, ontoModel } from './ride-model.js';
import { followBack } from './ride-gaps.js';
import { averageKey } from './ride-refine.js';
import { lumaAt, type LumaSource } from './ride-source.js';
import type { TrackPoint } from './ride-measured.js';
import { smoothTrack, type SmoothPoint } from './ride-smooth.js';
import type { RideTrack } from '../types.js';

export interface SolvedFrame {
  readonly frame: number;
  readonly homography: Mat3;
  readonly found: boolean;
  /** sd of a corner coordinate, px. */
  readonly sdPx: number;
  readonly confidence: number;
}

/**
 * Own choice: lower over upper quartile was .90 to .98 on five made sequences, .46 in a
 * push towards a bench before a wall.
 */
const EVEN = 0.65;

/** @param raw frames of the clip in rising order round the anchor (the anchor's own left out). */
export async function reworkTrack(
  source: LumaSource,
  follower: Follower,
  anchorFrame: number,
  raw: readonly FollowedFrame[],
  signal?: AbortSignal,
): Promise<{ model: RideTrack['model']; frames: SolvedFrame[] }> {
  if (raw.length === 0) return { model: 'translation', frames: [] };
  const usual = usualQuality(raw);
  let frames = await followBack(source, follower, anchorFrame, raw, (f) => f.found && trustOf(f, usual) > 0.5, signal);
  let points = smoothed(follower, anchorFrame, frames, usual);
  const first = await lookAgain(source, follower, frames, points, usual, signal);
  if (first !== null) {
    frames = first;
    points = smoothed(follower, anchorFrame, frames, usual);
  }
  const finer = await refined(source, follower, anchorFrame, frames, points, usual, signal);
  let home: FollowedFrame | null = null;
  if (finer !== null) ({ frames, points, home } = finer);
  const usualNow = usualQuality(frames);
  const second = await lookAgain(source, follower, frames, points, usualNow, signal);
  if (second !== null) {
    frames = second;
    points = smoothed(follower, anchorFrame, frames, usualNow, home);
  }
  const chosen = chooseModel(follower.anchor, frames);
  if (chosen.model !== 'perspective') {
    frames = chosen.frames.map((f) => ({ ...f, pull: null }));
    points = smoothed(follower, anchorFrame, frames, usualNow, home === null ? null : { ...home, pull: null });
  }
  return {
    model: chosen.model,
    frames: frames.map((f, i) => {
      const p = points[i]!;
      const homography =
        chosen.model === 'perspective'
          ? p.homography
          : ontoModel(follower.anchor, chosen.model, p.homography, f.information ?? p.others.information);
      return {
        frame: f.frame,
        homography,
        found: f.found,
        sdPx: p.sdPx,
        confidence: confidenceOf(f, p, home?.sdPx ?? 0),
      };
    }),
  };
}

/**
 * Frames that were not found, hardly seen or contradicted by the rest, aligned with what
 * the rest says of them; null where there are none.
 */
async function lookAgain(
  source: LumaSource,
  follower: Follower,
  frames: readonly FollowedFrame[],
  points: readonly SmoothPoint[],
  usual: number,
  signal?: AbortSignal,
): Promise<FollowedFrame[] | null> {
  const doubtful = frames
    .map((f, i) => ({ f, i }))
    .filter(({ f, i }) => !f.found || trustOf(f, usual) < 0.7 || points[i]!.weight < 0.6);
  if (doubtful.length === 0) return null;
  const next = [...frames];
  const wanted = new Map(doubtful.map((d) => [d.f.frame, d.i]));
  for (const [a, b] of runs(doubtful.map((d) => d.f.frame))) {
    for await (const luma of source.frames(a, b + 1)) {
      signal?.throwIfAborted();
      const i = wanted.get(luma.index);
      if (i === undefined) continue;
      const f = frames[i]!;
      const p = points[i]!;
      const seen = follower.again({
        frame: luma,
        before: f,
        expected: p.others.homography,
        information: p.others.information,
        sdPx: p.others.sdPx,
        light: lightNear(frames, i, usual),
        motion: motionAt(frames, points, i),
      });
      // A fit that the rest contradicts falls away where looking again finds nothing better.
      next[i] = seen ?? {
        ...f,
        found: false,
        homography: p.others.homography,
        information: null,
        pull: null,
        quality: 0,
        agreement: 0,
        visible: 0,
      };
    }
  }
  return next;
}

/** Every frame aligned to the average of the best ones; null where there is none. */
async function refined(
  source: LumaSource,
  follower: Follower,
  anchorFrame: number,
  frames: readonly FollowedFrame[],
  points: readonly SmoothPoint[],
  usual: number,
  signal?: AbortSignal,
): Promise<{ frames: FollowedFrame[]; points: SmoothPoint[]; home: FollowedFrame } | null> {
  const keyLuma = await lumaAt(source, anchorFrame);
  const key = await averageKey(source, follower, keyLuma, frames, points, signal);
  if (key === null) return null;
  const rest: FollowedFrame = {
    frame: anchorFrame,
    homography: IDENTITY3,
    found: true,
    sdPx: 0,
    textureSdPx: 0,
    visible: 1,
    inliers: 1,
    correlation: 1,
    agreement: 1,
    information: null,
    pull: null,
    quality: 1,
    key,
    light: null,
    anew: false,
    set: IDENTITY3,
  };
  const home = follower.again({
    frame: { index: anchorFrame, luma: keyLuma },
    before: rest,
    expected: IDENTITY3,
    information: new Float64Array(64),
    sdPx: 0,
    light: null,
    near: true,
  });
  if (home === null) return null;
  const next = [...frames];
  const ratios: number[] = [];
  for await (const luma of source.frames(frames[0]!.frame, frames.at(-1)!.frame + 1)) {
    signal?.throwIfAborted();
    const i = frames.findIndex((f) => f.frame === luma.index);
    const f = frames[i];
    const p = points[i];
    if (f === undefined || p === undefined) continue;
    const sure = f.found && trustOf(f, usual) > 0.7 && p.weight > 0.6;
    const seen = follower.again({
      frame: luma,
      before: { ...f, key, homography: p.homography },
      expected: p.others.homography,
      information: p.others.information,
      sdPx: p.others.sdPx,
      light: trustOf(f, usual) > 0.6 ? f.light : lightNear(frames, i, usual),
      motion: motionAt(frames, points, i),
      near: sure,
    });
    if (sure) ratios.push((seen?.quality ?? 0) / f.quality);
    if (seen !== null && (!f.found || seen.quality > 0.8 * f.quality)) next[i] = seen;
    else if (!f.found) next[i] = { ...f, key };
  }
  // An average that suits some frames far better than others holds what does not keep to the region: walls
  // behind it, parted from it as the camera travels.
  ratios.sort((a, b) => a - b);
  if (ratios[Math.floor(0.25 * ratios.length)]! < EVEN * ratios[Math.floor(0.75 * ratios.length)]!) return null;
  return { frames: next, points: smoothed(follower, anchorFrame, next, usualQuality(next), home), home };
}

/** @param anchor the key frame's own fit to an average; null: the others tell how sure it is */
function smoothed(
  follower: Follower,
  anchorFrame: number,
  frames: readonly FollowedFrame[],
  usual: number,
  anchor: FollowedFrame | null = null,
): SmoothPoint[] {
  const home: TrackPoint = {
    frame: anchorFrame,
    homography: anchor?.homography ?? IDENTITY3,
    found: true,
    information: anchor?.information ?? null,
    pull: anchor?.pull ?? null,
    trust: 1,
    set: IDENTITY3,
  };
  const points: TrackPoint[] = frames.map((f) => ({
    frame: f.frame,
    homography: f.homography,
    found: f.found,
    information: f.information,
    pull: f.pull,
    trust: trustOf(f, usual),
    set: f.set,
  }));
  const at = points.findIndex((p) => p.frame > anchorFrame);
  const cut = at < 0 ? points.length : at;
  const all = smoothTrack(follower.anchor, [...points.slice(0, cut), home, ...points.slice(cut)], anchorFrame);
  return [...all.slice(0, cut), ...all.slice(cut + 1)];
}

/** What a well-seen frame of this track reaches. */
function usualQuality(frames: readonly FollowedFrame[]): number {
  const q = frames
    .filter((f) => f.found)
    .map((f) => f.quality)
    .sort((a, b) => a - b);
  return Math.max(0.4, q[Math.floor(0.8 * (q.length - 1))] ?? 0.4);
}

function trustOf(f: FollowedFrame, usual: number): number {
  if (!f.found) return 0;
  return Math.max(0, Math.min(1, (f.quality / usual - 0.35) / 0.5));
}

function lightNear(frames: readonly FollowedFrame[], i: number, usual: number): FollowedFrame['light'] {
  for (let d = 0; d < 8; d++)
    for (const k of d === 0 ? [i] : [i - d, i + d]) {
      const f = frames[k];
      if (f !== undefined && f.light !== null && trustOf(f, usual) > 0.6) return f.light;
    }
  return null;
}

/** A frame's motion, as the others have it: anchor pixels to where they would be shown half a frame each way. */
function motionAt(frames: readonly FollowedFrame[], points: readonly SmoothPoint[], i: number): Mat3 | null {
  const a = Math.max(0, i - 1);
  const b = Math.min(points.length - 1, i + 1);
  // The anchor's own frame is not among them: what spans it is no motion of one frame a step.
  if (frames[b]!.frame - frames[a]!.frame !== 2 || b - a !== 2) return null;
  const inverse = tryInvert(points[a]!.homography);
  return inverse === null ? null : halfWay(multiply(inverse, points[b]!.homography));
}

/** The square root of a map near the identity, to first order. */
function halfWay(m: Mat3): Mat3 {
  const n = normalise(m);
  return mapTuple(n, (v, k) => (v + (k % 4 === 0 ? 1 : 0)) / 2);
}

/** Rising runs of neighbouring frame numbers. */
function runs(frames: readonly number[]): [number, number][] {
  const out: [number, number][] = [];
  for (const f of frames) {
    const last = out.at(-1);
    if (last !== undefined && f <= last[1] + 3) last[1] = f;
    else out.push([f, f]);
  }
  return out;
}

function confidenceOf(f: FollowedFrame, p: SmoothPoint, homeSdPx: number): number {
  // The key frame's grain is in every fit alike: neighbours average their own away, not that. So the ratio stays.
  // Where it was aligned to an average, the key frame's own place in that is in every frame instead.
  const sd = Math.hypot(p.sdPx * (f.found ? Math.max(1, f.textureSdPx / Math.max(1e-6, f.sdPx)) : 1), homeSdPx);
  const within = 1 - Math.exp(-0.5 / Math.max(1e-6, sd * sd));
  if (!f.found) return Math.min(0.45, within);
  const seen = Math.min(1, Math.max(0, f.agreement * f.visible - 0.12) / 0.3);
  return Math.max(0.01, Math.min(0.99, within * Math.max(0.45, seen) * (0.4 + 0.6 * p.weight)));
}
