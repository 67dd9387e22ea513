/** A camera that the test moves past a foot: elevation and bearing told against its own. */
import { describe, expect, it } from 'vitest';
import { measured } from '../../core/measure.js';
import { worldToCamera } from '../../geometry/camera.js';
import { applyVector, type Mat3, type Vec3 } from '../../geometry/mat3.js';
import { chain, inversePose, type Pose } from '../../plate/travel/travel-pose.js';
import type { Travel } from '../../plate/types.js';
import { sightOverShot } from './sight-over-shot.js';

const W = 854,
  H = 480,
  FOCAL = 1100,
  COUNT = 30,
  FEET: Vec3 = [-0.4, 0, 5],
  TALL = 0.5;
const plate = { span: { in: 0, out: COUNT }, widthPx: W, heightPx: H };

/** A camera 1.3 m over the ground that goes forward by `ahead` metres and aside by `aside`, panning and shaking. */
function shot(
  ahead: number,
  aside: number,
): { travel: Travel; where: (n: number) => { ground: Px; top: Px }; at: Vec3[] } {
  const at = Array.from({ length: COUNT }, (_, i): Vec3 => [(aside * i) / COUNT, 1.3, (ahead * i) / COUNT]),
    turned = at.map((_, i) => worldToCamera(3 - 0.2 * i, -6 + 0.1 * Math.sin(i), 0.1 * Math.cos(2 * i))),
    poses = at.map((c, i): Pose => {
      const t = applyVector(turned[i]!, c);
      return { r: turned[i]!, t: [-t[0], -t[1], -t[2]] };
    });
  const seen = (X: Vec3, i: number): Px => {
    const v = applyVector(poses[i]!.r, X).map((a, k) => a + poses[i]!.t[k]!);
    return [W / 2 + (FOCAL * v[0]!) / v[2]!, H / 2 + (FOCAL * v[1]!) / v[2]!];
  };
  return {
    at,
    where: (n) => ({ ground: seen(FEET, n), top: seen([FEET[0], TALL, FEET[2]], n) }),
    travel: {
      atFrame: 0,
      unit: 'm',
      focalPx: FOCAL,
      groundNormal: applyVector(turned[0]!, [0, -1, 0]),
      height: 1.3,
      frames: poses.map((p, frame) => {
        const q = chain(p, inversePose(poses[0]!));
        return { frame, rotation: q.r as Mat3, translation: q.t, support: 1 };
      }),
      way: measured(Math.hypot(ahead, aside), 'm', 0.05, 'made'),
      residualPx: 0.2,
    },
  };
}
type Px = [number, number];

describe('how a camera that travels sees who stands before it', () => {
  it('tells elevation and bearing of every frame as the made camera has them', () => {
    const { travel, where, at } = shot(2, 0.8),
      told = sightOverShot(where, travel, plate)!;
    const bearings = at.map((c) => (Math.atan2(FEET[0] - c[0], FEET[2] - c[2]) * 180) / Math.PI),
      mean = bearings.reduce((s, b) => s + b, 0) / COUNT;
    expect(bearings[COUNT - 1]! - bearings[0]!).toBeLessThan(-10);
    for (const f of told) {
      const c = at[f.frame]!,
        far = Math.hypot(FEET[0] - c[0], FEET[2] - c[2]);
      // To the middle of the upright as it is seen, which lies a little over half its height.
      expect(Math.abs(f.elevationDeg - (Math.atan2(c[1] - TALL / 2, far) * 180) / Math.PI)).toBeLessThan(0.15);
      expect(Math.abs(f.turnDeg - (bearings[f.frame]! - mean))).toBeLessThan(0.1);
    }
  });
  it('gives no view of its own to each frame where the sight hardly changes', () => {
    expect(sightOverShot(shot(0.15, 0.01).where, shot(0.15, 0.01).travel, plate)).toBeNull();
  });
});
