/**
 * How a standing body lies in depth, from where it meets the ground. A foot that stands farther off shows higher in the
 * picture; on level ground seen by a known camera its row gives its distance. Feet are the downward peaks of the
 * outline that stand out by their persistence (Edelsbrunner, Letscher & Zomorodian, "Topological persistence and
 * simplification", 2002, here of a function of one variable). A line through them, far against aside, turns the upright
 * plane that the body of balls is set up in: a four-legged animal seen aslant is as deep as its feet say, not as flat
 * as its picture.
 */
import { dot, type Vec3 } from '../../geometry/mat3.js';
import type { Ball } from './body-volume.js';

export interface Contact {
  readonly x: number;
  readonly y: number;
}

/**
 * A peak must stand out by this share of the body's height: a leg, not a paw before a sitting body or a tuft of fur,
 * whose rows mislead (with .035 round bodies came out worse).
 */
const LEAST_PERSISTENCE = 0.1;
/** What hangs higher than this share of the height above the lowest foot is no foot (own choice: bellies, tails). */
const MOST_RISE = 0.35;
/** No body is longer than this many of its heights (own choice), so no foot is farther behind. */
const MOST_LENGTH = 1.4;
/**
 * Two feet nearer together than this share of the height say little of the body's turn: how much the line is drawn to
 * none.
 */
const PRIOR_SHARE = 0.12;
/**
 * Steepest turn of the plane (tangent): at one and a half the body is seen nearly end-on and its feet hide each other.
 */
const MOST_SLOPE = 1.5;

/**
 * Balls smaller than this share of the body's height make no foot: stray pixels, and edges of the take's own shadow,
 * are thinner.
 */
const LEAST_RADIUS = 0.018;

/**
 * Downward peaks of the lower outline of a body of balls, lowest first, in the balls' pixels. `heightPx` of the body.
 */
export function lowerPeaks(balls: readonly Ball[], x0: number, width: number, heightPx: number): Contact[] {
  const least = Math.max(2, LEAST_PERSISTENCE * heightPx);
  const low = lowestLine(balls, x0, width, LEAST_RADIUS * heightPx);
  // Only the columns joined to the thickest part: what stands apart (a peg, a mark on the floor) is not the body.
  const thickest = balls.length === 0 ? null : balls[thickestOf(balls)]!;
  cutApart(low, width, thickest === null ? 0 : Math.min(width - 1, Math.max(0, Math.floor(thickest.x - x0))));
  return peaksOf(low, width, least)
    .filter((p) => p.persistence >= least)
    .sort((p, q) => q.y - p.y || p.x - q.x)
    .map((p) => ({ x: x0 + (p.left + p.right + 1) / 2, y: p.y }));
}

/**
 * Lower outline of the balls of `least` radius and more, a value a column, −1 where there is none. A function of its
 * own, as every hot loop here: the compiler takes a function whole, with all that it calls.
 */
function lowestLine(balls: readonly Ball[], x0: number, width: number, least: number): Float64Array {
  const low = new Float64Array(width).fill(-1);
  for (let i = 0; i < balls.length; i++) {
    const b = balls[i]!;
    if (b.r < least) continue;
    for (let x = Math.max(0, Math.ceil(b.x - b.r - x0 - 0.5)); x < width && x + 0.5 + x0 <= b.x + b.r; x++) {
      const dx = x + 0.5 + x0 - b.x,
        y = b.y + Math.sqrt(b.r * b.r - dx * dx);
      if (y > low[x]!) low[x] = y;
    }
  }
  return low;
}

function thickestOf(balls: readonly Ball[]): number {
  let most = 0;
  for (let i = 1; i < balls.length; i++) if (balls[i]!.r > balls[most]!.r) most = i;
  return most;
}

/** Takes out the columns that are not joined to the middle one. */
function cutApart(low: Float64Array, width: number, middle: number): void {
  for (let way = -1; way <= 1; way += 2) {
    let x = middle;
    while (x >= 0 && x < width && low[x]! >= 0) x += way;
    for (; x >= 0 && x < width; x += way) low[x] = -1;
  }
}

interface Peak {
  x: number;
  y: number;
  persistence: number;
  parent: number;
  left: number;
  right: number;
}

/** The outline's columns that have one, the lowest first. */
function fromBelow(low: Float64Array): Int32Array {
  const order = new Int32Array(low.length);
  let n = 0;
  for (let x = 0; x < low.length; x++) if (low[x]! >= 0) order[n++] = x;
  return order.subarray(0, n).sort((a, b) => low[b]! - low[a]! || a - b);
}

