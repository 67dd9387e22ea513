/**
 * The view from marks that a shaky hand set: the marks of the practice plates (`../shared/truth`) and of traced scenes
 * (exam-scenes.ts, whose marks are a pixel off already) moved by so many pixels more, in several draws; rms over the
 * draws of ln focal length, ln camera height and tilt, and of all three over their stated sd. A height is typed once
 * for a thing that is marked on several frames, so it is wrong alike on all of them. Run: `npx tsx bench/view-shaky.ts
 * [FOLDER…] [--shots=push,stand,pan] [--px=0,1.5,3] [--draws=8] [--each] [--own]`; a folder holds scenes `exam-N`, `--own` leaves out the way of
 * a camera that travels and so the marks of its other frames.
 */
import { existsSync, readdirSync, readFileSync } from 'node:fs';
import { join } from 'node:path';
import { DEG_PER_RAD } from '../src/core/angles.js';
import { VideoReader } from '../src/media/video-reader.js';
import { cameraOf } from '../src/plate/camera/measure-camera.js';
import type { MarksFile } from '../src/plate/marks/marks.js';
import { piecesOf } from '../src/plate/travel/travel-pieces.js';
import type { CameraMove, View } from '../src/plate/types.js';
import { viewOf } from '../src/plate/view/measure-view.js';
import { planOf } from './exam-plan.js';
import { shaken } from './shaken-marks.js';
import { truthMarks } from './truth-marks.js';
import { readTruth, truthFile, truthFolder } from './truth-set.js';

interface Plate {
  readonly name: string;
  readonly file: string;
  readonly marks: MarksFile;
  readonly focalPx: number;
  readonly heightM: number;
  readonly tiltDeg: number;
}

function practice(shot: string): Plate {
  const t = readTruth(shot);
  const f = t.frames[0]!;
  return {
    name: shot,
    file: truthFile(shot, 'plate.mp4'),
    marks: truthMarks(shot).plate,
    focalPx: t.focalPx,
    heightM: f.cameraPosition[1],
    tiltDeg: Math.asin(f.rotationWorldToCamera[2][1]) * DEG_PER_RAD,
  };
}

function* scenes(folder: string): Generator<Plate> {
  for (const name of readdirSync(folder).filter((n) => /^exam-\d+$/.test(n))) {
    const file = (f: string): string => join(folder, name, f);
    if (!['plate.json', 'plate.mp4'].every((f) => existsSync(file(f)))) continue;
    const seed = Number(name.slice('exam-'.length));
    const plan = planOf(seed);
    if (plan.move === 'locked') continue;
    const marks = JSON.parse(readFileSync(file('plate.json'), 'utf8')) as MarksFile;
    const c = plan.camera(marks.frame);
    yield {
      name: `${seed} ${plan.place}, ${plan.move}`,
      file: file('plate.mp4'),
      marks,
      focalPx: c.focalPx,
      heightM: c.position[1],
      tiltDeg: Math.asin(c.forward[1]) * DEG_PER_RAD,
    };
  }
}

/** Focal length, height (ln) and tilt (degrees) less the true ones, and the same over their stated sd. */
interface Off {
  readonly by: readonly [number, number, number];
  readonly z: readonly [number, number, number];
}

function offOf(v: View, p: Plate): Off {
  const ln = (m: View['focalPx'], truth: number): readonly [number, number] => {
    const d = Math.log(m.value! / truth);
    return [d, d / (m.sd! / m.value!)];
  };
  const [f, zf] = ln(v.focalPx, p.focalPx);
  const [h, zh] = v.cameraHeight.value === null ? [NaN, NaN] : ln(v.cameraHeight, p.heightM);
  const t = v.tiltDeg.value! - p.tiltDeg;
  return { by: [f, h, t], z: [zf, zh, t / v.tiltDeg.sd!] };
}

const rms = (v: readonly number[]): number => Math.sqrt(v.reduce((a, x) => a + x * x, 0) / v.length);

/** Views of one plate: as marked, and for every hand's unsteadiness in so many draws. */
async function offsOf(p: Plate, px: readonly number[], draws: number, each: boolean, own: boolean): Promise<Off[][]> {
  const reader = await VideoReader.open(p.file);
  try {
    const span = { in: 0, out: reader.info.frameCount };
    const camera: CameraMove | undefined = await cameraOf(reader, {}, span);
    const pieces = own ? null : piecesOf(reader, p.marks, {}, camera);
    const out: Off[][] = [];
    const begun = process.cpuUsage();
    let views = 0;
    for (const sd of px) {
      const some: Off[] = [];
      for (let k = 1; k <= (sd === 0 ? 1 : draws); k++) {
        const v = await viewOf(reader, shaken(p.marks, sd, k), {}, camera, pieces);
        views++;
        some.push(offOf(v, p));
        if (each)
          console.log(
            `    ${sd} px, draw ${k}: ${some
              .at(-1)!
              .by.map((x) => x.toFixed(3))
              .join(' ')}` +
              ` (sd ${(v.focalPx.sd! / v.focalPx.value!).toFixed(3)} ${v.tiltDeg.sd!.toFixed(2)}°)  ${v.notes.join('; ')}`,
          );
      }
      out.push(some);
    }
    const spent = process.cpuUsage(begun);
    const seconds = (spent.user + spent.system) / 1e6 / views;
    console.log(
      `${p.name}: camera ${camera?.move ?? 'still'}${pieces === null ? '' : ', travels'}; ${seconds.toFixed(1)} s of processor time a view`,
    );
    return out;
  } finally {
    await reader.close();
  }
}

function row(offs: readonly Off[]): string {
  const of = (k: 0 | 1 | 2, what: 'by' | 'z'): number => rms(offs.map((o) => o[what][k]).filter(Number.isFinite));
  return (
    `focal ${of(0, 'by').toFixed(3)}, height ${of(1, 'by').toFixed(3)}, tilt ${of(2, 'by').toFixed(2)}° ` +
    `(over stated sd ${of(0, 'z').toFixed(1)}, ${of(1, 'z').toFixed(1)}, ${of(2, 'z').toFixed(1)})`
  );
}

const args = process.argv.slice(2);
const value = (name: string): string | undefined =>
  args.find((a) => a.startsWith(`--${name}=`))?.slice(name.length + 3);
const folders = args.filter((a) => !a.startsWith('--'));
const px = (value('px') ?? '0,1.5,3').split(',').map(Number);
const shots = (value('shots') ?? (folders.length === 0 ? 'push,stand,pan' : '')).split(',').filter((s) => s !== '');
const plates: Plate[] = [];
if (shots.length > 0 && truthFolder() === null)
  console.log('SKIPPED: the truth set (../shared/truth) is not beside the checkout');
else plates.push(...shots.map(practice));
for (const f of folders) plates.push(...scenes(f));
const all: Off[][] = px.map(() => []);
for (const p of plates) {
  const offs = await offsOf(p, px, Number(value('draws') ?? 8), args.includes('--each'), args.includes('--own'));
  offs.forEach((some, i) => {
    all[i]!.push(...some);
    console.log(`  ${px[i]} px: ${row(some)}`);
  });
}
if (plates.length > 1) all.forEach((some, i) => console.log(`all ${plates.length} plates, ${px[i]} px: ${row(some)}`));
