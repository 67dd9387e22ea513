/**
 * Fits a near-vertical line segment anew, row by row: on each row the place where the luma steps is the centroid of the
 * gradient across, and a line is laid through these places so that rows which something else crosses (a post's cap, a
 * leaf) count for nothing: iteratively reweighted least squares with the biweight (Beaton & Tukey, Technometrics 16,
 * 1974; its constant 4.685 from Holland & Welsch, Communications in Statistics A6, 1977; both from memory). A segment
 * that was grown over two things one above the other is no line through its rows and is refused.
 */
import type { LineSegment } from './line-segments.js';

/** Least rows that a line is laid through, and least share of the segment's rows that must lie on it. */
const LEAST_ROWS = 8;
const LEAST_SHARE = 0.7;
/** Rows further off than this are not on the line, px. */
const ON_LINE = 0.7;
/** No row is taken to be placed better than this, px: the lens and the codec see to that (own choice). */
const ROW_SD = 0.1;
const BIWEIGHT = 4.685;
const ROUNDS = 3;

interface Line {
  /** A point of the line, pixels from the top left. */
  readonly x: number;
  readonly y: number;
  /** Change of x with y. */
  readonly slope: number;
}

interface Place {
  readonly x: number;
  readonly y: number;
}

/**
 * @param luma display-coded, height × width
 * @returns the segment with ends from the line through its rows; null where its rows are on no one line
 */
export function fitUprightEdge(luma: Float32Array, width: number, height: number, s: LineSegment): LineSegment | null {
  const [top, foot] = s.a[1] < s.b[1] ? [s.a, s.b] : [s.b, s.a];
  const y0 = Math.max(0, Math.round(top[1]));
  const y1 = Math.min(height - 1, Math.round(foot[1]) - 1);
  const rows = y1 - y0 + 1;
  if (rows < LEAST_ROWS) return null;
  let line: Line = {
    x: (top[0] + foot[0]) / 2,
    y: (top[1] + foot[1]) / 2,
    slope: (foot[0] - top[0]) / (foot[1] - top[1]),
  };
  const reach = Math.max(2, Math.min(6, 0.8 * s.widthPx + 1));
  let places: Place[] = [];
  for (let round = 0; round < ROUNDS; round++) {
    places = stepsAlong({ luma, width, y0, y1, line, reach });
    if (places.length < LEAST_SHARE * rows) return null;
    line = laidThrough(places);
  }
  const on = places.filter((p) => Math.abs(p.x - line.x - line.slope * (p.y - line.y)) < ON_LINE).length;
  if (on < LEAST_SHARE * rows) return null;
  const at = (y: number): [number, number] => [line.x + line.slope * (y - line.y), y];
  return { ...s, a: at(y0), b: at(y1 + 1), lengthPx: Math.hypot(1, line.slope) * rows };
}

/** Where each row steps near a line: the centroid of the gradient of the sign that the rows have together. */
function stepsAlong(o: {
  readonly luma: Float32Array;
  readonly width: number;
  readonly y0: number;
  readonly y1: number;
  readonly line: Line;
  readonly reach: number;
}): Place[] {
  const { luma, width, y0, y1, line, reach } = o;
  const middleAt = (y: number): number => line.x + line.slope * (y + 0.5 - line.y);
  // The step between pixels x and x + 1 lies at x + 1.
  const step = (x: number, y: number): number => luma[y * width + x + 1]! - luma[y * width + x]!;
  const across = (y: number, visit: (x: number) => void): void => {
    const middle = middleAt(y);
    const to = Math.min(width - 2, Math.floor(middle - 1 + reach));
    for (let x = Math.max(0, Math.ceil(middle - 1 - reach)); x <= to; x++) visit(x);
  };
  let sum = 0;
  for (let y = y0; y <= y1; y++)
    across(y, (x) => {
      sum += step(x, y);
    });
  const sign = Math.sign(sum);
  const places: Place[] = [];
  for (let y = y0; y <= y1; y++) {
    const middle = middleAt(y);
    let w = 0;
    let wx = 0;
    // The window fades to its ends, so that what enters there by a pixel does not pull the centroid by a step.
    across(y, (x) => {
      const fade = 1 - ((x + 1 - middle) / (reach + 1)) ** 2;
      const g = Math.max(0, sign * step(x, y)) * Math.max(0, fade);
      w += g;
      wx += g * (x + 1);
    });
    if (w > 0) places.push({ x: wx / w, y: y + 0.5 });
  }
  return places;
}

/** The line through places, robustly. */
function laidThrough(places: readonly Place[]): Line {
  const weights = new Float64Array(places.length).fill(1);
  let line: Line = { x: 0, y: 0, slope: 0 };
  for (let round = 0; round < 6; round++) {
    let total = 0;
    let x = 0;
    let y = 0;
    places.forEach((p, i) => {
      total += weights[i]!;
      x += weights[i]! * p.x;
      y += weights[i]! * p.y;
    });
    x /= total;
    y /= total;
    let xy = 0;
    let yy = 0;
    places.forEach((p, i) => {
      xy += weights[i]! * (p.x - x) * (p.y - y);
      yy += weights[i]! * (p.y - y) ** 2;
    });
    line = { x, y, slope: xy / yy };
    const off = places.map((p) => Math.abs(p.x - line.x - line.slope * (p.y - line.y)));
    const scale = Math.max(ROW_SD, 1.4826 * [...off].sort((a, b) => a - b)[off.length >> 1]!);
    off.forEach((r, i) => {
      const u = r / (BIWEIGHT * scale);
      weights[i] = u < 1 ? (1 - u * u) ** 2 : 0;
    });
  }
  return line;
}
