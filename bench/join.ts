/**
 * Joins of the truth set (`../shared/truth`, beside the checkout) by the product's own way: plate and take files, marks, the
 * recipe as proposed. Held against `joined.mp4`: see join-score.ts. Beside it the untouched plate and a plain overlay of the
 * take with the true matte, placed by the same recipe. Run: `npx tsx bench/join.ts [shots] [--frames=n,..] [--every=k]
 * [--clean] [--json]`. `--clean` gives the pan shot the truth's clean plate in place of its own erase, to tell the two apart.
 */
import { readFileSync, writeFileSync } from 'node:fs';
import { TRUTH_SHOTS, truthFile, truthFolder, truthMarks, type TruthShot } from './truth-marks.js';
import { blurred, regions, scoreFrame, type JoinScore } from './join-score.js';
import { createPicture, plane, type Picture } from '../src/image/picture.js';
import { toCodedRgb, toLinear, lumaPlane } from '../src/media/convert.js';
import type { VideoFrame } from '../src/media/types.js';
import { VideoReader } from '../src/media/video-reader.js';
import { VideoWriter } from '../src/media/video-writer.js';
import { joinTools } from '../src/join/join-tools.js';
import { tighten, type Peeler } from '../src/join/performer.js';
import { proposeFromFiles } from '../src/join/quick.js';
import { JoinRenderer, type JoinOptions } from '../src/join/render.js';
import type { Recipe } from '../src/join/types.js';

const args = process.argv.slice(2);
const value = (name: string): string | undefined => args.find((a) => a.startsWith(`--${name}=`))?.slice(name.length + 3);
const shots = (args.find((a) => !a.startsWith('--'))?.split(',') ?? [...TRUTH_SHOTS]) as TruthShot[];

/** The take under its true matte, screen colour and all: what a plain overlay would lay on. */
async function plainPeeler(shot: TruthShot): Promise<Peeler> {
  const mattes = await VideoReader.open(truthFile(shot, 'take-matte.mkv'));
  return {
    async peel(frame: VideoFrame) {
      const linear = toLinear(frame), alpha = lumaPlane(await mattes.frame(frame.index));
      const n = linear.width * linear.height, out = createPicture(linear.width, linear.height, 4);
      for (let i = 0; i < n; i++) { const a = alpha[i]!; for (let c = 0; c < 3; c++) out.data[c * n + i] = linear.data[c * n + i]! * a; out.data[3 * n + i] = a; }
      return tighten(out);
    },
  };
}

function only(recipe: Recipe, steps: readonly string[]): Recipe {
  return { ...recipe, steps: recipe.steps.map((s) => ({ ...s, on: s.on && steps.includes(s.step) })) as Recipe['steps'] };
}

const round = (v: number): number => Math.round(v * 100) / 100;
interface Row { readonly shot: string; readonly what: string; readonly score: JoinScore; readonly worst: { frame: number; performer: number } }

async function score(recipe: Recipe, options: JoinOptions, shot: TruthShot, frames: readonly number[], what: string): Promise<Row> {
  const base = await VideoReader.open(truthFile(shot, shot === 'pan' ? 'clean.mp4' : 'plate.mp4'));
  const truth = await VideoReader.open(truthFile(shot, 'joined.mp4')), mattes = await VideoReader.open(truthFile(shot, 'performer-matte.mkv'));
  const renderer = await JoinRenderer.open(recipe, options);
  const sums: Record<string, number> = {};
  let worst = { frame: -1, performer: -1 };
  let counted = 0;
  for (const n of frames) {
    const t = blurred(toCodedRgb(await truth.frame(n))), b = blurred(toCodedRgb(await base.frame(n)));
    const m = lumaPlane(await mattes.frame(n)).slice();
    const r = regions(m, t.width, t.height, t, b);
    const picture: Picture = what === 'plate' ? toCodedRgb(await base.frame(n)) : (await renderer.frame(n)).coded();
    const s = scoreFrame(blurred(picture), t, b, r);
    for (const [k, v] of Object.entries(s)) if (typeof v === 'number' && Number.isFinite(v)) { sums[k] = (sums[k] ?? 0) + v; sums[`n_${k}`] = (sums[`n_${k}`] ?? 0) + 1; }
    if (s.performer > worst.performer) worst = { frame: n, performer: round(s.performer) };
    counted++;
  }
  await Promise.all([renderer.close(), base.close(), truth.close(), mattes.close()]);
  const mean = (k: string): number => round((sums[k] ?? NaN) / (sums[`n_${k}`] ?? 1));
  void counted; void plane;
  return { shot, what, worst, score: { performer: mean('performer'), edge: mean('edge'), shadow: mean('shadow'), outside: mean('outside'), edgeBias: mean('edgeBias'), performerBias: [0, 0, 0], shadowBias: mean('shadowBias'), shadowIou: mean('shadowIou'), ssim: mean('ssim') } };
}

