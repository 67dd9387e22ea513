/** The lit ball for a direction of the key, held against the picture: linear levels, residuals and a Huber cost. */
import { DEG_PER_RAD } from '../../core/angles.js';
import { choleskyFactor, solveWithFactor } from '../../geometry/linear-solve.js';
import { draw, type Scene, type Vec } from './card-ball-scene.js';
import { huberLoss, huberWeight } from './two-unknowns.js';

/** Linear unknowns: paper, its gradient, missing light in the shadow, ambient, its change with height, key. */
export const LINEAR = 7;

/**
 * The `linear` levels, residuals (NaN where not compared), their Huber `cost` and on the ball their robust spread `mad`
 * and the share of the picture's variance that is `explained`; and the drawn parts, light on the ball and shadow.
 */
export interface Fit {
  readonly cost: number;
  readonly mad: number;
  readonly explained: number;
  readonly linear: Float64Array;
  readonly residual: Float32Array;
  readonly lit: Float32Array;
  readonly shadow: Float32Array;
}

/** Unit vector towards a light at an azimuth and elevation in degrees; world x right, y up, z away. */
export function direction(azimuthDeg: number, elevationDeg: number): Vec {
  const a = azimuthDeg / DEG_PER_RAD;
  const e = elevationDeg / DEG_PER_RAD;
  return [Math.cos(e) * Math.sin(a), Math.sin(e), -Math.cos(e) * Math.cos(a)];
}

/** A pixel's row of the linear model. */
export function fillShading(row: Float64Array, s: Scene, lit: Float32Array, shadow: Float32Array, at: number): void {
  const p = s.fixed[2]![at]!;
  row[0] = p;
  row[1] = (p * ((at % s.w) - s.w / 2)) / s.w;
  row[2] = (p * (((at / s.w) | 0) - s.h / 2)) / s.h;
  row[3] = -shadow[at]!;
  row[4] = s.fixed[0]![at]!;
  row[5] = s.fixed[1]![at]!;
  row[6] = lit[at]!;
}

/** Levels for a direction in channel 0 (luma) to 3; weights from `previous` residuals where given. */
export function evaluate(s: Scene, channel: number, l: Vec, previous: Float32Array | null, scale: number): Fit | null {
  const { lit, shadow } = draw(s, l);
  const seen = s.seen[channel]!;
  const n = seen.length;
  const A = new Float64Array(LINEAR * LINEAR);
  const B = new Float64Array(LINEAR);
  const row = new Float64Array(LINEAR);
  let count = 0;
  for (let at = 0; at < n; at++) {
    const y = seen[at]!;
    if (Number.isNaN(y)) continue;
    fillShading(row, s, lit, shadow, at);
    const w = previous === null ? 1 : huberWeight(previous[at]!, scale);
    count++;
    for (let i = 0; i < LINEAR; i++) {
      const wi = w * row[i]!;
      B[i]! += wi * y;
      for (let j = 0; j <= i; j++) A[i * LINEAR + j]! += wi * row[j]!;
    }
  }
  if (count < 80) return null;
  for (let i = 0; i < LINEAR; i++) {
    A[i * LINEAR + i]! += 1e-6 * count;
    for (let j = 0; j < i; j++) A[j * LINEAR + i] = A[i * LINEAR + j]!;
  }
  const linear = bounded(A, B);
  if (linear === null) return null;
  const residual = new Float32Array(n).fill(NaN);
  const sizes: number[] = [];
  let cost = 0;
  let bn = 0;
  let by = 0;
  let byy = 0;
  let br = 0;
  for (let at = 0; at < n; at++) {
    const y = seen[at]!;
    if (Number.isNaN(y)) continue;
    fillShading(row, s, lit, shadow, at);
    let m = 0;
    for (let i = 0; i < LINEAR; i++) m += linear[i]! * row[i]!;
    const r = y - m;
    const t = Math.abs(r) / scale;
    residual[at] = r;
    cost += previous === null ? t * t : huberLoss(t);
    if (s.fixed[0]![at]! > 0.5) {
      bn++;
      by += y;
      byy += y * y;
      br += r * r;
      sizes.push(Math.abs(r));
    }
  }
  sizes.sort((p, q) => p - q);
  const variance = byy - (by * by) / Math.max(1, bn);
  return {
    cost,
    mad: 1.4826 * (sizes[sizes.length >> 1] ?? 1),
    explained: bn > 12 && variance > 0 ? Math.max(0, 1 - br / variance) : 0,
    linear,
    residual,
    lit,
    shadow,
  };
}

/** Solution with shadow and key not below zero: what would be is left out, and the rest solved again. */
function bounded(A: Float64Array, B: Float64Array): Float64Array | null {
  const off = new Set<number>();
  for (;;) {
    const a = Float64Array.from(A);
    const b = Float64Array.from(B);
    for (const k of off) {
      for (let i = 0; i < LINEAR; i++) {
        a[k * LINEAR + i] = 0;
        a[i * LINEAR + k] = 0;
      }
      a[k * LINEAR + k] = 1;
      b[k] = 0;
    }
    const f = choleskyFactor(a, LINEAR);
    if (f === null) return null;
    const x = solveWithFactor(f, b, LINEAR);
    const below = [3, 6].find((k) => !off.has(k) && x[k]! < 0);
    if (below === undefined) return x;
    off.add(below);
  }
}
