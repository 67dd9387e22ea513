/**
 * Joins of many scenes scored alike: the four truth shots (`../shared/truth`) and the scenes of bench/join-scenes.ts
 * (the demo's picks, and made ones of other suns, cameras, exposures and bodies). A change of the join is accepted only
 * if it helps both. Prints one row a scene, then the mean of each group.
 * Run: `npx tsx bench/join-all.ts FOLDER [scenes] [--every=12] [--pictures=DIR] [--why]
 * [--json=FILE]` after join-scenes.ts.
 */
import { mkdirSync, readFileSync, writeFileSync } from 'node:fs';
import { join, resolve } from 'node:path';
import { fileURLToPath } from 'node:url';
import { maskBox } from '../src/image/mask-box.js';
import { readScenes } from './join-scenes.js';
import { blurred, regions, scoreFrame, type JoinScore } from './join-score.js';
import { truthMarks } from './truth-marks.js';
import { TRUTH_SHOTS, truthFile, truthFolder, truthKind } from './truth-set.js';
import { createPicture, type Picture } from '../src/image/picture.js';
import { joinTools } from '../src/join/render/join-tools.js';
import { proposeFromFiles } from '../src/join/quick.js';
import { JoinRenderer } from '../src/join/render/render.js';
import { lumaPlane } from '../src/media/luma.js';
import { toCodedRgb } from '../src/media/convert.js';
import { readPng, writePng16 } from '../src/media/stills.js';
import { VideoReader } from '../src/media/video-reader.js';
import type { MarksFile } from '../src/plate/marks/marks.js';

export interface Frame {
  readonly frame: number;
  readonly truth: Picture;
  readonly base: Picture;
  readonly matte: Float32Array;
}
interface Scene {
  readonly id: string;
  readonly group: 'truth' | 'made';
  readonly plate: string;
  readonly take: string;
  readonly plateMarks: MarksFile;
  readonly takeMarks: MarksFile;
  frames(every: number): AsyncGenerator<Frame>;
}

async function* truthFrames(shot: (typeof TRUTH_SHOTS)[number], every: number): AsyncGenerator<Frame> {
  const open = (f: string): Promise<VideoReader> => VideoReader.open(truthFile(shot, f));
  const base = await open(truthKind(shot) === 'pan' ? 'clean.mp4' : 'plate.mp4');
  const truth = await open('joined.mp4');
  const matte = await open('performer-matte.mkv');
  for (let n = 0; n < (truth.info.frameCount ?? 36); n += every)
    yield {
      frame: n,
      truth: toCodedRgb(await truth.frame(n)),
      base: toCodedRgb(await base.frame(n)),
      matte: lumaPlane(await matte.frame(n)).slice(),
    };
  await Promise.all([base.close(), truth.close(), matte.close()]);
}

const json = (path: string): MarksFile => JSON.parse(readFileSync(path, 'utf8')) as MarksFile;

export function allScenes(folder: string, ids: readonly string[]): Scene[] {
  const wanted = (id: string): boolean => ids.length === 0 || ids.includes(id);
  const truths: Scene[] =
    truthFolder() === null
      ? []
      : TRUTH_SHOTS.filter(wanted).map((shot) => {
          const m = truthMarks(shot);
          return {
            id: shot,
            group: 'truth',
            plate: truthFile(shot, 'plate.mp4'),
            take: truthFile(shot, 'take.mp4'),
            plateMarks: m.plate,
            takeMarks: m.take,
            frames: (every) => truthFrames(shot, every),
          };
        });
  const made: Scene[] = readScenes(folder)
    .filter((s) => wanted(s.id === 'pan' ? 'demo-pan' : s.id))
    .map((s) => ({
      id: s.id === 'pan' ? 'demo-pan' : s.id,
      group: 'made',
      plate: s.plate,
      take: s.take,
      plateMarks: json(s.plateMarks),
      takeMarks: json(s.takeMarks),
      async *frames() {
        for (const n of s.frames) {
          const read = (what: string): Promise<Picture> => readPng(join(folder, s.id, `${n}-${what}.png`));
          const matte = await read('matte');
          yield {
            frame: n,
            truth: await read('truth'),
            base: await read('base'),
            matte: matte.data.slice(0, matte.width * matte.height),
          };
        }
      },
    }));
  return [...truths, ...made];
}

const KEYS = [
  'performer',
  'edge',
  'edgeBias',
  'performerBias',
  'shadow',
  'shadowBias',
  'shadowIou',
  'shadowArea',
  'shadowLeft',
  'shadowLost',
  'outside',
  'ssim',
] as const;
export type Row = Readonly<Record<(typeof KEYS)[number], number>> & { readonly id: string; readonly group: string };

const value = (s: JoinScore, k: (typeof KEYS)[number]): number => (k === 'performerBias' ? s.performerBias[0] : s[k]);

