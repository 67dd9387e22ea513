/**
 * What a plane's map leaves over between two pictures of one set: things nearer or further than the plane, a lens that
 * bends. Dense motion (image/flow.ts) is gathered in cells by its median, weighed by how well it explains the picture,
 * and carried over cells that show nothing by push-pull (Gortler et al., "The Lumigraph", SIGGRAPH 1996): a coarse,
 * smooth field, since a camera that travels shifts neighbours nearly alike, while what walks by itself fills few cells
 * and is outvoted or out of reach. Planes height × width of display-coded luma; lengths in pixels.
 */
import { solveCholesky } from '../../geometry/linear-solve.js';
import { FlowPicture, motionAt } from '../../image/flow.js';
import { blurPlane, gaussianPlane } from '../../image/gaussian.js';
import { pushPull } from '../../image/push-pull.js';
import { median, selectInPlace } from '../../image/statistics.js';
import type { LocalField } from './field-cells.js';

export interface LocalFieldOptions {
  /** How far a displacement may reach, px. */
  readonly reachPx: number;
  /** Side of a cell. Default 12. */
  readonly cellPx?: number;
  /** For pictures made small already: patches are sought down to the finest level, with a third of the sweeps. */
  readonly quick?: boolean;
}

/** Least share of a cell that must tell something. */
const LEAST_FILLED = 0.15;
/**
 * A displacement is believed where it takes away at least this share of the squared difference, or where there was none
 * to speak of.
 */
const HELPS = 0.8;
const NOISE = 0.012;
/** Fewer trusted cells than this tell no lean. */
const LEAST_CELLS = 24;
/** Shorter sides, px, and fewer pixels that can be compared show too little. */
const LEAST_SIDE = 48,
  LEAST_KNOWN = 400;
/** A field whose largest displacement is less than this is none, px. */
const LEAST_SHIFT = 0.05;

/** The two pictures as they are compared: alike in light, and going on smoothly where nothing is to be compared. */
interface Compared {
  readonly base: Float32Array;
  readonly other: Float32Array;
  readonly weight: Float32Array;
  readonly width: number;
  readonly height: number;
}

interface Flow {
  readonly u: Float32Array;
  readonly v: Float32Array;
}

/** Displacement of every cell, and how far it is to be trusted, 0..1. */
interface Cells extends Flow {
  readonly trust: Float32Array;
  readonly columns: number;
  readonly rows: number;
  /** Largest displacement of a trusted cell, px. */
  readonly most: number;
}

/**
 * The field that brings `picture` onto `template`, told by pixels of `weight` over a half; null where it is zero
 * throughout (under a twentieth of a pixel), or where too little is to be seen.
 */
export function localField(
  template: Float32Array,
  picture: Float32Array,
  weight: Float32Array,
  width: number,
  height: number,
  options: LocalFieldOptions,
): LocalField | null {
  if (width < LEAST_SIDE || height < LEAST_SIDE) return null;
  const compared = comparable(template, picture, weight, width, height);
  if (compared === null) return null;
  const cellPx = options.cellPx ?? 12,
    cells = gathered(compared, flowOf(compared, options.quick === true), cellPx, options.reachPx);
  return cells.most < LEAST_SHIFT ? null : { cellPx, ...carriedOn(cells, options.reachPx) };
}

/** Null where too few pixels are to be compared. */
function comparable(
  template: Float32Array,
  picture: Float32Array,
  weight: Float32Array,
  width: number,
  height: number,
): Compared | null {
  const n = width * height,
    other = new Float32Array(n),
    base = new Float32Array(n),
    say = new Float32Array(n);
  let known = 0;
  for (let i = 0; i < n; i++)
    if (weight[i]! > 0.5) {
      say[i] = 1;
      known++;
    }
  if (known < LEAST_KNOWN) return null;
  // Where there is nothing to compare both show the same smooth going-on of the template: texture there would say that
  // nothing moves.
  const light = lightBetween(template, picture, weight),
    smooth = known < n ? pushPull([template], say, width, height)[0]! : template;
  for (let i = 0; i < n; i++) {
    base[i] = say[i] === 1 ? template[i]! : smooth[i]!;
    other[i] = say[i] === 1 ? picture[i]! * light : smooth[i]!;
  }
  return { base, other, weight, width, height };
}

function flowOf({ base, other, width, height }: Compared, quick: boolean): Flow {
  const a = new FlowPicture(blurPlane(base, width, height, 0.7), width, height),
    b = new FlowPicture(blurPlane(other, width, height, 0.7), width, height);
  try {
    return motionAt(a, b, 0, quick ? { alpha: 4, outer: 2, sweeps: 5 } : { alpha: 4, finest: 1 });
  } finally {
    a.close();
    b.close();
  }
}

