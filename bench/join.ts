/**
 * Joins of the truth set (`../shared/truth`, beside the checkout) by the product's own way: plate and take files,
 * marks, the recipe as proposed. Held against `joined.mp4`: see join-score.ts. Beside it the untouched plate and a
 * plain overlay of the take with the true matte, placed by the same recipe; and the speed of the standard recipe at
 * 1080p, on the `stand` shot enlarged. Run: `npx tsx bench/join.ts [shots] [--truth=FOLDER] [--frames=n,..] [--every=k]
 * [--speed] [--clean] [--once] [--no-camera] [--still] [--no-performer] [--json]`, or `--memory=TIMES` for the peak
 * memory of `stand` laid end to end. `--clean` gives the pan shot the truth's clean plate in place of its own erase, to
 * tell the two apart; `--once` marks the performer's place on the first frame alone; `--no-camera` leaves out the take
 * camera's lens and height, `--still` all poses of the take but the first, `--no-performer` the take's performer and
 * its shadow.
 */
import { readFileSync, writeFileSync } from 'node:fs';
import { resolve } from 'node:path';
import { fileURLToPath } from 'node:url';
import type { BenchRow } from './rows.js';
import { letHeapGrow } from '../src/core/heap.js';
import { truthMarks } from './truth-marks.js';
import { TRUTH_SHOTS, truthFile, truthFolder, truthKind, type TruthShot } from './truth-set.js';
import { blurred, regions, scoreFrame, type JoinScore } from './join-score.js';
import { createPicture, type Picture } from '../src/image/picture.js';
import { toCodedRgb, toLinear } from '../src/media/convert.js';
import { lumaPlane } from '../src/media/luma.js';
import type { VideoFrame } from '../src/media/types.js';
import { VideoReader } from '../src/media/video-reader.js';
import { joinTools } from '../src/join/render/join-tools.js';
import { tighten, type Peeler } from '../src/join/peel/performer.js';
import { proposeFromFiles } from '../src/join/quick.js';
import { JoinRenderer, type JoinOptions } from '../src/join/render/render.js';
import type { Recipe } from '../src/join/types.js';
import { memoryOf, peakMemory, round, speed, speedAt1080, speedOfProcess } from './join-speed.js';

// As the processes that render for a production do.
letHeapGrow();

/** The take under its true matte, screen colour and all: what a plain overlay would lay on. */
async function plainPeeler(shot: TruthShot): Promise<Peeler> {
  const mattes = await VideoReader.open(truthFile(shot, 'take-matte.mkv'));
  return {
    async peel(frame: VideoFrame) {
      const linear = toLinear(frame);
      const alpha = lumaPlane(await mattes.frame(frame.index));
      const n = linear.width * linear.height;
      const out = createPicture(linear.width, linear.height, 4);
      for (let i = 0; i < n; i++) {
        const a = alpha[i]!;
        for (let c = 0; c < 3; c++) out.data[c * n + i] = linear.data[c * n + i]! * a;
        out.data[3 * n + i] = a;
      }
      return tighten(out);
    },
  };
}

function only(recipe: Recipe, steps: readonly string[]): Recipe {
  return {
    ...recipe,
    steps: recipe.steps.map((s) => ({ ...s, on: s.on && steps.includes(s.step) })) as Recipe['steps'],
  };
}

interface Row {
  readonly shot: string;
  readonly what: string;
  readonly score: JoinScore;
  readonly worst: { frame: number; performer: number };
}

