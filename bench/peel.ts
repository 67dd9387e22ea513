/**
 * Scores the peel on made takes from a seed and, where the practice screens lie beside the checkout, on
 * those: MSE, SAD, Gradient, Connectivity, composite error, holes and dtSSD (`matte-score.ts`), beside a
 * chroma key tuned on the truth. dtSSD: the root of the mean over the whole picture, × 100 (over the
 * band alone it is larger by the root of its share).
 */
import { existsSync, readdirSync } from 'node:fs';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { peelFrame, peelModel } from '../src/join/peel/peel.js';
import { codedRgb } from '../src/join/peel/coded-rgb.js';
import { encode } from '../src/media/curve-table.js';
import { copyFrame } from '../src/media/planes.js';
import { readPng } from '../src/media/stills.js';
import type { VideoFrame } from '../src/media/types.js';
import { VideoReader } from '../src/media/video-reader.js';
import { despilled, tunedChromakey } from './chromakey.js';
import { GRADES, madeTake } from './made-screens.js';
import { compositeError, dtSsd, scoreMatte, softBand } from './matte-score.js';
import { speedRows } from './peel-speed.js';
import { takeRows } from './peel-takes.js';
import type { BenchRow } from './rows.js';

/** MSE, comp: bar and goal a level. */
const LIMITS: Record<string, { mse: number; comp: number; goalComp: number }> = {
  L1: { mse: 4, comp: 6, goalComp: 5 },
  L2: { mse: 5.3, comp: 7, goalComp: 6 },
  L3: { mse: 12, comp: 10, goalComp: 8 },
  L4: { mse: 30, comp: 16, goalComp: 12 },
};
const GOAL_MSE: Record<string, number | null> = { L1: null, L2: 5.6, L3: 7.1, L4: 8.3 };

export interface PeelScores {
  mse: number;
  sad: number;
  grad: number;
  conn: number;
  holes: number;
  dtssd: number;
  comp: number | null;
  keyMse: number;
  keyComp: number | null;
}

interface Truth {
  readonly alpha: Float32Array;
  readonly colour: Float32Array | null;
}

/** Scores the last frame of a short take; `before` is the truth of the frame before it. */
function scoreTake(frames: readonly VideoFrame[], truth: Truth, before: Float32Array): PeelScores {
  const last = frames[frames.length - 1]!;
  const { widthPx: w, heightPx: h } = last;
  const model = peelModel(frames);
  const now = peelFrame(model, last);
  const earlier = peelFrame(model, frames[frames.length - 2]!);
  const band = softBand(truth.alpha, w, h);
  const score = scoreMatte(now.alpha.data, truth.alpha, band, w, h);
  const key = tunedChromakey(last, truth.alpha, band);
  const keyScore = scoreMatte(key, truth.alpha, band, w, h);
  const whole = new Uint8Array(w * h).fill(1);
  let comp: number | null = null;
  let keyComp: number | null = null;
  if (truth.colour !== null) {
    const coded = now.colour.data.slice();
    encode(coded, coded, last.colour.transfer);
    const backgrounds = [0.5, 0.1, brightPicture(w, h)];
    comp = compositeError(now.alpha.data, coded, truth.alpha, truth.colour, band, backgrounds);
    keyComp = compositeError(
      key,
      despilled(codedRgb(last).data, model.hue.family),
      truth.alpha,
      truth.colour,
      band,
      backgrounds,
    );
  }
  return {
    mse: score.mse,
    sad: score.sad,
    grad: score.grad,
    conn: score.conn,
    holes: score.holes,
    dtssd: dtSsd(now.alpha.data, earlier.alpha.data, truth.alpha, before, whole),
    comp,
    keyMse: keyScore.mse,
    keyComp,
  };
}

/** A made stand-in for a bright photograph: soft coloured patches, coded values .5 to 1. */
function brightPicture(w: number, h: number): Float32Array {
  const out = new Float32Array(3 * w * h);
  for (let p = 0; p < 3; p += 1)
    for (let y = 0; y < h; y += 1)
      for (let x = 0; x < w; x += 1)
        out[p * w * h + y * w + x] =
          0.75 +
          0.15 * Math.sin((7 + p) * (x / w) + p) * Math.cos((9 - p) * (y / h)) +
          0.1 * Math.sin(0.05 * x + 0.07 * y);
  return out;
}

function mean(values: readonly (number | null)[]): number | null {
  const known = values.filter((v): v is number => v !== null);
  return known.length === 0 ? null : known.reduce((a, b) => a + b, 0) / known.length;
}