/**
 * Pixels whose displacement is believed: within reach, and it takes away enough of the squared difference that is seen
 * about them, or there was none to speak of.
 */
function believed(c: Compared, { u, v }: Flow, reach: number): Uint8Array {
  const { weight, width, height } = c,
    blurred = (p: Float32Array): Float32Array => gaussianPlane(p, width, height, 2),
    { still, moved } = squaredDifferences(c, { u, v }),
    was = blurred(still),
    left = blurred(moved),
    told = blurred(Float32Array.from(weight, (w) => (w > 0.5 ? 1 : 0))),
    out = new Uint8Array(width * height);
  for (let i = 0; i < out.length; i++) {
    if (!(weight[i]! > 0.5) || u[i]! * u[i]! + v[i]! * v[i]! > reach * reach) continue;
    const share = Math.max(1e-6, told[i]!);
    if (left[i]! / share < HELPS * (was[i]! / share) + NOISE * NOISE) out[i] = 1;
  }
  return out;
}

/** Squared difference of the pictures at every pixel that is compared, as they are and with the one moved. */
function squaredDifferences(
  { base, other, weight, width, height }: Compared,
  { u, v }: Flow,
): { readonly still: Float32Array; readonly moved: Float32Array } {
  const still = new Float32Array(width * height),
    moved = new Float32Array(width * height);
  for (let y = 0; y < height; y++)
    for (let x = 0; x < width; x++) {
      const i = y * width + x;
      if (!(weight[i]! > 0.5)) continue;
      const px = x + u[i]!,
        py = y + v[i]!;
      const x0 = Math.min(width - 2, Math.max(0, Math.floor(px))),
        y0 = Math.min(height - 2, Math.max(0, Math.floor(py)));
      const fx = Math.min(1, Math.max(0, px - x0)),
        fy = Math.min(1, Math.max(0, py - y0)),
        o = y0 * width + x0;
      const s =
        (other[o]! * (1 - fx) + other[o + 1]! * fx) * (1 - fy) +
        (other[o + width]! * (1 - fx) + other[o + width + 1]! * fx) * fy;
      still[i] = (other[i]! - base[i]!) ** 2;
      moved[i] = (s - base[i]!) ** 2;
    }
  return { still, moved };
}

/** Medians of the displacements that are believed, cell by cell, trusted by how much texture tells them. */
function gathered(compared: Compared, flow: Flow, cell: number, reach: number): Cells {
  const { width, height } = compared,
    columns = Math.ceil(width / cell),
    rows = Math.ceil(height / cell),
    believe = believed(compared, flow, reach),
    texture = structureOf(compared.base, width, height);
  const u = new Float32Array(columns * rows),
    v = new Float32Array(columns * rows),
    trust = new Float32Array(columns * rows),
    us = new Float64Array(cell * cell),
    vs = new Float64Array(cell * cell);
  let most = 0;
  for (let r = 0; r < rows; r++)
    for (let c = 0; c < columns; c++) {
      const x1 = Math.min(width, (c + 1) * cell),
        y1 = Math.min(height, (r + 1) * cell);
      let k = 0,
        sum = 0;
      for (let y = r * cell; y < y1; y++)
        for (let x = c * cell; x < x1; x++) {
          const i = y * width + x;
          if (believe[i] === 0) continue;
          us[k] = flow.u[i]!;
          vs[k] = flow.v[i]!;
          k++;
          sum += texture[i]!;
        }
      if (k < LEAST_FILLED * cell * cell) continue;
      const o = r * columns + c;
      u[o] = middle(us, k);
      v[o] = middle(vs, k);
      trust[o] = Math.min(1, sum / k);
      if (trust[o]! > 0.1) most = Math.max(most, Math.hypot(u[o]!, v[o]!));
    }
  return { u, v, trust, columns, rows, most };
}

/**
 * The field on every cell. Beyond what is seen it goes on as it leans: its plane is taken out, what is over carried on,
 * and the plane put back.
 */
function carriedOn({ u, v, trust, columns, rows }: Cells, reach: number): Omit<LocalField, 'cellPx'> {
  const lean = [u, v].map((p) => planeThrough(p, trust, columns, rows)),
    flat = [u, v].map((p, k) => {
      const out = p.slice();
      leanBy(out, lean[k]!, columns, -1);
      return out;
    });
  const [fu, fv] = pushPull(flat, trust, columns, rows).map((p, k) => {
    leanBy(p, lean[k]!, columns, 1);
    for (let o = 0; o < p.length; o++) p[o] = Math.max(-reach, Math.min(reach, p[o]!));
    return gaussianPlane(p, columns, rows, 0.8);
  });
  return { columns, rows, u: fu!, v: fv! };
}

