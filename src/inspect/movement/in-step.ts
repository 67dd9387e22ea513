/**
 * Whether a join goes on in step with its plate. Beside the performer a join's frame shows the plate's frame of the
 * same number, so wherever the plate moves, the join's picture lies nearer to that frame than to the one before or
 * after it. Small cells beside the performer in which the plate changes by more than its grain are looked at one by
 * one; each is fitted with a gain and an offset of its own, so that ground under a shadow tells as well, and says which
 * frame of the plate it fits better. A frame left out or doubled puts all of them out of step, however little of the
 * picture moves; a locked-off plate in which nothing moves tells nothing. The rule is our own.
 */
import { reduced } from '../texture/half-size.js';
import type { GoneFrame } from '../reader/frame.js';

export interface StepReading {
  /** Cells beside the performer in which the plate moves. */
  readonly cells: number;
  /** Share of them (by how much they move) in which the join fits the plate's frame before better than its own. */
  readonly before: number;
  /** Share in which the join's frame before fits the plate's frame after it better. */
  readonly after: number;
}

/** Side of a cell in pixels of the picture halved. */
const CELL = 8;
/**
 * How many times the quiet cells' change (variance) a cell's must be to count as moving, and least (squared coded
 * luma).
 */
const MOVES = 4,
  LEAST = 1e-5;
/** Cells of a picture from which on those of one colour of a chessboard tell as well. */
const MANY = 4000;
/** Coverage from which a pixel of the halved picture is not the plate's alone. */
const BARE = 0.004;

/** Variance of `j` left by a straight line over `p`, over a cell. */
function left(j: Float32Array, p: Float32Array, W: number, x0: number, y0: number): number {
  const n = CELL * CELL;
  let sj = 0,
    sp = 0,
    jj = 0,
    pp = 0,
    jp = 0;
  for (let y = y0; y < y0 + CELL; y++)
    for (let x = x0; x < x0 + CELL; x++) {
      const a = j[y * W + x]!,
        b = p[y * W + x]!;
      sj += a;
      sp += b;
      jj += a * a;
      pp += b * b;
      jp += a * b;
    }
  const vp = pp - (sp * sp) / n,
    c = jp - (sj * sp) / n;
  return Math.max(0, (jj - (sj * sj) / n - (vp > 1e-9 ? (c * c) / vp : 0)) / n);
}

/** What is looked at of a frame, halved: coded luma of join and plate, and the matte, height × width. */
export interface HalvedFrame {
  readonly width: number;
  readonly height: number;
  readonly join: Float32Array;
  readonly plate: Float32Array;
  readonly matte: Float32Array;
}

/** A frame of W × H px halved; it is asked for twice, as this frame and as the one before. */
export function halvedFrame(f: GoneFrame, W: number, H: number): HalvedFrame {
  const [join, plate, matte] = [f.luma, f.plateLuma, f.matte].map((v) => reduced(v, W, H)) as [
    Float32Array,
    Float32Array,
    Float32Array,
  ];
  return { width: W >> 1, height: H >> 1, join, plate, matte };
}

/** The frame before and this one; null where the plate does not move enough beside the performer to tell. */
export function readStep(before: HalvedFrame, now: HalvedFrame): StepReading | null {
  const { width: w, height: h, join: j1, plate: p1, matte: m1 } = now,
    { join: j0, plate: p0, matte: m0 } = before;
  const cells: { x: number; y: number; change: number }[] = [],
    apart = w * h > MANY * CELL * CELL ? 2 * CELL : CELL;
  for (let y = 1, row = 0; y + CELL < h; y += CELL, row++)
    for (let x = 1 + (row % 2) * (apart - CELL); x + CELL < w; x += apart) {
      let covered = false,
        change = 0;
      for (let yy = y; yy < y + CELL && !covered; yy++)
        for (let xx = x; xx < x + CELL; xx++) {
          const i = yy * w + xx;
          if (m0[i]! > BARE || m1[i]! > BARE) {
            covered = true;
            break;
          }
          change += (p1[i]! - p0[i]!) ** 2;
        }
      if (!covered) cells.push({ x, y, change: change / (CELL * CELL) });
    }
  if (cells.length < 20) return null;
  // Grain changes every cell; the quietest fifth tells how much, unless the whole picture moves and they are no stiller
  // than a tenth of the middle.
  const sorted = cells.map((c) => c.change).sort((a, b) => a - b),
    quiet = Math.min(sorted[Math.floor(sorted.length / 5)]!, QUIETEST),
    moving = cells.filter((c) => c.change > Math.max(LEAST, MOVES * quiet));
  if (moving.length < ENOUGH) return null;
  let all = 0,
    was = 0,
    then = 0;
  for (const c of moving) {
    all += c.change;
    const own = left(j1, p1, w, c.x, c.y),
      last = left(j0, p0, w, c.x, c.y);
    if (left(j1, p0, w, c.x, c.y) < NEARER * own) was += c.change;
    if (left(j0, p1, w, c.x, c.y) < NEARER * last) then += c.change;
  }
  return { cells: moving.length, before: was / all, after: then / all };
}

/** Fewest moving cells that tell; and how much nearer the other frame must be. */
const ENOUGH = 5,
  NEARER = 0.7;
/** Change (squared coded luma of the halved picture) that no film's grain makes. */
const QUIETEST = 2e-4;
