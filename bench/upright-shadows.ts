/**
 * The shadows of marked uprights, found with every shadow mark taken away, on the exam's scenes (exam-scenes.ts):
 * azimuth and elevation of the key beside the scene's own, as seen from its camera on the marks' frame; a near lamp's
 * where the uprights stand. Run: `npx tsx bench/upright-shadows.ts FOLDER SEEDS`; makes the scenes that are missing.
 */
import { readFileSync } from 'node:fs';
import { differenceDeg } from '../src/core/angles.js';
import { VideoReader } from '../src/media/video-reader.js';
import { findUprightShadows } from '../src/plate/light/light-upright-shadow.js';
import type { MarksFile } from '../src/plate/marks/marks.js';
import { linearFrame } from '../src/plate/with-reader.js';
import { viewOf } from '../src/plate/view/measure-view.js';
import { sunFromShadows } from '../src/plate/light/light-shadow.js';
import { planOf } from './exam-plan.js';
import { makeExam, seedsOf } from './exam-scenes.js';

/** Azimuth and elevation of a scene's far key for its camera on frame 0, degrees. */
function keyOf(seed: number): readonly [number, number] {
  const p = planOf(seed);
  const c = p.camera(0).forward;
  const t = p.lamps.towards;
  const heading = Math.atan2(c[0], c[2]);
  const x = t[0] * Math.cos(heading) - t[2] * Math.sin(heading);
  const z = t[0] * Math.sin(heading) + t[2] * Math.cos(heading);
  return [(Math.atan2(x, -z) * 180) / Math.PI, (Math.asin(t[1] / Math.hypot(...t)) * 180) / Math.PI];
}

const [folder, seeds] = process.argv.slice(2);
const errors: number[] = [];
let told = 0;
let all = 0;
for (const seed of seedsOf(seeds!)) {
  const scene = await makeExam(folder!, seed);
  const marks = JSON.parse(readFileSync(scene.plateMarks, 'utf8')) as MarksFile;
  const reader = await VideoReader.open(scene.plate);
  const bare = { ...marks, marks: marks.marks.filter((m) => m.kind !== 'shadow') };
  const view = await viewOf(reader, bare, {}, undefined);
  const found = findUprightShadows(await linearFrame(reader, marks.frame), view, bare);
  // A near lamp's direction differs from place to place: there the marked shadows are the measure.
  const near = planOf(seed).lamps.far < 50;
  const sun = near ? sunFromShadows(view, marks).direction : null;
  const key = near ? (sun === null ? null : ([sun.azimuthDeg, sun.elevationDeg!] as const)) : keyOf(seed);
  reader.close();
  all += 1;
  if (found === null) {
    console.log(
      `${seed} nothing told  ` +
        `(${key === null ? 'no shadow to be marked' : `key ${key[0].toFixed(0)}° / ${key[1].toFixed(0)}°`}; ` +
        `${scene.words})`,
    );
    continue;
  }
  told += 1;
  const off = key === null ? null : ([differenceDeg(found.azimuthDeg, key[0]), found.elevationDeg - key[1]] as const);
  if (off !== null) errors.push(off[0] / found.azimuthSd, off[1] / found.elevationSd);
  console.log(
    `${seed} ${off === null ? 'no truth' : `off ${off[0].toFixed(1)}° / ${off[1].toFixed(1)}°`}  ` +
      `told ${found.azimuthDeg.toFixed(0)}° ± ${found.azimuthSd.toFixed(1)} / ${found.elevationDeg.toFixed(0)}° ` +
      `± ${found.elevationSd.toFixed(1)}, ` +
      `${found.shadows.length} of ${bare.marks.filter((m) => m.kind === 'upright').length} uprights, ` +
      `${found.clear.toFixed(2)} clear  (${scene.words})`,
  );
}
console.log(
  `told ${told} of ${all}; errors over stated sd: ` +
    `rms ${Math.sqrt(errors.reduce((a, b) => a + b * b, 0) / Math.max(1, errors.length)).toFixed(2)}`,
);
