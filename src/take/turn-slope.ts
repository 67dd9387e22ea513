/**
 * How the picture of a turning body slides over between two frames. What stands to one side of the upright about
 * which it turns comes nearer, what stands to the other side goes farther; seen from above, what comes nearer also
 * sinks in the picture. By a turn of ψ a point x aside of the axis comes ψ x nearer and sinks by ψ x sin e, where e
 * is how steeply its line of sight falls; nothing else of the turn moves it up or down to first order when x is taken
 * half way between both frames (rotation about a known axis: Hartley & Zisserman, *Multiple View Geometry*, 2nd ed.,
 * 2004, section 2.4 and chapter 9). So the slope of the vertical motion over x is ψ sin e, whatever the body's depth.
 * Where the axis stands only adds a constant.
 *
 * Dense motion both ways (image/flow.ts), averaged on cells; the slope by iteratively reweighted least squares
 * (Beaton & Tukey, Technometrics 16, 1974).
 */
import { invertSymmetric } from '../geometry/linear-solve.js';
import { distanceToSet } from '../image/distance.js';
import { FlowPicture, motionAt, type MotionField } from '../image/flow.js';
import { median } from '../image/statistics.js';

/** One frame of the body: luma and what of it the body covers (1), height × width. */
export interface BodyFrame {
  readonly luma: Float32Array;
  readonly covered: Uint8Array;
  readonly width: number;
  readonly height: number;
}

/** Inclusive left and top, exclusive right and bottom, px. */
export interface Window {
  readonly x0: number;
  readonly y0: number;
  readonly x1: number;
  readonly y1: number;
}

/** Where cells lie and where they go; how much steeper than the body's middle their lines of sight fall, radians. */
export interface CellMotion {
  readonly x: number;
  readonly sinks: number;
  readonly lengthPx: number;
  readonly steeper: number;
}

/** Side of a cell, px. */
const CELL = 6;
/** A cell counts where the way there and back meets within this share of it, or within so many pixels. */
const MEETS = 0.15,
  MEETS_PX = 0.6;
/** What lies nearer to the body's outline moves as what is still beside it says, px. */
const EDGE = 5;
/** Room round the body that the motion's estimate sees, px. */
const ROOM = 12;
/** Cells below this tell nothing. */
const LEAST_CELLS = 60;
/** Tukey's constant, in robust sds: 95 % as efficient as least squares on normal errors. */
const TUKEY = 4.685;
const ROUNDS = 12;
/** Neighbouring cells share their motion's error: some nine of them are one (own choice). */
const SHARED = 3;
/** What the motion's own error is at least, px (own choice). */
const LEAST_SCALE = 0.02;

/**
 * The motion of the body's cells from `first` to `second`, both of one size; empty where it covers too little.
 * @param middleX upright through the middle of the body, px
 * @param steeper of a row: how much steeper its line of sight falls than the middle's, radians
 */
export function cellMotions(
  first: BodyFrame,
  second: BodyFrame,
  body: Window,
  middleX: number,
  steeper: (y: number) => number,
): CellMotion[] {
  const box = {
    x0: Math.max(0, body.x0 - ROOM),
    y0: Math.max(0, body.y0 - ROOM),
    x1: Math.min(first.width, body.x1 + ROOM),
    y1: Math.min(first.height, body.y1 + ROOM),
  };
  const w = box.x1 - box.x0,
    h = box.y1 - box.y0;
  if (w < 16 || h < 16) return [];
  const a = windowOf(first, box),
    b = windowOf(second, box),
    from = new FlowPicture(a.luma, w, h),
    to = new FlowPicture(b.luma, w, h);
  try {
    const there = motionAt(from, to, 0),
      back = motionAt(from, to, 1),
      [inFirst, inSecond] = [innerPart(a.covered, w, h), innerPart(b.covered, w, h)],
      out: CellMotion[] = [];
    for (let y = 0; y + CELL <= h; y += CELL)
      for (let x = 0; x + CELL <= w; x += CELL) {
        const m = meanMotion({ there, back, from: inFirst, to: inSecond, w, h }, x, y);
        if (m === null) continue;
        out.push({
          x: box.x0 + x + CELL / 2 + m[0] / 2 - middleX,
          sinks: m[1],
          lengthPx: Math.hypot(m[0], m[1]),
          steeper: steeper(box.y0 + y + CELL / 2 + m[1] / 2),
        });
      }
    return out;
  } finally {
    from.close();
    to.close();
  }
}

