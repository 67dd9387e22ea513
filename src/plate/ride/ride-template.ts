/**
 * What a ride remembers of its region in a key frame: for each pyramid level the pixels that carry position (strong
 * gradient, spread evenly over cells), with their steepest-descent row for the eight generators of a plane's motion
 * (Baker & Matthews, *Lucas-Kanade 20 Years On*, IJCV 56, 2004, inverse compositional algorithm).
 *
 * Template coordinates (u, v) are the key frame's pixels centred on the region and divided by `scale`, so about −1..1.
 * Generator order: shift u, shift v, turn, grow, stretch along the axes, stretch along the diagonals, perspective u, v:
 * the first 2, 4, 6, 8 span translation, similarity, affine, perspective.
 */
import { PlatewrightError } from '../../core/errors.js';
import type { Mat3, Point2 } from '../../geometry/mat3.js';
import type { RideMemory } from './ride-memory.js';
import type { LumaPyramid } from './ride-pyramid.js';
import { checkRegion } from './ride-region.js';
import { middlesOf, pixelsInside, selectPixels } from './ride-pixels.js';

export interface TemplateLevel {
  readonly level: number;
  /**
   * Pixels kept. They are sorted by cell, each cell's run padded to a multiple of four
   * with pixels whose u is not a number.
   */
  readonly count: number;
  readonly u: Float32Array;
  readonly v: Float32Array;
  /** Smoothed luma of the key frame. */
  readonly value: Float32Array;
  /** Variance of the key frame's grain in it; 0 where not known. */
  grain: number;
  /** Share of the template's grain in the variance of a residual: half where it is one frame. */
  readonly grainShare: number;
  /** count × 8, steepest-descent rows in luma per unit of generator. */
  readonly jacobian: Float32Array;
  /** |gradient| in luma per level pixel. */
  readonly slope: Float32Array;
  /** Where each cell's run starts, cells + 1. */
  readonly starts: Int32Array;
  /** Pixels of the longest run. */
  readonly longest: number;
  /** Mean value of each cell. */
  readonly reference: Float32Array;
  /** Number of cells the light is solved in; each holds some sixty pixels, so that it cannot swallow the motion. */
  readonly cells: number;
  /**
   * Weight of each cell, at most 1: a cell with more slope energy than the mean speaks no louder than the mean,
   * so that a contrasty stranger in the key frame (a pole across the region) does not carry the fit away.
   */
  readonly balance: Float32Array;
  /** Mean u and v of each cell's pixels, cells × 2. */
  readonly middles: Float32Array;
}

export interface RideTemplate {
  readonly frame: number;
  readonly polygon: readonly Point2[];
  /** (u, v, 1) to key-frame pixels. */
  readonly toPixels: Mat3;
  readonly scale: number;
  readonly cells: number;
  /** Finest first. */
  readonly levels: readonly TemplateLevel[];
  /** u, v of the four corners that are reported. */
  readonly corners: readonly Point2[];
}

/**
 * The region's first four corners where it has four, else the corners of its bounding
 * box (clockwise from the top left).
 */
export function reportedCorners(polygon: readonly Point2[]): [Point2, Point2, Point2, Point2] {
  if (polygon.length === 4) return [polygon[0]!, polygon[1]!, polygon[2]!, polygon[3]!];
  const xs = polygon.map((p) => p[0]);
  const ys = polygon.map((p) => p[1]);
  const x0 = Math.min(...xs);
  const x1 = Math.max(...xs);
  const y0 = Math.min(...ys);
  const y1 = Math.max(...ys);
  return [
    [x0, y0],
    [x1, y0],
    [x1, y1],
    [x0, y1],
  ];
}

/**
 * Builds the template of a polygon (pixels of the key frame). `limit` bounds the pixels kept on each level; `even` lets
 * no cell speak louder than the middle one (for a whole frame, of which a loud stranger may fill a part). `grainSd`: sd
 * of the key frame's grain in luma, where it is known. `averaged`: how many frames the picture is the mean of.
 * `belongs`: whether the full-size pixel x, y and those within `reach` of it belong to the plane. Throws
 * `PW-RIDE-REGION` for fewer than three corners, a region without area or one wholly outside the frame.
 */