/** The practice screens beside the checkout, or null. */
function practiceFolder(): string | null {
  const folder = fileURLToPath(new URL('../../shared/keying', import.meta.url));
  return existsSync(folder) ? folder : null;
}

async function practiceScores(folder: string): Promise<PeelScores> {
  const reader = await VideoReader.open(join(folder, 'plate.mp4'));
  try {
    const frames: VideoFrame[] = [];
    for await (const f of reader.frames(0, reader.info.frameCount)) frames.push(copyFrame(f));
    const last = frames.length - 1;
    const file = join(folder, `foreground_${last}.png`);
    const alpha = (await readPng(join(folder, `alpha_${last}.png`))).data;
    const before = (await readPng(join(folder, `alpha_${last - 1}.png`))).data;
    return scoreTake(frames, { alpha, colour: existsSync(file) ? (await readPng(file)).data : null }, before);
  } finally {
    await reader.close();
  }
}

/** Rows of one grade of made takes, of which the third frame is scored; three seeds from the one given. */
function madeRows(grade: (typeof GRADES)[number], seed: number): BenchRow[] {
  const scores = [0, 1, 2].map((k) => {
    const take = madeTake(seed + k, grade, 960, 540, 3);
    const last = take[2]!;
    return scoreTake(
      take.map((t) => t.frame),
      { alpha: last.alpha, colour: last.colour },
      take[1]!.alpha,
    );
  });
  return [
    {
      name: `peel made, ${grade.name}: MSE × 1e-3 (beside: tuned chroma key)`,
      ours: mean(scores.map((s) => s.mse)),
      reference: mean(scores.map((s) => s.keyMse)),
      bar: null,
      goal: null,
      unit: '',
    },
    {
      name: `peel made, ${grade.name}: composite error`,
      ours: mean(scores.map((s) => s.comp)),
      reference: mean(scores.map((s) => s.keyComp)),
      bar: null,
      goal: null,
      unit: '0..255',
    },
    {
      name: `peel made, ${grade.name}: holes`,
      ours: mean(scores.map((s) => s.holes)),
      bar: null,
      goal: null,
      unit: '%',
    },
  ];
}

/** Rows of one level of the practice screens. */
async function practiceRows(level: string, folder: string): Promise<BenchRow[]> {
  const scores: PeelScores[] = [];
  for (const subject of readdirSync(folder)) scores.push(await practiceScores(join(folder, subject)));
  const limit = LIMITS[level]!;
  const m = (pick: (s: PeelScores) => number | null): number | null => mean(scores.map(pick));
  return [
    {
      name: `peel ${level}: MSE × 1e-3 (beside: tuned chroma key)`,
      ours: m((s) => s.mse),
      reference: m((s) => s.keyMse),
      bar: limit.mse,
      goal: GOAL_MSE[level] ?? null,
      unit: '',
    },
    { name: `peel ${level}: SAD / 1000`, ours: m((s) => s.sad), bar: null, goal: null, unit: '' },
    {
      name: `peel ${level}: Gradient / 1000`,
      ours: m((s) => s.grad),
      bar: level === 'L2' ? 3.1 : null,
      goal: null,
      unit: '',
    },
    { name: `peel ${level}: Connectivity / 1000`, ours: m((s) => s.conn), bar: null, goal: null, unit: '' },
    {
      name: `peel ${level}: composite error (true colour known for L2 alone)`,
      ours: m((s) => s.comp),
      reference: m((s) => s.keyComp),
      bar: limit.comp,
      goal: limit.goalComp,
      unit: '0..255',
    },
    {
      name: `peel ${level}: holes`,
      ours: m((s) => s.holes),
      bar: level === 'L4' ? null : 0.1,
      goal: null,
      unit: '%',
    },
    {
      name: `peel ${level}: dtSSD × 100 over the picture`,
      ours: m((s) => s.dtssd),
      bar: level === 'L2' ? 1.6 : null,
      goal: null,
      unit: '',
    },
  ];
}

export async function run(seed: number, full = false): Promise<BenchRow[]> {
  const rows: BenchRow[] = [...(await speedRows(seed, full)), ...(await takeRows())];
  for (const grade of GRADES) rows.push(...madeRows(grade, seed));
  const folder = practiceFolder();
  if (folder === null) {
    rows.push({
      name: 'peel: practice screens absent, their rows skipped',
      ours: null,
      bar: null,
      goal: null,
      unit: '',
    });
    return rows;
  }
  for (const level of ['L1', 'L2', 'L3', 'L4']) rows.push(...(await practiceRows(level, join(folder, level))));
  return rows;
}
