/**
 * Marks that the program proposes itself, for the person to accept, move or throw away: families of
 * parallel lines on the ground (boards, kerbs, rails) by their common vanishing point, the horizon that
 * such points give, and upright posts. What a line in a picture is in the world no program knows; each
 * proposal says what it rests on and none is used unasked.
 *
 * Vanishing points by sampling pairs of segments and counting those that point at their meeting (M. A. Fischler & R. C.
 * Bolles, CACM 1981; residual as in J.-P. Tardif, *Non-iterative approach for fast and accurate vanishing point
 * detection*, ICCV 2009: the distance of a segment's end from the line through its middle and the point).
 */
import { RandomStream } from '../../core/random.js';
import { lineSegments, type LineSegment } from '../view/line-segments.js';
import type { Mark } from './marks.js';
import { uprightEdges, type UprightEdges } from '../view/view-lines.js';

/** A mark that the picture suggests, for a person to accept or leave. */
export interface ProposedMark {
  readonly mark: Mark;
  /** Why, in a sentence, with what to check. */
  readonly why: string;
  /** 0..1, from the support: an order among proposals, not a probability. */
  readonly strength: number;
}

type V3 = readonly [number, number, number];

/**
 * A segment agrees with a vanishing point when its end lies within this of the line from its middle to the point, px.
 */
const AGREES_PX = 1.2;
/** A family of ground lines needs so many lines at different places. */
const LEAST_LINES = 4;

/**
 * Proposes marks for one frame.
 * @param luma display-coded luma, height × width
 */
export function proposeMarks(luma: Float32Array, width: number, height: number, frame: number): ProposedMark[] {
  const out: ProposedMark[] = [];
  const posts = uprightEdges(luma, width, height);
  const placed: number[] = [];
  for (const s of posts.segments) {
    // The two sides of one post are one proposal; three are enough to accept or move.
    if (placed.length >= 3) break;
    if (placed.some((x) => Math.abs(x - s.a[0]) < 0.04 * width)) continue;
    const [top, foot] = s.a[1] < s.b[1] ? [s.a, s.b] : [s.b, s.a];
    // An edge cut by the picture's border has no foot to mark.
    if (foot[1] > height - 4 || s.lengthPx < height / 6) continue;
    placed.push(s.a[0]);
    out.push({
      mark: { kind: 'upright', frame, foot: [foot[0], foot[1]], top: [top[0], top[1]] },
      strength: Math.min(1, (0.8 * s.lengthPx) / height + 0.2 * posts.support),
      why: 'a tall upright edge; move its foot to where it meets the ground, and give its height if you know it',
    });
  }
  // Ground: the lower part of the picture, lines that lean clearly from the vertical or run away from us.
  const ground = lineSegments(luma, width, height, { minLengthPx: Math.max(16, height / 14) }).filter(
    (s) =>
      (s.a[1] + s.b[1]) / 2 > 0.45 * height &&
      !posts.segments.some((p) => Math.hypot(p.a[0] - s.a[0], p.a[1] - s.a[1]) < 2),
  );
  const families: { point: V3; lines: LineSegment[]; support: number }[] = [];
  let rest = ground;
  for (let k = 0; k < 2; k++) {
    const f = family(rest, width, height, k);
    if (f === null) break;
    families.push(f);
    rest = rest.filter((s) => !f.lines.includes(s));
  }
  for (const f of families) {
    const chosen = spreadOut(f.lines, f.point);
    if (chosen.length < 2) continue;
    out.push({
      mark: {
        kind: 'groundLines',
        frame,
        lines: chosen.map((s) => [
          [s.a[0], s.a[1]],
          [s.b[0], s.b[1]],
        ]),
      },
      strength: f.support,
      why:
        `${f.lines.length} lines in the lower picture run to one point; ` +
        'accept them if they lie on the ground and are parallel there (boards, a kerb, rails)',
    });
  }
  const horizon = horizonOf(families, width, height, posts.roll);
  if (horizon !== null) {
    out.push({
      mark: { kind: 'horizon', frame, line: horizon.line },
      strength: 0.6 * Math.min(...families.map((f) => f.support)),
      why: horizon.pair
        ? 'where two families of ground lines would meet the horizon'
        : posts.roll === null
          ? 'level through the point to which the ground lines run; it takes the camera as level'
          : 'through the point to which the ground lines run, square to the uprights',
    });
  }
  return out.sort((a, b) => b.strength - a.strength);
}

const cross = (a: V3, b: V3): V3 => [a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]];

/** Distance of a segment's end from the line through its middle and the point v (homogeneous), px. */
function misfit(s: LineSegment, v: V3): number {
  const mx = (s.a[0] + s.b[0]) / 2;
  const my = (s.a[1] + s.b[1]) / 2;
  const l = cross([mx, my, 1], v);
  const n = Math.hypot(l[0], l[1]);
  return n < 1e-12 ? Infinity : Math.abs(l[0] * s.a[0] + l[1] * s.a[1] + l[2]) / n;
}

