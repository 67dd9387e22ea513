/** What a fit is worth: how much of the region agrees, whether it is still a region, how sure its corners are. */
import { invertSymmetric } from '../../geometry/linear-solve.js';
import { apply, type Mat3 } from '../../geometry/mat3.js';
import type { AlignResult } from './ride-align.js';
import { generatorField, localScale, priorInformation } from './ride-generators.js';
import type { RideTemplate } from './ride-template.js';

/** How much of the region looks like the template, in the large (cells) and in the small (pixels). */
export function qualityOf(r: AlignResult): number {
  return r.agreement * r.visible * (0.25 + r.inliers);
}

/** The region must stay a region: no fold, no mirror, area within a factor of three of the prediction. */
export function plausible(template: RideTemplate, warp: Mat3, predicted: Mat3): boolean {
  const area = (m: Mat3): number => {
    const p = template.corners.map(([u, v]) => apply(m, u, v));
    let a = 0;
    let sign = 0;
    for (let i = 0; i < p.length; i++) {
      const q = p[i]!;
      const r = p[(i + 1) % p.length]!;
      const s = p[(i + 2) % p.length]!;
      a += q[0] * r[1] - r[0] * q[1];
      sign += Math.sign((r[0] - q[0]) * (s[1] - r[1]) - (r[1] - q[1]) * (s[0] - r[0]));
    }
    return Math.abs(sign) === p.length ? a / 2 : 0;
  };
  const a = area(warp);
  const b = area(predicted);
  if (b === 0) return a !== 0;
  return a / b > 1 / 3 && a / b < 3;
}

/** sd of a corner's coordinate, px, from the information of the fit. */
export function cornerSd(template: RideTemplate, r: { information: Float64Array; warp: Mat3 }): number {
  const px = localScale(r.warp);
  const prior = priorInformation(template.corners, px, 14, 60);
  const total = r.information.map((v, i) => v + prior[i]!);
  const c = invertSymmetric(total, 8);
  if (c === null) return 20;
  let s = 0;
  for (const [u, v] of template.corners) {
    const f = generatorField(u, v);
    for (let row = 0; row < 2; row++)
      for (let a = 0; a < 8; a++) for (let b = 0; b < 8; b++) s += f[row * 8 + a]! * c[a * 8 + b]! * f[row * 8 + b]!;
  }
  return px * Math.sqrt(s / (2 * template.corners.length));
}

/** Largest distance of a corner under two warps, px. */
export function cornersApart(template: RideTemplate, a: Mat3, b: Mat3): number {
  return Math.max(
    ...template.corners.map(([u, v]) => {
      const p = apply(a, u, v);
      const q = apply(b, u, v);
      return Math.hypot(p[0] - q[0], p[1] - q[1]);
    }),
  );
}
