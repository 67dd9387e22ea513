// Runs the ray tracer on one window of one frame and reads the picture back as linear light.

import { execFile } from 'node:child_process';
import { createHash } from 'node:crypto';
import { existsSync, readFileSync, renameSync, rmSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { promisify } from 'node:util';

import { povCamera, type Camera, type Rect } from './camera.js';

const run = promisify(execFile);

/** Interleaved RGB, linear light, row by row from the top. */
export interface Picture {
  readonly w: number;
  readonly h: number;
  readonly rgb: Float32Array;
}

export const picture = (w: number, h: number): Picture => ({ w, h, rgb: new Float32Array(w * h * 3) });

/** Reads a binary PPM of 16 bits. */
function readPpm(path: string): Picture {
  const bytes = readFileSync(path);
  let at = 0;
  const token = (): string => {
    while (bytes[at] === 35 || (bytes[at] ?? 0) <= 32) {
      if (bytes[at] === 35) while (bytes[at] !== 10) at += 1;
      at += 1;
    }
    const from = at;
    while ((bytes[at] ?? 0) > 32) at += 1;
    return bytes.toString('latin1', from, at);
  };
  if (token() !== 'P6') throw new Error(`${path}: not a binary PPM`);
  const w = Number(token());
  const h = Number(token());
  const top = Number(token());
  at += 1;
  const out = picture(w, h);
  const wide = top > 255;
  for (let i = 0; i < w * h * 3; i++) {
    const value = wide ? (bytes[at + 2 * i] ?? 0) * 256 + (bytes[at + 2 * i + 1] ?? 0) : (bytes[at + i] ?? 0);
    out.rgb[i] = value / top;
  }
  return out;
}

/** Averages a finer picture down to `w` × `h` by exact box footprints. */
export function shrink(from: Picture, w: number, h: number): Picture {
  if (from.w === w && from.h === h) return from;
  const sx = from.w / w;
  const sy = from.h / h;
  const mid = new Float32Array(w * from.h * 3);
  const pass = (
    src: Float32Array,
    dst: Float32Array,
    lines: number,
    inN: number,
    outN: number,
    s: number,
    inStep: number,
    inLine: number,
    outStep: number,
    outLine: number,
  ): void => {
    for (let o = 0; o < outN; o++) {
      const a = o * s;
      const b = Math.min(inN, (o + 1) * s);
      for (let i = Math.floor(a); i < b - 1e-9; i++) {
        const weight = (Math.min(b, i + 1) - Math.max(a, i)) / s;
        for (let l = 0; l < lines; l++) {
          const p = l * inLine + i * inStep;
          const q = l * outLine + o * outStep;
          dst[q] = (dst[q] ?? 0) + weight * (src[p] ?? 0);
          dst[q + 1] = (dst[q + 1] ?? 0) + weight * (src[p + 1] ?? 0);
          dst[q + 2] = (dst[q + 2] ?? 0) + weight * (src[p + 2] ?? 0);
        }
      }
    }
  };
  pass(from.rgb, mid, from.h, from.w, w, sx, 3, from.w * 3, 3, w * 3);
  const out = picture(w, h);
  pass(mid, out.rgb, w, from.h, h, sy, w * 3, 3, w * 3, 3);
  return out;
}

export interface TraceOptions {
  readonly cache: string;
  /** Rays a pixel along each axis: the picture is traced that much finer and averaged. */
  readonly scale: number;
  /** Windows at work or lately read, so that frames made side by side share a background. */
  readonly kept: Map<string, Promise<Picture>>;
}

/** How many whole backgrounds are kept in memory. */
const KEPT = 12;

/**
 * Traces one window of a scene and gives its linear light at picture resolution; finished windows come from the cache.
 */
export function trace(scene: string, camera: Camera, rect: Rect, options: TraceOptions): Promise<Picture> {
  const text = `#version 3.7;\n${scene}\n${povCamera(camera, rect)}`;
  const key = createHash('sha256').update(text).update(String(options.scale)).digest('hex').slice(0, 24);
  const known = options.kept.get(key);
  if (known) return known;
  const result = traced(text, key, rect, options);
  options.kept.set(key, result);
  while (options.kept.size > KEPT) {
    const oldest = options.kept.keys().next().value;
    if (oldest === undefined) break;
    options.kept.delete(oldest);
  }
  return result;
}

async function traced(text: string, key: string, rect: Rect, options: TraceOptions): Promise<Picture> {
  const out = join(options.cache, `${key}.ppm`);
  if (!existsSync(out)) {
    const pov = join(options.cache, `${key}.${process.pid}.pov`);
    const part = join(options.cache, `${key}.${process.pid}.part.ppm`);
    writeFileSync(pov, text);
    const w = Math.round(rect.w * options.scale);
    const h = Math.round(rect.h * options.scale);
    try {
      await run(
        'povray',
        [
          `+I${pov}`,
          `+O${part}`,
          '+FP16',
          `+W${w}`,
          `+H${h}`,
          '-D',
          '-P',
          '-A',
          '+WT1',
          'File_Gamma=1.0',
          `+L${options.cache}`,
          '-GA',
        ],
        { maxBuffer: 1 << 24 },
      );
    } catch (error) {
      throw new Error(
        `povray failed on ${pov}: ${String((error as { stderr?: string }).stderr ?? error)
          .split('\n')
          .filter((l) => /error|line|expected|found/i.test(l))
          .slice(-6)
          .join('\n')}`,
      );
    }
    renameSync(part, out);
    rmSync(pov, { force: true });
  }
  return shrink(readPpm(out), rect.w, rect.h);
}
