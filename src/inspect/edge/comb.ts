/**
 * Comb: a picture woven of two moments, odd rows from one and even rows from the other, as interlaced video read as
 * whole frames shows it. Where something moves, every row then stands off its neighbours by what the picture changed
 * meanwhile, to one side on odd rows and to the other on even ones. The rows' alternation is set against the change
 * from the frame before (least squares): a slope near 1 or −1 is a comb, whole frames give 0 whatever they show, since
 * a pattern of their own has no side and grain counts against itself on every other row. Read only in small cells that
 * move, so little movement is enough; beside the performer less the slope of the plate's own rows. The rule is our own.
 */
import type { GoneFrame, SeenFrame } from '../reader/frame.js';

export interface CombSlope {
  /** How much of what changed between two frames shows between neighbouring rows: near 1 or −1 a comb, 0 none. */
  readonly slope: number;
  /** Standard error by the scatter of the cells. */
  readonly sd: number;
}
/** Null each where too little moves. */
export interface CombReading {
  readonly inside: CombSlope | null;
  readonly outside: CombSlope | null;
}

/**
 * Side of a cell, px, fewest cells that tell, and how many of a picture are looked at: of more, those of one colour of
 * a chessboard.
 */
const CELL = 16,
  ENOUGH = 4,
  MANY = 4000;
/**
 * How many times the quietest cells' change (variance) a cell's must be to count as moving, and least (squared coded
 * luma).
 */
const MOVES = 3,
  LEAST = 2e-5;
/** Change that no film's grain makes. */
const QUIETEST = 4e-4;

interface Cell {
  readonly sd: number;
  readonly dd: number;
  readonly change: number;
}

/** One cell's sums of alternation times change and of change squared, rows weighed ¼, ½, ¼. */
function cellOf(now: Float32Array, was: Float32Array, W: number, x0: number, y0: number): Cell {
  let sd = 0,
    dd = 0;
  // Column by column: each row is read once and handed on.
  for (let x = x0; x < x0 + CELL; x++) {
    let i = y0 * W + x,
      up = now[i - W]!,
      v = now[i]!,
      changeUp = up - was[i - W]!,
      change = v - was[i]!,
      side = y0 % 2 === 1 ? 1 : -1;
    for (let y = 0; y < CELL; y++) {
      i += W;
      const down = now[i]!,
        changeDown = down - was[i]!,
        d = (changeUp + 2 * change + changeDown) / 4;
      sd += side * (v - (up + down) / 2) * d;
      dd += d * d;
      side = -side;
      up = v;
      v = down;
      changeUp = change;
      change = changeDown;
    }
  }
  return { sd, dd, change: dd / (CELL * CELL) };
}

function slopeOf(cells: readonly Cell[]): CombSlope | null {
  if (cells.length < ENOUGH) return null;
  let sd = 0,
    dd = 0,
    left = 0;
  for (const c of cells) {
    sd += c.sd;
    dd += c.dd;
  }
  const slope = sd / dd;
  for (const c of cells) left += (c.sd - slope * c.dd) ** 2;
  return { slope, sd: Math.sqrt(left) / dd };
}

/**
 * Slopes of the rows' alternation between two frames that follow one another: on the performer, and beside it less the
 * plate's own.
 */
export function readComb(before: GoneFrame, f: SeenFrame): CombReading {
  const { width: W, height: H } = f.join,
    inside: Cell[] = [],
    outside: { x: number; y: number; plate: Cell }[] = [];
  const apart = W * H > MANY * CELL * CELL ? 2 * CELL : CELL;
  for (let y = 2, row = 0; y + CELL + 1 < H; y += CELL, row++)
    for (let x = 2 + (row % 2) * (apart - CELL); x + CELL <= W; x += apart) {
      let least = 1,
        most = 0;
      for (let yy = y; yy < y + CELL; yy += 3)
        for (let xx = x; xx < x + CELL; xx += 3) {
          const a = f.matte[yy * W + xx]!,
            b = before.matte[yy * W + xx]!;
          if (a < least) least = a;
          if (b < least) least = b;
          if (a > most) most = a;
          if (b > most) most = b;
        }
      if (most <= 0.004) outside.push({ x, y, plate: cellOf(f.plateLuma, before.plateLuma, W, x, y) });
      else if (least > 0.3) inside.push(cellOf(f.luma, before.luma, W, x, y));
    }
  const quiet = outside.map((c) => c.plate.change).sort((a, b) => a - b)[Math.floor(outside.length / 5)] ?? 0,
    moves = Math.max(LEAST, MOVES * Math.min(QUIETEST, quiet)),
    moving = outside.filter((c) => c.plate.change > moves);
  const join = slopeOf(moving.map((c) => cellOf(f.luma, before.luma, W, c.x, c.y))),
    plate = slopeOf(moving.map((c) => c.plate));
  return {
    inside: slopeOf(inside.filter((c) => c.change > moves)),
    outside:
      join === null || plate === null ? null : { slope: join.slope - plate.slope, sd: Math.hypot(join.sd, plate.sd) },
  };
}