/**
 * Plane (a, b, c) of a + b·column + c·row through the trusted cells, robust (Tukey weights); level where they are few.
 */
function planeThrough(
  p: Float32Array,
  trust: Float32Array,
  columns: number,
  rows: number,
): readonly [number, number, number] {
  let out: [number, number, number] = [0, 0, 0];
  const away: number[] = [];
  for (let round = 0; round < 4; round++) {
    const scale = round === 0 ? Infinity : 4.685 * Math.max(0.1, 1.4826 * median(away));
    const A = new Float64Array(9),
      b = new Float64Array(3);
    let count = 0;
    away.length = 0;
    for (let r = 0; r < rows; r++)
      for (let c = 0; c < columns; c++) {
        const o = r * columns + c;
        if (!(trust[o]! > 0.1)) continue;
        const e = p[o]! - out[0] - out[1] * c - out[2] * r;
        if (round > 0) away.push(Math.abs(e));
        const k = Math.abs(e) >= scale ? 0 : trust[o]! * (scale === Infinity ? 1 : (1 - (e / scale) ** 2) ** 2);
        if (k > 0) count++;
        const g = [1, c, r];
        for (let i = 0; i < 3; i++) {
          b[i] = b[i]! + k * g[i]! * p[o]!;
          for (let j = 0; j < 3; j++) A[3 * i + j] = A[3 * i + j]! + k * g[i]! * g[j]!;
        }
      }
    if (count < LEAST_CELLS) return [0, 0, 0];
    // A lean is believed as far as the cells spread: one pixel over the field is no surprise.
    A[4] = A[4]! + columns * columns * 0.04;
    A[8] = A[8]! + rows * rows * 0.04;
    const x = solveCholesky(A, b, 3);
    if (x === null) return [0, 0, 0];
    out = [x[0]!, x[1]!, x[2]!];
    if (round === 0)
      for (let o = 0; o < p.length; o++)
        if (trust[o]! > 0.1)
          away.push(Math.abs(p[o]! - out[0] - out[1] * (o % columns) - out[2] * Math.floor(o / columns)));
  }
  return out;
}

function leanBy(p: Float32Array, [a, b, c]: readonly [number, number, number], columns: number, sign: number): void {
  for (let o = 0; o < p.length; o++) p[o] = p[o]! + sign * (a + b * (o % columns) + c * Math.floor(o / columns));
}

/** Ratio of light, template over picture: robust, over what both show. */
export function lightBetween(template: Float32Array, picture: Float32Array, weight: Float32Array): number {
  const step = Math.max(1, Math.floor(template.length / 20000)),
    ratios = new Float64Array(Math.ceil(template.length / step));
  let k = 0;
  for (let i = 0; i < template.length; i += step)
    if (weight[i]! > 0.5 && template[i]! > 0.08 && template[i]! < 0.95 && picture[i]! > 0.08)
      ratios[k++] = template[i]! / picture[i]!;
  return k < 100 ? 1 : Math.min(2, Math.max(0.5, middle(ratios, k)));
}

/**
 * How much a pixel's surroundings tell of place, 0..1: the smaller eigenvalue of the structure tensor against the
 * noise's.
 */
export function structureOf(p: Float32Array, w: number, h: number): Float32Array {
  const n = w * h,
    xx = new Float32Array(n),
    xy = new Float32Array(n),
    yy = new Float32Array(n);
  for (let y = 1; y < h - 1; y++)
    for (let x = 1; x < w - 1; x++) {
      const i = y * w + x,
        gx = 0.5 * (p[i + 1]! - p[i - 1]!),
        gy = 0.5 * (p[i + w]! - p[i - w]!);
      xx[i] = gx * gx;
      xy[i] = gx * gy;
      yy[i] = gy * gy;
    }
  const a = gaussianPlane(xx, w, h, 4),
    b = gaussianPlane(xy, w, h, 4),
    c = gaussianPlane(yy, w, h, 4);
  for (let i = 0; i < n; i++) {
    const least = 0.5 * (a[i]! + c[i]! - Math.sqrt((a[i]! - c[i]!) ** 2 + 4 * b[i]! * b[i]!));
    a[i] = least / (least + 0.5 * NOISE * NOISE);
  }
  return a;
}

function middle(a: Float64Array, k: number): number {
  return selectInPlace(a.subarray(0, k), k >> 1);
}