/** The part of a frame in a window; what the body does not cover is made one grey, so that it moves nothing. */
function windowOf(f: BodyFrame, { x0, y0, x1, y1 }: Window): { luma: Float32Array; covered: Uint8Array } {
  const w = x1 - x0,
    luma = new Float32Array(w * (y1 - y0)),
    covered = new Uint8Array(luma.length);
  for (let y = y0; y < y1; y++)
    for (let x = x0; x < x1; x++) {
      const i = y * f.width + x,
        k = (y - y0) * w + x - x0;
      covered[k] = f.covered[i]!;
      luma[k] = f.covered[i] === 1 ? f.luma[i]! : 0.5;
    }
  return { luma, covered };
}

/** The body without what lies near its outline. */
function innerPart(covered: Uint8Array, w: number, h: number): Uint8Array {
  const off = distanceToSet(
    covered.map((v) => 1 - v),
    w,
    h,
  );
  return covered.map((v, i) => (v === 1 && off[i]! > EDGE ? 1 : 0));
}

interface BothWays {
  readonly there: MotionField;
  readonly back: MotionField;
  readonly from: Uint8Array;
  readonly to: Uint8Array;
  readonly w: number;
  readonly h: number;
}

/** Mean motion of a cell's covered pixels that come home; null where it is not mostly such. */
function meanMotion({ there, back, from, to, w, h }: BothWays, x0: number, y0: number): [number, number] | null {
  let su = 0,
    sv = 0,
    count = 0;
  for (let y = y0; y < y0 + CELL; y++)
    for (let x = x0; x < x0 + CELL; x++) {
      const i = y * w + x;
      if (from[i] === 0) continue;
      const u = there.u[i]!,
        v = there.v[i]!,
        xx = Math.round(x + u),
        yy = Math.round(y + v);
      if (xx < 0 || yy < 0 || xx >= w || yy >= h) continue;
      // `back` is given on the second picture: the same point's motion from the first to it.
      const k = yy * w + xx;
      if (to[k] === 0 || Math.hypot(back.u[k]! - u, back.v[k]! - v) > Math.max(MEETS_PX, MEETS * Math.hypot(u, v)))
        continue;
      su += u;
      sv += v;
      count++;
    }
  return count < 0.5 * CELL * CELL ? null : [su / count, sv / count];
}

export interface TurnSlope {
  /** ψ sin e at the body's middle, radians: positive where the right side sinks. */
  readonly slope: number;
  readonly sd: number;
  /** Median length of the cells' motion, px, and what the fit leaves of it (robust sd). */
  readonly motionPx: number;
  readonly leftPx: number;
}

/**
 * Slope of the vertical motion over the distance from the axis, at the height of the body's middle; null with too few
 * cells. What stands lower is looked at more steeply and so moves more: that part is fitted beside it, as by how much
 * hangs on the lens.
 */
export function slopeOfCells(cells: readonly CellMotion[]): TurnSlope | null {
  if (cells.length < LEAST_CELLS) return null;
  const weight = new Float64Array(cells.length).fill(1);
  let slope = 0,
    scale = 0,
    variance = 0;
  for (let round = 0; round < ROUNDS; round++) {
    const normal = new Float64Array(9),
      right = new Float64Array(3);
    cells.forEach((c, i) => {
      const by = [1, c.x, c.x * c.steeper];
      for (let j = 0; j < 3; j++) {
        right[j]! += weight[i]! * by[j]! * c.sinks;
        for (let k = 0; k < 3; k++) normal[3 * j + k]! += weight[i]! * by[j]! * by[k]!;
      }
    });
    const inverse = invertSymmetric(normal, 3);
    if (inverse === null) return null;
    const fit = [0, 1, 2].map((j) => [0, 1, 2].reduce((s, k) => s + inverse[3 * j + k]! * right[k]!, 0));
    slope = fit[1]!;
    variance = inverse[4]!;
    const left = cells.map((c) => c.sinks - fit[0]! - c.x * (fit[1]! + fit[2]! * c.steeper));
    scale = 1.4826 * median(left.map(Math.abs)) + LEAST_SCALE;
    left.forEach((r, i) => {
      const q = r / (TUKEY * scale);
      weight[i] = q * q < 1 ? (1 - q * q) ** 2 : 0;
    });
  }
  return {
    slope,
    sd: SHARED * scale * Math.sqrt(variance),
    motionPx: median(cells.map((c) => c.lengthPx)),
    leftPx: scale,
  };
}
