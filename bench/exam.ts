/**
 * Scores joins of the exam's scenes (exam-scenes.ts) against their truth, beside a plain overlay with the true
 * matte: the whole join's rows (join-score.ts: performer, edge band, its bias, shadow, its overlap where more than
 * a rim of it shows, its stray area, outside beyond the plate's own grain), level (mean L*), white (a*, b*), size
 * and place (px); worst first, naming for each scene what misses its bar by most. Every join is proposed and
 * rendered from plate, take and marks alone. `--tones` marks the ground at the feet as a known tone in plate and take
 * as well. Run: `npx tsx bench/exam.ts FOLDER SEEDS [--pictures=DIR] [--json=FILE] [--why] [--tones]`; makes the scenes
 * that are missing.
 */
import { mkdirSync, readFileSync, writeFileSync } from 'node:fs';
import { join, resolve } from 'node:path';
import { fileURLToPath } from 'node:url';
import type { Picture } from '../src/image/picture.js';
import { joinTools } from '../src/join/render/join-tools.js';
import { proposeFromFiles } from '../src/join/quick.js';
import { JoinRenderer } from '../src/join/render/render.js';
import { codedToLinear, toCodedRgb } from '../src/media/convert.js';
import { readPng } from '../src/media/stills.js';
import { VideoReader } from '../src/media/video-reader.js';
import type { Mark, MarksFile } from '../src/plate/marks/marks.js';
import { canTrace, makeExam, seedsOf } from './exam-scenes.js';
import { tonesOfPlan, type ExamScene } from './exam-marks.js';
import { planOf } from './exam-plan.js';
import { blurred, isWide, regions, scoreFrame, type Regions } from './join-score.js';
import { beside, extent, overlay } from './exam-overlay.js';

/** Readings of one picture against the truth. */
const KEYS = [
  'performer',
  'edge',
  'bias',
  'shadow',
  'iou',
  'stray',
  'outside',
  'level',
  'a',
  'b',
  'red',
  'green',
  'blue',
] as const;
type Reading = Record<(typeof KEYS)[number], number>;
/**
 * Bars of the whole join; of level, white, size and place there are none: what an eye sees beside the truth (own
 * choice).
 */
const BARS: Readonly<Record<string, number>> = {
  performer: 6,
  edge: 7,
  bias: 1.5,
  shadow: 7,
  overlap: 0.25,
  outside: 0.3,
  level: 3,
  white: 4,
  size: 3,
  place: 3,
};

interface Row {
  readonly seed: number;
  readonly words: string;
  readonly ours: Reading;
  readonly plain: Reading;
  readonly size: number;
  readonly place: number;
  readonly worst: string;
  readonly rank: number;
}

/**
 * Our picture, the true one and the set without the creature, blurred; stops by which our
 * performer's mean light would have to change, a channel.
 */
function readingOf(ours: Picture, truth: Picture, base: Picture, r: Regions): Reading {
  const s = scoreFrame(ours, truth, base, r);
  const a = codedToLinear(ours, 'bt709');
  const b = codedToLinear(truth, 'bt709');
  const n = r.width * r.height;
  const stops = [0, 1, 2].map((c) => {
    let x = 0;
    let y = 0;
    for (let i = 0; i < n; i++)
      if (r.label[i] === 1) {
        x += a.data[c * n + i]!;
        y += b.data[c * n + i]!;
      }
    return Math.log2(y / x);
  });
  return {
    performer: s.performer,
    edge: s.edge,
    bias: s.edgeBias,
    shadow: s.shadow,
    iou: isWide(r) ? s.shadowIou : NaN,
    stray: s.shadowStray,
    outside: s.outside,
    level: s.performerBias[0],
    a: s.performerBias[1],
    b: s.performerBias[2],
    red: stops[0]!,
    green: stops[1]!,
    blue: stops[2]!,
  };
}

/** Of what was read; not a number where nothing was. */
const mean = (all: readonly Reading[]): Reading =>
  Object.fromEntries(
    KEYS.map((k) => {
      const v = all.map((r) => r[k]).filter(Number.isFinite);
      return [k, v.reduce((s, x) => s + x, 0) / v.length];
    }),
  ) as Reading;

