/**
 * How the ground lies before the first camera, refined together with the poses of a few frames by least squares
 * over what is seen of it (bundle adjustment: Triggs, McLauchlan, Hartley & Fitzgibbon, Vision Algorithms, LNCS
 * 1883, 2000), held by the view's own covariance.
 */
import { levenbergMarquardt } from '../../geometry/levenberg-marquardt.js';
import { applyVector, type Vec3 } from '../../geometry/mat3.js';
import { rotationFromVector, vectorFromRotation } from '../../geometry/rotation.js';
import { groundPoints, type Ground, type Lens, type TravelKey, type TravelSight } from './travel-ground.js';
import type { View } from '../types.js';

/** Fewer points of the ground than this tell no camera. */
export const LEAST_POINTS = 14;

/**
 * How the ground lies before the first camera and the focal length, refined with the poses of up to seven frames of the
 * first key, held by the view's own covariance: what the picture can't tell stays where the view has it.
 */
export function bendGround(
  keys: readonly TravelKey[],
  sights: readonly TravelSight[],
  ground: Ground,
  lens: Lens,
  view: View,
): { ground: Ground; focalPx: number; tiltSd: number } {
  const { focal, cx, cy } = lens;
  const own = sights.filter((s) => s.key === 0 && s.fit !== null && s.fit.agreeing >= LEAST_POINTS);
  const given = Math.sqrt(view.covariance[5] ?? 1e-3);
  if (own.length < 4) return { ground, focalPx: focal, tiltSd: given };
  const used = Array.from(
    { length: Math.min(7, own.length) },
    (_, i) => own[Math.round(((i + 1) * (own.length - 1)) / Math.min(7, own.length))]!,
  );
  const sets = used.map((s) => {
    const all = groundPoints(keys[0]!, s.matches, ground, lens);
    const keep = [...all.patch.keys()].filter((i) => s.fit!.weights[i]! > 0.5);
    return {
      at: keep.map((i) => keys[0]!.patches.patches[all.patch[i]!]!),
      seen: keep.map((i) => [all.seen[2 * i]!, all.seen[2 * i + 1]!] as const),
      sd: Math.max(0.08, s.fit!.residualPx),
    };
  });
  const c = view.covariance;
  const sds = [Math.sqrt(c[0] ?? 1e-2), Math.sqrt(c[5] ?? 1e-3), Math.sqrt(c[10] ?? 1e-3)].map((v) =>
    Math.max(1e-4, v),
  );
  const start = [0, 0, 0, ...used.flatMap((s) => [...vectorFromRotation(s.pose.r), ...s.pose.t])];
  const count = sets.reduce((k, s) => k + 2 * s.at.length, 0) + 3;
  const lay = (p: ArrayLike<number>): { n: Vec3; f: number } => ({
    n: applyVector(rotationFromVector([p[1]!, 0, p[2]!]), ground.n),
    f: focal * Math.exp(p[0]!),
  });
  const r = levenbergMarquardt({
    start,
    residualCount: count + (count % 2),
    blockSize: 2,
    loss: { kind: 'cauchy', scale: 3 },
    maxIterations: 25,
    residuals: (p, out) => {
      const { n, f } = lay(p);
      let o = 0;
      sets.forEach((s, k) => {
        const q = 3 + 6 * k;
        const rot = rotationFromVector([p[q]!, p[q + 1]!, p[q + 2]!]);
        s.at.forEach((a, i) => {
          const x = (a[0] - cx) / f;
          const y = (a[1] - cy) / f;
          const z = ground.d / (n[0] * x + n[1] * y + n[2]);
          const v = applyVector(rot, [x * z, y * z, z]);
          out[o++] = ((f * (v[0] + p[q + 3]!)) / (v[2] + p[q + 5]!) - s.seen[i]![0]) / s.sd;
          out[o++] = ((f * (v[1] + p[q + 4]!)) / (v[2] + p[q + 5]!) - s.seen[i]![1]) / s.sd;
        });
      });
      for (let k = 0; k < 3; k++) out[o++] = p[k]! / sds[k]!;
      if (o < out.length) out[o] = 0;
    },
  });
  const { n, f } = lay(r.parameters);
  // Far beyond what the view allows, the points are of something else than the ground.
  const far = Math.max(...[0, 1, 2].map((k) => Math.abs(r.parameters[k]!) / sds[k]!));
  // What is left of the view's doubt: neighbouring points share their errors, so twice what the fit says.
  const left =
    r.covariance === null ? given : Math.min(given, 2 * Math.sqrt(Math.max(0, r.covariance[start.length + 1]!)));
  return !Number.isFinite(r.cost) || far > 3
    ? { ground, focalPx: focal, tiltSd: given }
    : { ground: { n, d: ground.d }, focalPx: f, tiltSd: left };
}