/**
 * Columns from the lowest outline up; a column without neighbours starts a peak, one between two peaks ends the higher
 * one.
 */
function peaksOf(low: Float64Array, width: number, least: number): Peak[] {
  const peakOf = new Int32Array(width).fill(-1);
  const peaks: Peak[] = [];
  const root = (k: number): number => {
    while (peaks[k]!.parent !== k) k = peaks[k]!.parent;
    return k;
  };
  for (const x of fromBelow(low)) {
    const a = x > 0 && peakOf[x - 1]! >= 0 ? root(peakOf[x - 1]!) : -1,
      b = x < width - 1 && peakOf[x + 1]! >= 0 ? root(peakOf[x + 1]!) : -1;
    if (a < 0 && b < 0) {
      peakOf[x] = peaks.length;
      peaks.push({ x, y: low[x]!, persistence: Infinity, parent: peaks.length, left: x, right: x });
      continue;
    }
    let into = a < 0 ? b : a;
    if (a >= 0 && b >= 0 && a !== b) {
      const [keep, end] = peaks[a]!.y >= peaks[b]!.y ? [a, b] : [b, a];
      peaks[end]!.persistence = peaks[end]!.y - low[x]!;
      peaks[end]!.parent = keep;
      into = keep;
    }
    peakOf[x] = into;
    // The foot's middle: the columns within half the least persistence of its lowest.
    const p = peaks[into]!;
    if (p.y - low[x]! < 0.5 * least) {
      p.left = Math.min(p.left, x);
      p.right = Math.max(p.right, x);
    }
  }
  return peaks;
}

/** What the slope needs to know of the ground: see ground-geometry.ts. */
export interface GroundView {
  readonly up: Vec3;
  readonly foot: Vec3;
  readonly cameraHeight: number;
  readonly focalPx: number;
  readonly principal: readonly [number, number];
}

/**
 * Far over aside (tangent) of the line through the feet; 0 where fewer than two are seen. `ahead` and `aside` are unit
 * vectors on the ground; `contacts` in plate pixels; `heightPx` of the body.
 */
export function slopeOfFeet(
  contacts: readonly Contact[],
  g: GroundView,
  ahead: Vec3,
  aside: Vec3,
  heightPx: number,
): number {
  if (contacts.length < 2 || g.cameraHeight <= 0) return 0;
  const lowest = contacts[0]!.y,
    tall = (heightPx / g.focalPx) * g.foot[2];
  const at: { far: number; wide: number }[] = [];
  for (const c of contacts) {
    if (lowest - c.y > MOST_RISE * heightPx) continue;
    const d: Vec3 = [(c.x - g.principal[0]) / g.focalPx, (c.y - g.principal[1]) / g.focalPx, 1];
    const down = -dot(d, g.up);
    if (down <= 1e-4) continue;
    const k = g.cameraHeight / down,
      p: Vec3 = [d[0] * k, d[1] * k, d[2] * k];
    at.push({ far: dot(p, ahead), wide: dot(p, aside) });
  }
  return lineThrough(at, tall);
}

/**
 * The same in the take's own pixels, along the line of sight of a camera that looks down by `elevation` (radians; as
 * view-shift.ts has it): pixels farther for one to the right.
 */
export function slopeInSight(contacts: readonly Contact[], elevation: number, heightPx: number): number {
  if (contacts.length < 2) return 0;
  const lowest = contacts[0]!.y,
    per = 1 / (Math.sin(elevation) * Math.cos(elevation));
  return lineThrough(
    contacts.filter((c) => lowest - c.y <= MOST_RISE * heightPx).map((c) => ({ far: (lowest - c.y) * per, wide: c.x })),
    heightPx,
  );
}

/** Slope of far over wide, drawn to none where the feet stand close; 0 for fewer than two. */
function lineThrough(at: readonly { readonly far: number; readonly wide: number }[], tall: number): number {
  const near = Math.min(...at.map((p) => p.far));
  const feet = at.filter((p) => p.far - near < MOST_LENGTH * tall);
  if (feet.length < 2) return 0;
  let far = 0,
    wide = 0;
  for (const p of feet) {
    far += p.far / feet.length;
    wide += p.wide / feet.length;
  }
  let both = 0,
    square = (PRIOR_SHARE * tall) ** 2;
  for (const p of feet) {
    both += (p.far - far) * (p.wide - wide);
    square += (p.wide - wide) ** 2;
  }
  return Math.max(-MOST_SLOPE, Math.min(MOST_SLOPE, both / square));
}
