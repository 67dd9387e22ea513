/**
 * Upright edges that the picture itself shows (house corners, door frames, posts), as observations for the view: those
 * that meet in one point below or above the picture. A two-parameter lean, roll and convergence, is found by sampling
 * pairs (Fischler & Bolles 1981) and refined; what agrees is handed on with a noise that admits that the world's
 * uprights are neither quite upright nor independent of each other.
 */
import { insidePolygon } from '../../image/polygon.js';
import { RandomStream } from '../../core/random.js';
import { fitUprightEdge } from './fit-upright-edge.js';
import { lineSegments, type LineSegment } from './line-segments.js';
import type { Point } from '../marks/marks.js';
import type { ViewObservation } from './view-observations.js';

export interface UprightEdges {
  readonly observations: readonly ViewObservation[];
  readonly segments: readonly LineSegment[];
  /** Share of near-vertical edge length that agrees. */
  readonly support: number;
  /**
   * Lean of the picture's middle upright, radians, positive = top leans right, and its
   * sd; null where too few posts tell.
   */
  readonly roll: { readonly value: number; readonly sd: number } | null;
}

/** Least agreeing segments and support for the edges to count: the program's own choice. */
const LEAST_SEGMENTS = 3;
const LEAST_SUPPORT = 0.45;
/** Edges side by side are one post; a post is upright within a third of a degree, however many edges it shows. */
const POST_SD = (0.33 * Math.PI) / 180;
/**
 * How far an edge's one end is off beside the other, px. An edge that crosses less than a column of pixels is drawn
 * towards the vertical, and all beside it alike, so that this does not go out in the mean of a post's edges.
 */
const GRID_PX = 0.35;

/** Lean of a segment from the picture's vertical, radians, positive = top leans right. */
function leanOf(s: LineSegment): number {
  const up = s.a[1] < s.b[1] ? s.a : s.b;
  const down = up === s.a ? s.b : s.a;
  return Math.atan2(up[0] - down[0], down[1] - up[1]);
}

/** Near-vertical segments with what the search asks of each. */
interface Leaning {
  readonly segments: readonly LineSegment[];
  /** Radians, positive = top leans right. */
  readonly lean: readonly number[];
  /** Middles from the picture's middle, px. */
  readonly middle: readonly (readonly [number, number])[];
  /** Sd of each lean, radians. */
  readonly noise: readonly number[];
}

/** How uprights lean over the picture: the middle one's lean, and its change with x, radians a pixel. */
interface LeanModel {
  readonly roll: number;
  readonly k: number;
}

/**
 * The lean of an upright through a place. A vanishing point far off at (X, Y): lean ≈ roll + k x / (1 + k y'), to first
 * order roll + k x; the second order is put in through y, so that strong tilts are not lost.
 */
function leanAt({ roll, k }: LeanModel, [x, y]: readonly [number, number]): number {
  return Math.atan2(roll + k * x, 1 + k * y);
}

/** Length of what agrees with a model, each segment by how well it does. */
function agreement({ segments, lean, middle, noise }: Leaning, model: LeanModel): number {
  let sum = 0;
  for (let i = 0; i < segments.length; i++) {
    const e = (lean[i]! - leanAt(model, middle[i]!)) / noise[i]!;
    if (Math.abs(e) < 2.5) sum += segments[i]!.lengthPx * (1 - (e * e) / 6.25);
  }
  return sum;
}

/** The model that two segments ask for; null where they stand too near or lean too much for uprights. */
function modelOfPair({ lean, middle }: Leaning, i: number, j: number, width: number): LeanModel | null {
  const [xi, yi] = middle[i]!,
    [xj, yj] = middle[j]!,
    ti = Math.tan(lean[i]!),
    tj = Math.tan(lean[j]!);
  if (Math.abs(xj - xi) < 0.12 * width) return null;
  const k = (tj - ti) / (xj - xi - (yj * tj - yi * ti));
  const roll = ti * (1 + k * yi) - k * xi;
  return !(Math.abs(k) * width < 0.9) || Math.abs(roll) > 0.14 ? null : { roll, k };
}

/**
 * The model that most of the edges' length agrees with, by five hundred pairs; longer segments are drawn more often.
 */
function searchModel(of: Leaning, width: number): LeanModel | null {
  const random = new RandomStream(20000 + width, of.segments.length);
  const weight = of.segments.map((s) => s.lengthPx);
  const sum = weight.reduce((a, b) => a + b, 0);
  const draw = (): number => {
    let t = random.uniform() * sum;
    for (let i = 0; i < weight.length; i++) {
      t -= weight[i]!;
      if (t <= 0) return i;
    }
    return weight.length - 1;
  };
  let best: LeanModel | null = null;
  let most = -1;
  for (let round = 0; round < 500; round++) {
    const i = draw();
    const j = draw();
    const model = modelOfPair(of, i, j, width);
    if (model === null) continue;
    const score = agreement(of, model);
    if (score > most) {
      most = score;
      best = model;
    }
  }
  return best;
}

