/**
 * What a travelling camera's own way tells of the view, before any mark: how each of some frames looks at the ground
 * beside the view's frame (its turn, and its height over the ground in heights of the view's), and, by the parallax of
 * the ground's pieces, focal length, tilt and roll themselves (self-calibration over a plane: Triggs, *Autocalibration
 * from Planar Scenes*, ECCV 1998, for the principle). All with one covariance, from a bundle over the pieces that
 * were followed (travel-bundle.ts), so that marks of several frames can be joined in one view.
 */
import { PlatewrightError } from '../../core/errors.js';
import type { LumaSource } from '../ride/ride-source.js';
import type { GroundLooks } from '../view/ground-looks.js';
import type { TravelRequest } from './travel-answer.js';
import { fromHome, type BundlePoint, type BundleState } from './bundle-equations.js';
import { tellLooks } from './bundle-looks.js';
import { adjustBundle } from './travel-bundle.js';
import type { TravelKey, TravelSight } from './travel-ground.js';
import { freeDepths } from './travel-points.js';
import type { Tracked } from './travel-track.js';
import type { Way } from './travel-begin.js';
import { freeWay } from './travel.js';
import { AT_HOME } from './travel-pose.js';
import { groundAmong, type FoundGround } from './ground-among.js';
import { poseAt } from './travel-settle.js';

/** Frames that hang on a key in the bundle, spread over those that do. */
const FRAMES_A_KEY = 14;
/** Frames in all: more only cost time. */
const MOST_FRAMES = 24;
/** A piece must be seen in so many frames of the bundle. */
const LEAST_SIGHTS = 4;
/** Fewer pieces than this tell nothing. */
const LEAST_PIECES = 40;
/**
 * Errors of one piece go through all its sights (its key's grain), and neighbours share theirs: the variance of one
 * sight's residual times this, and times the sights of a piece over two.
 */
const SHARED = 4;
/** A lens is told where its ln is known by this sd and better. */
const LENS_TOLD = 0.15;
/**
 * Lenses to begin from, as shares of the view's own: a way begun from one far off may end in a false valley, and how
 * sure a view from shaky marks is of its lens says little.
 */
const LENSES: readonly number[] = [1, 1.2, 1 / 1.2];
/** Bundles are weighed against each other that so large a share of the most pieces agrees with. */
const FULL = 0.8;
/** A bundle is clearly better that leaves its pieces by such a share of another's (.7 on a lens .24 off in ln). */
const CLEARLY = 0.85;
const GIVEN_SD = 1e-3;
const LOOSE_SD = 0.5;
/** The lens's own distortion is left out: no lens is told better than this (ln). */
const LENS_LEAST_SD = 0.01;
/** Grass stands up and a street is cambered: what the ground's pieces tell of tilt and roll is never surer (rad). */
const GROUND_RAD = 0.008;
/** Sd of ln of the way's length where no ground tells it. */
const SCALE_SD = 0.7;

/**
 * @param frames whose looks are wanted, without the view's own
 * @param again the view was told by the way already: no other lens is begun from
 * @throws `PW-TRAVEL-…` where the way can't be had. Null where too little is followed.
 */
export function looksOverGround(
  source: Pick<LumaSource, 'widthPx' | 'heightPx'>,
  request: TravelRequest,
  tracked: Tracked,
  frames: readonly number[],
  again = false,
): GroundLooks | null {
  const shares = again ? [1] : LENSES;
  const begun = shares.flatMap((share) => {
    request.signal?.throwIfAborted();
    try {
      return [wayFrom(source, request, tracked, frames, share)];
    } catch (error) {
      if (!(error instanceof PlatewrightError) || shares.length === 1) throw error;
      return [];
    }
  });
  const free = best(begun.flatMap((b) => told(b, false) ?? []));
  // A camera that only comes nearer leaves the lens untold: how it looks is then told for the view's own.
  const untold = free !== null && Math.sqrt(free.covariance[0]!) > LENS_TOLD;
  const own = begun.find((w) => w.share === 1);
  const found = !untold ? free : own === undefined ? null : told(own, true);
  // Looks alone, their scale and the lens left open, made the views of traced pushes no surer.
  return found === null || (!found.lensTold && found.groundPieces === 0)
    ? null
    : { ...found, lnFocal: found.lnFocal - Math.log(source.widthPx / request.view.widthPx) };
}

