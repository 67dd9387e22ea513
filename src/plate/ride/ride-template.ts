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
import { middlesOf, pixelsInside, selectPixels, type Pixels } from './ride-pixels.js';

export interface TemplateLevel {
  readonly level: number;
  /**
   * Pixels kept. They are sorted by cell, each cell's run padded to a multiple of four with pixels whose u is not a
   * number.
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
  /** Key-frame pixels a unit of (u, v); and the most cells that any level has. */
  readonly scale: number;
  readonly cells: number;
  /** Finest first. */
  readonly levels: readonly TemplateLevel[];
  /** u, v of the four corners that are reported. */
  readonly corners: readonly Point2[];
}

/**
 * The region's first four corners where it has four, else the corners of its bounding box (clockwise from the top
 * left).
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

export interface TemplateOptions {
  /** The most pixels kept on each level. Default 9000. */
  readonly limit?: number;
  /**
   * No cell speaks louder than the middle one: for a whole frame, of which a loud stranger may fill a part. Default
   * false.
   */
  readonly even?: boolean;
  /** Where the template's planes lie; the heap unless told. */
  readonly memory?: RideMemory;
  /** Standard deviation of the key frame's grain in luma. Default 0: not known. */
  readonly grainSd?: number;
  /** How many frames the picture is the mean of. Default 1. */
  readonly averaged?: number;
  /** Whether the full-size pixel x, y and those within `reach` of it belong to the plane; all do unless told. */
  readonly belongs?: ((x: number, y: number, reach: number) => boolean) | null;
}

/** The region's box in pixels of the key frame; template coordinates are (pixels − middle) / scale. */
interface Region {
  readonly polygon: readonly Point2[];
  readonly box: { readonly x0: number; readonly y0: number; readonly x1: number; readonly y1: number };
  readonly cx: number;
  readonly cy: number;
  readonly scale: number;
}

/** Fewer pixels of a level hold no fit. */
const LEAST_PIXELS = 40;
/** A region smaller than this many pixels of a level has nothing to be found by there. */
const LEAST_SIDE = 9;

/**
 * Builds the template of a polygon (pixels of the key frame). Throws `PW-RIDE-REGION` for fewer than three corners, a
 * region without area or one wholly outside the frame.
 */
export function buildTemplate(
  pyramid: LumaPyramid,
  polygon: readonly Point2[],
  frame: number,
  options: TemplateOptions = {},
): RideTemplate {
  const full = pyramid[0]!;
  checkRegion(polygon, full.width, full.height);
  const region = regionOf(polygon);
  const { box, cx, cy, scale } = region;
  const levels: TemplateLevel[] = [];
  for (let level = 0; level < pyramid.length; level++) {
    if (level > 0 && Math.min(box.x1 - box.x0, box.y1 - box.y0) / (1 << level) < LEAST_SIDE) break;
    const built = buildLevel(pyramid[level]!, level, region, options);
    if (built === null) break;
    levels.push(built);
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

function regionOf(polygon: readonly Point2[]): Region {
  const xs = polygon.map((p) => p[0]);
  const ys = polygon.map((p) => p[1]);
  const box = { x0: Math.min(...xs), y0: Math.min(...ys), x1: Math.max(...xs), y1: Math.max(...ys) };
  const { x0, y0, x1, y1 } = box;
  const scale = Math.max(4, Math.hypot(x1 - x0, y1 - y0) / 2 / Math.SQRT2);
  return { polygon, box, cx: (x0 + x1) / 2, cy: (y0 + y1) / 2, scale };
}

/** One level of the template; null where too few pixels are left. */
function buildLevel(
  picture: LumaPyramid[number],
  level: number,
  region: Region,
  { limit = 9000, even = false, memory, grainSd = 0, averaged = 1, belongs = null }: TemplateOptions,
): TemplateLevel | null {
  const { polygon, box, cx, cy, scale } = region;
  const f = 1 / (1 << level);
  const width = box.x1 - box.x0;
  const height = box.y1 - box.y0;
  const side = Math.max(14, Math.sqrt(width * height) / 8, 8 / f);
  const columns = Math.max(1, Math.min(12, Math.round(width / side)));
  const rows = Math.max(1, Math.min(12, Math.round(height / side)));
  const cells = columns * rows;
  const inside = pixelsInside(picture, { polygon, box, f, columns, rows, belongs });
  if (inside.count < LEAST_PIXELS) return null;
  const kept = selectPixels(inside, cells, limit);
  const counts = new Int32Array(cells);
  for (let k = 0; k < kept.count; k++) counts[kept.cell[k]!] = counts[kept.cell[k]!]! + 1;
  const starts = memory?.whole(cells + 1) ?? new Int32Array(cells + 1);
  // Each cell begins at a multiple of four, for kernels that take four pixels at a time.
  for (let c = 0; c < cells; c++) starts[c + 1] = starts[c]! + ((counts[c]! + 3) & ~3);
  const padded = starts[cells]!;
  const floats = (k: number): Float32Array => memory?.floats(k) ?? new Float32Array(k);
  const t: TemplateLevel = {
    level,
    count: kept.count,
    grain: (grainSd * grainSd * grainKept(level)) / averaged,
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
    middles: middlesOf(kept, cells, { f, cx, cy, scale }),
  };
  fillPixels(t, picture, kept, counts, region);
  balanceCells(t.balance, even);
  return t;
}

/** Values, slopes and Jacobians of the kept pixels, the cells' mean values, and in `balance` their energy. */
function fillPixels(
  t: TemplateLevel,
  { width: w, data }: LumaPyramid[number],
  kept: Pixels,
  counts: Int32Array,
  { cx, cy, scale }: Region,
): void {
  const f = 1 / (1 << t.level);
  const next = t.starts.slice(0, t.cells);
  const energy = t.balance;
  for (let k = 0; k < kept.count; k++) {
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
    // Along the eight generators of a homography (ride-generators.ts), in their order.
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
}

/** From the cells' energy, in place, how much each counts: those above the mean (`even`: above 60 % of them) less. */
function balanceCells(energy: Float32Array, even: boolean): void {
  const cells = energy.length;
  const most = even
    ? Float32Array.from(energy).sort()[Math.floor(cells * 0.6)]!
    : energy.reduce((a, b) => a + b, 0) / cells;
  for (let c = 0; c < cells; c++) energy[c] = energy[c]! > most ? most / energy[c]! : 1;
}

/**
 * Share of the variance of white grain that a level of the pyramid (ride-pyramid.ts) keeps: the energy of its whole
 * kernel.
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
