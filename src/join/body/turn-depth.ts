/**
 * How deep a performer's body is, from its outlines while it turns: what stands nearer than the axis wanders to one
 * side, what stands farther to the other (shape from silhouettes: Laurentini, "The visual hull concept for
 * silhouette-based image understanding", PAMI 16, 1994). The body of balls of one frame, leant and deepened, is turned
 * about the upright through its foot and its outline held against those of the other frames; where along the picture
 * the axis stands is left free. A few frames spread over the turn are taken in turn as that one, so that each part of
 * the turn has its depth. Where a body carved by the other outlines (turn-carve.ts) meets them better than one of three
 * numbers, that stands.
 *
 * Yaw grows as the front turns to the picture's left.
 */
import { cross } from '../../geometry/mat3.js';
import { median } from '../../image/statistics.js';
import { ballsOfMatte, type Ball } from './body-volume.js';
import { carveDepth } from './shadow-carve.js';
import { axisOfTurn, tellingFrames, turnScreens, type TurnFrame } from './turn-carve.js';
import type { TakeGround } from './body-depth.js';
import { FLAT, searchDepth } from './depth-search.js';
import { lowerPeaks, slopeOfFeet } from './foot-line.js';
import type { Box } from '../ground/ground.js';
import { groundGeometry, type GroundGeometry } from '../ground/ground-geometry.js';
import type { SolidBall } from '../ground/shadow-map.js';
import { facing, standUp } from './solid-body.js';
import type { BodyDepth, GroundFrame } from '../ground/types.js';
import { ASIDE, type TurnedOutline, aboutAll, body, overlapAside, rowsOf, turned } from './turned-outline.js';

/**
 * What a whole sd of the prior costs in overlap: an outline's overlap changes by a fifth of what a shadow's does (own
 * choice, tried on three turning bodies).
 */
const COST = 0.005;
/**
 * The outlines must meet by as much in the end, and by so much better than those of a flat body: else the performer
 * does more than turn.
 */
const LEAST_OVERLAP = 0.75,
  LEAST_GAIN = 0.03;
/** A carved body must meet the outlines by as much, and by so much better than one of three numbers. */
const LEAST_CARVED = 0.8,
  LEAST_BETTER = 0.005;
/** Nearer poses tell nothing, farther ones show too much that was hidden. */
const LEAST_TURN_DEG = 12,
  MOST_TURN_DEG = 62;
/** Rows that the body is brought down to. */
const ROWS = 56;

/**
 * Depths by take frame, in order; `carved`: each with its parts, which belong to that frame and are not to be mixed.
 */
export interface TurnDepth {
  readonly frames: readonly { readonly frame: number; readonly depth: BodyDepth }[];
  readonly before: number;
  readonly after: number;
  readonly carved: boolean;
}

/** The outlines brought down to cells, and what stands in them. */
interface Turning {
  readonly seen: readonly TurnedOutline[];
  readonly w: number;
  readonly h: number;
  readonly geometry: GroundGeometry;
  /** Cells about all outlines. */
  readonly grid: Box;
  readonly mattes: readonly Float32Array[];
  readonly balls: readonly Ball[][];
  /** Slopes of the feet. */
  readonly slopes: readonly number[];
  /** Outlines as balls fill them over the grid, so that what balls leave out of one is left out of all. */
  readonly shown: readonly Float32Array[];
}

type StandingPlace = Omit<TakeGround, 'azimuthDeg' | 'elevationDeg' | 'softnessDeg'>;

/**
 * Null where the outlines tell no depth, or where turning does not explain them. `g.at` is where the performer stands
 * on all of them.
 */
export function depthFromTurn(seen: readonly TurnedOutline[], g: StandingPlace): TurnDepth | null {
  const turning = turningOf(seen, g);
  if (turning === null) return null;
  const leant = leantFrames(turning);
  if (leant === null) return null;
  const { frames, before, after } = leant;
  const carved = carvedFrames(turning);
  if (
    carved !== null &&
    carved.after >= LEAST_CARVED &&
    carved.after >= after + LEAST_BETTER &&
    carved.after - before >= LEAST_GAIN
  )
    return { ...carved, before, carved: true };
  return after < LEAST_OVERLAP || after - before < LEAST_GAIN ? null : { frames, before, after, carved: false };
}

function turningOf(seen: readonly TurnedOutline[], g: StandingPlace): Turning | null {
  const tallest = Math.max(...seen.map((s) => s.box[3] - s.box[1])),
    cell = Math.max(1, Math.round(tallest / ROWS));
  const w = Math.ceil(g.widthPx / cell),
    h = Math.ceil(g.heightPx / cell);
  const geometry = geometryInCells(g, cell, w, h);
  const ahead = facing(geometry),
    aside = cross(geometry.up, ahead);
  const mattes = seen.map((s) => body(s, w, h, cell));
  const grid = aboutAll(mattes, w, h);
  if (grid === null) return null;
  const balls = mattes.map((m) => ballsOfMatte(m, w, h));
  const slopes = balls.map((list) => {
    const tall = rowsOf(list);
    return slopeOfFeet(lowerPeaks(list, 0, w, tall), geometry, ahead, aside, tall);
  });
  const shown = balls.map((list, k) => turned(standUp(list, geometry, slopes[k]!), geometry, 0, grid));
  return { seen, w, h, geometry, grid, mattes, balls, slopes, shown };
}

