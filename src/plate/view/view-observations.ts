/**
 * What marks say about a view, as observations with their own uncertainty: uprights, parallel ground lines, vertical
 * lines, the horizon, rectangles. One file turns marks into observations, so that the solver knows nothing of mark
 * files. Pixels from the top left; metres; angles in radians inside, degrees at the surface.
 */
import { apply, type Mat3 } from '../../geometry/mat3.js';
import type { Mark, MarksFile, Point } from '../marks/marks.js';
import { standsOnGround } from '../marks/seat.js';

export type ViewObservation = {
  /** The frame it is seen on, where that is not the view's: its camera is that look's (travel-looks.ts). */
  readonly look?: number;
} & (
  | {
      readonly kind: 'upright';
      readonly foot: Point;
      readonly top: Point;
      readonly height: number | null;
      readonly heightSd: number;
      /** Uprights of one name have one height, off by `heightSd` together: it was typed once. */
      readonly alike?: string;
      /** Uprights of one name stand in one place. */
      readonly place?: string;
      readonly sdPx: number;
      readonly leanSd: number;
    }
  | { readonly kind: 'groundLine'; readonly group: number; readonly a: Point; readonly b: Point; readonly sdPx: number }
  | { readonly kind: 'vertical'; readonly a: Point; readonly b: Point; readonly sdPx: number; readonly angleSd: number }
  | { readonly kind: 'horizon'; readonly a: Point; readonly b: Point; readonly sdPx: number }
  /** How steeply the line of sight through a picture point falls, and its sd. */
  | { readonly kind: 'sight'; readonly at: Point; readonly elevationRad: number; readonly sdRad: number }
  | {
      readonly kind: 'rectangle';
      readonly corners: readonly [Point, Point, Point, Point];
      readonly plane: 'ground' | 'wall';
      readonly width: number | null;
      readonly depth: number | null;
      readonly sdPx: number;
    }
);

/** How well a person points and knows heights: the program's own choice, stated here once. */
export const MARK_NOISE = {
  /**
   * Standard deviation of a clicked point in pixels, for a picture `widthPx` wide: 0.8 px, growing with large pictures.
   */
  pointPx: (widthPx: number): number => Math.max(0.8, widthPx / 1200),
  /** A horizon is seldom a sharp line. */
  horizonFactor: 2,
  /** A shadow's tip has a penumbra. */
  shadowTipFactor: 2,
  /** Relative sd of a stated height of an upright, of the performer, of a height given to the stand mark. */
  uprightHeight: 0.01,
  performerHeight: 0.02,
  standHeight: 0.03,
  /** A standing person or a post is not exactly upright. */
  leanRad: (0.3 * Math.PI) / 180,
  /**
   * An animal's highest point (an ear, a tail, a hump) is seldom above its feet: which way
   * the line between them leans says next to nothing.
   */
  performerLeanRad: (15 * Math.PI) / 180,
} as const;

export interface ObservationOptions {
  readonly widthPx: number;
  /** Maps pixels of a frame to pixels of the marks' own frame; null where that can't be known (the camera travels). */
  readonly toViewFrame?: (frame: number) => Mat3 | null;
  /** Frames whose own look at the ground is known (a camera that travels). */
  readonly looks?: ReadonlySet<number>;
  /** Standard deviation of a clicked point; default MARK_NOISE.pointPx. */
  readonly pointSdPx?: number;
}

export interface ObservationSet {
  readonly observations: readonly ViewObservation[];
  /** Marks that could not be used, and why. */
  readonly notes: readonly string[];
}

/** Kinds of marks that may tell of a view. */
export const TELLING: ReadonlySet<Mark['kind']> = new Set([
  'upright',
  'groundLines',
  'horizon',
  'rectangle',
  'shadow',
  'stand',
  'performer',
]);

/** What is gathered from mark to mark. */
interface Gathered {
  readonly observations: ViewObservation[];
  readonly notes: string[];
  /** Feet of all that stands upright, so that no upright is counted twice. */
  readonly feet: { readonly at: Point; readonly look?: number }[];
  readonly shadowRays: { readonly a: Point; readonly b: Point; readonly look?: number }[];
  /** Names of heights that were typed for one thing on several frames. */
  readonly alike: ReadonlySet<string>;
  /** Sets of parallel ground lines so far. */
  groups: number;
}

type ToViewFrame = (p: Point) => Point;

