/** What a made join's scene leaves in its folder: pictures as a camera would store them, mattes, and the truth. */
import { execFileSync } from 'node:child_process';
import { existsSync } from 'node:fs';
import { join } from 'node:path';
import { HEIGHT, WIDTH, windowOf, type Camera } from '../demo/scenes/camera.js';
import { develop, filmFinish, print } from '../demo/scenes/look.js';
import { frameOf, GLOBAL, type Shot } from '../demo/scenes/shot.js';
import { trace, type Picture, type TraceOptions } from '../demo/scenes/trace.js';
import type { Point, Vec3 } from '../demo/scenes/vector.js';
import type { LightChange } from './light-scene-list.js';

/** What one scene's folder holds, besides its files. */
export interface SceneFile {
  readonly id: string;
  readonly plate: string;
  readonly take: string;
  readonly plateMarks: string;
  readonly takeMarks: string;
  readonly patch?: { readonly file: string; readonly marks: string };
  /** Frames of the plate with truth: NAME-truth.png, NAME-base.png, NAME-matte.png. */
  readonly frames: readonly number[];
}

export const round = (p: Point): [number, number] => [Math.round(p[0] * 100) / 100, Math.round(p[1] * 100) / 100];

function savePng(path: string, rgb: Uint8Array, w: number, h: number): void {
  execFileSync(
    'ffmpeg',
    ['-v', 'error', '-y', '-f', 'rawvideo', '-pix_fmt', 'rgb24', '-s', `${w}x${h}`, '-i', '-', '-frames:v', '1', path],
    { input: Buffer.from(rgb) },
  );
}

/** A picture of the shot as the film shows it, without grain. */
function finished(p: Picture, exposure: number, light?: LightChange): Uint8Array {
  const f = { ...printOf(exposure, light), grain: 0 };
  return print(develop(p, f), f, 1);
}

export const printOf = (exposure: number, light?: LightChange): ReturnType<typeof filmFinish> => ({
  ...filmFinish(exposure),
  ...(light?.tint === undefined ? {} : { tint: light.tint }),
  ...(light?.contrast === undefined ? {} : { contrast: light.contrast }),
});

/** How much of each pixel the performer covers; 0 where the set stands in front of it. */
async function matteOf(
  body: string,
  camera: Camera,
  window: ReturnType<typeof windowOf>,
  joined: Picture,
  base: Picture,
  o: TraceOptions,
): Promise<Uint8Array> {
  const alone = `${GLOBAL}light_source{<0,50,-50> rgb 0.4 shadowless parallel point_at 0}\n`;
  const text = body.replaceAll(' reflection 0.04', '');
  const dark = await trace(`${alone}background{rgb 0}\n${text}`, camera, window, o);
  const bright = await trace(`${alone}background{rgb 1}\n${text}`, camera, window, o);
  const out = new Uint8Array(3 * joined.w * joined.h);
  for (let y = 0; y < window.h; y++) {
    for (let x = 0; x < window.w; x++) {
      const q = (y * window.w + x) * 3 + 1;
      const i = (window.y + y) * joined.w + window.x + x;
      let seen = 0;
      for (let c = 0; c < 3; c++) seen = Math.max(seen, Math.abs(joined.rgb[3 * i + c]! - base.rgb[3 * i + c]!));
      if (seen < 1e-4) continue;
      out.fill(Math.round(255 * Math.min(1, Math.max(0, 1 - (bright.rgb[q]! - dark.rgb[q]!)))), 3 * i, 3 * i + 3);
    }
  }
  return out;
}

/** Truth of one frame: join, empty set, matte. */
export async function saveTruth(
  folder: string,
  frame: number,
  shot: Shot,
  f: number,
  body: string,
  reach: readonly Vec3[],
  empty: Shot,
  o: TraceOptions,
  light?: LightChange,
): Promise<void> {
  const name = (what: string): string => join(folder, `${frame}-${what}.png`);
  if (existsSync(name('matte'))) return;
  const base = await frameOf(empty, f, o);
  const joined = await frameOf({ ...empty, set: empty.set }, f, o, body, reach);
  savePng(name('truth'), finished(joined, shot.exposure, light), WIDTH, HEIGHT);
  savePng(name('base'), finished(base, shot.exposure, light), WIDTH, HEIGHT);
  const c = shot.camera(f);
  savePng(name('matte'), await matteOf(body, c, windowOf(c, reach, 12), joined, base, o), WIDTH, HEIGHT);
}
