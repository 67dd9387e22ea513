/**
 * How far the performer's foot swims over the ground where a shaky hand set its stand marks: the practice plates
 * (`../shared/truth`) and traced scenes (exam-scenes.ts, whose marks are a pixel off already), marks moved by so many
 * pixels more, in several draws. Against the foot's true place on every frame: `slip` is the rms of what is off from
 * its own mean (what an eye sees swim), `off` the rms of all of it, both px, rms over the draws; `top` the rms of what
 * the top is off. Run: `npx tsx bench/stand-shaky.ts [FOLDER…] [--shots=push,stand,pan,turn] [--px=0,1.5,3] [--draws=8]
 * [--own] [--each] [--seeds=1103,1106]`; a folder holds scenes `exam-N`. Every mark is shaken, and with them the view
 * and the camera's way are solved anew; `--own` shakes the stand marks alone, which is quick.
 */
import { existsSync, readdirSync, readFileSync } from 'node:fs';
import { join } from 'node:path';
import { project } from '../demo/scenes/camera.js';
import { VideoReader } from '../src/media/video-reader.js';
import { cameraOf, travelOf, travels } from '../src/plate/camera/measure-camera.js';
import type { Mark, MarkKind, MarksFile } from '../src/plate/marks/marks.js';
import { measurePlate } from '../src/plate/measure.js';
import { followFooting } from '../src/plate/ride/footing.js';
import { readerLumaSource } from '../src/plate/ride/reader-luma-source.js';
import { piecesOf } from '../src/plate/travel/travel-pieces.js';
import type { PlateMeasures } from '../src/plate/types.js';
import { viewOrNull } from '../src/plate/view/measure-view.js';
import type { ProposalInput } from '../src/join/proposal-input.js';
import { placeOf, standingOf } from '../src/join/ride/standing.js';
import { planOf } from './exam-plan.js';
import { shaken } from './shaken-marks.js';
import { truthMarks } from './truth-marks.js';
import { readTruth, truthFile, truthFolder } from './truth-set.js';

type Px = readonly [number, number];
/** Foot and top as they truly are seen. */
type Stood = readonly [Px, Px];

interface Plate {
  readonly name: string;
  readonly file: string;
  readonly marks: MarksFile;
  readonly truth: (frame: number) => Stood;
}

/** Frames of the practice plates on which a place is marked: of a camera that stands too, as the bench is about them. */
function markedOften(shot: string): MarksFile {
  const { plate } = truthMarks(shot),
    t = readTruth(shot),
    stood = plate.marks.filter((m) => m.kind === 'stand');
  if (stood.length !== 1) return plate;
  const more = [1, 2, 3, 4].map((k): Mark => ({ ...stood[0]!, frame: Math.round((k * (t.frames.length - 1)) / 4) }));
  return {
    ...plate,
    marks: [
      ...plate.marks,
      ...more.map((m): Mark => {
        const { ground, top } = t.frames[('frame' in m ? m.frame : 0) ?? 0]!.performer;
        return { ...(m as Extract<Mark, { kind: 'stand' }>), ground, top };
      }),
    ],
  };
}

function practice(shot: string): Plate {
  const t = readTruth(shot);
  return {
    name: shot,
    file: truthFile(shot, 'plate.mp4'),
    marks: markedOften(shot),
    truth: (n) => [t.frames[n]!.performer.ground, t.frames[n]!.performer.top],
  };
}

function* scenes(folder: string, seeds: readonly number[] | null): Generator<Plate> {
  for (const name of readdirSync(folder).filter((n) => /^exam-\d+$/.test(n))) {
    const file = (f: string): string => join(folder, name, f),
      seed = Number(name.slice('exam-'.length));
    if (!['plate.json', 'plate.mp4'].every((f) => existsSync(file(f)))) continue;
    const plan = planOf(seed),
      at = plan.at;
    if (plan.move === 'locked' || seeds?.includes(seed) === false) continue;
    yield {
      name: `${seed} ${plan.place}, ${plan.move}`,
      file: file('plate.mp4'),
      marks: JSON.parse(readFileSync(file('plate.json'), 'utf8')) as MarksFile,
      truth: (n) => [
        project(plan.camera(n), at),
        project(plan.camera(n), [at[0], at[1] + plan.creature.height, at[2]]),
      ],
    };
  }
}

/** What tells where the performer stands: a part of what `measurePlate` measures, in its order. */
class Measuring {
  private readonly reader: VideoReader;
  private readonly camera: PlateMeasures['camera'];
  private readonly pieces: ReturnType<typeof piecesOf>;

  private constructor(reader: VideoReader, camera: PlateMeasures['camera'], pieces: ReturnType<typeof piecesOf>) {
    this.reader = reader;
    this.camera = camera;
    this.pieces = pieces;
  }

  static async open(p: Plate): Promise<Measuring> {
    const reader = await VideoReader.open(p.file),
      camera = await cameraOf(reader, {}, { in: 0, out: reader.info.frameCount });
    return new Measuring(reader, camera, piecesOf(reader, p.marks, {}, camera));
  }