async function score(
  recipe: Recipe,
  options: JoinOptions,
  shot: TruthShot,
  frames: readonly number[],
  what: string,
): Promise<Row> {
  const base = await VideoReader.open(truthFile(shot, truthKind(shot) === 'pan' ? 'clean.mp4' : 'plate.mp4'));
  const truth = await VideoReader.open(truthFile(shot, 'joined.mp4'));
  const mattes = await VideoReader.open(truthFile(shot, 'performer-matte.mkv'));
  const renderer = await JoinRenderer.open(recipe, options);
  const sums: Record<string, number> = {};
  let worst = { frame: -1, performer: -1 };
  for (const n of frames) {
    const t = blurred(toCodedRgb(await truth.frame(n)));
    const b = blurred(toCodedRgb(await base.frame(n)));
    const m = lumaPlane(await mattes.frame(n)).slice();
    const r = regions(m, t.width, t.height, t, b);
    const picture: Picture = what === 'plate' ? toCodedRgb(await base.frame(n)) : (await renderer.frame(n)).coded();
    const s = scoreFrame(blurred(picture), t, b, r);
    for (const [k, v] of Object.entries(s))
      if (typeof v === 'number' && Number.isFinite(v)) {
        sums[k] = (sums[k] ?? 0) + v;
        sums[`n_${k}`] = (sums[`n_${k}`] ?? 0) + 1;
      }
    if (s.performer > worst.performer) worst = { frame: n, performer: round(s.performer) };
  }
  await Promise.all([renderer.close(), base.close(), truth.close(), mattes.close()]);
  const mean = (k: string): number => round((sums[k] ?? NaN) / (sums[`n_${k}`] ?? 1));
  return {
    shot,
    what,
    worst,
    score: {
      performer: mean('performer'),
      edge: mean('edge'),
      shadow: mean('shadow'),
      outside: mean('outside'),
      edgeBias: mean('edgeBias'),
      performerBias: [0, 0, 0],
      shadowBias: mean('shadowBias'),
      shadowIou: mean('shadowIou'),
      shadowStray: mean('shadowStray'),
      shadowArea: mean('shadowArea'),
      shadowLeft: mean('shadowLeft'),
      shadowLost: mean('shadowLost'),
      ssim: mean('ssim'),
    },
  };
}

interface Wanted {
  readonly every: number;
  readonly frames?: readonly number[];
  readonly clean?: boolean;
  readonly why?: boolean;
  readonly recipeFile?: string;
  readonly save?: string;
  readonly speed?: boolean;
  readonly once?: boolean;
  readonly noCamera?: boolean;
  readonly still?: boolean;
  readonly noPerformer?: boolean;
}

/** One shot proposed and scored: our join, the plain overlay, the untouched plate. */
async function scoreShot(shot: TruthShot, wanted: Wanted): Promise<readonly [Row, Row, Row]> {
  const { plate, take } = truthMarks(shot, {
    once: wanted.once === true,
    takeCameraUnknown: wanted.noCamera === true,
    takeHoldsStill: wanted.still === true,
    takePerformerUnknown: wanted.noPerformer === true,
  });
  const proposal = await proposeFromFiles(
    truthFile(shot, 'plate.mp4'),
    truthFile(shot, 'take.mp4'),
    plate,
    take,
    'fine',
  );
  const used: Recipe =
    wanted.recipeFile === undefined ? proposal.recipe : (JSON.parse(readFileSync(wanted.recipeFile, 'utf8')) as Recipe);
  if (wanted.save !== undefined) writeFileSync(wanted.save, JSON.stringify(used));
  const tools: JoinOptions = { ...(await joinTools(used, plate, proposal.camera)), carrier: proposal.carrier };
  const count = used.plate.out - used.plate.in;
  const frames = wanted.frames ?? Array.from({ length: Math.ceil(count / wanted.every) }, (_, i) => i * wanted.every);
  const clean =
    wanted.clean === true && truthKind(shot) === 'pan' ? await VideoReader.open(truthFile(shot, 'clean.mp4')) : null;
  const mended: JoinOptions = clean === null ? tools : { ...tools, mender: { mend: (n) => clean.frame(n) } };
  if (wanted.why === true) for (const s of used.steps) console.log(`  ${s.step}${s.on ? '' : ' (off)'}: ${s.why}`);
  const rows = [
    await score(used, mended, shot, frames, 'join'),
    await score(
      only(used, ['erase', 'peel', 'pace', 'ride', 'front']),
      { ...mended, screenPeeler: () => plainPeeler(shot) },
      shot,
      frames,
      'plain overlay',
    ),
    await score(used, mended, shot, frames, 'plate'),
  ] as const;
  await clean?.close();
  for (const r of rows)
    console.log(
      `${shot.padEnd(6)} ${r.what.padEnd(14)} performer ${r.score.performer} edge ${r.score.edge} ` +
        `(bias ${r.score.edgeBias}) shadow ${r.score.shadow} (IoU ${r.score.shadowIou}, ` +
        `light left ${r.score.shadowLeft}, taken ${r.score.shadowLost} of the truth's) outside ${r.score.outside} ` +
        `ssim ${r.score.ssim}; worst frame ${r.worst.frame} (${r.worst.performer})`,
    );
  if (wanted.speed === true) console.log(`${shot.padEnd(6)} speed`, JSON.stringify(await speed(used, mended)));
  return rows;
}

/**
 * Rows for `npm run bench`: every sixth frame of each shot with `full`, else every twelfth; the
 * reference is the plain overlay. The set is fixed, so the seed has no part here. The bars are for shots
 * that the take fits or can be mended to: not `turn`.
 */
