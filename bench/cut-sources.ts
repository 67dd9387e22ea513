/** Stretches of free film without a cut of their own, reduced to the scan's small frames. */
import { existsSync } from 'node:fs';
import { join } from 'node:path';
import { madeFrame } from '../src/film/made-frame.js';
import type { VideoFrame } from '../src/media/types.js';
import { VideoReader } from '../src/media/video-reader.js';
import { syntheticSource, type ReelSource } from './reel-picture.js';

export const W = 192;
export const H = 108;

/** Continuous stretches of the clips, between the known changes (found by eye). */
const STRETCHES: Record<string, readonly (readonly [number, number])[]> = {
  'tears-of-steel-30s.mp4': [
    [0, 72],
    [72, 438],
    [438, 482],
    [482, 567],
    [567, 596],
    [667, 699],
    [699, 720],
  ],
  'sintel-26s.mp4': [
    [0, 76],
    [76, 121],
    [121, 319],
    [319, 457],
    [457, 545],
    [545, 611],
    [611, 652],
  ],
  'handheld-round-object.mp4': [
    [0, 117],
    [117, 234],
  ],
  'locked-off-people.mp4': [
    [0, 200],
    [600, 900],
  ],
  'green-wall-person.mp4': [
    [0, 300],
    [500, 800],
  ],
};

/** A picture of a reel as the media door would hand it out. */
export const asFrame = (data: Uint8Array, index: number): VideoFrame => madeFrame(data, index, W, H);

/** Area average of a plane to w × h. */
function reduce(
  src: ArrayLike<number>,
  sw: number,
  sh: number,
  w: number,
  h: number,
  dst: Uint8Array,
  at: number,
  shift: number,
): void {
  for (let y = 0; y < h; y++)
    for (let x = 0; x < w; x++) {
      const x0 = Math.floor((x * sw) / w);
      const x1 = Math.max(x0 + 1, Math.floor(((x + 1) * sw) / w));
      const y0 = Math.floor((y * sh) / h);
      const y1 = Math.max(y0 + 1, Math.floor(((y + 1) * sh) / h));
      let s = 0;
      for (let v = y0; v < y1; v++) for (let u = x0; u < x1; u++) s += src[v * sw + u]!;
      dst[at + y * w + x] = s / ((x1 - x0) * (y1 - y0)) / 2 ** shift + 0.5;
    }
}

/** Stretches of a clip as sources, brought to the reels' size. */
async function stretchesOf(
  path: string,
  name: string,
  stretches: readonly (readonly [number, number])[],
): Promise<ReelSource[]> {
  const out: ReelSource[] = [];
  const reader = await VideoReader.open(path);
  for (const [a, b] of stretches) {
    const frames: Uint8Array[] = [];
    for await (const f of reader.frames(a, Math.min(b, reader.info.frameCount))) {
      const d = new Uint8Array(W * H * 1.5);
      const depth = f.bitDepth - 8;
      const cw = Math.ceil(f.widthPx / 2 ** f.chromaShift[0]);
      const ch = Math.ceil(f.heightPx / 2 ** f.chromaShift[1]);
      reduce(f.planes[0]!, f.widthPx, f.heightPx, W, H, d, 0, depth);
      reduce(f.planes[1]!, cw, ch, W / 2, H / 2, d, W * H, depth);
      reduce(f.planes[2]!, cw, ch, W / 2, H / 2, d, W * H * 1.25, depth);
      // Stills come with the full range of codes.
      if (f.colour.fullRange)
        for (let i = 0; i < d.length; i++)
          d[i] = i < W * H ? 16 + (d[i]! * 219) / 255 + 0.5 : 128 + ((d[i]! - 128) * 224) / 255 + 0.5;
      frames.push(d);
    }
    if (frames.length > 12) out.push({ name: `${name}[${a}]`, frames });
  }
  await reader.close();
  return out;
}

/**
 * Clips that the detector was never worked on with: animals outdoors, an archive film, the truth
 * set's plates and takes. Empty where they are absent.
 */
export async function loadOtherSources(shared: string): Promise<ReelSource[]> {
  const clips: readonly (readonly [string, readonly (readonly [number, number])[]])[] = [
    ...['camel', 'dog'].map(
      (n) =>
        [
          `footage/davis/${n}/frames/%05d.jpg`,
          [
            [0, 30],
            [30, 60],
            [60, 90],
          ],
        ] as const,
    ),
    [
      'footage/nasa-13013.mp4',
      [
        [0, 126],
        [149, 202],
        [202, 325],
      ],
    ],
    ...['stand', 'pan', 'push', 'turn'].flatMap((s) =>
      ['plate', 'take'].map((k) => [`truth/${s}/${k}.mp4`, [[0, 48]]] as const),
    ),
  ];
  const out: ReelSource[] = [];
  for (const [file, stretches] of clips)
    if (existsSync(join(shared, file.replace('%05d', '00000'))))
      out.push(...(await stretchesOf(join(shared, file), file, stretches)));
  return out;
}

export async function loadSources(folder: string): Promise<ReelSource[]> {
  const out: ReelSource[] = [];
  if (!existsSync(folder))
    console.error(
      `SKIPPED: no open clips at ${folder}; reels are made from made scenes alone, which are easier than film`,
    );
  else
    for (const [name, stretches] of Object.entries(STRETCHES)) {
      const path = join(folder, name);
      if (!existsSync(path)) {
        console.error(`SKIPPED: ${name} is not there`);
        continue;
      }
      out.push(...(await stretchesOf(path, name, stretches)));
    }
  for (let s = 0; s < 8; s++) out.push(syntheticSource(1000 + s, W, H, 50));
  return out;
}