  close(): Promise<void> {
    return this.reader.close();
  }

  async viewAndWay(marks: MarksFile): Promise<Pick<PlateMeasures, 'view' | 'travel'>> {
    const view = await viewOrNull(this.reader, marks, {}, this.camera, this.pieces);
    const travel = await travelOf(view, this.camera, this.pieces).catch((error: unknown) => {
      console.log(`    no way: ${error instanceof Error ? error.message : String(error)}`);
      return undefined;
    });
    return { ...(view === null ? {} : { view }), ...(travel === undefined ? {} : { travel }) };
  }

  /** @param known view and way, measured from other marks */
  async of(marks: MarksFile, known: Pick<PlateMeasures, 'view' | 'travel'>): Promise<PlateMeasures> {
    const { frameCount, widthPx, heightPx } = this.reader.info,
      span = { in: 0, out: frameCount };
    const footing = travels(this.camera) ? await followFooting(readerLumaSource(this.reader), marks, span) : undefined;
    return {
      ...known,
      span,
      widthPx,
      heightPx,
      ...(this.camera === undefined ? {} : { camera: this.camera }),
      ...(footing === undefined ? {} : { footing }),
    } as PlateMeasures;
  }
}

interface Off {
  readonly slip: number;
  readonly off: number;
  readonly top: number;
}

const rms = (v: readonly number[]): number => Math.sqrt(v.reduce((a, x) => a + x * x, 0) / v.length);

function offOf(measures: PlateMeasures, marks: MarksFile, p: Plate): { readonly off: Off; readonly by: string } {
  const input = { plate: { measures, marks }, take: { marks: { frame: 0, marks: [] } } } as unknown as ProposalInput;
  const { where, by } = placeOf(input, standingOf(input));
  const foot: [number, number][] = [],
    top: number[] = [];
  for (let n = measures.span.in; n < measures.span.out; n++) {
    const [g, t] = p.truth(n),
      at = where(n);
    foot.push([at.ground[0] - g[0], at.ground[1] - g[1]]);
    top.push(Math.hypot(at.top[0] - t[0], at.top[1] - t[1]));
  }
  const mean = [0, 1].map((c) => foot.reduce((s, f) => s + f[c]!, 0) / foot.length);
  return {
    off: {
      slip: rms(foot.map((f) => Math.hypot(f[0] - mean[0]!, f[1] - mean[1]!))),
      off: rms(foot.map((f) => Math.hypot(...f))),
      top: rms(top),
    },
    by,
  };
}

const all = (offs: readonly Off[]): string =>
  (['slip', 'off', 'top'] as const).map((k) => `${k} ${rms(offs.map((o) => o[k])).toFixed(2)}`).join(', ');

const args = process.argv.slice(2);
const value = (name: string): string | undefined =>
  args.find((a) => a.startsWith(`--${name}=`))?.slice(name.length + 3);
const folders = args.filter((a) => !a.startsWith('--')),
  px = (value('px') ?? '0,1.5,3').split(',').map(Number),
  shots = (value('shots') ?? (folders.length === 0 ? 'push,stand,pan,turn' : '')).split(',').filter((s) => s !== ''),
  seeds = value('seeds')?.split(',').map(Number) ?? null,
  own = args.includes('--own'),
  kinds: readonly MarkKind[] = own ? ['stand', 'carry'] : [];
const plates: Plate[] = [];
if (shots.length > 0 && truthFolder() === null)
  console.log('SKIPPED: the truth set (../shared/truth) is not beside the checkout');
else plates.push(...shots.map(practice));
for (const f of folders) plates.push(...scenes(f, seeds));
const sums: Off[][] = px.map(() => []);
for (const p of plates) {
  const measuring = await Measuring.open(p),
    asMarked = own ? await measuring.viewAndWay(p.marks) : null,
    // A carrier is followed and its turn measured once: of its marks the places of the performer alone are tried.
    carried = p.marks.marks.some((m) => m.kind === 'carry') ? await measurePlate(p.file, p.marks) : null;
  console.log(p.name);
  for (const [i, sd] of px.entries()) {
    const some: Off[] = [],
      ways = new Map<string, number>();
    for (let k = 1; k <= (sd === 0 ? 1 : Number(value('draws') ?? 8)); k++) {
      const marks = shaken(p.marks, sd, k, carried === null ? kinds : ['carry']),
        measures = carried ?? (await measuring.of(marks, asMarked ?? (await measuring.viewAndWay(marks)))),
        { off, by } = offOf(measures, marks, p);
      some.push(off);
      ways.set(by.slice(0, 60), (ways.get(by.slice(0, 60)) ?? 0) + 1);
      if (args.includes('--each')) console.log(`    ${sd} px, draw ${k}: ${all([off])}  ${by}`);
    }
    sums[i]!.push(...some);
    console.log(`  ${sd} px: ${all(some)}  (${[...ways].map(([by, n]) => `${n} ${by}`).join('; ')})`);
  }
  await measuring.close();
}
if (plates.length > 1) sums.forEach((some, i) => console.log(`all ${plates.length} plates, ${px[i]} px: ${all(some)}`));
