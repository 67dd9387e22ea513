/**
 * Displacements kept on a grid of cells (local-field.ts): read at a place or along a row, and added up.
 */

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
