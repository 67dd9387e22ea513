/**
 * What no frame shows, made up: holes cut into single frames of real clips (`../shared/footage`, openly licensed) whose
 * truth is what was cut out. Frame, place, size (an eighth to under a half of the height) and shape (an oval, or the
 * outline of an animal) are drawn by the seed; black bars and burnt or empty places are passed over. Beside ours:
 * OpenCV's inpainting by A. Telea (J. Graphics Tools 9, 2004) and by Navier-Stokes (M. Bertalmio et al., CVPR 2001),
 * and a smooth fill (push-pull). PSNR of display-coded R'G'B' over the hole; and how much of the truth's fine detail
 * (what a Gaussian of 1.5 px takes away, rms) the fill has, since a blur scores well and shows. Run: `npx tsx
 * bench/erase-holes.ts [--seed=N] [--holes=N] [--pictures=DIR]`; skips loudly where the clips are not beside the
 * checkout.
 */
import { existsSync, mkdirSync } from 'node:fs';
import { createRequire } from 'node:module';
import { join, resolve } from 'node:path';
import { fileURLToPath } from 'node:url';
import { IDENTITY3 } from '../src/geometry/mat3.js';
import { gaussianPlane } from '../src/image/gaussian.js';
import { createPicture, plane, type Picture } from '../src/image/picture.js';
import { pushPull } from '../src/image/push-pull.js';
import { codedLuma } from '../src/join/erase/coded-luma.js';
import { fillUnseen } from '../src/join/erase/fill-unseen.js';
import { writePng16 } from '../src/media/stills.js';
import type { BenchRow } from './rows.js';
import { FOOTAGE, HOLES, drawHoles } from './drawn-holes.js';

/** Ours, as the join fills what no frame shows. */
export function ours(picture: Picture, hole: Uint8Array): Picture {
  const { width, height } = picture;
  const count = Float32Array.from(hole, (v) => 1 - v);
  const empty: Picture = { ...picture, data: picture.data.map((v, i) => (hole[i % hole.length] !== 0 ? 0 : v)) };
  return fillUnseen(
    { picture: empty, count, spread: new Float32Array(hole.length), fromReference: IDENTITY3, width, height },
    hole,
    1,
  ).filled.picture;
}

function smooth(picture: Picture, hole: Uint8Array): Picture {
  const { width, height } = picture;
  const out = createPicture(width, height, 3);
  pushPull(
    [0, 1, 2].map((c) => plane(picture, c)),
    Float32Array.from(hole, (v) => 1 - v),
    width,
    height,
  ).forEach((p, c) => {
    plane(out, c).set(p);
  });
  return out;
}

/** OpenCV's inpainting, in 8 bits as it takes pictures, with a reach of 5 px. */
// The library ships no types that a strict build can read.
function inpaint(cv: any, picture: Picture, hole: Uint8Array, how: number): Picture {
  // oxlint-disable-line typescript/no-explicit-any
  const { width: w, height: h } = picture;
  const n = w * h;
  const bytes = new Uint8Array(3 * n);
  for (let c = 0; c < 3; c++)
    for (let i = 0; i < n; i++) bytes[3 * i + c] = Math.round(255 * Math.min(1, Math.max(0, picture.data[c * n + i]!)));
  const from = cv.matFromArray(h, w, cv.CV_8UC3, bytes);
  const mask = cv.matFromArray(h, w, cv.CV_8UC1, hole);
  const to = new cv.Mat();
  cv.inpaint(from, mask, to, 5, how);
  const out = createPicture(w, h, 3);
  for (let c = 0; c < 3; c++) for (let i = 0; i < n; i++) out.data[c * n + i] = to.data[3 * i + c] / 255;
  for (const m of [from, mask, to]) m.delete();
  return out;
}

function psnr(p: Picture, truth: Picture, hole: Uint8Array): number {
  const n = hole.length;
  let e = 0;
  let k = 0;
  for (let i = 0; i < n; i++)
    if (hole[i] !== 0) {
      k++;
      for (let c = 0; c < 3; c++) e += (p.data[c * n + i]! - truth.data[c * n + i]!) ** 2 / 3;
    }
  return -10 * Math.log10(e / k + 1e-9);
}

function detail(p: Picture, hole: Uint8Array): number {
  const luma = codedLuma(p);
  const soft = gaussianPlane(luma, p.width, p.height, 1.5);
  let e = 0;
  let k = 0;
  for (let i = 0; i < hole.length; i++)
    if (hole[i] !== 0) {
      k++;
      e += (luma[i]! - soft[i]!) ** 2;
    }
  return Math.sqrt(e / k);
}

