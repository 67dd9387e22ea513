/**
 * Short lines across an outline, by which it is found again in other pictures: a post has no texture along itself, so
 * only across its direction does a picture tell where it is (the aperture problem). Each line starts on the outline and
 * points out of it; how deep the thing is there says how far inwards its colours can be its own.
 */
import { symmetricEigen } from '../../geometry/linear-solve.js';
import { apply, type Mat3 } from '../../geometry/mat3.js';
import { signedArea } from '../../image/polygon.js';
import type { SmallFrame } from '../outline/small-frame.js';

/** Corners of a polygon in order, px of the picture that is followed. */
export type Outline = readonly (readonly [number, number])[];

/**
 * A line across the outline: where it starts, its unit direction outwards, the outline's edge it stands on, and how
 * deep the thing is there (px, at most DEEPEST).
 */
export interface EdgeLine {
  readonly x: number;
  readonly y: number;
  readonly nx: number;
  readonly ny: number;
  readonly edge: number;
  readonly deep: number;
}

/** Lines an outline gets at most, and the least way between two. */
const MOST_LINES = 240,
  LEAST_STEP = 1.5;
/** Pixels inwards and outwards whose colours tell. */
export const DEEPEST = 8,
  OUTWARDS = 8;
/** Closer to the picture's border there is no edge of the thing, only the picture's. */
const BORDER = 2;

/** Lines across an outline as far as it lies within a picture of w × h. */
export function linesOf(outline: Outline, w: number, h: number): EdgeLine[] {
  const sides = outline.map((p, i) => {
    const q = outline[(i + 1) % outline.length]!,
      dx = q[0] - p[0],
      dy = q[1] - p[1];
    return { p, dx, dy, long: Math.hypot(dx, dy), seen: seenShare(p, q, w, h) };
  });
  const whole = sides.reduce((s, e) => s + e.seen[1] * e.long - e.seen[0] * e.long, 0),
    step = Math.max(LEAST_STEP, whole / MOST_LINES),
    sign = signedArea(outline) > 0 ? 1 : -1,
    out: EdgeLine[] = [];
  sides.forEach((e, edge) => {
    const from = e.seen[0] * e.long,
      to = e.seen[1] * e.long,
      count = Math.floor((to - from) / step);
    if (e.long < 1e-6) return;
    const nx = (sign * e.dy) / e.long,
      ny = (-sign * e.dx) / e.long;
    for (let k = 0; k < Math.max(1, count); k++) {
      const s = (from + ((k + 0.5) / Math.max(1, count)) * (to - from)) / e.long,
        x = e.p[0] + s * e.dx,
        y = e.p[1] + s * e.dy;
      if (to - from < LEAST_STEP / 2 || x < BORDER || y < BORDER || x > w - BORDER || y > h - BORDER) continue;
      out.push({
        x,
        y,
        nx,
        ny,
        edge,
        deep: Math.max(1.5, Math.min(DEEPEST, 0.5 * depthOf(outline, x, y, -nx, -ny, edge))),
      });
    }
  });
  return out;
}

/** Part (0..1, 0..1) of a side that lies within the picture (Liang & Barsky, ACM TOG 3, 1984). */
function seenShare(p: readonly [number, number], q: readonly [number, number], w: number, h: number): [number, number] {
  let a = 0,
    b = 1;
  for (const [d, from, least, most] of [
    [q[0] - p[0], p[0], BORDER, w - BORDER],
    [q[1] - p[1], p[1], BORDER, h - BORDER],
  ] as const) {
    if (Math.abs(d) < 1e-9) {
      if (from < least || from > most) return [0, 0];
      continue;
    }
    const s = (least - from) / d,
      t = (most - from) / d;
    a = Math.max(a, Math.min(s, t));
    b = Math.min(b, Math.max(s, t));
  }
  return b > a ? [a, b] : [0, 0];
}

