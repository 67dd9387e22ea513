/**
 * The inspection on true pictures: each `joined.mp4` of the truth set with its true matte and the recipe that the program
 * proposes. A true picture shows no join, so every matter should pass. Run: `npx tsx bench/inspect.ts [shots]`.
 */
import { resolve } from 'node:path';
import { fileURLToPath } from 'node:url';
import { TRUTH_SHOTS, truthFile, truthFolder, truthMarks, type TruthShot } from './truth-marks.js';
import type { BenchRow } from './rows.js';
import { inspectJoin } from '../src/inspect/inspect.js';
import type { Inspection } from '../src/inspect/types.js';
import { proposeFromFiles } from '../src/join/quick.js';

async function inspectTruth(shot: TruthShot): Promise<Inspection> {
  const { plate, take } = truthMarks(shot);
  const { recipe } = await proposeFromFiles(truthFile(shot, 'plate.mp4'), truthFile(shot, 'take.mp4'), plate, take, 'fast');
  const r = await inspectJoin({ plate: truthFile(shot, 'plate.mp4'), join: truthFile(shot, 'joined.mp4'), matte: truthFile(shot, 'performer-matte.mkv'), recipe, ...(shot === 'pan' ? { clean: truthFile(shot, 'clean.mp4') } : {}) });
  console.log(`${shot}: ${r.passes ? 'passes' : 'FAILS'}`);
  for (const m of r.matters) console.log(`  ${m.matter.padEnd(14)} ${m.value === null ? `not read: ${m.reason}` : `${m.value.toFixed(2)} ${m.unit} (limit ${m.limit})`}${m.passes === false ? `  FAILS at frame ${m.worstFrame}: ${m.advice}` : ''}`);
  return r;
}

/** Rows for `npm run bench`: matters that blame a true picture, of those that could be read. The set is fixed: the seed has no part. */
export async function run(_seed: number, _full = false): Promise<BenchRow[]> {
  if (truthFolder() === null) {
    console.log('SKIPPED: the truth set (../shared/truth) is not beside the checkout; the bench of the inspection needs it');
    return [];
  }
  const rows: BenchRow[] = [];
  for (const shot of TRUTH_SHOTS) {
    const { matters } = await inspectTruth(shot);
    const read = matters.filter((m) => m.value !== null).length;
    rows.push({ name: `inspection of the true ${shot}: matters wrongly blamed, of ${read} read`, ours: matters.filter((m) => m.passes === false).length, reference: null, bar: 0, goal: 0, unit: '' });
  }
  return rows;
}

if (process.argv[1] !== undefined && resolve(process.argv[1]) === fileURLToPath(import.meta.url)) {
  if (truthFolder() === null) console.log('bench/inspect: the truth set (../shared/truth) is not beside the checkout; nothing measured');
  else for (const shot of (process.argv[2]?.split(',') ?? [...TRUTH_SHOTS]) as TruthShot[]) await inspectTruth(shot);
}
