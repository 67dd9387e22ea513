/**
 * A travelling camera solved from its plate alone: made sets by seed (`npx tsx bench/travel.ts [seeds]`), and the
 * practice set's push where it is there. Errors are pixels between where a point at a depth shows and where the solved
 * camera shows it, over all frames: the number that a painted layer at that depth would be off by.
 */
import { measured } from '../src/core/measure.js';
import { applyVector, type Vec3 } from '../src/geometry/mat3.js';
import { measureCameraMove } from '../src/plate/camera/camera-move.js';
import { madeSet } from '../src/plate/travel/made-travel.js';
import { measurePlate } from '../src/plate/measure.js';
import { measureTravel } from '../src/plate/travel/travel.js';
import type { Travel, View } from '../src/plate/types.js';
import { truthMarks } from './truth-marks.js';
import { firstOf, readTruth, truthFile, truthFolder } from './truth-set.js';

interface Known {
  readonly focalPx: number;
  readonly widthPx: number;
  readonly heightPx: number;
  camera(n: number): { readonly r: readonly number[]; readonly at: Vec3 };
}

function offAt(k: Known, t: Travel, depth: number): { rms: number; worst: number } {
  const home = k.camera(t.atFrame);
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
      const X: Vec3 = [((a * k.widthPx) / k.focalPx) * depth, ((b * k.heightPx) / k.focalPx) * depth, depth];
      const w = [0, 1, 2].map((i) => home.at[i]! + home.r[i]! * X[0] + home.r[3 + i]! * X[1] + home.r[6 + i]! * X[2]);
      const c = k.camera(f.frame);
      const d = w.map((v, i) => v - c.at[i]!);
      const p = [0, 1, 2].map((i) => c.r[3 * i]! * d[0]! + c.r[3 * i + 1]! * d[1]! + c.r[3 * i + 2]! * d[2]!);
      const x = (k.focalPx * p[0]!) / p[2]!;
      const y = (k.focalPx * p[1]!) / p[2]!;
      if (Math.abs(x) > k.widthPx / 2 || Math.abs(y) > k.heightPx / 2) continue;
      const q = applyVector(f.rotation, [(X[0] * k.focalPx) / t.focalPx, (X[1] * k.focalPx) / t.focalPx, X[2]]);
      const z = q[2] + f.translation[2];
      const e = Math.hypot(
        x - (t.focalPx * (q[0] + f.translation[0])) / z,
        y - (t.focalPx * (q[1] + f.translation[1])) / z,
      );
      sum += e * e;
      n++;
      worst = Math.max(worst, e);
    }
  return { rms: Math.sqrt(sum / Math.max(1, n)), worst };
}

function print(name: string, k: Known, t: Travel, depths: readonly number[]): void {
  const from = k.camera(t.atFrame).at;
  const way = Math.max(
    ...t.frames.map((f) => {
      const c = k.camera(f.frame).at;
      return Math.hypot(c[0] - from[0], c[1] - from[1], c[2] - from[2]);
    }),
  );
  console.log(
    `${name.padEnd(26)} way ${t.way.value!.toFixed(3)} ± ${t.way.sd!.toFixed(3)} (true ${way.toFixed(3)}, ` +
      `${(Math.abs(t.way.value! - way) / t.way.sd!).toFixed(1)} sd)  ` +
      depths
        .map((d) => {
          const o = offAt(k, t, d);
          return `${d} m ${o.rms.toFixed(2)}/${o.worst.toFixed(2)}`;
        })
        .join('  ') +
      ' px rms/worst',
  );
}

const RAD = Math.PI / 180;
const seeds = (process.argv[2] ?? '1,2').split(',').map(Number);
for (const seed of seeds)
  for (const [name, o] of [
    ['push, hand, walker', { walker: true, shakeDeg: 0.3, shakeM: 0.015 }],
    ['sideways', { way: [0.9, 0, 0.2] as const, shakeDeg: 0.2 }],
    ['long push', { way: [0, 0.1, 3] as const, frames: 30, walker: true, shakeDeg: 0.2 }],
    ['noisy push', { noise: 0.02, shakeDeg: 0.3 }],
  ] as const) {
    for (const off of [0, 1]) {
      const s = madeSet({ widthPx: 480, heightPx: 270, focalPx: 420, frames: 20, seed, ...o });
      const camera = await measureCameraMove(s.source, { framesPerSecond: 24 });
      // A view as marks give it: the stated sds, and where told off by one of each.
      const view: View = {
        frame: 0,
        widthPx: 480,
        heightPx: 270,
        focalPx: measured(420 * (1 + 0.01 * off), 'px', 4.2, ''),
        tiltDeg: measured(-8 + 0.25 * off, 'deg', 0.25, ''),
        rollDeg: measured(0.2 * off, 'deg', 0.2, ''),
        cameraHeight: measured(1.5 * (1 + 0.01 * off), 'm', 0.015, ''),
        covariance: [1e-4, 0, 0, 0, 0, (0.25 * RAD) ** 2, 0, 0, 0, 0, (0.2 * RAD) ** 2, 0, 0, 0, 0, 1e-4],
        residualPx: 0.5,
        notes: [],
      };
      try {
        const t = await measureTravel(s.source, { view, camera, span: { in: 0, out: s.source.frameCount } });
        print(
          `${name}, seed ${seed}${off === 1 ? ', view 1 sd off' : ''}`,
          {
            focalPx: s.focalPx,
            widthPx: 480,
            heightPx: 270,
            camera: (n) => ({ r: s.cameras[n]!.toCamera, at: s.cameras[n]!.at }),
          },
          t,
          [3, 5, 8, 14, 50],
        );
      } catch (error) {
        console.log(name, (error as Error).message);
      }
    }
  }
const folder = truthFolder();
if (folder === null) console.log('the practice set is not beside the checkout: its push was not measured');
else {
  const truth = readTruth(firstOf('push'));
  const m = await measurePlate(truthFile(firstOf('push'), 'plate.mp4'), truthMarks(firstOf('push')).plate);
  if (m.travel === undefined) console.log('practice push: no travel;', m.notes);
  else
    print(
      'practice push, from marks',
      {
        focalPx: truth.focalPx,
        widthPx: truth.width,
        heightPx: truth.height,
        camera: (n) => ({ r: truth.frames[n]!.rotationWorldToCamera.flat(), at: truth.frames[n]!.cameraPosition }),
      },
      m.travel,
      [3, 5, 8, 14, 50],
    );
}
