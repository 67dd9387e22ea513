/**
 * A peg's shadow drawn for a direction and length, held against the picture: linear levels, residuals and a Huber cost.
 */
import { choleskyFactor, solveWithFactor } from '../../geometry/linear-solve.js';
import { drawPegShadow, type PegScene } from './peg-scene.js';
import { huberLoss, huberWeight } from './two-unknowns.js';

/** Linear unknowns: light, its gradient across and along, missing light, the peg's tone. */
export const LINEAR = 5;

/** Levels, residuals (NaN where not compared), their cost and robust spread (linear luma), and the drawn shadow. */
export interface Evaluation {
  readonly cost: number;
  readonly mad: number;
  readonly linear: Float64Array;
  readonly residual: Float32Array;
  readonly shadow: Float32Array;
  readonly pixels: number;
  readonly scale: number;
}

/** Linear fit at a shadow; `scale` null: plain least squares. Weights from `previous` residuals where given. */
export function evaluate(
  s: PegScene,
  theta: number,
  length: number,
  scale: number | null,
  previous?: Float32Array,
): Evaluation | null {
  const shadow = drawPegShadow(s, theta, length);
  const weight = (r: number): number => (scale === null ? 1 : huberWeight(r, scale));
  let fit = fitLevels(s, shadow, (at) => weight(previous === undefined ? 0 : previous[at]!));
  // Where the residuals of a near shadow weighted this one, once is enough.
  if (fit !== null && scale !== null && previous === undefined) {
    const { residual } = fit;
    fit = fitLevels(s, shadow, (at) => weight(residual[at]!));
  }
  if (fit === null) return null;
  const size = new Float32Array(fit.pixels);
  let k = 0;
  let cost = 0;
  for (const r of fit.residual) {
    if (Number.isNaN(r)) continue;
    const a = Math.abs(r);
    size[k++] = a;
    const t = a / (scale ?? 1);
    cost += scale === null ? t * t : huberLoss(t);
  }
  size.sort();
  return { ...fit, cost, mad: 1.4826 * size[size.length >> 1]!, shadow, scale: scale ?? 1 };
}

/** Weighted least squares of the levels, and what they leave; null where they are not held. */
function fitLevels(
  s: PegScene,
  shadow: Float32Array,
  weightAt: (at: number) => number,
): Pick<Evaluation, 'linear' | 'residual' | 'pixels'> | null {
  const seen = (at: number): number => s.cut.luma[(s.y0 + ((at / s.w) | 0)) * s.cut.width + s.x0 + (at % s.w)]!;
  const row = new Float64Array(LINEAR);
  const normal = new Float64Array(LINEAR * LINEAR);
  const right = new Float64Array(LINEAR);
  let pixels = 0;
  for (let at = 0; at < s.usable.length; at++) {
    if (s.usable[at] === 0) continue;
    fill(row, s, shadow, at);
    const y = seen(at);
    const w = weightAt(at);
    pixels++;
    for (let i = 0; i < LINEAR; i++) {
      const wi = w * row[i]!;
      right[i]! += wi * y;
      for (let j = 0; j <= i; j++) normal[i * LINEAR + j]! += wi * row[j]!;
    }
  }
  for (let i = 0; i < LINEAR; i++) {
    normal[i * LINEAR + i]! += 1e-6 * pixels;
    for (let j = 0; j < i; j++) normal[j * LINEAR + i] = normal[i * LINEAR + j]!;
  }
  const factor = choleskyFactor(normal, LINEAR);
  if (factor === null) return null;
  const linear = solveWithFactor(factor, right, LINEAR);
  // No light is added by a shadow.
  if (linear[3]! < 0) linear[3] = 0;
  const residual = new Float32Array(s.w * s.h).fill(NaN);
  for (let at = 0; at < s.usable.length; at++) {
    if (s.usable[at] === 0) continue;
    fill(row, s, shadow, at);
    let m = 0;
    for (let i = 0; i < LINEAR; i++) m += linear[i]! * row[i]!;
    residual[at] = seen(at) - m;
  }
  return { linear, residual, pixels };
}

/** A pixel's row of the linear model. */
export function fill(row: Float64Array, s: PegScene, shadow: Float32Array, at: number): void {
  const p = s.plain[at]!;
  row[0] = p;
  row[1] = (p * s.cu[at]!) / 100;
  row[2] = (p * s.cv[at]!) / 100;
  row[3] = -shadow[at]!;
  row[4] = s.pegShare[at]!;
}
