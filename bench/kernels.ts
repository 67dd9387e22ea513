/**
 * Kernels: how much faster than their plain twins, two lanes than one, and than the general vision library's blur and
 * warp, as ratios of the shortest of several interleaved runs in this process. Above 1 = the kernel is faster.
 */
import { createRequire } from 'node:module';
import { loadavg } from 'node:os';
import { RandomStream } from '../src/core/random.js';
import { boxMean, boxMeanPlain } from '../src/image/box.js';
import { composite, compositePlain } from '../src/image/composite.js';
import { convolveSeparable, convolveSeparablePlain } from '../src/image/convolve.js';
import { gaussianTaps } from '../src/image/gaussian.js';
import { kernels, openKernels } from '../src/image/kernels.js';
import { dilate, rankRectPlain } from '../src/image/morphology.js';
import type { Picture } from '../src/image/picture.js';
import { halve, halvePlain } from '../src/image/pyramid.js';
import { recursiveCoefficients, recursiveGaussian, recursiveGaussianPlain } from '../src/image/recursive-gaussian.js';
import { warpHomography, warpHomographyPlain } from '../src/image/warp.js';
import type { BenchRow } from './rows.js';

const W = 1280;
const H = 720;

/** Shortest time of each of several functions, run in turns. */
function shortest(runs: number, ...work: (() => void)[]): number[] {
  const best = work.map(() => Infinity);
  for (const f of work) f();
  for (let r = 0; r < runs; r++) {
    work.forEach((f, i) => {
      const from = performance.now();
      f();
      best[i] = Math.min(best[i]!, performance.now() - from);
    });
  }
  return best;
}

// biome-ignore lint: the library has no types worth the name
async function visionLibrary(): Promise<{ cv: any }> {
  const cv = createRequire(import.meta.url)('@techstark/opencv-js');
  if (cv.Mat === undefined)
    await new Promise<void>((done) => {
      cv.onRuntimeInitialized = () => done();
    });
  // Wrapped: the module has a `then` that resolves to itself, so returning it bare would never end.
  return { cv };
}

/**
 * Rows for `npm run bench`: `ours` is plain time over kernel time, in place;
 * `reference` the same with copies in and out.
 */
