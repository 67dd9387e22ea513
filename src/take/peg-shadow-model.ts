/**
 * A peg's shadow drawn for a direction and length, held against the picture: linear levels, residuals and a Huber cost.
 */
import { choleskyFactor, solveWithFactor } from '../geometry/linear-solve.js';
import { drawPegShadow, type PegScene } from './peg-scene.js';

/** Linear unknowns: light, its gradient across and along, missing light, the peg's tone. */
export const LINEAR = 5;

export interface Evaluation {
  readonly cost: number;
  readonly mad: number;
  readonly linear: Float64Array;
  readonly residual: Float32Array;
  readonly shadow: Float32Array;
  readonly pixels: number;
  readonly normal: Float64Array;
  readonly scale: number;
}

/** Linear fit at a shadow; `scale` null: plain least squares. */
export function evaluate(
  s: PegScene,
  theta: number,
  length: number,
  scale: number | null,
  previous?: Float32Array,
): Evaluation | null {
  const shadow = drawPegShadow(s, theta, length);
  const residual = new Float32Array(s.w * s.h);
  let linear = new Float64Array(LINEAR);
  const row = new Float64Array(LINEAR);
  let A = new Float64Array(LINEAR * LINEAR);
  let pixels = 0;
  for (let round = 0; round < 2; round++) {
    A = new Float64Array(LINEAR * LINEAR);
    const B = new Float64Array(LINEAR);
    pixels = 0;
    for (let at = 0; at < s.usable.length; at++) {
      if (s.usable[at] === 0) continue;
      fill(row, s, shadow, at);
      const y = s.cut.luma[(s.y0 + ((at / s.w) | 0)) * s.cut.width + s.x0 + (at % s.w)]!;
      const r = round > 0 ? residual[at]! : previous === undefined ? 0 : previous[at]!;
      const w = scale === null ? 1 : Math.min(1, (1.345 * scale) / Math.max(1e-9, Math.abs(r)));
      pixels++;
      for (let i = 0; i < LINEAR; i++) {
        const wi = w * row[i]!;
        B[i]! += wi * y;
        for (let j = 0; j <= i; j++) A[i * LINEAR + j]! += wi * row[j]!;
      }
    }
    for (let i = 0; i < LINEAR; i++) {
      A[i * LINEAR + i]! += 1e-6 * pixels;
      for (let j = 0; j < i; j++) A[j * LINEAR + i] = A[i * LINEAR + j]!;
    }
    const f = choleskyFactor(A, LINEAR);
    if (f === null) return null;
    linear = solveWithFactor(f, B, LINEAR) as Float64Array<ArrayBuffer>;
    // No light is added by a shadow.
    if (linear[3]! < 0) linear[3] = 0;
    for (let at = 0; at < s.usable.length; at++) {
      if (s.usable[at] === 0) continue;
      fill(row, s, shadow, at);
      let m = 0;
      for (let i = 0; i < LINEAR; i++) m += linear[i]! * row[i]!;
      residual[at] = s.cut.luma[(s.y0 + ((at / s.w) | 0)) * s.cut.width + s.x0 + (at % s.w)]! - m;
    }
    // Where the residuals of a near shadow weighted this one, once is enough.
    if (scale === null || previous !== undefined) break;
  }
  const size = new Float32Array(pixels);
  let k = 0;
  let cost = 0;
  for (let at = 0; at < s.usable.length; at++) {
    if (s.usable[at] === 0) continue;
    const a = Math.abs(residual[at]!);
    size[k++] = a;
    const t = a / (scale ?? 1);
    cost += scale === null || t <= 1.345 ? t * t : 2 * 1.345 * t - 1.345 * 1.345;
  }
  size.sort();
  return {
    cost,
    mad: 1.4826 * size[size.length >> 1]!,
    linear,
    residual,
    shadow,
    pixels,
    normal: A,
    scale: scale ?? 1,
  };
}

export function fill(row: Float64Array, s: PegScene, shadow: Float32Array, at: number): void {
  const p = s.plain[at]!;
  row[0] = p;
  row[1] = (p * s.cu[at]!) / 100;
  row[2] = (p * s.cv[at]!) / 100;
  row[3] = -shadow[at]!;
  row[4] = s.pegShare[at]!;
}
