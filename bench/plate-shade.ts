/**
 * How dark and how tinted the plate's own shadows are told beside the truth (plate-shade-truth.ts), from plate and
 * marks alone: rows of light left a channel, told and true, and ln of their ratio; last its root mean square and mean
 * over scenes, channel by channel and of luminance. Scenes whose key is not known are left out and named.
 * Run: `npx tsx bench/plate-shade.ts FOLDER SEEDS [--scenes=FOLDER,…]`: traces plates that stand still into FOLDER, or
 * takes the plates of scenes that bench/exam-scenes.ts made; measures are kept in FOLDER (`--anew` measures again).
 */
import { existsSync, mkdirSync, readFileSync, writeFileSync } from 'node:fs';
import { join, resolve } from 'node:path';
import { proposeDarkness } from '../src/join/ground/propose-darkness.js';
import { keyOfLamp } from '../src/join/ground/near-lamp.js';
import { marksOf, type Side } from '../src/join/proposal-input.js';
import { measurePlateSide } from '../src/join/sides.js';
import { toLinear } from '../src/media/convert.js';
import { clonePicture } from '../src/image/picture.js';
import { VideoReader } from '../src/media/video-reader.js';
import type { MarksFile } from '../src/plate/marks/marks.js';
import { onShadowLines } from '../src/plate/light/shadow-line.js';
import type { PlateMeasures } from '../src/plate/types.js';
import { planOf } from './exam-plan.js';
import { canTrace, seedsOf } from './exam-scenes.js';
import { shadeTruth } from './plate-shade-truth.js';

function luma(c: readonly number[]): number {
  return 0.2126 * c[0]! + 0.7152 * c[1]! + 0.0722 * c[2]!;
}
const [out, seeds, ...rest] = process.argv.slice(2);
if (out === undefined || seeds === undefined)
  console.log('usage: npx tsx bench/plate-shade.ts FOLDER SEEDS [--scenes=FOLDER,…] [--anew]');
else if (canTrace()) await run(resolve(out), seedsOf(seeds));

async function run(folder: string, list: readonly number[]): Promise<void> {
  const scenes =
      rest
        .find((a) => a.startsWith('--scenes='))
        ?.slice(9)
        .split(',') ?? [],
    off: number[][] = [];
  let spent = 0;
  for (const seed of list) {
    const made = scenes.map((s) => join(s, `exam-${seed}`)).find((s) => existsSync(join(s, 'plate.mp4')));
    const truth = await shadeTruth(folder, seed, made === undefined);
    const { side, close } = await sideOf(folder, made ?? join(folder, `exam-${seed}`), seed);
    const t0 = process.cpuUsage().user,
      told = await tell(side);
    spent += process.cpuUsage().user - t0;
    await close();
    const { place } = planOf(seed);
    if (told === null) {
      console.log(`${seed} ${place}: no key is known`);
      continue;
    }
    const e = [0, 1, 2].map((c) => Math.log(told.transmission[c]! / truth[c]!)),
      l = Math.log(luma(told.transmission) / luma(truth));
    off.push([...e, l]);
    console.log(
      `${seed} ${place.padEnd(6)} told ${text(told.transmission)} true ${text(truth)} ` +
        `ln ${e.map((x) => x.toFixed(2).padStart(5)).join(' ')} | ${l.toFixed(2).padStart(5)}  ${told.said}`,
    );
  }
  const of = (fn: (v: number[]) => number): string =>
    [0, 1, 2, 3].map((c) => fn(off.map((r) => r[c]!)).toFixed(3)).join(' ');
  console.log(
    `${off.length} scenes, red green blue luma: ` +
      `rms ${of((v) => Math.sqrt(v.reduce((s, x) => s + x * x, 0) / v.length))}; ` +
      `mean ${of((v) => v.reduce((s, x) => s + x, 0) / v.length)}; ` +
      `${(spent / 1e3 / list.length).toFixed(0)} ms of processor a scene`,
  );
}

function text(c: readonly number[]): string {
  return c.map((x) => x.toFixed(2).slice(1)).join(' ');
}

/** Plate side of a scene's folder; measures kept. */
async function sideOf(out: string, scene: string, seed: number): Promise<{ side: Side; close: () => Promise<void> }> {
  const kept = join(out, 'measures', `${seed}.json`),
    file = join(scene, 'plate.mp4'),
    marks = JSON.parse(readFileSync(join(scene, 'plate.json'), 'utf8')) as MarksFile,
    reader = await VideoReader.open(file);
  mkdirSync(join(out, 'measures'), { recursive: true });
  if (!existsSync(kept) || rest.includes('--anew'))
    writeFileSync(kept, JSON.stringify((await measurePlateSide(file, reader, marks)).side.measures));
  const measures = JSON.parse(readFileSync(kept, 'utf8')) as PlateMeasures;
  return {
    side: { measures, marks, linear: async (n) => clonePicture(toLinear(await reader.frame(n))) },
    close: () => reader.close(),
  };
}

/** As the ground step is proposed; null where the key is not known. */
async function tell(plate: Side): Promise<{ transmission: readonly number[]; said: string } | null> {
  const pm = plate.measures,
    { light, view } = pm,
    foot = marksOf(plate.marks, 'stand')[0]!.mark.ground;
  if (view === undefined || light?.azimuthDeg.value == null || light.elevationDeg.value === null) return null;
  const lamp = keyOfLamp(
    view,
    onShadowLines(await plate.linear(view.frame), { ...plate.marks, frame: view.frame }),
    foot,
    pm.widthPx / 1000,
    pm.foundLamp,
  );
  return proposeDarkness(plate, {
    azimuthDeg: lamp?.azimuthDeg ?? light.azimuthDeg.value,
    elevationDeg: lamp?.elevationDeg ?? light.elevationDeg.value,
    reference: light.azimuthDeg.frames?.[0] ?? marksOf(plate.marks, 'shadow')[0]?.frame ?? plate.marks.frame,
    known: true,
    lamp: lamp?.lamp ?? null,
    byFloor:
      pm.foundLamp?.byFloor === true && pm.foundShadows === undefined && marksOf(plate.marks, 'shadow').length === 0,
    stand: foot,
  });
}