/** The bundle that most pieces agree with, unless another that hardly fewer do leaves its pieces clearly less. */
function best(found: readonly Told[]): Told | null {
  const fullest = found.reduce<Told | null>((a, b) => (a === null || b.pieces > a.pieces ? b : a), null);
  return found.reduce<Told | null>(
    (a, b) => (a === null || (b.pieces >= FULL * a.pieces && b.residualPx < CLEARLY * a.residualPx) ? b : a),
    fullest,
  );
}

/** What a bundle tells, and how far off it leaves its pieces, small px. */
type Told = GroundLooks & { readonly residualPx: number };

/** A way from which a bundle begins. */
interface Begun {
  readonly way: Way;
  readonly share: number;
  readonly state: BundleState;
  /** Pieces with a depth that their sights agree on. */
  readonly pieces: number;
  /** Frames of the bundle, which of them is the view's, and whose looks are asked for. */
  readonly frames: readonly number[];
  readonly home: number;
  readonly looks: readonly number[];
  /** The view's sd of ln focal length, tilt, roll. */
  readonly viewSd: readonly [number, number, number];
}

/** The way begun from so many times the view's focal length. */
function wayFrom(
  source: Pick<LumaSource, 'widthPx' | 'heightPx'>,
  request: TravelRequest,
  tracked: Tracked,
  asked: readonly number[],
  share: number,
): Begun {
  const { focalPx, ...rest } = request.view;
  const view = { ...rest, focalPx: { ...focalPx, value: focalPx.value === null ? null : focalPx.value * share } };
  const way = freeWay(source, { ...request, view }, tracked);
  const frames = framesOf(way, asked);
  const home = frames.indexOf(way.viewFrame);
  const at = poseAt(way.sights, way.viewFrame);
  const state: BundleState = {
    lnFocal: Math.log(way.lens.focal),
    tilt: (view.tiltDeg.value! * Math.PI) / 180,
    roll: ((view.rollDeg.value ?? 0) * Math.PI) / 180,
    poses: frames.map((f, i) => (i === home ? AT_HOME : fromHome(poseAt(way.sights, f), at))),
  };
  const sd = (k: number): number => Math.max(1e-3, Math.sqrt(view.covariance[k] ?? 1e-2));
  return {
    way,
    share,
    state,
    pieces: pointsOf(way, frames, state).length,
    frames,
    home,
    looks: asked.filter((f) => frames.includes(f) && f !== way.viewFrame),
    viewSd: [sd(0), sd(5), sd(10)],
  };
}

