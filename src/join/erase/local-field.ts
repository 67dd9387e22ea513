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

/**
 * Displacements on a grid of cells: the place in the picture that shows what the template shows at (x, y) is (x, y) +
 * (u, v).
 */
export interface LocalField {
  readonly cellPx: number;
  readonly columns: number;
  readonly rows: number;
  readonly u: Float32Array;
  readonly v: Float32Array;
}

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
  const n = width * height,
    cell = options.cellPx ?? 12,
    reach = options.reachPx;
  if (width < 48 || height < 48) return null;
  // Where there is nothing to compare both show the same smooth going-on of the template: texture there would say that
  // nothing moves.
  const other = new Float32Array(n),
    base = new Float32Array(n),
    say = new Float32Array(n);
  let known = 0;
  for (let i = 0; i < n; i++)
    if (weight[i]! > 0.5) {
      say[i] = 1;
      known++;
    }
  if (known < 400) return null;
  const light = lightBetween(template, picture, weight),
    smooth = known < n ? pushPull([template], say, width, height)[0]! : template;
  for (let i = 0; i < n; i++) {
    base[i] = say[i] === 1 ? template[i]! : smooth[i]!;
    other[i] = say[i] === 1 ? picture[i]! * light : smooth[i]!;
  }
  const a = new FlowPicture(blurPlane(base, width, height, 0.7), width, height),
    b = new FlowPicture(blurPlane(other, width, height, 0.7), width, height);
  let u: Float32Array, v: Float32Array;
  try {
    ({ u, v } = motionAt(
      a,
      b,
      0,
      options.quick === true ? { alpha: 4, outer: 2, sweeps: 5 } : { alpha: 4, finest: 1 },
    ));
  } finally {
    a.close();
    b.close();
  }
  // How well a displacement explains what is seen, against none.
  const before = new Float32Array(n),
    after = new Float32Array(n);
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
      before[i] = (other[i]! - base[i]!) ** 2;
      after[i] = (s - base[i]!) ** 2;
    }
  const was = gaussianPlane(before, width, height, 2),
    left = gaussianPlane(after, width, height, 2),
    told = gaussianPlane(
      Float32Array.from(weight, (w) => (w > 0.5 ? 1 : 0)),
      width,
      height,
      2,
    );
  const texture = structureOf(base, width, height);
  const columns = Math.ceil(width / cell),
    rows = Math.ceil(height / cell);
  const cu = new Float32Array(columns * rows),
    cv = new Float32Array(columns * rows),
    trust = new Float32Array(columns * rows);
  const us = new Float64Array(cell * cell),
    vs = new Float64Array(cell * cell);
  let most = 0;
  for (let r = 0; r < rows; r++)
    for (let c = 0; c < columns; c++) {
      let k = 0,
        sum = 0;
      const x1 = Math.min(width, (c + 1) * cell),
        y1 = Math.min(height, (r + 1) * cell);
      for (let y = r * cell; y < y1; y++)
        for (let x = c * cell; x < x1; x++) {
          const i = y * width + x;
          if (!(weight[i]! > 0.5)) continue;
          const share = Math.max(1e-6, told[i]!),
            w2 = was[i]! / share,
            l2 = left[i]! / share;
          if (u[i]! * u[i]! + v[i]! * v[i]! > reach * reach) continue;
          if (!(l2 < HELPS * w2 + NOISE * NOISE)) continue;
          us[k] = u[i]!;
          vs[k] = v[i]!;
          k++;
          sum += texture[i]!;
        }
      if (k < LEAST_FILLED * cell * cell) continue;
      const o = r * columns + c;
      cu[o] = middle(us, k);
      cv[o] = middle(vs, k);
      trust[o] = Math.min(1, sum / k);
      if (trust[o]! > 0.1) most = Math.max(most, Math.hypot(cu[o]!, cv[o]!));
    }
  if (most < 0.05) return null;
  // Beyond what is seen a field goes on as it leans: its plane is taken out, what is over carried on, and the plane put
  // back.
  const planes = [cu, cv].map((p) => planeThrough(p, trust, columns, rows));
  [cu, cv].forEach((p, k) => leanBy(p, planes[k]!, columns, -1));
  const [fu, fv] = pushPull([cu, cv], trust, columns, rows);
  [fu!, fv!].forEach((p, k) => {
    leanBy(p, planes[k]!, columns, 1);
    for (let o = 0; o < p.length; o++) p[o] = Math.max(-reach, Math.min(reach, p[o]!));
  });
  return {
    cellPx: cell,
    columns,
    rows,
    u: gaussianPlane(fu!, columns, rows, 0.8),
    v: gaussianPlane(fv!, columns, rows, 0.8),
  };
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

