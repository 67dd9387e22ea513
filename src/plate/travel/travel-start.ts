/**
 * First poses of a travelling camera, up to scale, from the set's measured homographies: most of what is seen is
 * taken for one plane, whose lie before the first camera is common to all frames, and R + t nᵀ (d = 1) is fitted to
 * them together (the decomposition of O. Faugeras & F. Lustman, Int. J. Pattern Recognition and AI 2(3), 1988,
 * solved over many views, where its two-fold ambiguity mostly falls). Which plane it is (floor, wall before the
 * camera, wall aside) is not known: each is tried.
 */
import { levenbergMarquardt } from '../../geometry/levenberg-marquardt.js';
import { apply, unit, type Mat3, type Vec3 } from '../../geometry/mat3.js';
import { rotationFromVector, vectorFromRotation } from '../../geometry/rotation.js';
import type { Lens } from './travel-ground.js';
import { AT_HOME, fitPose, type Pose } from './travel-pose.js';

/** Places of the picture at which the set's motion is read, shares of its size from the middle. */
const GRID: readonly (readonly [number, number])[] = [-0.42, -0.2, 0, 0.2, 0.42].flatMap((a) =>
  [-0.4, -0.14, 0.14, 0.4].map((b) => [a, b] as const),
);

/**
 * Poses from the first frame to each other, and the plane's normal in the first camera, its distance being one.
 * @param sets first frame's centred pixels to each frame's @param n0 normal to begin from. Null where nothing fits.
 */
export function posesFromSet(
  sets: readonly Mat3[],
  { focal, cx, cy }: Lens,
  n0: Vec3,
): { poses: Pose[]; normal: Vec3; rmsPx: number } | null {
  const grid = GRID.map(([a, b]) => [a * 2 * cx, b * 2 * cy] as const);
  const seen = sets.map((m) => Float64Array.from(grid.flatMap((p) => apply(m, p[0], p[1]))));
  const used = Array.from({ length: Math.min(6, sets.length) }, (_, i) =>
    Math.round(((i + 1) * (sets.length - 1)) / Math.min(6, sets.length)),
  );
  const base: Vec3 = unit(n0);
  const first = onPlane(grid, focal, base);
  const start = [
    0,
    0,
    ...used.flatMap((k) => {
      const p = fitPose(first, seen[k]!, focal, AT_HOME).pose;
      return [...vectorFromRotation(p.r), ...p.t];
    }),
  ];
  const r = levenbergMarquardt({
    start,
    residualCount: used.length * grid.length * 2,
    blockSize: 2,
    loss: { kind: 'huber', scale: 1 },
    maxIterations: 40,
    residuals: (p, out) => {
      const points = onPlane(grid, focal, tilted(base, p[0]!, p[1]!));
      let o = 0;
      used.forEach((k, j) => {
        const q = 2 + 6 * j;
        const m = rotationFromVector([p[q]!, p[q + 1]!, p[q + 2]!]);
        for (let i = 0; i < grid.length; i++) {
          const x = points[3 * i]!;
          const y = points[3 * i + 1]!;
          const z = points[3 * i + 2]!;
          const u = m[0] * x + m[1] * y + m[2] * z + p[q + 3]!;
          const v = m[3] * x + m[4] * y + m[5] * z + p[q + 4]!;
          const w = Math.max(1e-3, m[6] * x + m[7] * y + m[8] * z + p[q + 5]!);
          out[o++] = (focal * u) / w - seen[k]![2 * i]!;
          out[o++] = (focal * v) / w - seen[k]![2 * i + 1]!;
        }
      });
    },
  });
  if (!Number.isFinite(r.cost)) return null;
  const normal = tilted(base, r.parameters[0]!, r.parameters[1]!);
  const points = onPlane(grid, focal, normal);
  let pose = AT_HOME;
  const poses = seen.map((s) => (pose = fitPose(points, s, focal, pose).pose));
  return { poses, normal, rmsPx: Math.sqrt(r.cost / (used.length * grid.length * 2)) };
}

/** Where the rays of centred pixels meet the plane n · x = 1: 3 · points. */
function onPlane(grid: readonly (readonly [number, number])[], focal: number, n: Vec3): Float64Array {
  const out = new Float64Array(3 * grid.length);
  for (let i = 0; i < grid.length; i++) {
    const x = grid[i]![0] / focal;
    const y = grid[i]![1] / focal;
    const k = n[0] * x + n[1] * y + n[2];
    // What lies behind the camera is on no plane that is seen: such points lie far away.
    const z = 1 / Math.max(0.02, k);
    out[3 * i] = x * z;
    out[3 * i + 1] = y * z;
    out[3 * i + 2] = z;
  }
  return out;
}

/** A unit normal leant by a and b (tangents) along two directions across it. */
function tilted(base: Vec3, a: number, b: number): Vec3 {
  const side: Vec3 = Math.abs(base[1]) < 0.7 ? unit([base[2], 0, -base[0]]) : [1, 0, 0];
  const up: Vec3 = unit([
    base[1] * side[2] - base[2] * side[1],
    base[2] * side[0] - base[0] * side[2],
    base[0] * side[1] - base[1] * side[0],
  ]);
  return unit([
    base[0] + a * side[0] + b * up[0],
    base[1] + a * side[1] + b * up[1],
    base[2] + a * side[2] + b * up[2],
  ]);
}