/** Observations of the view at `marks.frame` from every mark that tells of it. */
export function observationsFromMarks(marks: MarksFile, options: ObservationOptions): ObservationSet {
  const sdPx = options.pointSdPx ?? MARK_NOISE.pointPx(options.widthPx);
  const alike = options.looks === undefined ? new Set<string>() : alikeHeights(marks);
  const gathered: Gathered = { observations: [], notes: [], feet: [], shadowRays: [], alike, groups: 0 };
  const skipped = new Set<number>();
  const looks = options.looks ?? new Set<number>();
  const lookOf = (frame: number): number | undefined => (frame !== marks.frame && looks.has(frame) ? frame : undefined);
  const move = (frame: number): ToViewFrame | null => {
    if (frame === marks.frame || looks.has(frame)) return (p) => p;
    const m = options.toViewFrame?.(frame) ?? null;
    return m === null ? null : (p) => apply(m, p[0], p[1]);
  };
  for (const mark of marks.marks) {
    if (!TELLING.has(mark.kind) || (mark.kind === 'stand' && !standsOnGround(mark, marks))) continue;
    const frame = mark.frame ?? marks.frame;
    const to = move(frame);
    if (to === null) skipped.add(frame);
    else seenFrom(lookOf(frame), gathered, () => observe(mark, to, sdPx, gathered));
  }
  for (const mark of marks.marks) {
    const frame = mark.frame ?? marks.frame;
    const to = move(frame);
    if (to !== null)
      seenFrom(lookOf(frame), gathered, () => observeShadowsUpright(mark, to, sdPx, gathered, lookOf(frame)));
  }
  const { observations, notes, shadowRays, groups: group } = gathered;
  // Shadows of uprights under one sun are parallel lines on the ground: two and more tell of the horizon.
  if (shadowRays.length >= 2) {
    for (const s of shadowRays)
      observations.push({ kind: 'groundLine', group, ...s, sdPx: sdPx * MARK_NOISE.shadowTipFactor });
  }
  if (skipped.size > 0)
    notes.push(
      `marks on frame ${[...skipped].sort((a, b) => a - b).join(', ')} were left out: ` +
        `the camera is not known to stand still or only to turn between them and frame ${marks.frame}`,
    );
  return { observations, notes };
}

/** Does `observe`; what it gathers is seen on another frame than the view's where `look` says so. */
function seenFrom(look: number | undefined, { observations, feet, shadowRays }: Gathered, observe: () => void): void {
  const lists = [observations, feet, shadowRays] as { look?: number }[][];
  const before = lists.map((l) => l.length);
  observe();
  if (look === undefined) return;
  lists.forEach((list, k) => {
    for (let i = before[k]!; i < list.length; i++) list[i] = { ...list[i]!, look };
  });
}

/** Adds what one mark says. `to` brings its points to the view's frame, `sdPx` is how well they are pointed. */
function observe(mark: Mark, to: ToViewFrame, sdPx: number, into: Gathered): void {
  const { observations, feet } = into;
  switch (mark.kind) {
    case 'upright':
    case 'stand':
    case 'performer': {
      const upright = uprightOf(mark, to, sdPx);
      if (upright === null) break;
      const name = heightName(mark);
      feet.push({ at: upright.foot });
      observations.push(into.alike.has(name) ? { ...upright, alike: name, place: name } : upright);
      break;
    }
    case 'groundLines':
      for (const [a, b] of mark.lines)
        observations.push({ kind: 'groundLine', group: into.groups, a: to(a), b: to(b), sdPx });
      into.groups++;
      break;
    case 'horizon':
      observations.push({
        kind: 'horizon',
        a: to(mark.line[0]),
        b: to(mark.line[1]),
        sdPx: sdPx * MARK_NOISE.horizonFactor,
      });
      break;
    case 'rectangle': {
      const corners = mark.corners.map((c) => to(c)) as [Point, Point, Point, Point];
      const plane = mark.plane ?? guessPlane(corners);
      if (mark.plane === undefined)
        into.notes.push(
          "a rectangle's plane was not said; " +
            `taken as ${plane === 'wall' ? 'standing upright' : 'lying on the ground'}`,
        );
      const { width = null, depth = null } = mark;
      observations.push({ kind: 'rectangle', corners, plane, width, depth, sdPx });
      break;
    }
    case 'shadow':
      into.shadowRays.push({ a: to(mark.foot), b: to(mark.tip) });
      break;
    default:
      break;
  }
}

type Upright = Extract<ViewObservation, { kind: 'upright' }>;
type UprightMark = Extract<Mark, { kind: 'upright' | 'stand' | 'performer' }>;