export async function run(_seed: number, full = false): Promise<BenchRow[]> {
  if (truthFolder() === null) {
    console.log('SKIPPED: the truth set (../shared/truth) is not beside the checkout; the join bench needs it');
    return [];
  }
  const out: BenchRow[] = [];
  for (const shot of TRUTH_SHOTS) {
    const [ours, plain, plate] = await scoreShot(shot, { every: full ? 6 : 12 });
    const fits = truthKind(shot) !== 'turn';
    const row = (what: string, a: number, b: number | null, bar: number | null, goal: number | null): void => {
      out.push({
        name: `join ${shot}: ${what}`,
        ours: a,
        reference: b,
        bar: fits ? bar : null,
        goal: fits ? goal : null,
        unit: 'ΔE00',
      });
    };
    row('performer', ours.score.performer, plain.score.performer, 6, 4);
    row('edge', ours.score.edge, plain.score.edge, 7, 5);
    row('edge bias, size (L*)', Math.abs(ours.score.edgeBias), Math.abs(plain.score.edgeBias), 1.5, 0.7);
    row('shadow', ours.score.shadow, plain.score.shadow, 7, 4);
    row(
      'outside, above the untouched plate',
      ours.score.outside - plate.score.outside,
      plain.score.outside - plate.score.outside,
      0.3,
      0.1,
    );
    out.push({
      name: `join ${shot}: shadow, how far the light left is off the truth's (share)`,
      ours: Math.abs(ours.score.shadowLeft - 1),
      reference: null,
      bar: fits ? 0.1 : null,
      goal: null,
      unit: '',
    });
    out.push({
      name: `join ${shot}: shadow area, intersection over union`,
      ours: ours.score.shadowIou,
      reference: null,
      bar: fits ? 0.75 : null,
      goal: fits ? 0.88 : null,
      unit: '',
      better: 'high',
    });
  }
  const { kept, anew } = speedOfProcess();
  out.push({
    name: `join at 1080p, standard recipe (decode and encode alone: ${kept.copyFps.toFixed(1)})`,
    ours: kept.joinFps,
    reference: null,
    bar: 8,
    goal: 24,
    unit: 'frames/s',
    better: 'high',
  });
  out.push({
    name: `the same with the screen modelled anew (decode and encode alone: ${anew.copyFps.toFixed(1)})`,
    ours: anew.joinFps,
    reference: null,
    bar: null,
    goal: null,
    unit: 'frames/s',
    better: 'high',
  });
  const once = memoryOf(1);
  const four = memoryOf(4);
  out.push({
    name: `join: peak memory of a clip four times as long, over the clip's own (${once} MB)`,
    ours: Math.round((100 * four) / once) / 100,
    reference: null,
    bar: 1.15,
    goal: 1.05,
    unit: 'times',
  });
  return out;
}

if (process.argv[1] !== undefined && resolve(process.argv[1]) === fileURLToPath(import.meta.url)) {
  const args = process.argv.slice(2);
  const value = (name: string): string | undefined =>
    args.find((a) => a.startsWith(`--${name}=`))?.slice(name.length + 3);
  const shots = (args.find((a) => !a.startsWith('--'))?.split(',') ?? [...TRUTH_SHOTS]) as TruthShot[];
  const memory = value('memory');
  if (truthFolder() === null)
    console.log('bench/join: the truth set (../shared/truth) is not beside the checkout; nothing measured');
  else if (memory !== undefined) await peakMemory(Number(memory));
  else if (args.includes('--speed-alone')) console.log(JSON.stringify(await speedAt1080()));
  else {
    const frames = value('frames')?.split(',').map(Number);
    const recipeFile = value('recipe');
    const save = value('save');
    const rows: Row[] = [];
    for (const shot of shots) {
      rows.push(
        ...(await scoreShot(shot, {
          every: Number(value('every') ?? 6),
          clean: args.includes('--clean'),
          once: args.includes('--once'),
          noCamera: args.includes('--no-camera'),
          still: args.includes('--still'),
          noPerformer: args.includes('--no-performer'),
          why: args.includes('--why'),
          speed: args.includes('--speed'),
          ...(frames === undefined ? {} : { frames }),
          ...(recipeFile === undefined ? {} : { recipeFile }),
          ...(save === undefined ? {} : { save }),
        })),
      );
    }
    if (args.includes('--speed')) console.log('1080p speed', JSON.stringify(await speedAt1080()));
    if (args.includes('--json')) console.log(JSON.stringify(rows));
  }
}