export function buildTemplate(
  pyramid: LumaPyramid,
  polygon: readonly Point2[],
  frame: number,
  limit = 9000,
  even = false,
  memory?: RideMemory,
  grainSd = 0,
  averaged = 1,
  belongs: ((x: number, y: number, reach: number) => boolean) | null = null,
): RideTemplate {
  const full = pyramid[0]!;
  checkRegion(polygon, full.width, full.height);
  const xs = polygon.map((p) => p[0]);
  const ys = polygon.map((p) => p[1]);
  const x0 = Math.min(...xs);
  const x1 = Math.max(...xs);
  const y0 = Math.min(...ys);
  const y1 = Math.max(...ys);
  const cx = (x0 + x1) / 2;
  const cy = (y0 + y1) / 2;
  const scale = Math.max(4, Math.hypot(x1 - x0, y1 - y0) / 2 / Math.SQRT2);
  const levels: TemplateLevel[] = [];
  for (let l = 0; l < pyramid.length; l++) {
    const f = 1 / (1 << l);
    if (l > 0 && Math.min(x1 - x0, y1 - y0) * f < 9) break;
    const { width: w, data } = pyramid[l]!;
    const side = Math.max(14, Math.sqrt((x1 - x0) * (y1 - y0)) / 8, 8 / f);
    const columns = Math.max(1, Math.min(12, Math.round((x1 - x0) / side)));
    const rows = Math.max(1, Math.min(12, Math.round((y1 - y0) / side)));
    const cells = columns * rows;
    const inside = pixelsInside(pyramid[l]!, polygon, f, { x0, y0, x1, y1 }, columns, rows, belongs);
    if (inside.count < 40) break;
    const kept = selectPixels(inside, cells, limit);
    const n = kept.count;
    const counts = new Int32Array(cells);
    for (let k = 0; k < n; k++) counts[kept.cell[k]!] = counts[kept.cell[k]!]! + 1;
    const starts = memory?.whole(cells + 1) ?? new Int32Array(cells + 1);
    const next = new Int32Array(cells);
    for (let c = 0; c < cells; c++) {
      next[c] = starts[c]!;
      starts[c + 1] = starts[c]! + ((counts[c]! + 3) & ~3);
    }
    const padded = starts[cells]!;
    const floats = (k: number): Float32Array => memory?.floats(k) ?? new Float32Array(k);
    const t: TemplateLevel = {
      level: l,
      count: n,
      grain: (grainSd * grainSd * grainKept(l)) / averaged,
      grainShare: 1 / (1 + averaged),
      cells,
      starts,
      longest: Math.max(...counts) + 3,
      reference: floats(cells),
      u: floats(padded).fill(NaN),
      v: floats(padded),
      value: floats(padded),
      jacobian: floats(padded * 8),
      slope: floats(padded),
      balance: new Float32Array(cells),
      middles: middlesOf(kept, cells, f, cx, cy, scale),
    };
    const energy = t.balance;
    for (let k = 0; k < n; k++) {
      const x = kept.x[k]!;
      const y = kept.y[k]!;
      const c = kept.cell[k]!;
      const i = next[c]!++;
      const o = y * w + x;
      const gx = 0.5 * (data[o + 1]! - data[o - 1]!);
      const gy = 0.5 * (data[o + w]! - data[o - w]!);
      const u = ((x + 0.5) / f - cx) / scale;
      const v = ((y + 0.5) / f - cy) / scale;
      const gu = gx * f * scale;
      const gv = gy * f * scale;
      t.u[i] = u;
      t.v[i] = v;
      t.value[i] = data[o]!;
      t.slope[i] = Math.sqrt(gx * gx + gy * gy);
      t.reference[c] = t.reference[c]! + data[o]! / counts[c]!;
      energy[c] = energy[c]! + gx * gx + gy * gy;
      const radial = gu * u + gv * v;
      const j = i * 8;
      t.jacobian[j] = gu;
      t.jacobian[j + 1] = gv;
      t.jacobian[j + 2] = -gu * v + gv * u;
      t.jacobian[j + 3] = radial;
      t.jacobian[j + 4] = gu * u - gv * v;
      t.jacobian[j + 5] = gu * v + gv * u;
      t.jacobian[j + 6] = -u * radial;
      t.jacobian[j + 7] = -v * radial;
    }
    const most = even
      ? Float32Array.from(energy).sort()[Math.floor(cells * 0.6)]!
      : energy.reduce((a, b) => a + b, 0) / cells;
    for (let c = 0; c < cells; c++) energy[c] = energy[c]! > most ? most / energy[c]! : 1;
    levels.push(t);
  }
  if (levels.length === 0) {
    throw new PlatewrightError(
      'PW-RIDE-REGION',
      `the region on frame ${frame} holds too few pixels of the picture to follow; ` +
        'draw it larger or choose a frame where it is seen',
    );
  }
  return {
    frame,
    polygon,
    scale,
    cells: Math.max(...levels.map((l) => l.cells)),
    levels,
    toPixels: [scale, 0, cx, 0, scale, cy, 0, 0, 1],
    corners: reportedCorners(polygon).map(([x, y]) => [(x - cx) / scale, (y - cy) / scale] as const),
  };
}

/**
 * Share of the variance of white grain that a level of the pyramid (ride-pyramid.ts)
 * keeps: the energy of its whole kernel.
 */
function grainKept(level: number): number {
  let k = [1, 2, 1].map((v) => v / 4);
  for (let l = 0; l < level; l++) {
    const step = 1 << l;
    const wide = new Array<number>(k.length + 3 * step).fill(0);
    [1, 3, 3, 1].forEach((w, q) =>
      k.forEach((v, i) => {
        wide[i + q * step] = wide[i + q * step]! + (v * w) / 8;
      }),
    );
    k = wide;
  }
  return k.reduce((s, v) => s + v * v, 0) ** 2;
}