/** Rows for `npm run bench`; every hole's figures go to the terminal. */
export async function run(seed = 1, full = false, pictures?: string, count = full ? HOLES : 24): Promise<BenchRow[]> {
  if (!existsSync(FOOTAGE)) {
    console.log(`SKIPPED: ${FOOTAGE} is absent; holes are cut into the clips there`);
    return [];
  }
  const cv = createRequire(import.meta.url)('@techstark/opencv-js');
  if (cv.Mat === undefined)
    await new Promise<void>((done) => {
      cv.onRuntimeInitialized = () => done();
    });
  const ways = ['ours', 'Telea', 'Navier-Stokes', 'smooth'] as const;
  const db = ways.map(() => [] as number[]);
  const fine = ways.map(() => [] as number[]);
  if (pictures !== undefined) mkdirSync(pictures, { recursive: true });
  console.log(`hole                   ${ways.join('  ')}  (dB; then share of the truth's detail)`);
  for (const [k, { name, picture, hole }] of (await drawHoles(seed, count)).entries()) {
    const fills = [
      ours(picture, hole),
      inpaint(cv, picture, hole, cv.INPAINT_TELEA),
      inpaint(cv, picture, hole, cv.INPAINT_NS),
      smooth(picture, hole),
    ];
    const own = detail(picture, hole);
    fills.forEach((f, i) => {
      db[i]!.push(psnr(f, picture, hole));
      fine[i]!.push(detail(f, hole) / Math.max(1e-4, own));
    });
    console.log(
      `${String(k).padStart(2)} ${name.padEnd(20)}${db.map((d) => d.at(-1)!.toFixed(1).padStart(6)).join('')}  ` +
        fine.map((d) => d.at(-1)!.toFixed(2).padStart(6)).join(''),
    );
    if (pictures !== undefined)
      await writePng16(
        join(pictures, `${String(k).padStart(2, '0')}-${name}.png`),
        beside(picture, hole, fills.slice(0, 3)),
      );
  }
  const mean = (v: readonly number[]): number => v.reduce((a, b) => a + b, 0) / Math.max(1, v.length);
  console.log(
    `mean                   ${db.map((d) => mean(d).toFixed(2).padStart(6)).join('')}  ` +
      fine.map((d) => mean(d).toFixed(2).padStart(6)).join(''),
  );
  console.log(
    `24 dB reached by ${ways.map((name, i) => `${name} ${db[i]!.filter((v) => v >= 24).length}`).join(', ')} ` +
      `of ${db[0]!.length}`,
  );
  const best = Math.max(mean(db[1]!), mean(db[2]!));
  return [
    {
      name: `erase, ${db[0]!.length} holes in real frames: mean PSNR (OpenCV's better one beside)`,
      ours: mean(db[0]!),
      reference: best,
      bar: 24,
      goal: null,
      unit: 'dB',
      better: 'high',
    },
    {
      name: "erase, the same: share of the truth's fine detail",
      ours: mean(fine[0]!),
      reference: Math.max(mean(fine[1]!), mean(fine[2]!)),
      bar: null,
      goal: null,
      unit: '',
      better: 'high',
    },
  ];
}

/** The hole's surroundings: with the hole grey, filled in each way, and as they were. */
function beside(picture: Picture, hole: Uint8Array, fills: readonly Picture[]): Picture {
  const { width: w, height: h } = picture;
  const room = 24;
  let x0 = w;
  let y0 = h;
  let x1 = 0;
  let y1 = 0;
  for (let y = 0; y < h; y++)
    for (let x = 0; x < w; x++)
      if (hole[y * w + x] !== 0) {
        x0 = Math.min(x0, x - room);
        x1 = Math.max(x1, x + room);
        y0 = Math.min(y0, y - room);
        y1 = Math.max(y1, y + room);
      }
  x0 = Math.max(0, x0);
  y0 = Math.max(0, y0);
  x1 = Math.min(w, x1);
  y1 = Math.min(h, y1);
  const grey: Picture = { ...picture, data: picture.data.map((v, i) => (hole[i % hole.length] !== 0 ? 0.5 : v)) };
  const all = [grey, ...fills, picture];
  const bw = x1 - x0;
  const out = createPicture(bw * all.length, y1 - y0, 3);
  for (let c = 0; c < 3; c++)
    all.forEach((p, k) => {
      for (let y = y0; y < y1; y++)
        plane(out, c).set(plane(p, c).subarray(y * w + x0, y * w + x1), (y - y0) * out.width + k * bw);
    });
  return out;
}

if (process.argv[1] !== undefined && resolve(process.argv[1]) === fileURLToPath(import.meta.url)) {
  const value = (name: string): string | undefined =>
    process.argv.find((a) => a.startsWith(`--${name}=`))?.slice(name.length + 3);
  await run(Number(value('seed') ?? 1), true, value('pictures'), Number(value('holes') ?? HOLES));
  // OpenCV's runtime keeps the process alive.
  process.exit(0);
}