/** Displacement at (x, y) px, bilinear between the cells' middles; clamped beyond them. Written to `out` as (u, v). */
export function fieldAt(f: LocalField, x: number, y: number, out: Float64Array): void {
  const cx = Math.min(f.columns - 1, Math.max(0, x / f.cellPx - 0.5)),
    cy = Math.min(f.rows - 1, Math.max(0, y / f.cellPx - 0.5));
  const c0 = Math.min(f.columns - 1, Math.floor(cx)),
    r0 = Math.min(f.rows - 1, Math.floor(cy)),
    c1 = Math.min(f.columns - 1, c0 + 1),
    r1 = Math.min(f.rows - 1, r0 + 1);
  const a = cx - c0,
    b = cy - r0,
    p = r0 * f.columns,
    q = r1 * f.columns;
  out[0] = (f.u[p + c0]! * (1 - a) + f.u[p + c1]! * a) * (1 - b) + (f.u[q + c0]! * (1 - a) + f.u[q + c1]! * a) * b;
  out[1] = (f.v[p + c0]! * (1 - a) + f.v[p + c1]! * a) * (1 - b) + (f.v[q + c0]! * (1 - a) + f.v[q + c1]! * a) * b;
}

/** Root of the mean squared displacement, px. */
export function sizeOf(f: LocalField): number {
  let sum = 0;
  for (let i = 0; i < f.u.length; i++) sum += f.u[i]! ** 2 + f.v[i]! ** 2;
  return Math.sqrt(sum / f.u.length);
}

/** Displacements of a row of pixels at x = (i + 0.5 + x0) · step, as {@link fieldAt} gives them. */
export function fieldRow(f: LocalField, x0: number, step: number, y: number, u: Float32Array, v: Float32Array): void {
  const cy = Math.min(f.rows - 1, Math.max(0, y / f.cellPx - 0.5)),
    r0 = Math.min(f.rows - 1, Math.floor(cy)),
    b = cy - r0,
    n = f.columns;
  const p = r0 * n,
    q = Math.min(f.rows - 1, r0 + 1) * n;
  const lineU = new Float64Array(n),
    lineV = new Float64Array(n);
  for (let c = 0; c < n; c++) {
    lineU[c] = f.u[p + c]! * (1 - b) + f.u[q + c]! * b;
    lineV[c] = f.v[p + c]! * (1 - b) + f.v[q + c]! * b;
  }
  for (let i = 0; i < u.length; i++) {
    const cx = Math.min(n - 1, Math.max(0, ((i + 0.5 + x0) * step) / f.cellPx - 0.5)),
      c0 = Math.floor(cx),
      c1 = Math.min(n - 1, c0 + 1),
      a = cx - c0;
    u[i] = lineU[c0]! + a * (lineU[c1]! - lineU[c0]!);
    v[i] = lineV[c0]! + a * (lineV[c1]! - lineV[c0]!);
  }
}

/** The field of two steps, one after the other: first `before`, then `after` at the place reached. */
export function addFields(before: LocalField | null, after: LocalField | null): LocalField | null {
  if (before === null || after === null) return after ?? before;
  const u = new Float32Array(after.u.length),
    v = new Float32Array(after.v.length),
    d = new Float64Array(2);
  for (let r = 0; r < after.rows; r++)
    for (let c = 0; c < after.columns; c++) {
      const o = r * after.columns + c;
      fieldAt(before, (c + 0.5) * after.cellPx + after.u[o]!, (r + 0.5) * after.cellPx + after.v[o]!, d);
      u[o] = after.u[o]! + d[0]!;
      v[o] = after.v[o]! + d[1]!;
    }
  return { ...after, u, v };
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
