/**
 * The house itself: decoding and scanning against bare decoding in the same run, memory and cost against length,
 * reading and writing of the book. Ratios only: machines are shared.
 */
import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { Book } from '../src/book/book.js';
import { RandomStream } from '../src/core/random.js';
import { rate } from '../src/core/rational.js';
import { findCuts } from '../src/film/find-cuts.js';
import { createPicture, type Picture } from '../src/image/picture.js';
import { toLinear } from '../src/media/convert.js';
import { VideoReader } from '../src/media/video-reader.js';
import { VideoWriter } from '../src/media/video-writer.js';
import type { BenchRow } from './rows.js';

async function film(path: string, seconds: number, seed: number): Promise<void> {
  const w = await VideoWriter.open(path, {
    widthPx: 640,
    heightPx: 360,
    rate: rate(24),
    codec: 'h264',
    crf: 24,
    preset: 'ultrafast',
  });
  const random = new RandomStream(seed);
  // A handful of textures, slid frame by frame: cheap to make, costs the decoder as a film does.
  const looks: Picture[] = Array.from({ length: 6 }, () => {
    const p = createPicture(640 + 64, 360, 3);
    for (let i = 0; i < p.data.length; i++)
      p.data[i] = 0.5 + 0.35 * Math.sin(i * 0.01 * (1 + random.uniform() * 0.02)) + 0.1 * (random.uniform() - 0.5);
    return p;
  });
  const out = createPicture(640, 360, 3);
  for (let f = 0; f < seconds * 24; f++) {
    const look = looks[Math.floor(f / 96) % looks.length]!;
    const dx = f % 64;
    for (let c = 0; c < 3; c++)
      for (let y = 0; y < 360; y++)
        out.data.set(
          look.data.subarray(c * 704 * 360 + y * 704 + dx, c * 704 * 360 + y * 704 + dx + 640),
          c * 230400 + y * 640,
        );
    await w.writeCoded(out);
  }
  await w.close();
}

/** Wall and processor seconds: on a machine that is shared the second is the steadier. */
interface Cost {
  readonly seconds: number;
  readonly processor: number;
}

function clock(): () => Cost {
  const from = performance.now();
  const used = process.cpuUsage();
  return () => {
    const u = process.cpuUsage(used);
    return { seconds: (performance.now() - from) / 1000, processor: (u.user + u.system) / 1e6 };
  };
}

async function decodeSeconds(path: string, each?: (frame: Parameters<typeof toLinear>[0]) => void): Promise<Cost> {
  const reader = await VideoReader.open(path, { fields: 'as-is' } as never);
  const stop = clock();
  for await (const frame of reader.frames()) each?.(frame);
  const t = stop();
  await reader.close();
  return t;
}

async function scanSeconds(path: string): Promise<Cost & { peakMb: number }> {
  const reader = await VideoReader.open(path);
  let peak = 0;
  const stop = clock();
  await findCuts(reader, {
    onProgress: () => {
      peak = Math.max(peak, process.memoryUsage().rss);
    },
  });
  const t = stop();
  await reader.close();
  return { ...t, peakMb: peak / 1048576 };
}

const middle = (v: number[]): number => v.sort((a, b) => a - b)[v.length >> 1]!;

/** What decoding and scanning of one film cost, `turns` times each in turn. */
async function filmRows(path: string, seconds: number, turns: number): Promise<{ rows: BenchRow[]; peakMb: number }> {
  const bare: number[] = [];
  const scan: number[] = [];
  const linear: number[] = [];
  const bareUsed: number[] = [];
  const scanUsed: number[] = [];
  let peak = 0;
  // Interleaved, so that whatever else the machine does falls on all alike.
  for (let k = 0; k < turns; k++) {
    const d = await decodeSeconds(path);
    bare.push(d.seconds);
    bareUsed.push(d.processor);
    const s = await scanSeconds(path);
    scan.push(s.seconds);
    scanUsed.push(s.processor);
    peak = Math.max(peak, s.peakMb);
    let dst: Picture | undefined;
    linear.push(
      (
        await decodeSeconds(path, (f) => {
          dst = toLinear(f, dst);
        })
      ).seconds,
    );
  }
  return {
    peakMb: peak,
    rows: [
      {
        name: `scan of ${seconds} s: speed as share of bare decode`,
        ours: middle(bare) / middle(scan),
        bar: 0.8,
        goal: 0.95,
        unit: 'ratio',
        better: 'high',
      },
      {
        name: `scan of ${seconds} s: processor time as share of bare decode's`,
        ours: middle(bareUsed) / middle(scanUsed),
        bar: 0.8,
        goal: 0.95,
        unit: 'ratio',
        better: 'high',
      },
      {
        name: `decode to linear of ${seconds} s: cost over bare decode`,
        ours: middle(linear) / middle(bare),
        bar: null,
        goal: null,
        unit: 'ratio',
      },
      { name: `memory while scanning ${seconds} s`, ours: peak, bar: null, goal: null, unit: 'MB' },
    ],
  };
}

/** What writing to the book costs beside reading it. */
function bookRow(folder: string): BenchRow {
  const book = Book.create(folder);
  const from = performance.now();
  for (let i = 0; i < 300; i++) book.edit('bench', (e) => e.put('purpose', { id: `p${i % 50}`, text: `${i}` }));
  const put = performance.now() - from;
  const again = performance.now();
  for (let i = 0; i < 300; i++) book.list('purpose');
  const row: BenchRow = {
    name: 'one edit of the book over one reading of fifty documents',
    ours: put / (performance.now() - again),
    bar: null,
    goal: null,
    unit: 'ratio',
  };
  book.close();
  return row;
}

export async function run(seed: number, full = false): Promise<BenchRow[]> {
  const folder = mkdtempSync(join(tmpdir(), 'platewright-bench-'));
  try {
    const rows: BenchRow[] = [];
    const lengths = full ? [10, 100, 1000] : [10, 100];
    const peaks: number[] = [];
    for (const seconds of lengths) {
      const path = join(folder, `${seconds}.mp4`);
      await film(path, seconds, seed);
      const scanned = await filmRows(path, seconds, seconds > 200 ? 1 : 3);
      peaks.push(scanned.peakMb);
      rows.push(...scanned.rows);
    }
    rows.push({
      name: `memory of the longest over the shortest (${lengths.at(-1)! / lengths[0]!} times as long)`,
      ours: peaks.at(-1)! / peaks[0]!,
      bar: 1.2,
      goal: 1.05,
      unit: 'ratio',
    });
    rows.push(bookRow(join(folder, 'book')));
    return rows;
  } finally {
    rmSync(folder, { recursive: true, force: true });
  }
}
