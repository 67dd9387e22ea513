/**
 * Parts of actors and animals in openly licensed clips (../shared/footage, beside the checkout), outlined by hand or by
 * the set's own masks: pictures in which nothing was joined. The outlines are rough, so they tell levels, colour,
 * sharpness and grain only. *Tears of Steel* and *Sintel* (CC BY 3.0), DAVIS 2016 (BSD).
 */
import { existsSync, readdirSync } from 'node:fs';
import { dirname, join as path, resolve } from 'node:path';
import { fileURLToPath } from 'node:url';
import { gaussianPlane } from '../src/image/gaussian.js';
import { createPicture, type Picture } from '../src/image/picture.js';
import { toCodedRgb } from '../src/media/convert.js';
import { VideoReader } from '../src/media/video-reader.js';
import { readPng } from './made-joins.js';
import { recipeOf, type JoinFrame, type MadeJoin } from './made-join-recipe.js';
import { windowed } from './made-join-finish.js';

type P = readonly [number, number];
/** Outlines in pixels of the clip shown 480 wide; `top`, `bottom`: letterbox taken off, in the same. */
const ACTORS: readonly {
  readonly file: string;
  readonly frame: number;
  readonly outline: readonly P[];
  readonly top?: number;
  readonly bottom?: number;
}[] = [
  {
    file: 'tears-of-steel-30s.mp4',
    frame: 100,
    outline: [
      [190, 22],
      [212, 28],
      [220, 70],
      [205, 100],
      [200, 150],
      [160, 150],
      [152, 110],
      [165, 65],
      [190, 55],
    ],
  },
  {
    file: 'tears-of-steel-30s.mp4',
    frame: 100,
    outline: [
      [305, 32],
      [322, 35],
      [332, 70],
      [352, 95],
      [335, 110],
      [328, 150],
      [287, 150],
      [292, 110],
      [288, 75],
      [300, 60],
    ],
  },
  {
    file: 'tears-of-steel-30s.mp4',
    frame: 180,
    outline: [
      [165, 20],
      [182, 20],
      [185, 52],
      [208, 80],
      [203, 115],
      [190, 175],
      [152, 175],
      [142, 110],
      [152, 68],
      [165, 52],
    ],
  },
  {
    file: 'tears-of-steel-30s.mp4',
    frame: 250,
    outline: [
      [142, 24],
      [170, 26],
      [174, 60],
      [178, 100],
      [168, 130],
      [132, 130],
      [128, 100],
      [132, 68],
      [145, 52],
    ],
  },
  {
    file: 'tears-of-steel-30s.mp4',
    frame: 250,
    outline: [
      [270, 32],
      [295, 34],
      [306, 60],
      [318, 90],
      [312, 118],
      [278, 118],
      [282, 80],
      [272, 60],
    ],
  },
  {
    file: 'sintel-26s.mp4',
    frame: 40,
    top: 34,
    bottom: 238,
    outline: [
      [100, 60],
      [150, 45],
      [190, 70],
      [200, 115],
      [165, 150],
      [215, 190],
      [240, 230],
      [110, 230],
      [110, 170],
      [90, 130],
    ],
  },
  {
    file: 'sintel-26s.mp4',
    frame: 400,
    top: 34,
    bottom: 238,
    outline: [
      [180, 80],
      [205, 75],
      [218, 110],
      [215, 130],
      [240, 170],
      [240, 195],
      [205, 195],
      [200, 130],
    ],
  },
  {
    file: 'sintel-26s.mp4',
    frame: 500,
    top: 34,
    bottom: 238,
    outline: [
      [130, 60],
      [160, 55],
      [165, 80],
      [168, 135],
      [175, 220],
      [138, 220],
      [135, 140],
      [140, 90],
      [128, 80],
    ],
  },
  {
    file: 'sintel-26s.mp4',
    frame: 570,
    top: 34,
    bottom: 238,
    outline: [
      [212, 90],
      [252, 88],
      [262, 130],
      [270, 160],
      [255, 225],
      [205, 225],
      [215, 180],
      [195, 165],
      [215, 140],
    ],
  },
];