async function rowOf(
  s: ExamScene,
  folder: string,
  pictures: string | undefined,
  { why, tones }: { readonly why: boolean; readonly tones: boolean },
): Promise<Row> {
  const json = (f: string): MarksFile => JSON.parse(readFileSync(f, 'utf8')) as MarksFile;
  const known = tones ? tonesOfPlan(planOf(s.seed)) : null,
    marked = (f: string, more: Mark | undefined): MarksFile => {
      const file = json(f);
      return more === undefined ? file : { ...file, marks: [...file.marks, more] };
    };
  const proposal = await proposeFromFiles(
    s.plate,
    s.take,
    marked(s.plateMarks, known?.plate),
    marked(s.takeMarks, known?.take),
    'fine',
  );
  if (why)
    for (const step of proposal.recipe.steps) console.log(`  ${step.step}${step.on ? '' : ' (off)'}: ${step.why}`);
  const renderer = await JoinRenderer.open(proposal.recipe, {
    ...(await joinTools(proposal.recipe, json(s.plateMarks), proposal.camera)),
    carrier: proposal.carrier,
  });
  const plate = await VideoReader.open(s.plate);
  const take = await VideoReader.open(s.take);
  const ours: Reading[] = [];
  const plain: Reading[] = [];
  let size = 0;
  let place = 0;
  let own = 0;
  for (const f of s.frames) {
    const read = (what: string): Promise<Picture> => readPng(join(folder, `exam-${s.seed}`, `${f}-${what}.png`));
    const truth = await read('truth');
    const clean = blurred(await read('clean'));
    const base = blurred(await read('base'));
    const n = truth.width * truth.height;
    const cover = async (what: string): Promise<Float32Array> => (await read(what)).data.slice(0, n);
    const matte = await cover('matte');
    const frame = await renderer.frame(f);
    const coded = frame.coded();
    const r = regions(matte, truth.width, truth.height, clean, base);
    const t = blurred(truth);
    const shown = toCodedRgb(await plate.frame(f));
    const over = overlay(
      shown,
      toCodedRgb(await take.frame(f)),
      await cover('takematte'),
      s.places.find((p) => p.frame === f)!,
    );
    ours.push(readingOf(blurred(coded), t, base, r));
    plain.push(readingOf(blurred(over), t, base, r));
    own += scoreFrame(blurred(shown), t, base, r).outside / s.frames.length;
    const a = extent(frame.matte(), truth.width);
    const b = extent(matte, truth.width);
    size += (a.size - b.size) / s.frames.length;
    place += Math.hypot(a.x - b.x, a.y - b.y) / s.frames.length;
    if (pictures !== undefined) await beside(join(pictures, `exam-${s.seed}-${f}.png`), [over, coded, truth], matte);
  }
  await Promise.all([renderer.close(), plate.close(), take.close()]);
  const all = mean(ours);
  const us = { ...all, outside: all.outside - own };
  const pl = mean(plain);
  const off: Record<string, number> = {
    performer: us.performer,
    edge: us.edge,
    bias: Math.abs(us.bias),
    shadow: us.shadow,
    overlap: 1 - us.iou,
    outside: us.outside,
    level: Math.abs(us.level),
    white: Math.hypot(us.a, us.b),
    size: Math.abs(size),
    place,
  };
  const [worst] = Object.entries(off)
    .map(([k, v]) => [k, v / BARS[k]!] as const)
    .filter(([, v]) => Number.isFinite(v))
    .sort((p, q) => q[1] - p[1])[0]!;
  return {
    seed: s.seed,
    words: s.words,
    ours: us,
    plain: { ...pl, outside: pl.outside - own },
    size,
    place,
    worst,
    rank: (us.performer / 6 + us.edge / 7 + (Number.isFinite(us.shadow) ? us.shadow / 7 : 1)) / 3,
  };
}

const f1 = (v: number): string => v.toFixed(1);
const cells = (r: Reading): string =>
  `${f1(r.performer)} / ${f1(r.edge)} (${r.bias > 0 ? '+' : ''}${f1(r.bias)}) / ${f1(r.shadow)} ` +
  `IoU ${Number.isFinite(r.iou) ? r.iou.toFixed(2) : 'hidden'} stray ${r.stray.toFixed(2)} ` +
  `out ${r.outside.toFixed(2)}  L ${f1(r.level)} a ${f1(r.a)} b ${f1(r.b)}  ` +
  `stops ${r.red.toFixed(2)} ${r.green.toFixed(2)} ${r.blue.toFixed(2)}`;

/** Mean of the rows; of signed readings the mean amount. */
function summary(rows: readonly Row[], of: 'ours' | 'plain'): Reading {
  const signed = new Set<string>(['bias', 'level', 'a', 'b', 'red', 'green', 'blue']);
  return mean(
    rows.map((r) => Object.fromEntries(KEYS.map((k) => [k, signed.has(k) ? Math.abs(r[of][k]) : r[of][k]])) as Reading),
  );
}

if (process.argv[1] !== undefined && resolve(process.argv[1]) === fileURLToPath(import.meta.url)) {
  const args = process.argv.slice(2);
  const [folder, seeds] = args.filter((a) => !a.startsWith('--'));
  const option = (name: string): string | undefined =>
    args.find((a) => a.startsWith(`--${name}=`))?.slice(name.length + 3);
  if (folder === undefined || seeds === undefined)
    console.log('usage: npx tsx bench/exam.ts FOLDER SEEDS [--pictures=DIR] [--json=FILE] [--why] [--tones]');
  else if (canTrace()) {
    const pictures = option('pictures');
    const rows: Row[] = [];
    if (pictures !== undefined) mkdirSync(pictures, { recursive: true });
    for (const seed of seedsOf(seeds)) {
      const scene = await makeExam(resolve(folder), seed);
      if (args.includes('--why')) console.log(`${seed}: ${scene.words}`);
      try {
        rows.push(
          await rowOf(scene, resolve(folder), pictures, {
            why: args.includes('--why'),
            tones: args.includes('--tones'),
          }),
        );
      } catch (error) {
        console.log(`${seed}: no join: ${error instanceof Error ? error.message : error}`);
      }
    }
    rows.sort((a, b) => b.rank - a.rank);
    console.log(
      'performer / edge (bias) / shadow, its IoU (hidden: ' +
        'only a rim of the true one shows) and where there is none (over the area of the performer), outside; ' +
        'level and white of the performer; stops that its light lacks (red, green, blue)',
    );
    for (const r of rows)
      console.log(
        `${String(r.seed).padStart(4)} most off: ${r.worst}; size ${f1(r.size)} place ${f1(r.place)} px; ` +
          `${r.words}\n     ours  ${cells(r.ours)}\n     plain ${cells(r.plain)}`,
      );
    console.log(`mean ours  ${cells(summary(rows, 'ours'))}\nmean plain ${cells(summary(rows, 'plain'))}`);
    const file = option('json');
    if (file !== undefined) writeFileSync(file, JSON.stringify(rows));
  }
}
