/**
 * A travelling camera solved over a made set whose every pose is known; source of
 * truth: the made set itself (made-travel.ts).
 */
import { describe, expect, it } from 'vitest';
import { three } from '../../core/tuples.js';
import { measured } from '../../core/measure.js';
import { applyVector, type Vec3 } from '../../geometry/mat3.js';
import { measureCameraMove } from '../camera/camera-move.js';
import { madeSet, type MadeSet } from './made-travel.js';
import { measureTravel } from './travel.js';
import type { CameraMove, Travel, View } from '../types.js';

const RAD = Math.PI / 180;
const small = { widthPx: 480, heightPx: 270, focalPx: 420, frames: 16 } as const;

export function viewOf(
  s: MadeSet,
  off: { readonly tiltDeg?: number; readonly height?: number; readonly known?: boolean } = {},
): View {
  return {
    frame: 0,
    widthPx: s.widthPx,
    heightPx: s.heightPx,
    focalPx: measured(s.focalPx, 'px', 0.01 * s.focalPx, ''),
    tiltDeg: measured(-8 + (off.tiltDeg ?? 0), 'deg', 0.3, ''),
    rollDeg: measured(0, 'deg', 0.3, ''),
    cameraHeight:
      off.known === false
        ? { value: null, unit: 'm', sd: null, how: '', frames: null, reason: 'no length is known' }
        : measured(1.5 * (1 + (off.height ?? 0)), 'm', 0.03, ''),
    covariance: [1e-4, 0, 0, 0, 0, (0.3 * RAD) ** 2, 0, 0, 0, 0, (0.3 * RAD) ** 2, 0, 0, 0, 0, 4e-4],
    residualPx: 0.5,
    notes: [],
  };
}

/** rms and worst distance, px, between where points at a depth show and where the solved camera shows them. */
function offAt(s: MadeSet, t: Travel, depth: number, unit = 1): { rms: number; worst: number } {
  const home = s.cameras[0]!;
  const R = home.toCamera;
  let sum = 0;
  let n = 0;
  let worst = 0;
  for (const f of t.frames)
    for (const [a, b] of [
      [-0.3, -0.2],
      [0.3, 0.1],
      [0, 0],
      [0.25, -0.2],
      [-0.3, 0.15],
    ] as const) {
      const X: Vec3 = [((a * s.widthPx) / s.focalPx) * depth, ((b * s.heightPx) / s.focalPx) * depth, depth];
      const world = three((i) => home.at[i]! + R[i]! * X[0] + R[3 + i]! * X[1] + R[6 + i]! * X[2]);
      const [x, y] = s.see(f.frame, world);
      if (x < 0 || y < 0 || x > s.widthPx || y > s.heightPx) continue;
      const q = applyVector(f.rotation, [
        (X[0] * s.focalPx) / t.focalPx / unit,
        (X[1] * s.focalPx) / t.focalPx / unit,
        X[2] / unit,
      ]);
      const z = q[2] + f.translation[2];
      const e = Math.hypot(
        x - s.widthPx / 2 - (t.focalPx * (q[0] + f.translation[0])) / z,
        y - s.heightPx / 2 - (t.focalPx * (q[1] + f.translation[1])) / z,
      );
      sum += e * e;
      n++;
      worst = Math.max(worst, e);
    }
  return { rms: Math.sqrt(sum / n), worst };
}

async function solved(s: MadeSet, view: View): Promise<{ travel: Travel; camera: CameraMove }> {
  const camera = await measureCameraMove(s.source, { framesPerSecond: 24 });
  return { camera, travel: await measureTravel(s.source, { view, camera, span: { in: 0, out: s.source.frameCount } }) };
}

describe('travel of a camera', () => {
  it('a push with a shaking hand and somebody walking through: points at 3 to 50 m lie within a pixel', async () => {
    const s = madeSet({ ...small, walker: true, shakeDeg: 0.3, shakeM: 0.015 });
    const { travel, camera } = await solved(s, viewOf(s));
    expect(camera.move).toBe('push');
    expect(travel.unit).toBe('m');
    const way = Math.max(...s.cameras.map((c) => Math.hypot(c.at[0], c.at[1] - 1.5, c.at[2])));
    expect(Math.abs(travel.way.value! - way)).toBeLessThan(2 * travel.way.sd!);
    expect(Math.abs(travel.way.value! / way - 1)).toBeLessThan(0.02);
    for (const depth of [3, 5, 8, 14, 50])
      expect(offAt(s, travel, depth).rms, `${depth} m`).toBeLessThan(depth < 4 ? 0.8 : 0.5);
  });

  it('sideways past things, with a view that is a third of a degree off', async () => {
    const s = madeSet({ ...small, way: [0.8, 0, 0.2], shakeDeg: 0.2 });
    const { travel } = await solved(s, viewOf(s, { tiltDeg: 0.3 }));
    const way = Math.hypot(0.8, 0.2);
    expect(Math.abs(travel.way.value! - way)).toBeLessThan(2.5 * travel.way.sd!);
    for (const depth of [5, 14, 50]) expect(offAt(s, travel, depth).rms, `${depth} m`).toBeLessThan(1);
  });

  it('without any known length the way is told in camera heights', async () => {
    const s = madeSet(small);
    const { travel } = await solved(s, viewOf(s, { known: false }));
    expect(travel.unit).toBe('camera heights');
    expect(Math.abs(travel.way.value! - 1)).toBeLessThan(0.03);
    expect(offAt(s, travel, 6, 1.5).rms).toBeLessThan(0.5);
  });

  it('refuses where the ground has nothing to be followed', async () => {
    const s = madeSet(small);
    const camera = await measureCameraMove(s.source, { framesPerSecond: 24 });
    // The same set behind a grey floor: everything under the horizon is flat.
    const plain = {
      ...s.source,
      async *frames(a: number, b: number) {
        for await (const f of s.source.frames(a, b)) {
          const luma = f.luma.slice();
          luma.fill(0.5, 480 * 70);
          yield { index: f.index, luma };
        }
      },
    };
    await expect(measureTravel(plain, { view: viewOf(s), camera, span: { in: 0, out: 16 } })).rejects.toMatchObject({
      code: 'PW-TRAVEL-GROUND',
    });
  });
});
