/**
 * Does the performer lie over something of the plate that stands nearer? An upright thing whose straight edge crosses
 * the horizon and goes on below the row of the performer's foot has its own foot, on level ground, nearer to the camera
 * than the performer's: every point of the ground that is farther away lies above that row (pinhole over a plane,
 * Hartley & Zisserman, *Multiple View Geometry*, 2nd ed., 8.6). Where the performer covers such an edge, it should have
 * been covered by it. Low, slanted and faint things prove nothing so. The rule is our own.
 */
import type { Box } from '../../join/ground/ground.js';
import { groundGeometry, type GroundGeometry } from '../../join/ground/ground-geometry.js';
import type { GroundStep } from '../../join/types.js';
import type { SeenFrame } from '../reader/frame.js';

export interface NearerUpright {
  /** How far the performer reaches beyond the edge on its narrower side, px: at least so much of it should be hidden. */
  readonly overPx: number;
  /** Where the performer covers it. */
  readonly at: Box;
}

/** Below the foot's row, in metres of height there and px: toes reach so far, and a view is known to so much. */
const BELOW_M = 0.1,
  BELOW_PX = 8;
/** Rows of a piece of the line, fewest pieces, and the strips of both sides that are held against each other, px from the line. */
const ROWS = 6,
  FEWEST = 6,
  STRIP = [2, 5] as const;
/** Most change of coded luma from piece to piece along the thing, and least share of the pieces that stand off it. */
const ALONG = 0.03,
  SHARE = 0.8;
/** Least step of coded luma across the edge. */
const STEP = 0.03;
/** Degrees by which an edge may lean from upright, and between the leans that are tried. */
const LEANS = [-1.5, -0.75, 0, 0.75, 1.5];
/** Cover of the performer that hides an edge; least length that it hides, in parts of its height and px. */
const COVERS = 0.9,
  HIDES = 0.25,
  HIDES_PX = 12;
/** Reach over the edge from which the performer is not merely cut there, px and in parts of its height. */
const OVER_PX = 4,
  OVER = 0.03;

/** A straight line of the picture: x at each row from `top` to `bottom`. */
interface Line {
  readonly top: number;
  readonly bottom: number;
  readonly xAt: (row: number) => number;
}

/**
 * The edge over which the performer reaches farthest; null where none proves to stand nearer, or where horizon or the
 * ground below the foot lie out of the picture.
 */
export function readNearerUpright(f: SeenFrame, step: GroundStep): NearerUpright | null {
  const at = step.frames.find((g) => g.frame === f.frame);
  if (f.box === null || at === undefined || step.receiver !== 'ground') return null;
  const { width: W, height: H } = f.join,
    g = groundGeometry(step, at, W, H),
    below = Math.max(BELOW_PX, BELOW_M * at.pxPerMetre),
    bottom = Math.round(at.foot[1] + below);
  if (!(bottom < H - 1) || g.cameraHeight <= 0) return null;
  let best: NearerUpright | null = null;
  for (let x = Math.max(0, f.box[0]); x < Math.min(W, f.box[2]); x++) {
    const top = Math.floor(horizonAt(g, x));
    if (top < 0) continue;
    for (const lean of LEANS) {
      const line = { top, bottom, xAt: uprightThrough(g, x, bottom, lean) };
      if (!isEdge(f.plateLuma, W, line)) continue;
      const over = coveredBy(f, f.box, line);
      if (over !== null && (best === null || over.overPx > best.overPx)) best = over;
    }
  }
  return best;
}

/** Row of the ground's horizon at a column. */
function horizonAt({ up, focalPx, principal }: GroundGeometry, x: number): number {
  return principal[1] - ((x - principal[0]) * up[0] + focalPx * up[2]) / up[1];
}

/** The picture of an upright line whose foot is seen at (x, row), leaning by so many degrees: x at each row. */
function uprightThrough(g: GroundGeometry, x: number, row: number, leanDeg: number): (row: number) => number {
  // Towards the point in which uprights meet: the image's change along `up` (quotient rule of the projection).
  const u = (x - g.principal[0]) / g.focalPx,
    v = (row - g.principal[1]) / g.focalPx,
    dx = g.up[0] - u * g.up[2],
    dy = g.up[1] - v * g.up[2],
    slope = Math.tan(Math.atan2(dx, dy) + (leanDeg * Math.PI) / 180);
  return (r) => x + slope * (r - row);
}

/**
 * Whether one thing goes along the line on one of its sides, without a break from the horizon to below the foot's row,
 * and the other side stands off it. Ground and wall break where they meet, and so does what wet ground mirrors. Its
 * lower third must stand off by itself too: a dark pipe on a wall may go on into dark ground.
 */
function isEdge(luma: Float32Array, W: number, { top, bottom, xAt }: Line): boolean {
  const pieces = Math.floor((bottom - top) / ROWS),
    lower = Math.ceil(pieces / 3);
  let alike = 0,
    goesOn: readonly boolean[] = [true, true],
    below: readonly [number, number] | null = null;
  for (let k = 0; k < pieces; k++) {
    const here = meansBeside(luma, W, xAt, bottom - ROWS * (k + 1));
    if (here === null) return false;
    if (below !== null) {
      const was = below;
      goesOn = goesOn.map((v, side) => v && Math.abs(here[side]! - was[side]!) <= ALONG);
    }
    if (Math.abs(here[0] - here[1]) <= STEP) alike++;
    if (!goesOn.includes(true) || alike > (1 - SHARE) * (k < lower ? lower : pieces)) return false;
    below = here;
  }
  return pieces >= FEWEST;
}

/** Mean luma of the strips left and right of the line over a piece's rows; null where they leave the picture. */
function meansBeside(
  luma: Float32Array,
  W: number,
  xAt: (row: number) => number,
  from: number,
): readonly [number, number] | null {
  let left = 0,
    right = 0;
  for (let row = from; row < from + ROWS; row++) {
    const x = Math.round(xAt(row)),
      i = row * W + x;
    if (x < STRIP[1] || x >= W - STRIP[1]) return null;
    for (let d = STRIP[0]; d <= STRIP[1]; d++) {
      left += luma[i - d]!;
      right += luma[i + d]!;
    }
  }
  const n = ROWS * (STRIP[1] - STRIP[0] + 1);
  return [left / n, right / n];
}

/** How far the performer reaches over the line on its narrower side, median of the rows that it hides; null of few. */
function coveredBy(f: SeenFrame, box: Box, { top, bottom, xAt }: Line): NearerUpright | null {
  const W = f.join.width,
    reach: number[] = [];
  let y0 = bottom,
    y1 = top;
  for (let row = Math.max(top, box[1]); row < Math.min(bottom, box[3]); row++) {
    const x = Math.round(xAt(row));
    if (x < 0 || x >= W || f.matte[row * W + x]! < COVERS) continue;
    let n = 1;
    while (x - n >= 0 && x + n < W && f.matte[row * W + x - n]! > 0.5 && f.matte[row * W + x + n]! > 0.5) n++;
    reach.push(n);
    y0 = Math.min(y0, row);
    y1 = Math.max(y1, row + 1);
  }
  if (reach.length < Math.max(HIDES_PX, HIDES * (box[3] - box[1]))) return null;
  const overPx = reach.sort((a, b) => a - b)[reach.length >> 1]!;
  if (overPx < Math.max(OVER_PX, OVER * (box[3] - box[1]))) return null;
  const middle = Math.round(xAt((y0 + y1) / 2));
  return { overPx, at: [Math.max(0, middle - overPx), y0, Math.min(W, middle + overPx), y1] };
}