/** A mark of something that stands; a stand or performer without a height says nothing of the view. */
function uprightOf(mark: UprightMark, to: ToViewFrame, sdPx: number): Upright | null {
  const leanSd = MARK_NOISE.leanRad;
  if (mark.kind === 'upright')
    return {
      kind: 'upright',
      foot: to(mark.foot),
      top: to(mark.top),
      height: mark.height ?? null,
      ...(mark.height === undefined || mark.heightSd === undefined
        ? { heightSd: MARK_NOISE.uprightHeight, sdPx, leanSd }
        : { heightSd: mark.heightSd / mark.height, sdPx: 2 * sdPx, leanSd: 3 * leanSd }),
    };
  if (mark.height === undefined) return null;
  const common = { kind: 'upright' as const, foot: to(mark.ground), height: mark.height, sdPx: 1.5 * sdPx };
  return mark.kind === 'stand'
    ? { ...common, top: to(mark.top), heightSd: MARK_NOISE.standHeight, leanSd: 3 * leanSd }
    : {
        ...common,
        // Its height is that of its top over the ground, wherever aside the top is seen.
        top: to([mark.ground[0], mark.top[1]]),
        heightSd: MARK_NOISE.performerHeight,
        leanSd: MARK_NOISE.performerLeanRad,
      };
}

const heightName = ({ kind, height }: UprightMark): string => `${kind} ${height}`;

/**
 * Heights of things of one kind that are marked once on each of several frames: one thing marked again. A performer's
 * height changes with how it holds itself, and one that is a guess has its own sd.
 */
function alikeHeights(marks: MarksFile): Set<string> {
  const frames = new Map<string, number[]>();
  for (const m of marks.marks)
    if ((m.kind === 'stand' || (m.kind === 'upright' && m.heightSd === undefined)) && m.height !== undefined)
      frames.set(heightName(m), [...(frames.get(heightName(m)) ?? []), m.frame ?? marks.frame]);
  return new Set([...frames].filter(([, f]) => f.length > 1 && new Set(f).size === f.length).map(([name]) => name));
}

/** A shadow mark with its top and height is an upright too, unless that upright was marked itself. */
function observeShadowsUpright(
  mark: Mark,
  to: ToViewFrame,
  sdPx: number,
  { observations, feet }: Gathered,
  look: number | undefined,
): void {
  if (mark.kind !== 'shadow' || mark.top === undefined || mark.height === undefined) return;
  const foot = to(mark.foot);
  if (feet.some((f) => f.look === look && Math.hypot(f.at[0] - foot[0], f.at[1] - foot[1]) < 4 * sdPx)) return;
  observations.push({
    kind: 'upright',
    foot,
    top: to(mark.top),
    height: mark.height,
    heightSd: MARK_NOISE.performerHeight,
    sdPx,
    leanSd: 2 * MARK_NOISE.leanRad,
  });
}

/** A rectangle two of whose opposite sides are within 8° of the picture's vertical stands upright; else it lies. */
function guessPlane(c: readonly [Point, Point, Point, Point]): 'ground' | 'wall' {
  const steep = (a: Point, b: Point): boolean => Math.abs(b[0] - a[0]) < 0.14 * Math.abs(b[1] - a[1]);
  return (steep(c[0], c[1]) && steep(c[2], c[3])) || (steep(c[1], c[2]) && steep(c[3], c[0])) ? 'wall' : 'ground';
}

/**
 * Corners of an upright rectangle in the order top left, top right, bottom right, bottom left as seen in the picture.
 */
export function orderWallCorners(c: readonly [Point, Point, Point, Point]): [Point, Point, Point, Point] {
  // Of the four turns and two senses take the one whose first side is highest and runs left to right.
  let best: [Point, Point, Point, Point] = [...c];
  let bestScore = Infinity;
  for (let k = 0; k < 4; k++) {
    for (const s of [1, 3]) {
      const q = [0, 1, 2, 3].map((i) => c[(k + i * s) % 4]!) as [Point, Point, Point, Point];
      const score =
        q[0][1] +
        q[1][1] -
        q[2][1] -
        q[3][1] +
        (2 * (q[0][0] - q[1][0])) / (1 + Math.abs(q[0][0] - q[1][0])) +
        (q[0][0] > q[1][0] ? 1e6 : 0);
      if (score < bestScore) {
        bestScore = score;
        best = q;
      }
    }
  }
  return best;
}
