/**
 * Pace on real clips: every second frame is held out and made again from its neighbours; PSNR of display-coded R'G'B'
 * against the frame held out, both cut to what a screen shows (0..1), for every method alike. Beside it: the mix of the
 * two neighbours, warping by the dense flow of the general vision library's build for the browser (Farneback; that
 * build has no DIS), and, where a Python with OpenCV is on the machine, warping by its DIS flow (medium preset, both
 * pictures by half the forward flow, bilinear, averaged). Bars: 1 dB above DIS and 2 dB above the mix; goals 2 and 3
 * dB. Reads ../shared/footage beside the checkout and says so where it is absent.
 */
import { spawnSync } from 'node:child_process';
import { existsSync, mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { createRequire } from 'node:module';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { psnrDb } from '../src/image/compare.js';
import { type Picture, plane } from '../src/image/picture.js';
import { warpMap } from '../src/image/warp-map.js';
import { PairMotion } from '../src/join/pace/inbetween.js';
import { toCodedRgb } from '../src/media/convert.js';
import { VideoReader } from '../src/media/video-reader.js';
import type { BenchRow } from './rows.js';

const FOOTAGE = fileURLToPath(new URL('../../shared/footage/', import.meta.url));
/** Clip and first frame of each triple (frames s, s + 1, s + 2; s − 2 and s + 4 tell the path's curvature). */
const CLIPS: readonly (readonly [file: string, starts: readonly number[]])[] = [
  ['tears-of-steel-30s.mp4', [30, 110, 180, 260, 340, 420, 460, 520, 590, 640]],
  ['sintel-26s.mp4', [40, 100, 160, 220, 280, 340, 400, 480, 560, 630]],
  ['handheld-round-object.mp4', [20, 60, 100, 140, 180, 220]],
  ['locked-off-people.mp4', [100, 300, 500, 700, 900, 1100]],
  ['green-wall-person.mp4', [100, 300, 500, 700, 900, 1100]],
  ['davis/camel/frames/%05d.jpg', [5, 20, 35, 50, 65, 80]],
  ['davis/dog/frames/%05d.jpg', [5, 15, 25, 35, 45, 52]],
];
/** Other frames and a further clip, on which nothing was settled by hand; with `--full`. */
const OTHERS: typeof CLIPS = [
  ['tears-of-steel-30s.mp4', [20, 95, 150, 225, 310, 390, 550, 615, 690]],
  ['sintel-26s.mp4', [20, 90, 135, 190, 260, 300, 370, 430, 520, 585]],
  ['nasa-13013.mp4', [30, 80, 100, 180, 230, 280]],
  ['handheld-round-object.mp4', [10, 45, 80, 120, 160, 200]],
  ['locked-off-people.mp4', [150, 400, 600, 800, 1000, 1200]],
  ['green-wall-person.mp4', [200, 400, 600, 800, 1000, 1300]],
  ['davis/camel/frames/%05d.jpg', [12, 28, 42, 58, 72]],
  ['davis/dog/frames/%05d.jpg', [10, 20, 30, 40, 50]],
];

const DIS = `
import sys, json, numpy as np, cv2
cv2.setNumThreads(1)
for line in sys.stdin:
    a, b, c, w, h = json.loads(line)
    I = [np.fromfile(f, np.float32).reshape(3, h, w).transpose(1, 2, 0).clip(0, 1) for f in (a, b, c)]
    luma = [i @ np.array([.2126, .7152, .0722], np.float32) for i in (I[0], I[2])]
    g = [(l * 255).round().clip(0, 255).astype(np.uint8) for l in luma]
    f = cv2.DISOpticalFlow_create(cv2.DISOPTICAL_FLOW_PRESET_MEDIUM).calc(g[0], g[1], None)
    X, Y = np.meshgrid(np.arange(w, dtype=np.float32), np.arange(h, dtype=np.float32))
    W = lambda i, k: cv2.remap(i, X + k * f[..., 0], Y + k * f[..., 1],
                               cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    m = .5 * (W(I[0], -.5) + W(I[2], .5))
    print(float(-10 * np.log10(np.mean((m - I[1]) ** 2) + 1e-12)))
`;

function python(): string | null {
  for (const p of ['python3', '/usr/bin/python3'])
    if (spawnSync(p, ['-c', 'import cv2; cv2.DISOpticalFlow_create'], { encoding: 'utf8' }).status === 0) return p;
  return null;
}

function luma(p: Picture): Float32Array {
  const r = plane(p, 0);
  const g = plane(p, 1);
  const b = plane(p, 2);
  return r.map((v, i) => 0.2126 * v + 0.7152 * g[i]! + 0.0722 * b[i]!);
}

// biome-ignore lint: the library has no types worth the name
function farneback(cv: any, a: Picture, b: Picture): Picture {
  const { width: w, height: h } = a;
  const mat = (p: Picture): unknown => {
    const m = new cv.Mat(h, w, cv.CV_8UC1);
    m.data.set(luma(p).map((v) => Math.round(255 * Math.min(1, Math.max(0, v)))));
    return m;
  };
  const m0 = mat(a);
  const m1 = mat(b);
  const flow = new cv.Mat();
  cv.calcOpticalFlowFarneback(m0, m1, flow, 0.5, 5, 15, 3, 5, 1.2, 0);
  const n = w * h;
  const ax = new Float32Array(n);
  const ay = new Float32Array(n);
  const bx = new Float32Array(n);
  const by = new Float32Array(n);
  for (let i = 0; i < n; i++) {
    const x = (i % w) + 0.5;
    const y = Math.floor(i / w) + 0.5;
    const u = flow.data32F[2 * i];
    const v = flow.data32F[2 * i + 1];
    ax[i] = x - u / 2;
    ay[i] = y - v / 2;
    bx[i] = x + u / 2;
    by[i] = y + v / 2;
  }
  for (const m of [m0, m1, flow] as { delete(): void }[]) m.delete();
  const p = warpMap(a, ax, ay, w, h);
  const q = warpMap(b, bx, by, w, h);
  for (let i = 0; i < p.data.length; i++) p.data[i] = 0.5 * (p.data[i]! + q.data[i]!);
  return p;
}

const shown = (p: Float32Array): Float32Array => p.map((v) => (v < 0 ? 0 : v > 1 ? 1 : v));
const median = (a: readonly number[]): number => {
  const s = [...a].sort((x, y) => x - y);
  return s.length % 2 === 1 ? s[s.length >> 1]! : 0.5 * (s[s.length / 2 - 1]! + s[s.length / 2]!);
};
const mean = (a: readonly number[]): number => a.reduce((s, v) => s + v, 0) / a.length;
const over = (rows: readonly number[][]): string => {
  const g = rows.map((r) => r[0]! - r[3]!);
  return [mean(g), Math.min(...g), Math.max(...g)].map((v) => v.toFixed(2)).join(' ');
};

/**
 * PSNR (dB) of one held-out frame made by us, by mixing its neighbours and by Farneback flow; the frames to make it of.
 */
async function heldOut(
  // biome-ignore lint: the library has no types worth the name
  cv: any,
  reader: VideoReader,
  start: number,
): Promise<{ readonly scores: number[]; readonly frames: readonly [a: Picture, truth: Picture, b: Picture] }> {
  const get = async (n: number): Promise<Picture> => toCodedRgb(await reader.frame(n));
  const a = await get(start);
  const truth = await get(start + 1);
  const b = await get(start + 2);
  const before = await get(start - 2);
  const after = await get(start + 4);
  const { width: w, height: h } = a;
  const la = luma(a);
  const lb = luma(b);
  const between = new PairMotion(la, lb, w, h);
  const earlier = new PairMotion(luma(before), la, w, h);
  const later = new PairMotion(lb, luma(after), w, h);
  const ours = between.picture(a, b, 0.5, {
    before: earlier.broken ? null : earlier.backward,
    after: later.broken ? null : later.forward,
  });
  for (const p of [between, earlier, later]) p.close();
  const mix = a.data.map((v, i) => 0.5 * (v + b.data[i]!));
  const want = shown(truth.data);
  const scores = [ours.data, mix, farneback(cv, a, b).data].map((p) => psnrDb(shown(p), want));
  return { scores, frames: [a, truth, b] };
}

/** The same frames by DIS flow: a Python with OpenCV reads them from files in `folder`. PSNR (dB) of each. */
class DisOracle {
  private readonly python: string;
  private readonly folder: string;
  private readonly lines: string[] = [];
  constructor(python: string, folder: string) {
    this.python = python;
    this.folder = folder;
  }

  add(frames: readonly Picture[]): void {
    const names = frames.map((p, i) => {
      const f = join(this.folder, `${this.lines.length + 1}-${i}`);
      writeFileSync(f, new Uint8Array(p.data.buffer, p.data.byteOffset, p.data.byteLength));
      return f;
    });
    this.lines.push(JSON.stringify([...names, frames[0]!.width, frames[0]!.height]));
  }

  scores(): number[] {
    const script = join(this.folder, 'oracle.py');
    writeFileSync(script, DIS);
    const input = `${this.lines.join('\n')}\n`;
    const out = spawnSync(this.python, [script], { input, encoding: 'utf8', maxBuffer: 1e8 });
    return out.stdout.trim().split('\n').map(Number);
  }
}

/** Scores of a clip's frames, in the order ours, mix, Farneback and, with a Python, DIS. */
async function clipScores(
  // biome-ignore lint: the library has no types worth the name
  cv: any,
  reader: VideoReader,
  starts: readonly number[],
  oracle: DisOracle | null,
): Promise<number[][]> {
  const rows: number[][] = [];
  for (const s of starts) {
    const { scores, frames } = await heldOut(cv, reader, s);
    rows.push(scores);
    oracle?.add(frames);
  }
  oracle?.scores().forEach((v, i) => rows[i]!.push(v));
  return rows;
}

/** The rows of the table, from every frame's scores. */
function rowsOf(all: readonly number[][]): BenchRow[] {
  const gain = (k: number): number | null => (all[0]!.length > k ? mean(all.map((r) => r[0]! - r[k]!)) : null);
  const middle = (k: number): number => mean(all.map((r) => r[k]!));
  return [
    {
      name: `held-out frames, PSNR (${all.length} frames), beside the mix`,
      ours: middle(0),
      reference: middle(1),
      bar: null,
      goal: null,
      unit: 'dB',
      better: 'high',
    },
    { name: 'gain over the mix of the neighbours', ours: gain(1), bar: 2, goal: 3, unit: 'dB', better: 'high' },
    { name: 'gain over warping by Farneback flow', ours: gain(2), bar: null, goal: null, unit: 'dB', better: 'high' },
    {
      name: `gain over warping by DIS flow${gain(3) === null ? ' (no OpenCV with DIS here)' : ''}`,
      ours: gain(3),
      bar: 1,
      goal: 2,
      unit: 'dB',
      better: 'high',
    },
    {
      name: 'the same, median of the frames',
      ours: all[0]!.length > 3 ? median(all.map((r) => r[0]! - r[3]!)) : null,
      reference: null,
      bar: null,
      goal: null,
      unit: 'dB',
      better: 'high',
    },
  ];
}

/**
 * Rows for `npm run bench`; the table by clip goes to the terminal. The clips are fixed, so the seed has no part here.
 */
export async function run(_seed = 1, full = false): Promise<BenchRow[]> {
  if (!existsSync(FOOTAGE)) {
    console.log(`SKIPPED: ${FOOTAGE} is absent; the pace bench needs real clips there`);
    return [];
  }
  const cv = createRequire(import.meta.url)('@techstark/opencv-js');
  if (cv.Mat === undefined)
    await new Promise<void>((done) => {
      cv.onRuntimeInitialized = () => done();
    });
  const py = python();
  if (py === null) console.log('no Python with OpenCV here: the DIS column stays empty');
  const folder = mkdtempSync(join(tmpdir(), 'pace-bench-'));
  const all: number[][] = [];
  try {
    console.log(
      'clip                            ours   mix   Farneback  DIS   (mean PSNR, dB), gain over DIS: ' +
        'mean, lowest, highest',
    );
    for (const [file, starts] of full ? [...CLIPS, ...OTHERS] : CLIPS) {
      const reader = await VideoReader.open(join(FOOTAGE, file)).catch((e: Error) => {
        console.log(`${file}: ${e.message}`);
        return null;
      });
      if (reader === null) continue;
      const rows = await clipScores(cv, reader, starts, py === null ? null : new DisOracle(py, folder));
      await reader.close();
      all.push(...rows);
      console.log(
        `${file.padEnd(30)}` +
          [0, 1, 2, 3]
            .map((k) => (rows[0]!.length > k ? mean(rows.map((r) => r[k]!)).toFixed(2) : '-').padStart(7))
            .join(' ') +
          (py === null ? '' : `   ${over(rows)}`),
      );
    }
  } finally {
    rmSync(folder, { recursive: true, force: true });
  }
  return all.length === 0 ? [] : rowsOf(all);
}
