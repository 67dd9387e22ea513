/**
 * The view of the exam's plates (exam-scenes.ts) from their marks, a pixel off, and from the picture's upright edges,
 * beside the camera they were traced with: focal length off and its stated sd by the marks alone and with the edges, by
 * how steeply the camera looks down. What a camera that looks level leaves untold is told by the usual lens alone.
 * Run: `npx tsx bench/view-exam.ts FOLDER…`, each a folder of `exam-N` with `plate.mp4` and `plate.json`.
 */
import { existsSync, readFileSync, readdirSync } from 'node:fs';
import { join, resolve } from 'node:path';
import { fileURLToPath } from 'node:url';
import { DEG_PER_RAD } from '../src/core/angles.js';
import { VideoReader } from '../src/media/video-reader.js';
import type { MarksFile } from '../src/plate/marks/marks.js';
import { viewOf } from '../src/plate/view/measure-view.js';
import { planOf } from './exam-plan.js';

/** Focal length beside the true one: ln told over true, stated relative sd. */
interface Told {
  readonly off: number;
  readonly sd: number;
}

interface PlateView {
  readonly seed: number;
  /** The camera's true tilt, degrees, positive = up. */
  readonly tiltDeg: number;
  readonly marks: Told;
  readonly edges: Told;
  /** Tilt told less true, degrees. */
  readonly tiltOff: number;
}

/** Levels of tilt, degrees, by which plates are told apart. */
const LEVELS = [0, 3, 8, 90] as const;

async function plateView(folder: string, seed: number): Promise<PlateView> {
  const marks = JSON.parse(readFileSync(join(folder, 'plate.json'), 'utf8')) as MarksFile;
  const c = planOf(seed).camera(marks.frame);
  const reader = await VideoReader.open(join(folder, 'plate.mp4'));
  try {
    const [alone, view] = [
      await viewOf(reader, marks, { lines: false }, undefined),
      await viewOf(reader, marks, {}, undefined),
    ];
    const told = (v: typeof view): Told => ({
      off: Math.log(v.focalPx.value! / c.focalPx),
      sd: v.focalPx.sd! / v.focalPx.value!,
    });
    const tiltDeg = Math.asin(c.forward[1]) * DEG_PER_RAD;
    return { seed, tiltDeg, marks: told(alone), edges: told(view), tiltOff: view.tiltDeg.value! - tiltDeg };
  } finally {
    await reader.close();
  }
}

const rms = (v: readonly number[]): number => Math.sqrt(v.reduce((a, x) => a + x * x, 0) / v.length);
const median = (v: readonly number[]): number => [...v].sort((a, b) => a - b)[v.length >> 1] ?? NaN;
const percent = (x: number): string => `${(100 * x).toFixed(1)} %`;
const summary = (told: readonly Told[]): string =>
  `off ${percent(median(told.map((t) => Math.abs(t.off))))} in the middle, ` +
  `rms ${percent(rms(told.map((t) => t.off)))}, ` +
  `rms over stated sd ${rms(told.map((t) => t.off / t.sd)).toFixed(2)}`;

if (process.argv[1] !== undefined && resolve(process.argv[1]) === fileURLToPath(import.meta.url)) {
  const views: PlateView[] = [];
  for (const out of process.argv.slice(2))
    for (const name of readdirSync(out).filter((n) => /^exam-\d+$/.test(n))) {
      const folder = join(out, name);
      if (!['plate.json', 'plate.mp4'].every((f) => existsSync(join(folder, f)))) continue;
      const v = await plateView(folder, Number(name.slice('exam-'.length)));
      views.push(v);
      const told = (t: Told): string => `${percent(Math.exp(t.off) - 1)} (sd ${percent(t.sd)})`;
      console.log(
        `${v.seed}, tilt ${v.tiltDeg.toFixed(1)}°: focal length by marks ${told(v.marks)}, ` +
          `with edges ${told(v.edges)}; tilt off ${v.tiltOff.toFixed(2)}°`,
      );
    }
  LEVELS.slice(1).forEach((to, i) => {
    const from = LEVELS[i]!;
    const some = views.filter((v) => Math.abs(v.tiltDeg) >= from && Math.abs(v.tiltDeg) < to);
    if (some.length === 0) return;
    console.log(
      `tilt ${from} to ${to}°, ${some.length} plates: marks ${summary(some.map((v) => v.marks))}; ` +
        `with edges ${summary(some.map((v) => v.edges))}`,
    );
  });
}
