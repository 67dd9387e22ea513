/**
 * Processor time and clock of a join written to a file as the product writes it, at 1080p (`stand` enlarged, or
 * FOLDER's own recipe): a production's ProRes 4444 and matte in resumable pieces, a quick join's H.264, H.264 in
 * pieces. One process a figure: code is loaded and compiled within it, as in a job. The screen's model is kept, as
 * when the take was judged. Run: `npx tsx bench/join-film.ts FOLDER
 * [production|quick|pieces|picture|copy|copy-production ..]` (FOLDER keeps plate, take and recipe, as with
 * join-cpu.ts; `picture` draws without coding anything; `copy` and `copy-production` decode
 * the plate and code it as a quick join and a production's film are coded, which the others are told as a ratio to).
 */
import { spawnSync } from 'node:child_process';
import { existsSync, mkdirSync, mkdtempSync, readFileSync, rmSync, statSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { letHeapGrow } from '../src/core/heap.js';
import { joinTools } from '../src/join/render/join-tools.js';
import { screensInFolder } from '../src/join/peel/kept-screens.js';
import { JoinRenderer } from '../src/join/render/render.js';
import { renderJoin, type RenderOptions } from '../src/join/render/render-file.js';
import type { Recipe } from '../src/join/types.js';
import type { WriterOptions } from '../src/media/encodings.js';
import { VideoReader } from '../src/media/video-reader.js';
import { VideoWriter } from '../src/media/video-writer.js';
import { widenYuv } from '../src/media/widen-yuv.js';
import { standAt1080 } from './join-1080.js';

const WAYS = ['production', 'quick', 'pieces', 'picture', 'copy', 'copy-production'] as const;
type Way = (typeof WAYS)[number];

/** The plate decoded and coded, nothing else. */
async function copy(
  file: string,
  out: string,
  options: Pick<WriterOptions, 'codec' | 'crf' | 'preset'>,
): Promise<void> {
  const r = await VideoReader.open(file);
  const { widthPx, heightPx, rate, colour } = r.info;
  const w = await VideoWriter.open(out, {
    widthPx,
    heightPx,
    rate,
    ...options,
    ...(options.codec === 'h264' ? { colour } : {}),
  });
  for await (const f of r.frames()) {
    if (w.hasRoom)
      await w.writeLaid((planes) => {
        widenYuv(f, 10, planes);
      });
    else await w.writeFrame(f);
  }
  await w.close();
  await r.close();
}

async function one(folder: string, way: Way): Promise<void> {
  letHeapGrow();
  const recipe = JSON.parse(readFileSync(join(folder, 'recipe.json'), 'utf8')) as Recipe;
  if (way === 'copy' || way === 'copy-production') {
    const out = mkdtempSync(join(tmpdir(), 'bench-join-film-'));
    const used = process.cpuUsage();
    const from = performance.now();
    const frames = recipe.plate.out - recipe.plate.in;
    await copy(
      recipe.plate.file,
      join(out, 'film.mov'),
      way === 'copy' ? { codec: 'h264', crf: 15, preset: 'superfast' } : { codec: 'prores4444' },
    );
    const u = process.cpuUsage(used);
    console.log(
      JSON.stringify({
        way,
        msAFrame: Math.round((u.user + u.system) / 100 / frames) / 10,
        fps: Math.round((1e5 * frames) / (performance.now() - from)) / 100,
      }),
    );
    rmSync(out, { recursive: true, force: true });
    return;
  }
  const options = { ...(await joinTools(recipe, null)), screens: screensInFolder(join(folder, 'screens')) };
  const out = mkdtempSync(join(tmpdir(), 'bench-join-film-'));
  const used = process.cpuUsage();
  const from = performance.now();
  try {
    const renderer = await JoinRenderer.open(recipe, options);
    const frames = recipe.plate.out - recipe.plate.in;
    const film = join(out, way === 'production' ? 'film.mov' : 'film.mp4');
    const how: RenderOptions =
      way === 'production'
        ? { codec: 'prores4444', matte: join(out, 'matte.mkv'), resumeIn: join(out, 'pieces') }
        : way === 'quick'
          ? { codec: 'h264', crf: 15, preset: 'superfast' }
          : { codec: 'h264', resumeIn: join(out, 'pieces') };
    let firstAt = 0;
    const first = (): void => {
      if (firstAt === 0) {
        const u = process.cpuUsage(used);
        firstAt = (u.user + u.system) / 1000;
      }
    };
    if (way === 'picture')
      for await (const f of renderer.frames()) {
        f.video();
        first();
      }
    else await renderJoin(renderer, film, { ...how, onFrame: first });
    await renderer.close();
    const u = process.cpuUsage(used);
    const ms = (u.user + u.system) / 1000;
    console.log(
      JSON.stringify({
        way,
        msAFrame: Math.round((10 * ms) / frames) / 10,
        toFirst: Math.round(firstAt),
        fps: Math.round((1e5 * frames) / (performance.now() - from)) / 100,
        peakMb: Math.round(process.resourceUsage().maxRSS / 1024),
        ...(way === 'picture' ? {} : { bytes: statSync(film).size }),
      }),
    );
  } finally {
    rmSync(out, { recursive: true, force: true });
  }
}

const args = process.argv.slice(2);
const folder = args[0];
if (folder === undefined) console.log('usage: npx tsx bench/join-film.ts FOLDER [production|quick|pieces|picture ..]');
else if (args[1] === '--one') await one(folder, args[2] as Way);
else {
  mkdirSync(folder, { recursive: true });
  const file = join(folder, 'recipe.json');
  if (!existsSync(file)) writeFileSync(file, JSON.stringify((await standAt1080(folder)).recipe));
  const asked = args.slice(1).filter((a): a is Way => WAYS.includes(a as Way));
  for (const way of asked.length === 0 ? WAYS : asked) {
    const run = spawnSync(process.execPath, ['--import', 'tsx', fileURLToPath(import.meta.url), folder, '--one', way], {
      encoding: 'utf8',
    });
    process.stdout.write(run.stdout);
    if (run.status !== 0) process.stderr.write(run.stderr);
  }
}
