/** How fast a join renders and how much memory it takes: in this process, at 1080 rows, and as a process of its own. */
import { spawnSync } from 'node:child_process';
import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { standAt1080 } from './join-1080.js';
import { truthMarks } from './truth-marks.js';
import { firstOf, truthArgument, truthFile } from './truth-set.js';
import { VideoReader } from '../src/media/video-reader.js';
import { VideoWriter } from '../src/media/video-writer.js';
import { joinTools } from '../src/join/render/join-tools.js';
import { proposeFromFiles } from '../src/join/quick.js';
import { JoinRenderer, type JoinOptions } from '../src/join/render/render.js';
import type { Recipe } from '../src/join/types.js';

export const round = (v: number): number => Math.round(v * 100) / 100;

/** The bench that measures one thing alone when it is asked to: run as a process of its own. */
const BENCH = fileURLToPath(new URL('join.ts', import.meta.url));

/** Render speed over decode-and-encode speed of the same plate, both in one run. */
export async function speed(recipe: Recipe, options: JoinOptions): Promise<Speed> {
  const folder = mkdtempSync(join(tmpdir(), 'bench-join-'));
  const time = async (fn: (w: VideoWriter, r: JoinRenderer) => Promise<void>): Promise<number> => {
    const r = await JoinRenderer.open(recipe, options);
    const w = await VideoWriter.open(join(folder, 'speed.mp4'), {
      widthPx: recipe.plate.widthPx,
      heightPx: recipe.plate.heightPx,
      rate: r.rate,
      codec: 'h264',
      preset: 'veryfast',
    });
    const t0 = performance.now();
    await fn(w, r);
    await w.close();
    const t = performance.now() - t0;
    await r.close();
    return ((recipe.plate.out - recipe.plate.in) * 1000) / t;
  };
  try {
    const copyFps = await time(async (w) => {
      const p = await VideoReader.open(recipe.plate.file);
      for await (const f of p.frames()) await w.writeFrame(f);
      await p.close();
    });
    const joinFps = await time(async (w, r) => {
      for await (const f of r.frames()) await w.writeFrame(f.video());
    });
    return { ratio: round(joinFps / copyFps), joinFps: round(joinFps), copyFps: round(copyFps) };
  } finally {
    rmSync(folder, { recursive: true, force: true });
  }
}

interface Speed {
  readonly ratio: number;
  readonly joinFps: number;
  readonly copyFps: number;
}

/**
 * The `stand` shot enlarged to 1080p, rendered whole. `kept`: the screen's model is the one that was made when the take
 * was judged, as in a production; `anew`: it is made within the time.
 */
export async function speedAt1080(): Promise<{ readonly kept: Speed; readonly anew: Speed }> {
  const folder = mkdtempSync(join(tmpdir(), 'bench-join-1080-'));
  try {
    const { recipe, options } = await standAt1080(folder);
    const { screens: _screens, ...without } = options;
    // The one that counts first: a second render of one run finds its code compiled.
    return { kept: await speed(recipe, options), anew: await speed(recipe, without) };
  } finally {
    rmSync(folder, { recursive: true, force: true });
  }
}

/** Plate and take of `stand` laid end to end so many times, and the recipe for them. */
async function looped(folder: string, times: number): Promise<Recipe> {
  const stand = firstOf('stand');
  const { plate, take } = truthMarks(stand);
  const { recipe } = await proposeFromFiles(
    truthFile(stand, 'plate.mp4'),
    truthFile(stand, 'take.mp4'),
    plate,
    take,
    'fine',
  );
  const lay = async (from: string, name: string, span: { in: number; out: number }): Promise<string> => {
    const r = await VideoReader.open(from);
    const w = await VideoWriter.open(join(folder, name), {
      widthPx: r.info.widthPx,
      heightPx: r.info.heightPx,
      rate: r.info.rate,
      codec: 'h264',
      crf: 12,
      preset: 'veryfast',
    });
    for (let k = 0; k < times; k++) for await (const f of r.frames(span.in, span.out)) await w.writeFrame(f);
    await w.close();
    await r.close();
    return join(folder, name);
  };
  const n = recipe.plate.out - recipe.plate.in;
  const m = recipe.take.out - recipe.take.in;
  return {
    ...recipe,
    plate: { ...recipe.plate, file: await lay(recipe.plate.file, 'plate.mp4', recipe.plate), in: 0, out: n * times },
    take: { ...recipe.take, file: await lay(recipe.take.file, 'take.mp4', recipe.take), in: 0, out: m * times },
    // Placements and ground past the span stay at their last; the take goes round again.
    steps: recipe.steps.map((step) =>
      step.step === 'pace'
        ? {
            ...step,
            curve: Array.from({ length: times }, (_, k) => step.curve.map((c) => c - recipe.take.in + k * m)).flat(),
          }
        : step,
    ) as Recipe['steps'],
  };
}

/** Renders `stand` so many times over and prints this process's peak resident memory, MB. */
export async function peakMemory(times: number): Promise<void> {
  const folder = mkdtempSync(join(tmpdir(), 'bench-join-memory-'));
  try {
    const recipe = await looped(folder, times);
    await speed(recipe, await joinTools(recipe, null));
    console.log(Math.round(process.resourceUsage().maxRSS / 1024));
  } finally {
    rmSync(folder, { recursive: true, force: true });
  }
}

/** Peak memory of a render in a process of its own, MB. */
export function memoryOf(times: number): number {
  const run = spawnSync(process.execPath, ['--import', 'tsx', BENCH, `--memory=${times}`, ...truthArgument()], {
    encoding: 'utf8',
  });
  return Number(run.stdout.trim().split('\n').at(-1));
}

/**
 * The same in a process of its own, as a production renders: what was scored here before has filled this one's heap.
 */
export function speedOfProcess(): ReturnType<typeof speedAt1080> extends Promise<infer S> ? S : never {
  const run = spawnSync(process.execPath, ['--import', 'tsx', BENCH, '--speed-alone', ...truthArgument()], {
    encoding: 'utf8',
  });
  return JSON.parse(run.stdout.trim().split('\n').at(-1)!) as ReturnType<typeof speedOfProcess>;
}