/** Join beside truth, cut out round performer and shadow. */
function sideBySide(path: string, ours: Picture, f: Frame): Promise<void> {
  const { width: w, height: h } = f.truth;
  let [x0, y0, x1, y1] = maskBox(f.matte, w, h, 0.3) ?? [w, h, 0, 0];
  const mx = (x1 - x0) * 0.8 + 20;
  x0 = Math.max(0, Math.floor(x0 - mx));
  x1 = Math.min(w, Math.ceil(x1 + mx));
  y0 = Math.max(0, y0 - 20);
  y1 = Math.min(h, y1 + 25);
  const cw = x1 - x0;
  const ch = y1 - y0;
  const out = createPicture(2 * cw + 4, ch, 3);
  const n = out.width * ch;
  for (let y = 0; y < ch; y++)
    for (let x = 0; x < cw; x++)
      for (let c = 0; c < 3; c++) {
        const i = (y0 + y) * w + x0 + x;
        out.data[c * n + y * out.width + x] = ours.data[c * w * h + i]!;
        out.data[c * n + y * out.width + x + cw + 4] = f.truth.data[c * w * h + i]!;
      }
  return writePng16(path, out);
}

async function scoreScene(s: Scene, every: number, pictures: string | undefined, why: boolean): Promise<Row> {
  const proposal = await proposeFromFiles(s.plate, s.take, s.plateMarks, s.takeMarks, 'fine');
  if (why)
    for (const step of proposal.recipe.steps) console.log(`  ${step.step}${step.on ? '' : ' (off)'}: ${step.why}`);
  const renderer = await JoinRenderer.open(proposal.recipe, {
    ...(await joinTools(proposal.recipe, s.plateMarks, proposal.camera)),
    carrier: proposal.carrier,
  });
  const sum: Record<string, number> = {};
  const count: Record<string, number> = {};
  for await (const f of s.frames(every)) {
    const t = blurred(f.truth);
    const b = blurred(f.base);
    const ours = (await renderer.frame(f.frame)).coded();
    const score = scoreFrame(blurred(ours), t, b, regions(f.matte, t.width, t.height, t, b));
    for (const k of KEYS) {
      const v = value(score, k);
      if (Number.isFinite(v)) {
        sum[k] = (sum[k] ?? 0) + v;
        count[k] = (count[k] ?? 0) + 1;
      }
    }
    if (pictures !== undefined) await sideBySide(join(pictures, `${s.id}-${f.frame}.png`), ours, f);
  }
  await renderer.close();
  return {
    id: s.id,
    group: s.group,
    ...(Object.fromEntries(KEYS.map((k) => [k, (sum[k] ?? NaN) / (count[k] ?? 1)])) as Record<
      (typeof KEYS)[number],
      number
    >),
  };
}

const line = (r: Row): string =>
  `${r.id.padEnd(14)} performer ${r.performer.toFixed(2)} (L ${r.performerBias.toFixed(1)}) ` +
  `edge ${r.edge.toFixed(2)} (L ${r.edgeBias.toFixed(2)}) shadow ${r.shadow.toFixed(2)} ` +
  `(L ${r.shadowBias.toFixed(1)}) IoU ${r.shadowIou.toFixed(3)} area ${r.shadowArea.toFixed(2)} ` +
  `left ${r.shadowLeft.toFixed(2)} lost ${r.shadowLost.toFixed(2)} ssim ${r.ssim.toFixed(3)}`;

function mean(rows: readonly Row[], id: string): Row {
  const of = (k: (typeof KEYS)[number]): number => {
    const all = rows
      .map((r) => (k === 'edgeBias' || k === 'performerBias' || k === 'shadowBias' ? Math.abs(r[k]) : r[k]))
      .filter(Number.isFinite);
    return all.reduce((a, v) => a + v, 0) / Math.max(1, all.length);
  };
  return {
    id,
    group: id,
    ...(Object.fromEntries(KEYS.map((k) => [k, of(k)])) as Record<(typeof KEYS)[number], number>),
  };
}

if (process.argv[1] !== undefined && resolve(process.argv[1]) === fileURLToPath(import.meta.url)) {
  const args = process.argv.slice(2);
  const plain = args.filter((a) => !a.startsWith('--'));
  const option = (name: string): string | undefined =>
    args.find((a) => a.startsWith(`--${name}=`))?.slice(name.length + 3);
  const folder = plain[0];
  const pictures = option('pictures');
  const rows: Row[] = [];
  if (folder === undefined) console.log('usage: npx tsx bench/join-all.ts FOLDER [scenes]');
  else {
    if (pictures !== undefined) mkdirSync(pictures, { recursive: true });
    for (const s of allScenes(resolve(folder), plain[1]?.split(',') ?? [])) {
      const row = await scoreScene(s, Number(option('every') ?? 12), pictures, args.includes('--why'));
      rows.push(row);
      console.log(line(row));
    }
    for (const g of ['truth', 'made']) {
      const of = rows.filter((r) => r.group === g);
      if (of.length > 1) console.log(line(mean(of, `mean ${g}`)));
    }
    const file = option('json');
    if (file !== undefined) writeFileSync(file, JSON.stringify(rows));
  }
}
