/**
 * Kernels: how much faster than their plain twins, two lanes than one, and than the general vision library's blur and
 * warp, as ratios of the shortest of several interleaved runs in this process. Above 1 = the kernel is faster.
 */
import { createRequire } from 'node:module';
import { loadavg } from 'node:os';
import { RandomStream } from '../src/core/random.js';
import { boxMean, boxMeanPlain } from '../src/image/box.js';
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

/** A filter on a picture in the kernels' memory, on one that is copied in and out, and by its plain twin. */
interface Case {
  readonly name: string;
  readonly inPlace: () => void;
  readonly copied: () => void;
  readonly plain: () => void;
}

/** Some slant, shift and perspective. */
const HOMOGRAPHY = [0.93, 0.11, 20, -0.09, 0.97, 15, 3e-5, -2e-5, 1];
const TAPS = gaussianTaps(2.5);
const timesOver = (name: string, ours: number): BenchRow => ({
  name,
  ours,
  bar: null,
  goal: null,
  unit: '×',
  better: 'high',
});

/** @param src @param dst pictures in the kernels' memory; `far` and `farOut` lie outside it */
function casesOf(src: Picture, dst: Picture, far: Picture, farOut: Picture): readonly Case[] {
  const n = W * H;
  const [s1, d1, f1, o1] = [src, dst, far, farOut].map((p) => p.data.subarray(0, n)) as [
    Float32Array,
    Float32Array,
    Float32Array,
    Float32Array,
  ];
  const small = new Float32Array((W / 2) * (H / 2));
  return [
    {
      name: 'Gaussian, sigma 2.5',
      inPlace: () => convolveSeparable(s1, W, H, TAPS, TAPS, 'clamp', d1),
      copied: () => convolveSeparable(f1, W, H, TAPS, TAPS, 'clamp', o1),
      plain: () => convolveSeparablePlain(f1, W, H, TAPS, TAPS, 'clamp', o1),
    },
    {
      name: 'recursive Gaussian, sigma 20',
      inPlace: () => recursiveGaussian(s1, W, H, 20, 20, d1),
      copied: () => recursiveGaussian(f1, W, H, 20, 20, o1),
      plain: () => recursiveGaussianPlain(f1, W, H, 20, 20, o1),
    },
    {
      name: 'box mean, radius 12',
      inPlace: () => boxMean(s1, W, H, 12, 12, d1),
      copied: () => boxMean(f1, W, H, 12, 12, o1),
      plain: () => boxMeanPlain(f1, W, H, 12, 12, o1),
    },
    {
      name: 'maximum, radius 9',
      inPlace: () => dilate(s1, W, H, 9, 9, d1),
      copied: () => dilate(f1, W, H, 9, 9, o1),
      plain: () => rankRectPlain(f1, W, H, 9, 9, true, o1),
    },
    {
      name: 'halving',
      inPlace: () => halve(s1, W, H, small),
      copied: () => halve(f1, W, H, small),
      plain: () => halvePlain(f1, W, H, small),
    },
    {
      name: 'homography, bicubic, RGBA',
      inPlace: () => warpHomography(src, HOMOGRAPHY, W, H, {}, dst),
      copied: () => warpHomography(far, HOMOGRAPHY, W, H, {}, farOut),
      plain: () => warpHomographyPlain(far, HOMOGRAPHY, W, H, {}, farOut),
    },
    {
      name: 'homography, Lanczos-3, RGBA',
      inPlace: () => warpHomography(src, HOMOGRAPHY, W, H, { filter: 'lanczos3' }, dst),
      copied: () => warpHomography(far, HOMOGRAPHY, W, H, { filter: 'lanczos3' }, farOut),
      plain: () => warpHomographyPlain(far, HOMOGRAPHY, W, H, { filter: 'lanczos3' }, farOut),
    },
  ];
}

/** How much faster two lanes are than one, down the columns of a picture. */
function twoLanesOverOne(): number {
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
  return time(1) / time(2);
}

/** The general vision library's time over ours, of what both have. */
async function visionRows(cases: readonly Case[], picture: Float32Array): Promise<BenchRow[]> {
  const { cv } = await visionLibrary();
  const mat = new cv.Mat(H, W, cv.CV_32FC1);
  const out = new cv.Mat();
  const rgba = new cv.Mat(H, W, cv.CV_32FC4);
  const rgbaOut = new cv.Mat();
  mat.data32F.set(picture);
  const matrix = cv.matFromArray(3, 3, cv.CV_64FC1, HOMOGRAPHY);
  const over = (name: string, of: string, theirs: () => void): BenchRow => {
    const ours = cases.find((c) => c.name === of)!.inPlace;
    const [a, b] = shortest(4, theirs, ours) as [number, number];
    return timesOver(`general vision library (browser build, one thread) over ${name}`, a / b);
  };
  return [
    over('Gaussian', 'Gaussian, sigma 2.5', () =>
      cv.GaussianBlur(mat, out, new cv.Size(TAPS.length, TAPS.length), 2.5),
    ),
    over('box', 'box mean, radius 12', () => cv.blur(mat, out, new cv.Size(25, 25))),
    over('bicubic homography', 'homography, bicubic, RGBA', () =>
      cv.warpPerspective(rgba, rgbaOut, matrix, new cv.Size(W, H), cv.INTER_CUBIC),
    ),
  ];
}

/**
 * Rows for `npm run bench`: `ours` is plain time over kernel time, in place;
 * `reference` the same with copies in and out.
 */
export async function run(seed: number): Promise<BenchRow[]> {
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
  const far: Picture = { width: W, height: H, channels: 4, data: new Float32Array(src.data) };
  const farOut: Picture = { width: W, height: H, channels: 4, data: new Float32Array(4 * W * H) };
  const cases = casesOf(src, dst, far, farOut);
  const made = cases.map(({ name, inPlace, copied, plain }): BenchRow => {
    const [a, b, c] = shortest(4, inPlace, copied, plain) as [number, number, number];
    const lanes = `plain twin over kernel (${door.lanes.count} lanes)`;
    return { ...timesOver(`${name}: ${lanes}`, c / a), reference: c / b };
  });
  made.push(timesOver('two lanes over one (recursive Gaussian, down)', twoLanesOverOne()));
  made.push(...(await visionRows(cases, far.data.subarray(0, W * H))));
  door.freePicture(src);
  door.freePicture(dst);
  return made;
}
