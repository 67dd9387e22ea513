/**
 * Patches on traced heads with the truth known (bench/traced-heads.ts), H.264 and grain in every clip: (a) another
 * take's mouth onto a moving head, in another light, size and pose; (b) the face of the same shot from some frames
 * later; (c) an actor's head onto a double's body, who has other skin and hair. Held against the head traced with
 * the other mouth, pose or head: colour inside and along the seam (CIEDE2000 after a Gaussian of 1.2 px), the
 * patch's place against the truth's (px; its mean, and its movement from frame to frame), flicker (rms of the
 * error's second difference over time, coded × 255, soft within 1.5 px; the untouched picture beside it has the
 * grain's own). Beside it the general vision library's seamlessClone from the same outlines. `npx tsx
 * bench/patch-heads.ts [--seed=N] [--only=a,b,c] [--out=DIR]`.
 */
import { spawnSync } from 'node:child_process';
import { existsSync, mkdirSync, mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import type { Point2 } from '../src/geometry/mat3.js';
import type { Picture } from '../src/image/picture.js';
import { rasterizePolygon } from '../src/image/polygon.js';
import { warpHomography } from '../src/image/warp.js';
import { similarityBetween } from '../src/geometry/similarity.js';
import { joinPatcher } from '../src/join/patch/patch-join.js';
import { followed, takePatcher } from '../src/join/patch/patch-take.js';
import type { PatchStep } from '../src/join/performer-steps.js';
import type { Recipe } from '../src/join/types.js';
import { toCodedRgb } from '../src/media/convert.js';
import type { VideoFrame } from '../src/media/types.js';
import { writePng16 } from '../src/media/stills.js';
import { VideoReader } from '../src/media/video-reader.js';
import { VideoWriter } from '../src/media/video-writer.js';
import type { BenchRow } from './rows.js';
import { COUNT, H, type Kind, NAMES, W, patchCase } from './patch-head-cases.js';
import { Judge, type Score } from './patch-judge.js';

const value = (name: string): string | undefined =>
  process.argv.find((a) => a.startsWith(`--${name}=`))?.slice(name.length + 3);

const CLONE = `
import sys, json, numpy as np, cv2
for line in sys.stdin:
    t, s, m, o, w, h = json.loads(line)
    P = lambda f: np.fromfile(f, np.float32).reshape(3, h, w).transpose(1, 2, 0)
    L = lambda f: (P(f).clip(0, 1) * 255).round().astype(np.uint8)
    k = (np.fromfile(m, np.float32).reshape(h, w) > .5).astype(np.uint8) * 255
    x, y, a, b = cv2.boundingRect(k)
    r = cv2.seamlessClone(L(s), L(t), k, (x + a // 2, y + b // 2), cv2.NORMAL_CLONE)
    (r.astype(np.float32) / 255).transpose(2, 0, 1).copy().tofile(o)
`;

type Case = ReturnType<typeof patchCase>;

const OPTIONS = { widthPx: W, heightPx: H, rate: { num: 24, den: 1 } } as const;

/** Writes the case's clips, and last of all an empty file that says that they are whole. */
async function writeClips(kind: Kind, c: Case, file: (name: string) => string): Promise<void> {
  const target = await VideoWriter.open(file('target.mp4'), { ...OPTIONS, codec: 'h264' });
  const source = await VideoWriter.open(file('source.mp4'), { ...OPTIONS, codec: 'h264' });
  const truth = await VideoWriter.open(file('truth.part.mkv'), { ...OPTIONS, codec: 'ffv1' });
  for (let f = 0; f < COUNT + c.offset; f++) {
    await target.writeCoded(c.target(f));
    if (kind !== 'b') await source.writeCoded(c.source(f));
    if (f < COUNT) {
      const t = c.truth(f);
      await truth.writeCoded({ ...t, channels: 3, data: t.data.slice(0, 3 * W * H) });
    }
  }
  await Promise.all([target.close(), source.close().catch(() => {}), truth.close()]);
  writeFileSync(file('truth.mkv'), '');
}

/** The patch step as a recipe would have it. */
function stepOf(kind: Kind, c: Case, src: string): PatchStep {
  const region = (polygon: Point2[]) => ({
    frames: [{ frame: 0, polygon: polygon.map((p): [number, number] => [p[0], p[1]]) }],
  });
  return {
    step: 'patch',
    on: true,
    why: '',
    source: kind === 'c' ? '' : src,
    sourceRegion: region(c.sourcePolygon),
    targetRegion: region(c.targetPolygon),
    offsetFrames: c.offset,
    ...(kind === 'c' ? { onto: 'join' as const } : {}),
  };
}

const copy = (p: Picture): Picture => ({ ...p, channels: 3, data: p.data.slice(0, 3 * W * H) });

/** The double's frame with the actor's head laid on the joined picture. */
async function headJoined(
  joiner: Awaited<ReturnType<typeof joinPatcher>>,
  f: number,
  target: Picture,
  frame: VideoFrame,
): Promise<Picture> {
  const result = copy(target);
  const matte = new Float32Array(W * H).fill(1);
  const box: [number, number, number, number] = [0, 0, W, H];
  const got = await joiner.patch(
    f,
    f,
    target,
    { box, coded: target, changed: new Uint8Array(W * H), matte },
    null,
    [1, 0, 0, 0, 1, 0, 0, 0, 1],
    frame,
  );
  if (got === null) return result;
  const [x0, y0, x1, y1] = got.box,
    wide = x1 - x0,
    size = wide * (y1 - y0);
  for (let k = 0; k < 3; k++)
    for (let y = y0; y < y1; y++) {
      const row = k * size + (y - y0) * wide;
      result.data.set(got.coded.data.subarray(row, row + wide), k * W * H + y * W + x0);
    }
  return result;
}

/** The general library's pictures from the frames written, judged; null where it is not installed. */
function scoreClone(
  lines: readonly string[],
  truths: readonly Picture[],
  c: Case,
  file: (name: string) => string,
): Score | null {
  const py = ['python3', '/usr/bin/python3'].find(
    (p) => spawnSync(p, ['-c', 'import cv2; cv2.seamlessClone']).status === 0,
  );
  if (py === undefined) return null;
  const clone = new Judge();
  writeFileSync(file('clone.py'), CLONE);
  spawnSync(py, [file('clone.py')], { input: `${lines.join('\n')}\n` });
  for (let f = 0; f < COUNT; f++) {
    const b = readFileSync(file(`o${f}`));
    clone.add(
      {
        width: W,
        height: H,
        channels: 3,
        data: new Float32Array(b.buffer.slice(b.byteOffset, b.byteOffset + b.byteLength)),
      },
      truths[f]!,
      c.judged(f),
    );
  }
  return clone.score();
}

async function one(
  kind: Kind,
  seed: number,
  out: string | undefined,
): Promise<{ ours: Score; clone: Score | null; untouched: Score }> {
  const c = patchCase(kind, seed);
  const folder =
    process.env.PATCH_KEEP !== undefined
      ? join(process.env.PATCH_KEEP, `${kind}${seed}`)
      : mkdtempSync(join(tmpdir(), 'patch-heads-'));
  mkdirSync(folder, { recursive: true });
  const file = (name: string): string => join(folder, name);
  if (!existsSync(file('truth.mkv'))) await writeClips(kind, c, file);
  const src = kind === 'b' ? file('target.mp4') : file('source.mp4');
  const step = stepOf(kind, c, src);
  const span = { in: 0, out: COUNT, rate: '24/1', widthPx: W, heightPx: H };
  const recipe: Recipe = {
    version: 1,
    plate: { file: src, ...span },
    take: { file: file('target.mp4'), ...span },
    steps: [step],
  };
  const clip = await VideoReader.open(file('target.mp4'));
  const other = await VideoReader.open(src);
  const right = await VideoReader.open(file('truth.part.mkv'));
  const taker = kind === 'c' ? null : await takePatcher(step, file('target.mp4'));
  const joiner = kind === 'c' ? await joinPatcher(recipe, step) : null;
  const onTarget = await followed(file('target.mp4'), step.targetRegion);
  const onSource = await followed(src, step.sourceRegion);
  const [ours, untouched] = [new Judge(), new Judge()];
  const lines: string[] = [];
  const truths: Picture[] = [];
  const dump = (name: string, data: Float32Array): string => {
    const f = file(name);
    writeFileSync(f, new Uint8Array(data.buffer, data.byteOffset, data.byteLength));
    return f;
  };
  let seconds = 0;
  for (let f = 0; f < COUNT; f++) {
    const frame = await clip.frame(f);
    const target = copy(toCodedRgb(frame));
    const truth = copy(toCodedRgb(await right.frame(f)));
    const t0 = process.cpuUsage();
    const result =
      taker !== null ? copy(toCodedRgb(await taker.patch(frame))) : await headJoined(joiner!, f, target, frame);
    const t1 = process.cpuUsage(t0);
    seconds += (t1.user + t1.system) / 1e6;
    ours.add(result, truth, c.judged(f));
    untouched.add(target, truth, c.judged(f));
    truths.push(truth);
    const polygon = onTarget(f);
    const laid = warpHomography(
      copy(toCodedRgb(await other.frame(f + c.offset))),
      similarityBetween(onSource(f + c.offset), polygon),
      W,
      H,
      { filter: 'lanczos3', boundary: 'clamp' },
    );
    lines.push(
      JSON.stringify([
        dump(`t${f}`, target.data),
        dump(`s${f}`, laid.data),
        dump(`m${f}`, rasterizePolygon(polygon, W, H)),
        file(`o${f}`),
        W,
        H,
      ]),
    );
    if (out !== undefined && f % 4 === 1) {
      mkdirSync(out, { recursive: true });
      for (const [name, p] of [
        ['0', target],
        ['1', result],
        ['2', truth],
      ] as const)
        await writePng16(join(out, `${kind}${seed}-${String(f).padStart(2, '0')}-${name}.png`), p);
    }
  }
  console.log(
    `  ${NAMES[kind]}, seed ${seed}: ` +
      `${((1000 * seconds) / COUNT).toFixed(0)} ms of processor time a frame (following included)`,
  );
  const cloned = scoreClone(lines, truths, c, file);
  await taker?.close();
  await joiner?.close();
  await Promise.all([clip.close(), other.close(), right.close()]);
  if (process.env.PATCH_KEEP === undefined) rmSync(folder, { recursive: true, force: true });
  return { ours: ours.score(), clone: cloned, untouched: untouched.score() };
}

const shown = (s: Score): string =>
  `inside ${s.inside.toFixed(2)}  seam ${s.seam.toFixed(2)}  off ${s.mean.toFixed(2)} px  ` +
  `jitter ${s.jitter.toFixed(2)} px  drift ${s.drift.toFixed(2)} px  ` +
  `flicker ${s.flicker.toFixed(2)} (grain ${s.floor.toFixed(2)})`;

/** Rows for `npm run bench`: one seed of each kind. */
export async function run(seed: number): Promise<BenchRow[]> {
  const rows: BenchRow[] = [];
  for (const kind of (value('only') ?? 'a,b,c').split(',') as Kind[]) {
    const r = await one(kind, seed, value('out'));
    console.log(
      `    ours       ${shown(r.ours)}\n    reference  ${r.clone === null ? 'no OpenCV here' : shown(r.clone)}\n` +
        `    untouched  ${shown(r.untouched)}`,
    );
    rows.push(
      {
        name: `${NAMES[kind]}: colour inside, CIEDE2000, beside seamlessClone`,
        ours: r.ours.inside,
        reference: r.clone?.inside ?? null,
        bar: null,
        goal: null,
        unit: '',
        better: 'low',
      },
      {
        name: `${NAMES[kind]}: movement against the head from frame to frame`,
        ours: r.ours.jitter,
        reference: r.clone?.jitter ?? null,
        bar: null,
        goal: null,
        unit: 'px',
        better: 'low',
      },
    );
  }
  return rows;
}

if (process.argv[1] === fileURLToPath(import.meta.url))
  for (const seed of (value('seed') ?? '1').split(',').map(Number)) await run(seed);