/** Lens, ground and looks from a bundle that begins there; in the small picture's pixels. */
function told({ way, state: from, frames, home, looks, viewSd }: Begun, lensGiven: boolean): Told | null {
  const state: BundleState = { ...from, poses: [...from.poses] };
  const hold = {
    at: [state.lnFocal, state.tilt, state.roll],
    sd: [lensGiven ? GIVEN_SD : viewSd[0], viewSd[1], viewSd[2]],
  } as const;
  // A lens that the pieces tell is let go of the second time, with what it shows of them then.
  const loose = lensGiven ? hold : { ...hold, sd: [LOOSE_SD, viewSd[1], viewSd[2]] as const };
  let points = pointsOf(way, frames, state);
  if (points.length < LEAST_PIECES || adjustBundle(points, state, home, hold) === null) return null;
  points = pointsOf(way, frames, state);
  let answer = points.length < LEAST_PIECES ? null : adjustBundle(points, state, home, loose);
  if (answer === null) return null;
  const ground = groundAmong(points, state, viewSd);
  if (ground !== null) {
    layOn(ground, points, state);
    answer = adjustBundle(points, state, home, loose);
    if (answer === null) return null;
  }
  const places = looks.map((f) => frames.indexOf(f));
  const sights = points.reduce((a, p) => a + p.sights.length, 0) / points.length;
  const tells = tellLooks(answer, home, places, {
    times: SHARED * Math.max(1, sights / 2),
    // The scale that no ground tells is left to the marks, as one number for the whole way.
    scaleSd: ground === null ? GIVEN_SD : SCALE_SD,
    lensGiven,
  });
  if (tells === null) return null;
  const m = 3 + 6 * places.length;
  tells.covariance[0] = tells.covariance[0]! + LENS_LEAST_SD ** 2;
  for (const i of [1, 2]) tells.covariance[i * m + i] = tells.covariance[i * m + i]! + GROUND_RAD * GROUND_RAD;
  return {
    lnFocal: state.lnFocal,
    tilt: state.tilt,
    roll: state.roll,
    looks: looks.map((frame, i) => {
      const { r, t } = state.poses[places[i]!]!;
      return { frame, rotation: r, shift: t };
    }),
    scaleSd: ground === null ? SCALE_SD : 0,
    ...tells,
    lensTold: !lensGiven,
    groundPieces: ground?.points.length ?? 0,
    pieces: points.length,
    residualPx: answer.residualPx,
  };
}

/** Counts all in heights over the ground that was found, and lays its pieces on it, in place. */
function layOn(
  { tilt, roll, height, points: on }: FoundGround,
  points: readonly BundlePoint[],
  state: BundleState,
): void {
  Object.assign(state, { tilt, roll });
  state.poses = state.poses.map((p) => ({ r: p.r, t: [p.t[0] / height, p.t[1] / height, p.t[2] / height] }));
  const lying = new Set(on);
  for (const p of points) p.rho = lying.has(p) ? null : p.rho! * height;
}

/** The view's frame, the keys, the frames asked for, and some of each key's, in order. */
function framesOf({ keys, sights, viewFrame }: Way, asked: readonly number[]): number[] {
  const seen = new Set(sights.map((s) => s.frame));
  const out = new Set([viewFrame, ...keys.map((k) => k.frame)]);
  for (const f of asked) if (seen.has(f) || out.has(f)) out.add(f);
  keys.forEach((_, k) => {
    const mine = sights.filter((s) => s.key === k && s.fit !== null);
    const most = Math.min(FRAMES_A_KEY, mine.length, Math.max(2, Math.floor(MOST_FRAMES / keys.length)));
    for (let i = 0; i < most; i++) out.add(mine[Math.round(((i + 1) * mine.length) / most) - 1]!.frame);
  });
  return [...out].sort((a, b) => a - b);
}

/** The pieces with the depth that their sights agree on; the others are left out. */
function pointsOf(way: Way, used: readonly number[], state: BundleState): BundlePoint[] {
  const lens = { ...way.lens, focal: Math.exp(state.lnFocal) };
  const out: BundlePoint[] = [];
  way.keys.forEach((old, k) => {
    const pose = state.poses[used.indexOf(old.frame)]!;
    const key: TravelKey = { ...old, pose, ground: new Set() };
    const mine = way.sights
      .filter((s) => s.key === k && used.includes(s.frame))
      .map((s): TravelSight => ({ ...s, pose: state.poses[used.indexOf(s.frame)]! }));
    for (const [patch, depth] of freeDepths(key, mine, lens)) {
      const p = old.patches.patches[patch]!;
      const sights = mine.flatMap((s) => {
        const m = s.matches.find((q) => q.patch === patch);
        return m === undefined ? [] : [{ at: used.indexOf(s.frame), x: m.x - lens.cx, y: m.y - lens.cy }];
      });
      if (sights.length < LEAST_SIGHTS) continue;
      const [x, y] = [p[0] - lens.cx, p[1] - lens.cy];
      out.push({ key: used.indexOf(old.frame), x, y, sights, rho: depth.rho, relativeSd: depth.sd / depth.rho });
    }
  });
  return out;
}