/** Render speed over decode-and-encode speed of the same plate, both in one run. */
async function speed(recipe: Recipe, options: JoinOptions): Promise<{ ratio: number; joinFps: number; copyFps: number }> {
  const time = async (fn: (w: VideoWriter, r: JoinRenderer) => Promise<void>): Promise<number> => {
    const r = await JoinRenderer.open(recipe, options);
    const w = await VideoWriter.open('bench-join-speed.mp4', { widthPx: recipe.plate.widthPx, heightPx: recipe.plate.heightPx, rate: r.rate, codec: 'h264', preset: 'veryfast' });
    const t0 = performance.now();
    await fn(w, r);
    await w.close();
    const t = performance.now() - t0;
    await r.close();
    return ((recipe.plate.out - recipe.plate.in) * 1000) / t;
  };
  const { rmSync } = await import('node:fs');
  const copyFps = await time(async (w) => { const p = await VideoReader.open(recipe.plate.file); for await (const f of p.frames()) await w.writeFrame(f); await p.close(); });
  const joinFps = await time(async (w, r) => { for await (const f of r.frames()) await w.writeFrame(f.video()); });
  rmSync('bench-join-speed.mp4', { force: true });
  return { ratio: round(joinFps / copyFps), joinFps: round(joinFps), copyFps: round(copyFps) };
}

if (truthFolder() === null) {
  console.log('bench/join: the truth set (../shared/truth) is not beside the checkout; nothing measured');
} else {
  const rows: Row[] = [];
  for (const shot of shots) {
    const { plate, take } = truthMarks(shot);
    const proposal = await proposeFromFiles(truthFile(shot, 'plate.mp4'), truthFile(shot, 'take.mp4'), plate, take, 'fine');
    const { recipe } = proposal;
    const recipeFile = value('recipe');
    const used: Recipe = recipeFile === undefined ? recipe : (JSON.parse(readFileSync(recipeFile, 'utf8')) as Recipe);
    if (value('save') !== undefined) writeFileSync(value('save')!, JSON.stringify(used));
    const tools: JoinOptions = { ...(await joinTools(used, plate)), carrier: proposal.carrier };
    const count = used.plate.out - used.plate.in;
    const every = Number(value('every') ?? 6);
    const frames = value('frames')?.split(',').map(Number) ?? Array.from({ length: Math.ceil(count / every) }, (_, i) => i * every);
    const clean = args.includes('--clean') && shot === 'pan' ? await VideoReader.open(truthFile(shot, 'clean.mp4')) : null;
    const mended: JoinOptions = clean === null ? tools : { ...tools, mender: { mend: (n) => clean.frame(n) } };
    if (args.includes('--why')) for (const s of used.steps) console.log(`  ${s.step}${s.on ? '' : ' (off)'}: ${s.why}`);
    rows.push(await score(used, mended, shot, frames, 'join'));
    rows.push(await score(only(used, ['erase', 'peel', 'pace', 'ride', 'front']), { ...mended, screenPeeler: () => plainPeeler(shot) }, shot, frames, 'plain overlay'));
    rows.push(await score(used, mended, shot, frames, 'plate'));
    await clean?.close();
    for (const r of rows.slice(-3)) console.log(`${shot.padEnd(6)} ${r.what.padEnd(14)} performer ${r.score.performer} edge ${r.score.edge} (bias ${r.score.edgeBias}) shadow ${r.score.shadow} (IoU ${r.score.shadowIou}) outside ${r.score.outside} ssim ${r.score.ssim}; worst frame ${r.worst.frame} (${r.worst.performer})`);
    if (args.includes('--speed')) console.log(`${shot.padEnd(6)} speed`, JSON.stringify(await speed(used, mended)));
  }
  if (args.includes('--json')) console.log(JSON.stringify(rows));
}
