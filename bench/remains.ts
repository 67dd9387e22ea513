/**
 * What an erase leaves, as the inspection reads it (src/inspect/remains/remains.ts): on shots of which the true clean
 * picture is known, the truth itself (nothing should be named), the program's own erase (`--own`), and the truth
 * spoiled in graded strength: a piece of shadow at the foot, a ghost of what went, a smeared fill, a fill that
 * boils. Shots: animals with a shadow pasted over real clips (bench/erase-pasted.ts), and `--left=FOLDER` walkers
 * traced by bench/left-shadow-scenes.ts. Run: `npx tsx bench/remains.ts [case,...] [--left=FOLDER]
 * [--only=left-3,...] [--faults=none,shadow] [--own] [--seed=N]`.
 */
import { existsSync, mkdtempSync, readFileSync, readdirSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { bt709Decode, bt709Encode } from '../src/colour/transfer.js';
import { RandomStream } from '../src/core/random.js';
import { gaussianPlane } from '../src/image/gaussian.js';
import { lumaOf } from '../src/inspect/reader/frame.js';
import { judge } from '../src/inspect/verdict.js';
import { remainsFrame, type RemainsFrame } from '../src/inspect/remains/remains-frame.js';
import { readRemains } from '../src/inspect/remains/remains.js';
import { emptySeries, type Series } from '../src/inspect/reader/series.js';
import { cameraCarrier } from '../src/join/ride/carrier.js';
import { layBox } from '../src/join/erase/erase-file.js';
import { PlateCleaner } from '../src/join/erase/erase.js';
import { toCodedRgb } from '../src/media/convert.js';
import { VideoReader } from '../src/media/video-reader.js';
import { measureCameraMove } from '../src/plate/camera/camera-move.js';
import type { RegionFile } from '../src/plate/marks/marks.js';
import { readerLumaSource } from '../src/plate/ride/reader-luma-source.js';
import type { CameraMove } from '../src/plate/types.js';
import { makeCase } from './erase-pasted.js';

const args = process.argv.slice(2);
const opt = (n: string): string | undefined => args.find((a) => a.startsWith(`--${n}=`))?.slice(n.length + 3);
const FAULTS: Readonly<Record<string, readonly number[]>> = {
  none: [0],
  shadow: [0.05, 0.1, 0.2, 0.4],
  ghost: [0.05, 0.1, 0.2],
  smear: [1.5, 3, 6],
  boil: [0.005, 0.01, 0.02],
};
const SHADOW = 0.45;
const FRAMES = 24;

interface Shot {
  readonly name: string;
  readonly W: number;
  readonly H: number;
  readonly frames: readonly number[];
  readonly filmed: readonly Float32Array[];
  readonly truth: readonly Float32Array[];
  readonly own: readonly Float32Array[] | null;
  readonly camera: CameraMove;
}

async function shotOf(
  name: string,
  file: string,
  region: RegionFile,
  truthAt: (n: number, filmed: Float32Array) => Promise<Float32Array>,
): Promise<Shot> {
  const r = await VideoReader.open(file);
  const { widthPx: W, heightPx: H, frameCount } = r.info;
  const every = Math.max(1, Math.ceil(frameCount / FRAMES));
  const camera = await measureCameraMove(readerLumaSource(r), { framesPerSecond: r.info.rate.num / r.info.rate.den });
  const cleaner = args.includes('--own') ? await PlateCleaner.build(r, { regions: [region], camera }) : null;
  const frames: number[] = [];
  const filmed: Float32Array[] = [];
  const truth: Float32Array[] = [];
  const own: Float32Array[] = [];
  for (let n = 0; n < frameCount; n += every) {
    const p = toCodedRgb(await r.frame(n));
    const l = lumaOf(p);
    frames.push(n);
    filmed.push(l);
    truth.push(await truthAt(n, l));
    if (cleaner !== null) {
      const q = { ...p, data: p.data.slice() };
      const box = cleaner.clean(n, q);
      if (box !== null) layBox(q, box);
      own.push(lumaOf(q));
    }
  }
  await r.close();
  return { name, W, H, frames, filmed, truth, own: cleaner === null ? null : own, camera };
}

/** Spoils one clean frame; `m`: 1 where what was erased changed the picture. */
function spoil(
  fault: string,
  size: number,
  clean: Float32Array,
  filmed: Float32Array,
  m: Uint8Array,
  W: number,
  H: number,
  r: RandomStream,
): Float32Array {
  switch (fault) {
    case 'shadow': {
      let x0 = W;
      let x1 = 0;
      let y1 = 0;
      for (let i = 0; i < m.length; i++)
        if (m[i] === 1) {
          x0 = Math.min(x0, i % W);
          x1 = Math.max(x1, i % W);
          y1 = Math.max(y1, Math.floor(i / W));
        }
      const cx = (x0 + x1) / 2;
      const rx = 0.3 * (x1 - x0) + 8;
      const ry = 0.25 * rx;
      return clean.map((v, i) => {
        const q = Math.min(
          1,
          Math.max(0, (1.15 - Math.hypot(((i % W) - cx) / rx, (Math.floor(i / W) - y1 + 2 * ry) / ry)) / 0.3),
        );
        return q === 0 ? v : bt709Encode(bt709Decode(v) * (1 - size * q));
      });
    }
    case 'ghost':
      return clean.map((v, i) =>
        m[i] === 1 ? bt709Encode((1 - size) * bt709Decode(v) + size * bt709Decode(filmed[i]!)) : v,
      );
    case 'smear': {
      const g = gaussianPlane(clean, W, H, size);
      return clean.map((v, i) => (m[i] === 1 ? g[i]! : v));
    }
    case 'boil': {
      const g = gaussianPlane(
        Float32Array.from({ length: W * H }, () => r.normal()),
        W,
        H,
        6,
      );
      const sd = 1 / (2 * Math.sqrt(Math.PI) * 6);
      return clean.map((v, i) => (m[i] === 1 ? Math.min(1, Math.max(0, v + (size * g[i]!) / sd)) : v));
    }
    default:
      return clean;
  }
}

function look(s: Shot, fault: string, size: number, seed: number): void {
  const r = new RandomStream(seed);
  const none = new Float32Array(s.W * s.H);
  const frames = s.frames.map((n, k): RemainsFrame => {
    const change = gaussianPlane(
      Float32Array.from(s.filmed[k]!, (v, i) => Math.abs(v - s.truth[k]![i]!)),
      s.W,
      s.H,
      2,
    );
    const m = Uint8Array.from(change, (v) => (v > 0.02 ? 1 : 0));
    const left = fault === 'own' ? s.own![k]! : spoil(fault, size, s.truth[k]!, s.filmed[k]!, m, s.W, s.H, r);
    return remainsFrame(n, s.filmed[k]!, left, left, none, s.W, s.H);
  });
  const t = process.cpuUsage();
  const remains = readRemains(
    frames,
    frames.map(() => null),
    cameraCarrier(s.camera),
  );
  const u = process.cpuUsage(t);
  const series: Series = {
    ...emptySeries(0),
    remains,
    frames: [...s.frames],
    readings: {
      remains: (remains?.frames ?? []).flatMap((f) =>
        f.stain === null ? [] : [{ frame: f.frame, value: Math.abs(f.stain) }],
      ),
    },
  };
  const m = judge(series, {
    version: 1,
    plate: { file: '', in: 0, out: 1, rate: '24/1', widthPx: s.W, heightPx: s.H },
    take: { file: '', in: 0, out: 1, rate: '24/1', widthPx: s.W, heightPx: s.H },
    steps: [],
  }).matters.find((q) => q.matter === 'remains')!;
  const say = (v: number | null | undefined): string => (v == null ? 'not read' : v.toFixed(3));
  console.log(
    `${s.name}, ${fault} ${size}: ` +
      `${m.passes === null ? 'not read' : m.passes ? 'passes' : `NAMED (${m.value!.toFixed(2)} ${m.unit})`}; ` +
      `stain ${say(remains?.stain)}, ghost ${say(remains?.ghost?.sure)}, fill ${say(remains?.ghost?.fill)}, boil ${say(remains?.boil)}, ` +
      `detail ${say(remains?.detail)}; ${((u.user + u.system) / 1e6).toFixed(1)} s of processor`,
  );
}

const only = opt('only')?.split(',');
const faults = opt('faults')?.split(',');
const seed = Number(opt('seed') ?? 7);
const left = opt('left');
const cases = args.find((a) => !a.startsWith('--'))?.split(',') ?? [];
const names =
  left === undefined
    ? []
    : readdirSync(left)
        .filter((d) => existsSync(join(left, d, 'scene.json')) && (only === undefined || only.includes(d)))
        .sort();
const folder = mkdtempSync(join(tmpdir(), 'bench-remains-'));
async function* shots(): AsyncGenerator<Shot> {
  for (const name of cases) {
    const made = await makeCase(name, folder, SHADOW);
    if (made === null) continue;
    const clean = await VideoReader.open(made.truth);
    yield await shotOf(name, made.part, made.region, async (n) => lumaOf(toCodedRgb(await clean.frame(n))));
    await clean.close();
  }
  for (const id of names) {
    const scene = JSON.parse(readFileSync(join(left!, id, 'scene.json'), 'utf8')) as {
      plate: string;
      region: RegionFile['frames'];
      words: string;
    };
    // The plate's own grain stays where the truth, traced without any, is laid in.
    yield await shotOf(`${id} (${scene.words})`, scene.plate, { frames: scene.region }, async (n, filmed) => {
      const a = readFileSync(join(left!, id, `${n}-clean.raw`));
      const b = readFileSync(join(left!, id, `${n}-with.raw`));
      return filmed.map((v, i) =>
        Math.min(
          1,
          Math.max(
            0,
            v +
              (0.2126 * (a[3 * i]! - b[3 * i]!) +
                0.7152 * (a[3 * i + 1]! - b[3 * i + 1]!) +
                0.0722 * (a[3 * i + 2]! - b[3 * i + 2]!)) /
                255,
          ),
        ),
      );
    });
  }
}
try {
  for await (const s of shots())
    for (const [fault, sizes] of [...Object.entries(FAULTS), ...(s.own === null ? [] : [['own', [0]] as const])])
      if (faults === undefined || faults.includes(fault)) for (const size of sizes) look(s, fault, size, seed);
} finally {
  rmSync(folder, { recursive: true, force: true });
}