function footage(): string | null {
  const here = dirname(fileURLToPath(import.meta.url));
  return (
    ['../../shared/footage', '../../../shared/footage'].map((u) => resolve(here, u)).find((f) => existsSync(f)) ?? null
  );
}

function outlined(outline: readonly P[], W: number, H: number, k: number, top: number): Float32Array {
  const m = new Float32Array(W * H);
  for (let y = 0; y < H; y++)
    for (let x = 0; x < W; x++) {
      let inside = false;
      for (let i = 0, j = outline.length - 1; i < outline.length; j = i++) {
        const [xi, yi] = [outline[i]![0] * k, (outline[i]![1] - top) * k];
        const [xj, yj] = [outline[j]![0] * k, (outline[j]![1] - top) * k];
        if (yi > y !== yj > y && x < ((xj - xi) * (y - yi)) / (yj - yi) + xi) inside = !inside;
      }
      m[y * W + x] = inside ? 1 : 0;
    }
  return gaussianPlane(m, W, H, 1);
}

/** The clip as its own plate: what is outlined, and what lies close, is filled along the row from outside. */
function withoutActor(p: Picture, matte: Float32Array): Picture {
  const { width: W, height: H } = p;
  const N = W * H;
  const out = createPicture(W, H, 3);
  const wide = gaussianPlane(matte, W, H, 4);
  out.data.set(p.data.subarray(0, 3 * N));
  for (let y = 0; y < H; y++)
    for (let x = 0; x < W; x++) {
      if (wide[y * W + x]! < 0.004) continue;
      let l = x;
      let q = x;
      while (l > 0 && wide[y * W + l]! >= 0.004) l--;
      while (q < W - 1 && wide[y * W + q]! >= 0.004) q++;
      const from = (x - l < q - x && l > 0) || q >= W - 1 ? Math.max(0, 2 * l - x) : Math.min(W - 1, 2 * q - x);
      for (let c = 0; c < 3; c++) out.data[c * N + y * W + x] = p.data[c * N + y * W + from]!;
    }
  return out;
}

const made = (id: string, frames: readonly JoinFrame[]): MadeJoin => ({
  id,
  family: 'real',
  frames,
  recipe: recipeOf(frames[0]!.join.width, frames[0]!.join.height, frames.length, null, () => [
    frames[0]!.join.width / 2,
    frames[0]!.join.height / 2,
  ]),
  tells: ['spill', 'grain', 'blur', 'blackLevel', 'whiteLevel', 'colour'],
});

export async function* realJoins(count: number): AsyncGenerator<MadeJoin, void, undefined> {
  const folder = footage();
  if (folder === null) {
    console.log('SKIPPED: ../shared/footage is not beside the checkout');
    return;
  }
  for (const a of ACTORS) {
    const r = await VideoReader.open(path(folder, a.file));
    const k = r.info.widthPx / 480;
    const top = Math.round((a.top ?? 0) * k);
    const H = a.bottom === undefined ? r.info.heightPx : Math.round((a.bottom - a.top!) * k);
    const frames: JoinFrame[] = [];
    for await (const f of r.frames(a.frame, a.frame + 4)) {
      const join = windowed(toCodedRgb(f), 0, top, r.info.widthPx, H - 2, 0);
      const matte = outlined(a.outline, join.width, join.height, k, a.top ?? 0);
      frames.push({ join, plate: withoutActor(join, matte), matte });
    }
    await r.close();
    yield made(`${a.file}-${a.frame}`, frames);
  }
  for (const animal of ['camel', 'dog']) {
    const names = readdirSync(path(folder, 'davis', animal, 'frames')).sort();
    for (let at = 0; at + 4 < names.length; at += 22) {
      const frames: JoinFrame[] = [];
      for (let n = at; n < at + Math.min(4, count); n++) {
        const join = readPng(path(folder, 'davis', animal, 'frames', names[n]!));
        const mask = readPng(path(folder, 'davis', animal, 'masks', names[n]!.replace('.jpg', '.png')));
        const matte = gaussianPlane(mask.data.slice(0, join.width * join.height), join.width, join.height, 1.5);
        frames.push({ join, plate: withoutActor(join, matte), matte });
      }
      yield made(`${animal}-${at}`, frames);
    }
  }
}
