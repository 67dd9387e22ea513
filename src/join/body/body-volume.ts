/**
 * A body from its outline: the performer's matte is filled with balls whose radius is the distance to the outline, and
 * the union of those balls stands for the body. Seen from the camera it has the matte's outline; seen from the light it
 * has about the outline that the light sees, which a flat cut-out turned edge-on to the light has not. The balls are
 * those of the medial axis (Blum, "A transformation for extracting new descriptors of shape", 1967; inflating an
 * outline this way as in Igarashi, Matsuoka & Tanaka, "Teddy", SIGGRAPH 1999).
 *
 * Input: one plane of alpha in 0..1 (height × width), pixel centres at +0.5. Output: centres and radii in pixels of it.
 */
import { nearestInSet } from '../../image/distance.js';
import { kernels } from '../../image/kernels.js';

/** A ball of the body as the picture shows it: middle and radius, px of the plane. */
export interface Ball {
  readonly x: number;
  readonly y: number;
  readonly r: number;
}

/** Rows that the matte is brought down to before it is filled: finer than the shadow of a soft outline can show. */
const WORK_ROWS = 120;

/** The cells about one, nearest first: a nearer one covers most often. */
const ABOUT = [-2, -1, 0, 1, 2]
  .flatMap((dy) => [-2, -1, 0, 1, 2].map((dx) => ({ dx, dy, away: Math.hypot(dx, dy) })))
  .filter((d) => d.away > 0)
  .sort((a, b) => a.away - b.away);
const ABOUT_LIST = Float64Array.from(ABOUT.flatMap(({ dx, dy, away }) => [dx, dy, away]));

/**
 * Fills the matte with balls. `box` bounds the work (x0, y0 inclusive, x1, y1 exclusive). Where the body runs out of
 * the picture the edge does not count as its outline. An empty matte gives no balls.
 */
export function ballsOfMatte(
  alpha: Float32Array,
  width: number,
  height: number,
  box: readonly [number, number, number, number] = [0, 0, width, height],
): Ball[] {
  const bx0 = Math.max(0, box[0]),
    by0 = Math.max(0, box[1]),
    bx1 = Math.min(width, box[2]),
    by1 = Math.min(height, box[3]);
  if (bx1 <= bx0 || by1 <= by0) return [];
  const step = Math.max(1, Math.floor((by1 - by0) / WORK_ROWS));
  // One cell of border all round, so that the body's own edge is found where the box hugs it.
  const w = Math.ceil((bx1 - bx0) / step) + 2,
    h = Math.ceil((by1 - by0) / step) + 2;
  const cells: Cells = { bx0, by0, step, w, h };
  const found =
    w * h < KERNEL_FROM
      ? ballsOfCellsPlain(matteCellsPlain(alpha, width, height, cells), w, h)
      : ballsOfCells(alpha, width, height, cells);
  const balls: Ball[] = [];
  for (let k = 0; k < found.length; k += 3)
    balls.push({ x: bx0 + (found[k]! - 0.5) * step, y: by0 + (found[k + 1]! - 0.5) * step, r: found[k + 2]! * step });
  return balls;
}

/** Fewer cells take the plain twins. */
const KERNEL_FROM = 256;

/** A grid of cells over a matte: w × h cells of `step` pixels, the first one step before (bx0, by0). */
export interface Cells {
  readonly bx0: number;
  readonly by0: number;
  readonly step: number;
  readonly w: number;
  readonly h: number;
}

/** Column, row and radius (in cells) of each ball, by the kernels (kernels/body.ts). */
export function ballsOfCells(
  alpha: Float32Array,
  width: number,
  height: number,
  { bx0, by0, step, w, h }: Cells,
): Float64Array {
  const door = kernels(),
    scope = door.scope();
  try {
    const outside = scope.allocate(w * h),
      distance = scope.allocate(4 * w * h),
      list = scope.allocate(24 * w * h),
      count = scope.allocate(16);
    door.run('matteCells', [scope.input(alpha), width, height, bx0, by0, step, outside, w], h, w * step * step, 8 * w);
    door.run('cellDistance', [outside, w, h, distance], 1, 1, 4 * w * h);
    door.run('cellBalls', [outside, distance, w, h, scope.input(ABOUT_LIST), ABOUT.length, list, count], 1, 1);
    return new Float64Array(door.memory.buffer, list, 3 * new Int32Array(door.memory.buffer, count, 1)[0]!).slice();
  } finally {
    scope.close();
  }
}

/** Plain twin of `matteCells`: 1 where less than half of a cell is covered. */
export function matteCellsPlain(
  alpha: Float32Array,
  width: number,
  height: number,
  { bx0, by0, step, w, h }: Cells,
): Uint8Array {
  const outside = new Uint8Array(w * h),
    sums = new Float64Array(w),
    half = 0.5 * step * step;
  for (let gy = 0; gy < h; gy++) {
    sums.fill(0);
    for (let y = by0 + (gy - 1) * step, end = y + step; y < end; y++) {
      // Outside the picture the edge pixel repeats; outside the box but inside the picture it is read as it is.
      const row = (y < 0 ? 0 : y >= height ? height - 1 : y) * width;
      for (let gx = 0, x = bx0 - step; gx < w; gx++) {
        let sum = 0;
        for (const stop = x + step; x < stop; x++) sum += alpha[row + (x < 0 ? 0 : x >= width ? width - 1 : x)]!;
        sums[gx] = sums[gx]! + sum;
      }
    }
    for (let gx = 0; gx < w; gx++) outside[gy * w + gx] = sums[gx]! > half ? 0 : 1;
  }
  return outside;
}

/** Plain twin of `cellDistance` and `cellBalls`. */
export function ballsOfCellsPlain(outside: Uint8Array, w: number, h: number): Float64Array {
  const { distance } = nearestInSet(outside, w, h);
  const found: number[] = [];
  for (let y = 0; y < h; y++) {
    for (let x = 0; x < w; x++) {
      const i = y * w + x;
      if (outside[i] === 1) continue;
      // The outline lies half a cell nearer than the centre of the first cell outside.
      const r = Math.min(distance[i]!, w + h) - 0.5;
      if (r < 0.5) continue;
      const covered = ABOUT.some(({ dx, dy, away }) => {
        const xx = x + dx,
          yy = y + dy;
        return xx >= 0 && yy >= 0 && xx < w && yy < h && distance[yy * w + xx]! - 0.5 - away > r - 0.15;
      });
      if (!covered) found.push(x, y, r);
    }
  }
  return Float64Array.from(found);
}

/** Radius of the largest, 0 of none. */
export function largestOf(balls: readonly Ball[]): number {
  let most = 0;
  for (let k = 0; k < balls.length; k++) most = Math.max(most, balls[k]!.r);
  return most;
}

/** A few large balls that hardly overlap, largest first: enough for soft occlusion near the ground. */
export function fewBalls(balls: readonly Ball[], most: number): Ball[] {
  const sorted = balls.map((b, i) => ({ b, i })).sort((p, q) => q.b.r - p.b.r || p.i - q.i);
  const kept: Ball[] = [];
  for (const { b } of sorted) {
    if (kept.length >= most) break;
    if (kept.every((k) => Math.hypot(k.x - b.x, k.y - b.y) > 0.8 * k.r)) kept.push(b);
  }
  return kept;
}