function family(
  segments: readonly LineSegment[],
  width: number,
  height: number,
  lane: number,
): { point: V3; lines: LineSegment[]; support: number } | null {
  if (segments.length < LEAST_LINES) return null;
  const lines = segments.map((s) => cross([s.a[0], s.a[1], 1], [s.b[0], s.b[1], 1]));
  const total = segments.reduce((a, s) => a + s.lengthPx, 0);
  const random = new RandomStream(segments.length * 31 + width, lane);
  let best: { point: V3; score: number } | null = null;
  for (let round = 0; round < 700; round++) {
    const i = random.below(segments.length);
    const j = random.below(segments.length);
    if (i === j) continue;
    const v = cross(lines[i]!, lines[j]!);
    if (!plausible(v, segments[i]!, width, height) || !plausible(v, segments[j]!, width, height)) continue;
    let score = 0;
    for (const s of segments) if (misfit(s, v) < AGREES_PX) score += s.lengthPx;
    if (best === null || score > best.score) best = { point: v, score };
  }
  if (best === null) return null;
  const chosen = segments.filter((s) => misfit(s, best.point) < AGREES_PX);
  // Different places: sort by the angle under which the point sees them, count gaps.
  if (distinct(chosen, best.point) < LEAST_LINES) return null;
  const support = best.score / total;
  return support < 0.25 ? null : { point: best.point, lines: chosen, support };
}

/**
 * On the ground seen from above, lines run to a point above themselves, and not to one far below the picture's middle.
 */
function plausible(v: V3, s: LineSegment, width: number, height: number): boolean {
  if (Math.abs(v[2]) < 1e-9) return true;
  const x = v[0] / v[2];
  const y = v[1] / v[2];
  return (
    y < Math.min(s.a[1], s.b[1]) - 2 && y > -3 * height && y < 0.7 * height && Math.abs(x - width / 2) < 12 * width
  );
}

function bearings(segments: readonly LineSegment[], v: V3): number[] {
  const w = Math.abs(v[2]) < 1e-9 ? 1e-9 : v[2];
  return segments.map((s) => Math.atan2((s.a[0] + s.b[0]) / 2 - v[0] / w, (s.a[1] + s.b[1]) / 2 - v[1] / w));
}

function distinct(segments: readonly LineSegment[], v: V3): number {
  const b = bearings(segments, v).sort((p, q) => p - q);
  let n = b.length > 0 ? 1 : 0;
  for (let i = 1; i < b.length; i++) if (b[i]! - b[i - 1]! > 0.012) n++;
  return n;
}

/** Up to four lines, the longest of each stretch of bearing. */
function spreadOut(segments: readonly LineSegment[], v: V3): LineSegment[] {
  const b = bearings(segments, v);
  const lo = Math.min(...b);
  const hi = Math.max(...b);
  const best: (LineSegment | undefined)[] = [undefined, undefined, undefined, undefined];
  segments.forEach((s, i) => {
    const k = Math.min(3, Math.floor((4 * (b[i]! - lo)) / Math.max(1e-9, hi - lo)));
    if (best[k] === undefined || s.lengthPx > best[k]!.lengthPx) best[k] = s;
  });
  return best.filter((s): s is LineSegment => s !== undefined);
}

/**
 * Below this support one family alone gives no horizon: a handful of lines on a wall or in a shadow meet somewhere too.
 */
const LONE_SUPPORT = 0.5;
/**
 * A horizon lies at right angles to the uprights: where those are known it may not lean
 * from that by more, radians and sd.
 */
const SQUARE = 0.0175;
const SURE = 3;

function horizonOf(
  families: readonly { readonly point: V3; readonly support: number }[],
  width: number,
  height: number,
  roll: UprightEdges['roll'],
): { line: [[number, number], [number, number]]; pair: boolean } | null {
  const finite = families
    .filter((f) => Math.abs(f.point[2]) > 1e-9)
    .map((f) => ({ at: [f.point[0] / f.point[2], f.point[1] / f.point[2]] as const, support: f.support }));
  const first = finite[0];
  if (first === undefined) return null;
  const second = finite[1];
  if (second !== undefined && Math.abs(second.at[0] - first.at[0]) > 0.3 * width) {
    const [x, y] = first.at;
    const k = (second.at[1] - y) / (second.at[0] - x);
    const square = roll === null || Math.abs(Math.atan(k) - roll.value) < Math.max(SQUARE, SURE * roll.sd);
    // A horizon that leans more than 8° is two wrong families, not a horizon.
    if (Math.abs(k) < 0.14 && square)
      return {
        line: [
          [0, y - k * x],
          [width, y + k * (width - x)],
        ],
        pair: true,
      };
    if (!square) return null;
  }
  const [x, y] = first.at;
  const k = Math.tan(roll?.value ?? 0);
  const middle = y + k * (width / 2 - x);
  return first.support >= LONE_SUPPORT && middle > -height && middle < height
    ? {
        line: [
          [0, y - k * x],
          [width, y + k * (width - x)],
        ],
        pair: false,
      }
    : null;
}