/** How far it is inwards to the outline's other side, px. */
function depthOf(outline: Outline, x: number, y: number, dx: number, dy: number, own: number): number {
  let best = Infinity;
  for (let i = 0; i < outline.length; i++) {
    if (i === own) continue;
    const a = outline[i]!,
      b = outline[(i + 1) % outline.length]!,
      ex = b[0] - a[0],
      ey = b[1] - a[1],
      det = ex * dy - ey * dx;
    if (Math.abs(det) < 1e-9) continue;
    const t = (ex * (a[1] - y) - ey * (a[0] - x)) / det,
      s = (dx * (a[1] - y) - dy * (a[0] - x)) / det;
    if (t > 0.3 && s >= 0 && s <= 1) best = Math.min(best, t);
  }
  return best;
}

/** Lines where a homography puts them, their directions across the moved outline. */
export function movedLines(lines: readonly EdgeLine[], m: Mat3): EdgeLine[] {
  return lines.map((l) => {
    const [x, y] = apply(m, l.x, l.y),
      [ax, ay] = apply(m, l.x - l.ny, l.y + l.nx),
      [bx, by] = apply(m, l.x + l.nx, l.y + l.ny),
      tx = ax - x,
      ty = ay - y,
      long = Math.max(1e-9, Math.hypot(tx, ty));
    // The way along the outline is carried, and what lies across it points outwards still.
    const nx = ty / long,
      ny = -tx / long,
      side = nx * (bx - x) + ny * (by - y) < 0 ? -1 : 1;
    return { x, y, nx: side * nx, ny: side * ny, edge: l.edge, deep: l.deep };
  });
}

/**
 * Colours along each line, `reach` px inwards to `reach` px outwards in steps of a pixel, averaged over three places
 * along the outline; lines × (2 reach + 1) × 3.
 */
export function profilesOf(frame: SmallFrame, lines: readonly EdgeLine[], reach: number): Float32Array {
  const { width: w, height: h, data } = frame,
    n = w * h,
    long = 2 * reach + 1,
    out = new Float32Array(lines.length * long * 3);
  for (let i = 0; i < lines.length; i++) {
    const l = lines[i]!;
    for (let t = -reach, o = i * long * 3; t <= reach; t++, o += 3)
      for (let s = -1; s <= 1; s++) {
        // Bilinear between pixels; the picture's edge goes on beyond it.
        const x = Math.min(w - 1.001, Math.max(0, l.x + t * l.nx - s * l.ny - 0.5)),
          y = Math.min(h - 1.001, Math.max(0, l.y + t * l.ny + s * l.nx - 0.5)),
          xi = x | 0,
          yi = y | 0,
          fx = x - xi,
          fy = y - yi,
          p = yi * w + xi,
          a = ((1 - fx) * (1 - fy)) / 3,
          b = (fx * (1 - fy)) / 3,
          c = ((1 - fx) * fy) / 3,
          d = (fx * fy) / 3;
        out[o] = out[o]! + a * data[p]! + b * data[p + 1]! + c * data[p + w]! + d * data[p + w + 1]!;
        out[o + 1] =
          out[o + 1]! + a * data[n + p]! + b * data[n + p + 1]! + c * data[n + p + w]! + d * data[n + p + w + 1]!;
        out[o + 2] =
          out[o + 2]! +
          a * data[2 * n + p]! +
          b * data[2 * n + p + 1]! +
          c * data[2 * n + p + w]! +
          d * data[2 * n + p + w + 1]!;
      }
  }
  return out;
}

/** Edges that run so much one way tell nothing along it (ratio of the spread of their directions). Own choice. */
const ONE_WAY = 0.06;

/** The direction that lines tell most of, the one across it, and whether they tell nothing of that. */
export function waysOf(lines: readonly EdgeLine[]): {
  readonly across: readonly [number, number];
  readonly along: readonly [number, number];
  readonly oneWay: boolean;
} {
  let xx = 0,
    xy = 0,
    yy = 0;
  for (const l of lines) {
    xx += l.nx * l.nx;
    xy += l.nx * l.ny;
    yy += l.ny * l.ny;
  }
  const { values, vectors } = symmetricEigen(new Float64Array([xx, xy, xy, yy]), 2);
  return {
    across: [vectors[1]!, vectors[3]!],
    along: [vectors[0]!, vectors[2]!],
    oneWay: values[0]! < ONE_WAY * values[1]!,
  };
}
