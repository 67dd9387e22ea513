/**
 * From which side the performer looks lit, against the key's side in the picture. The logarithm of luma is regressed on
 * the normals of the filled matte and on its colour (chromaticities and their squares), so that a white belly under a
 * brown back does not pass for light from below. What is left over of bodies' own shapes and coats is far larger up and
 * down than across, and is counted so.
 */
import type { Vec3 } from '../../geometry/mat3.js';
import { normalsOfMatte } from '../../join/light/relight.js';
import type { SeenFrame } from '../reader/frame.js';

export interface KeySide {
  /** Degrees in the picture between the side that looks lit and the key's. */
  readonly offDeg: number;
  /**
   * Squared distance, in standard deviations, of the slopes read from the nearest that the key could make (two numbers
   * less a strength: 6 is passed by one true picture in fifty to a hundred).
   */
  readonly unlike: number;
  /** Towards where the light seems to come from in the picture (x right, y down; its length is the slope). */
  readonly from: readonly [number, number];
}

/**
 * Slopes of log luma over the normals that true pictures show beside STRENGTH × the key's direction (34 of eleven
 * traced scenes, six made bodies; bench/inspect-roc.ts): across they scatter by .10 and .03, up and down by .14 and .07
 * about +.10 and −.22, as bodies differ in how pale their underside is. So: sd across, sd down, and the middle of down.
 */
const ACROSS = 0.12,
  DOWN = 0.2,
  PALE = 0.05;
/**
 * Slopes for a key along the picture: least (overcast, .15) and most (a bare lamp without fill, 1). True pictures: .3
 * to .5.
 */
const STRENGTH = [0.15, 1] as const;
/** Pixels of the performer's box above which every third is looked at: seven unknowns need no more. */
const MANY = 60000;

/**
 * Null where the shading tells no side, or where the key comes from near the lens. `light`: towards the key, camera
 * coordinates.
 */
export function readKeySide(f: SeenFrame, light: Vec3): KeySide | null {
  if (f.box === null) return null;
  if (Math.hypot(light[0], light[1]) < 0.25) return null;
  const { width: W, height: H } = f.join;
  const N = W * H,
    d = f.join.data;
  const [x0, y0, x1, y1] = f.box;
  const w = x1 - x0,
    h = y1 - y0,
    n = w * h;
  const alpha = new Float32Array(n);
  for (let y = 0; y < h; y++) for (let x = 0; x < w; x++) alpha[y * w + x] = f.matte[(y0 + y) * W + x0 + x]!;
  const normals = normalsOfMatte(alpha, w, h);
  // Unknowns: mean, two slopes, four of the colour. Normal equations, upper triangle with the right side as last
  // column.
  const M = new Float64Array(7 * 8),
    row = new Float64Array(8);
  let s = 0,
    vv = 0;
  const step = n > MANY ? 3 : 1;
  for (let i = 0; i < n; i += step) {
    if (alpha[i]! < 0.97 || normals[2 * n + i] === 0) continue;
    const p = (y0 + Math.floor(i / w)) * W + x0 + (i % w);
    const r = Math.max(0.02, d[p]!),
      g = Math.max(0.02, d[N + p]!),
      b = Math.max(0.02, d[2 * N + p]!),
      t = r + g + b;
    const u = r / t - 0.333,
      v = b / t - 0.333;
    row[0] = 1;
    row[1] = normals[i]!;
    row[2] = normals[n + i]!;
    row[3] = u;
    row[4] = v;
    row[5] = u * u;
    row[6] = v * v;
    row[7] = Math.log(Math.max(0.04, f.luma[p]!));
    for (let j = 0; j < 7; j++) for (let k = j; k < 8; k++) M[8 * j + k]! += row[j]! * row[k]!;
    s++;
    vv += row[7]! * row[7]!;
  }
  if (s * step < 300) return null;
  const full = solve(M, [0, 1, 2, 3, 4, 5, 6], vv),
    flat = solve(M, [0, 3, 4, 5, 6], vv);
  if (full === null || flat === null) return null;
  // Share of what the colour leaves that the two slopes explain.
  if (1 - full.left / Math.max(1e-9, flat.left) < 0.03) return null;
  const gx = full.x[1]! / ACROSS,
    gy = (full.x[2]! - PALE) / DOWN,
    lx = light[0] / ACROSS,
    ly = light[1] / DOWN;
  const k = Math.min(STRENGTH[1], Math.max(STRENGTH[0], (gx * lx + gy * ly) / (lx * lx + ly * ly)));
  const dx = full.x[1]!,
    dy = full.x[2]! - PALE,
    c = (dx * light[0] + dy * light[1]) / Math.max(1e-9, Math.hypot(dx, dy) * Math.hypot(light[0], light[1]));
  return {
    offDeg: (Math.acos(Math.min(1, Math.max(-1, c))) * 180) / Math.PI,
    unlike: (gx - k * lx) ** 2 + (gy - k * ly) ** 2,
    from: [dx, dy],
  };
}

/**
 * Normal equations of some of the unknowns by Gaussian elimination on the symmetric matrix, a trace on its diagonal;
 * and the squares left over.
 */
function solve(M: Float64Array, pick: readonly number[], vv: number): { x: number[]; left: number } | null {
  const m = pick.length;
  const at = (j: number, k: number): number => (j <= k ? M[8 * j + k]! : M[8 * k + j]!);
  const A = pick.map((j) => [
    ...pick.map((k) => at(j, k) + (j === k && j > 2 ? 1e-4 * at(0, 0) * 1e-2 : 0)),
    M[8 * j + 7]!,
  ]);
  for (let j = 0; j < m; j++) {
    const p = A[j]![j]!;
    if (!(Math.abs(p) > 1e-9)) return null;
    for (let i = j + 1; i < m; i++) {
      const k = A[i]![j]! / p;
      for (let q = j; q <= m; q++) A[i]![q]! -= k * A[j]![q]!;
    }
  }
  const x = new Array<number>(m).fill(0);
  for (let j = m - 1; j >= 0; j--) {
    let v = A[j]![m]!;
    for (let k = j + 1; k < m; k++) v -= A[j]![k]! * x[k]!;
    x[j] = v / A[j]![j]!;
  }
  return { x, left: vv - pick.reduce((sum, j, i) => sum + x[i]! * M[8 * j + 7]!, 0) };
}
