/**
 * Speed of the peel at 1920 × 1080 on a made take: beside bare decoding and beside FFmpeg's chroma key on the same
 * file, all in one run, turn about. The machine may be shared: beside the clock's figure stands what two cores would
 * give at the most, both busy all the time, by processor time, which other work disturbs less.
 */
import { spawnSync } from 'node:child_process';
import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { rate } from '../src/core/rational.js';
import { peelToPictures } from '../src/join/peel/peel-pictures.js';
import { modelPeeler, screenModelOf } from '../src/join/peel/screen-peeler.js';
import { toCodedRgb } from '../src/media/convert.js';
import { VideoReader } from '../src/media/video-reader.js';
import { VideoWriter } from '../src/media/video-writer.js';
import { GRADES, madeTake } from './made-screens.js';
import type { BenchRow } from './rows.js';

interface Cost {
  readonly wall: number;
  readonly processor: number;
}

async function timed(work: () => Promise<number>): Promise<Cost> {
  const before = process.cpuUsage();
  const from = performance.now();
  const frames = await work();
  const wall = (performance.now() - from) / frames;
  const used = process.cpuUsage(before);
  return { wall, processor: (used.user + used.system) / 1000 / frames };
}

async function writeTake(path: string, seed: number): Promise<void> {
  const writer = await VideoWriter.open(path, { widthPx: 1920, heightPx: 1080, rate: rate(24), codec: 'h264' });
  const frames = madeTake(seed, GRADES[1]!, 1920, 1080, 4).map((f) => toCodedRgb(f.frame));
  // To and fro, so that the performer never jumps.
  for (const k of [0, 1, 2, 3, 2, 1, 0, 1, 2, 3, 2, 1]) await writer.writeCoded(frames[k]!);
  await writer.close();
}

/** Milliseconds a frame of FFmpeg's key and despill, or null without the program. */
function chromakey(path: string, frames: number): number | null {
  const from = performance.now();
  const r = spawnSync(
    'ffmpeg',
    ['-v', 'error', '-i', path, '-vf', 'chromakey=0x3b9c55:0.15:0.08,despill=green', '-f', 'null', '-'],
    { encoding: 'utf8' },
  );
  return r.error !== undefined || r.status !== 0 ? null : (performance.now() - from) / frames;
}

/** Costs by what was run, a run each, and the best of the chroma key in frames a second (null: no such program). */
interface Runs {
  readonly runs: Readonly<Record<string, Cost[]>>;
  readonly key: number | null;
}

/** What decoding alone, the two qualities and the whole command cost, turn about; frames a second of the chroma key. */
async function measuredRuns(reader: VideoReader, path: string, out: string, turns: number): Promise<Runs> {
  const count = reader.info.frameCount;
  const model = await screenModelOf(reader, { in: 0, out: count });
  const each =
    (peel: ((frame: Parameters<ReturnType<typeof modelPeeler>['peel']>[0]) => unknown) | null) =>
    async (): Promise<number> => {
      for await (const frame of reader.frames(0, count)) if (peel !== null) await peel(frame);
      return count;
    };
  const fine = modelPeeler(model, { quality: 'fine', spill: 1 });
  const fast = modelPeeler(model, { quality: 'fast', spill: 1 });
  const runs: Record<string, Cost[]> = { bare: [], fine: [], fast: [], command: [] };
  const keys: number[] = [];
  // One turn to warm up.
  for (let turn = 0; turn < turns; turn += 1) {
    const costs = {
      bare: await timed(each(null)),
      fine: await timed(each((f) => fine.peel(f))),
      fast: await timed(each((f) => fast.peel(f))),
      command: await timed(
        async () =>
          (
            await peelToPictures(
              reader,
              model,
              { dropEdges: true },
              { span: { in: 0, out: count }, folder: out, each: () => {} },
            )
          ).written,
      ),
    };
    const key = chromakey(path, count);
    if (turn === 0) continue;
    for (const [name, cost] of Object.entries(costs)) runs[name]!.push(cost);
    if (key !== null) keys.push(key);
  }
  return { runs, key: keys.length === 0 ? null : 1000 / Math.min(...keys) };
}

/** The rows of the table. */
function rowsOf({ runs, key }: Runs): BenchRow[] {
  // Whatever else runs only ever adds to a figure.
  const least = (name: string, what: keyof Cost): number => Math.min(...runs[name]!.map((c) => c[what]));
  const rows: BenchRow[] = [];
  for (const [name, words, bar, goal] of [
    ['fine', 'peel at 1080p, fine, decoding included', 12, 24],
    ['fast', 'peel at 1080p, fast, decoding included', null, null],
    ['command', 'peel command at 1080p, pictures written', 12, 24],
  ] as const) {
    rows.push(
      {
        name: `${words} (beside: FFmpeg chroma key)`,
        ours: 1000 / least(name, 'wall'),
        reference: key,
        bar,
        goal,
        unit: 'frames/s',
        better: 'high',
      },
      {
        name: `${words}: two cores at the most, by processor time`,
        ours: 2000 / least(name, 'processor'),
        bar,
        goal,
        unit: 'frames/s',
        better: 'high',
      },
      {
        name: `${words}: time over bare decoding`,
        ours: least(name, 'wall') / least('bare', 'wall'),
        bar: null,
        goal: null,
        unit: 'ratio',
      },
    );
  }
  return rows;
}

export async function speedRows(seed: number, full: boolean): Promise<BenchRow[]> {
  const folder = mkdtempSync(join(tmpdir(), 'platewright-bench-'));
  try {
    const path = join(folder, 'take.mp4');
    await writeTake(path, seed);
    const reader = await VideoReader.open(path);
    try {
      return rowsOf(await measuredRuns(reader, path, join(folder, 'out'), full ? 7 : 4));
    } finally {
      await reader.close();
    }
  } finally {
    rmSync(folder, { recursive: true, force: true });
  }
}