export async function run(seed: number): Promise<BenchRow[]> {
  const made: BenchRow[] = [];
  console.log(
    `picture ${W}×${H}, load ${loadavg()
      .map((v) => v.toFixed(1))
      .join(' ')}; 'reference' = the same with the picture copied in and out`,
  );
  const r = new RandomStream(seed);
  const door = kernels();
  const src = door.allocPicture(W, H, 4);
  const dst = door.allocPicture(W, H, 4);
  for (let i = 0; i < src.data.length; i++) src.data[i] = r.uniform();
  const n = W * H;
  const s1 = src.data.subarray(0, n);
  const d1 = dst.data.subarray(0, n);
  const far: Picture = { width: W, height: H, channels: 4, data: new Float32Array(src.data) };
  const farOut: Picture = { width: W, height: H, channels: 4, data: new Float32Array(4 * n) };
  const f1 = far.data.subarray(0, n);
  const o1 = farOut.data.subarray(0, n);
  const taps = gaussianTaps(2.5);
  const m = [0.93, 0.11, 20, -0.09, 0.97, 15, 3e-5, -2e-5, 1];
  const small = new Float32Array((W / 2) * (H / 2));
  const rows: [string, () => void, () => void, () => void][] = [
    [
      'Gaussian, sigma 2.5',
      () => convolveSeparable(s1, W, H, taps, taps, 'clamp', d1),
      () => convolveSeparable(f1, W, H, taps, taps, 'clamp', o1),
      () => convolveSeparablePlain(f1, W, H, taps, taps, 'clamp', o1),
    ],
    [
      'recursive Gaussian, sigma 20',
      () => recursiveGaussian(s1, W, H, 20, 20, d1),
      () => recursiveGaussian(f1, W, H, 20, 20, o1),
      () => recursiveGaussianPlain(f1, W, H, 20, 20, o1),
    ],
    [
      'box mean, radius 12',
      () => boxMean(s1, W, H, 12, 12, d1),
      () => boxMean(f1, W, H, 12, 12, o1),
      () => boxMeanPlain(f1, W, H, 12, 12, o1),
    ],
    [
      'maximum, radius 9',
      () => dilate(s1, W, H, 9, 9, d1),
      () => dilate(f1, W, H, 9, 9, o1),
      () => rankRectPlain(f1, W, H, 9, 9, true, o1),
    ],
    ['halving', () => halve(s1, W, H, small), () => halve(f1, W, H, small), () => halvePlain(f1, W, H, small)],
    [
      'over, RGBA',
      () => composite('over', src, src, dst),
      () => composite('over', far, far, farOut),
      () => compositePlain('over', far, far, farOut),
    ],
    [
      'homography, bicubic, RGBA',
      () => warpHomography(src, m, W, H, {}, dst),
      () => warpHomography(far, m, W, H, {}, farOut),
      () => warpHomographyPlain(far, m, W, H, {}, farOut),
    ],
    [
      'homography, Lanczos-3, RGBA',
      () => warpHomography(src, m, W, H, { filter: 'lanczos3' }, dst),
      () => warpHomography(far, m, W, H, { filter: 'lanczos3' }, farOut),
      () => warpHomographyPlain(far, m, W, H, { filter: 'lanczos3' }, farOut),
    ],
  ];
  for (const [name, place, copied, plain] of rows) {
    const [a, b, c] = shortest(4, place, copied, plain) as [number, number, number];
    made.push({
      name: `${name}: plain twin over kernel (${door.lanes.count} lanes)`,
      ours: c / a,
      reference: c / b,
      bar: null,
      goal: null,
      unit: '×',
      better: 'high',
    });
  }
  const k = recursiveCoefficients(20);
  const time = (lanes: number): number => {
    const d = openKernels(lanes);
    const p = d.allocPicture(W, H, 1);
    const q = d.allocPicture(W, H, 1);
    const kp = d.allocator.allocate(128);
    new Float64Array(d.memory.buffer, kp, 13).set([k.b, k.a1, k.a2, k.a3, ...k.m]);
    // A worker takes a tenth of a second to wake up for the first time.
    d.run('halve', [p.data.byteOffset, q.data.byteOffset, W, H], H / 2, 1e6, 4 * W + 128);
    Atomics.wait(new Int32Array(new SharedArrayBuffer(4)), 0, 0, 600);
    return shortest(12, () =>
      d.run('recursiveDown', [p.data.byteOffset, q.data.byteOffset, W, H, kp], W / 4, 16 * H, 32 * H + 64),
    )[0]!;
  };
  made.push({
    name: 'two lanes over one (recursive Gaussian, down)',
    ours: time(1) / time(2),
    bar: null,
    goal: null,
    unit: '×',
    better: 'high',
  });
  const { cv } = await visionLibrary();
  const mat = new cv.Mat(H, W, cv.CV_32FC1);
  const out = new cv.Mat();
  const rgba = new cv.Mat(H, W, cv.CV_32FC4);
  const rgbaOut = new cv.Mat();
  mat.data32F.set(f1);
  const M = cv.matFromArray(3, 3, cv.CV_64FC1, m);
  const [gb, gk] = shortest(
    4,
    () => cv.GaussianBlur(mat, out, new cv.Size(taps.length, taps.length), 2.5),
    rows[0]![1],
  ) as [number, number];
  const [bb, bk] = shortest(4, () => cv.blur(mat, out, new cv.Size(25, 25)), rows[2]![1]) as [number, number];
  const [wb, wk] = shortest(
    4,
    () => cv.warpPerspective(rgba, rgbaOut, M, new cv.Size(W, H), cv.INTER_CUBIC),
    rows[6]![1],
  ) as [number, number];
  const ratio = (name: string, value: number): void => {
    made.push({
      name: `general vision library (browser build, one thread) over ${name}`,
      ours: value,
      bar: null,
      goal: null,
      unit: '×',
      better: 'high',
    });
  };
  ratio('Gaussian', gb / gk);
  ratio('box', bb / bk);
  ratio('bicubic homography', wb / wk);
  door.freePicture(src);
  door.freePicture(dst);
  return made;
}