/** The camera over the ground where the performer stands, in cells; the light plays no part. */
function geometryInCells(g: StandingPlace, cell: number, w: number, h: number): GroundGeometry {
  const at: GroundFrame = {
    ...g.at,
    foot: [g.at.foot[0] / cell, g.at.foot[1] / cell],
    pxPerMetre: g.at.pxPerMetre / cell,
    azimuthDeg: 0,
  };
  const camera = {
    focalPx: g.focalPx / cell,
    azimuthDeg: 0,
    elevationDeg: 45,
    principal: [g.widthPx / 2 / cell, g.heightPx / 2 / cell] as const,
  };
  return groundGeometry(camera, at, w, h);
}

/** How well a body turned from frame `r` meets the outlines of the others, on average. */
function meets(
  { seen, geometry, grid, shown }: Turning,
  solid: readonly SolidBall[],
  r: number,
  others: readonly number[],
  axis: readonly [number, number] = [0, 0],
  aside = ASIDE,
): number {
  return others.reduce(
    (v, k) =>
      v +
      overlapAside(turned(solid, geometry, seen[r]!.yawDeg - seen[k]!.yawDeg, grid, axis), shown[k]!, grid, aside) /
        others.length,
    0,
  );
}

/**
 * Each frame's body leant and deepened until it meets the others' outlines best; how well flat ones meet them on
 * average, and these. Null where fewer than two frames have others that tell.
 */
function leantFrames(t: Turning): Omit<TurnDepth, 'carved'> | null {
  const { seen, geometry, balls, slopes } = t;
  const frames: { frame: number; depth: BodyDepth }[] = [];
  let before = 0,
    after = 0;
  for (let r = 0; r < seen.length; r++) {
    const others = seen
      .map((_, k) => k)
      .filter((k) => {
        const by = Math.abs(seen[k]!.yawDeg - seen[r]!.yawDeg);
        return by >= LEAST_TURN_DEG && by <= MOST_TURN_DEG;
      });
    if (others.length === 0 || balls[r]!.length === 0) continue;
    const overlap = (d: BodyDepth): number => meets(t, standUp(balls[r]!, geometry, slopes[r]!, d), r, others);
    const depth = searchDepth(overlap, COST),
      round3 = (v: number): number => Math.round(1000 * v) / 1000;
    before += overlap(FLAT);
    after += overlap(depth);
    frames.push({
      frame: seen[r]!.frame,
      depth: { lean: round3(depth.lean), head: round3(depth.head), deep: round3(depth.deep) },
    });
  }
  if (frames.length < 2) return null;
  const many = frames.length;
  return { frames: frames.sort((a, b) => a.frame - b.frame), before: before / many, after: after / many };
}

/**
 * Each frame's body carved by the others' outlines; how well it meets them on average. Null where fewer than two frames
 * have others that tell.
 */
function carvedFrames(t: Turning): { readonly frames: TurnDepth['frames']; readonly after: number } | null {
  const { seen, mattes, balls, slopes, geometry: g, w, h } = t;
  const turns = seen.map((s, k): TurnFrame => ({ yawDeg: s.yawDeg, balls: balls[k]!, matte: mattes[k]! })),
    talls = balls.map(rowsOf),
    tall = median(talls);
  const axis = axisOfTurn(turns, g, w, h, tall),
    frames: { frame: number; depth: BodyDepth }[] = [];
  let after = 0;
  for (let r = 0; r < seen.length; r++) {
    const others = tellingFrames(turns, r);
    if (others.length === 0 || balls[r]!.length === 0) continue;
    const screens = turnScreens(turns, r, g, w, h, axis, (talls[r]! / g.focalPx) * g.foot[2]);
    const depth: BodyDepth = {
      ...FLAT,
      ...carveDepth({
        balls: balls[r]!,
        geometry: g,
        screens,
        own: { matte: mattes[r]!, width: w, height: h },
        slope: slopes[r]!,
        tall: talls[r]!,
        start: FLAT,
        away: 'anywhere',
      }),
    };
    after += meets(t, standUp(balls[r]!, g, slopes[r]!, depth), r, others, axis, 0);
    frames.push({ frame: seen[r]!.frame, depth });
  }
  return frames.length < 2 ? null : { frames: frames.sort((a, b) => a.frame - b.frame), after: after / frames.length };
}

/** The depth on any take frame: between the frames that tell it in proportion, beyond them the nearest's. */
export function depthAt(frames: TurnDepth['frames'], frame: number): BodyDepth {
  let k = 0;
  while (k < frames.length - 1 && frames[k + 1]!.frame < frame) k++;
  const a = frames[k]!,
    b = frames[Math.min(frames.length - 1, k + 1)]!;
  const t = a === b ? 0 : Math.min(1, Math.max(0, (frame - a.frame) / (b.frame - a.frame)));
  const mix = (key: 'lean' | 'head' | 'deep'): number =>
    Math.round(1000 * (a.depth[key] + t * (b.depth[key] - a.depth[key]))) / 1000;
  return { lean: mix('lean'), head: mix('head'), deep: mix('deep') };
}