/** A part of the picture whose edges say nothing of the set. */
export interface Avoided {
  readonly polygon: readonly Point[];
  /** Edges at least so long speak all the same: those of a post that is marked. Default none. */
  readonly unlessPx?: number;
}

/**
 * Finds upright edges in a luma plane (display-coded, height × width).
 * @param avoid people, things to be erased, whose edges say nothing of the set
 */
export function uprightEdges(
  luma: Float32Array,
  width: number,
  height: number,
  avoid: readonly Avoided[] = [],
): UprightEdges {
  const none: UprightEdges = { observations: [], segments: [], support: 0, roll: null };
  const all = lineSegments(luma, width, height, {
    minLengthPx: Math.max(14, height / 10),
    nearVerticalDeg: 14,
  })
    .flatMap((grown) => {
      const s = fitUprightEdge(luma, width, height, grown);
      return s === null ? [] : [s];
    })
    .filter(
      (s) =>
        !avoid.some(
          ({ polygon, unlessPx = Infinity }) =>
            s.lengthPx < unlessPx && insidePolygon(polygon, (s.a[0] + s.b[0]) / 2, (s.a[1] + s.b[1]) / 2),
        ),
    );
  if (all.length < LEAST_SEGMENTS) return none;
  const leaning: Leaning = {
    segments: all,
    lean: all.map(leanOf),
    middle: all.map((s) => [(s.a[0] + s.b[0]) / 2 - width / 2, (s.a[1] + s.b[1]) / 2 - height / 2] as const),
    noise: all.map((s) => Math.hypot(0.006, GRID_PX / s.lengthPx)),
  };
  const best = searchModel(leaning, width);
  if (best === null) return none;
  const { lean, middle, noise } = leaning;
  const chosen = all.filter((_, i) => Math.abs(lean[i]! - leanAt(best, middle[i]!)) < 2.5 * noise[i]!);
  const lengthOf = (list: readonly LineSegment[]): number => list.reduce((a, s) => a + s.lengthPx, 0);
  const support = lengthOf(chosen) / lengthOf(all);
  const spread = Math.max(...chosen.map((s) => s.a[0])) - Math.min(...chosen.map((s) => s.a[0]));
  if (chosen.length < LEAST_SEGMENTS || support < LEAST_SUPPORT || spread < 0.3 * width)
    return { ...none, segments: chosen, support };
  const posts = byPost(chosen, 0.06 * width);
  const tall = posts.filter((q) => q.some((x) => x.lengthPx > height / 5)).length;
  // Two tall posts far apart, or three: less could be one leaning thing.
  if (posts.length < 2 || (posts.length === 2 && tall < 2)) return { ...none, segments: chosen, support };
  return {
    observations: postObservations(posts),
    segments: chosen,
    support,
    roll: { value: Math.atan(best.roll), sd: POST_SD / Math.sqrt(posts.length) },
  };
}

/** The edges of each post as one observation: an upright through their middle, as they lean in the mean by length. */
function postObservations(posts: readonly (readonly LineSegment[])[]): ViewObservation[] {
  const uprights = posts.map((post) => {
    const mass = post.reduce((a, q) => a + q.lengthPx, 0);
    const mean = (of: (q: LineSegment) => number): number => post.reduce((a, q) => a + q.lengthPx * of(q), 0) / mass;
    const middle = [mean((q) => (q.a[0] + q.b[0]) / 2), mean((q) => (q.a[1] + q.b[1]) / 2)] as const;
    const lean = mean(leanOf);
    return { middle, lean, across: Math.sin(lean), lengthPx: mass / post.length };
  });
  const onGrid = uprights.filter((u) => Math.abs(u.across) * u.lengthPx < 1);
  return uprights.map((u) => {
    const { middle, lean, lengthPx } = u;
    const dx = (lengthPx / 2) * Math.sin(lean);
    const dy = (lengthPx / 2) * Math.cos(lean);
    return {
      kind: 'vertical',
      a: [middle[0] + dx, middle[1] - dy],
      b: [middle[0] - dx, middle[1] + dy],
      // Both ends share the offset; what all have alike does not go out in their mean.
      sdPx: (GRID_PX / Math.SQRT2) * Math.sqrt(onGrid.includes(u) ? onGrid.length : 1),
      angleSd: POST_SD,
    };
  });
}

/** Groups segments whose middles lie within `widePx` of the leftmost of their group: a fence is many posts. */
function byPost(segments: readonly LineSegment[], widePx: number): LineSegment[][] {
  const x = (q: LineSegment): number => (q.a[0] + q.b[0]) / 2;
  const sorted = [...segments].sort((p, q) => x(p) - x(q));
  const out: LineSegment[][] = [];
  for (const q of sorted) {
    const last = out[out.length - 1];
    if (last === undefined || x(q) - x(last[0]!) > widePx) out.push([q]);
    else last.push(q);
  }
  return out;
}
