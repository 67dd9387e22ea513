/**
 * The inspection on true pictures: each `joined.mp4` of the truth set with its true matte and the recipe that the program
 * proposes. A true picture shows no join, so every matter should pass. Run: `npx tsx bench/inspect.ts [shots]`.
 */
import { TRUTH_SHOTS, truthFile, truthFolder, truthMarks, type TruthShot } from './truth-marks.js';
import { inspectJoin } from '../src/inspect/inspect.js';
import { proposeFromFiles } from '../src/join/quick.js';

const shots = (process.argv[2]?.split(',') ?? [...TRUTH_SHOTS]) as TruthShot[];
if (truthFolder() === null) console.log('bench/inspect: the truth set (../shared/truth) is not beside the checkout; nothing measured');
else {
  for (const shot of shots) {
    const { plate, take } = truthMarks(shot);
    const { recipe } = await proposeFromFiles(truthFile(shot, 'plate.mp4'), truthFile(shot, 'take.mp4'), plate, take, 'fast');
    const r = await inspectJoin({ plate: truthFile(shot, 'plate.mp4'), join: truthFile(shot, 'joined.mp4'), matte: truthFile(shot, 'performer-matte.mkv'), recipe, ...(shot === 'pan' ? { clean: truthFile(shot, 'clean.mp4') } : {}) });
    console.log(`${shot}: ${r.passes ? 'passes' : 'FAILS'}`);
    for (const m of r.matters) console.log(`  ${m.matter.padEnd(14)} ${m.value === null ? `not read: ${m.reason}` : `${m.value.toFixed(2)} ${m.unit} (limit ${m.limit})`}${m.passes === false ? `  FAILS at frame ${m.worstFrame}: ${m.advice}` : ''}`);
  }
}
