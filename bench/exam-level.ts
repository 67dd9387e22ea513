/**
 * How well the light step tells level and white: many of the exam's scenes (exam-plan.ts), each one small frame of
 * plate, take and truth, no join rendered. What the step would do to the take is held against what the creature's mean
 * light needs to be as it is in the truth; beside it a take left as it is. Keys and mattes are the true ones, so what
 * is measured is the guess of level and white alone (the keys' difference of direction stays in it). Run: `npx tsx
 * bench/exam-level.ts FOLDER SEEDS [--rows]`; seeds of exam.ts' development and hold-out are best left out.
 */
import { existsSync, mkdirSync, readFileSync, writeFileSync } from 'node:fs';
import { join, resolve } from 'node:path';
import { fileURLToPath } from 'node:url';
import { project, type Camera } from '../demo/scenes/camera.js';
import { develop } from '../demo/scenes/look.js';
import { GLOBAL } from '../demo/scenes/shot.js';
import { trace, type Picture as Traced, type TraceOptions } from '../demo/scenes/trace.js';
import { createPicture, type Picture } from '../src/image/picture.js';
import { footLevel, type FootGround } from '../src/join/light/foot-level.js';
import { matchLight, type SubjectStatistics } from '../src/join/light/light.js';
import { litScreen } from '../src/join/light/take-level.js';
import { temperatureOfBlueToRed, type EdgeColour } from '../src/join/light/white-balance.js';
import { codedToLinear } from '../src/media/convert.js';
import { greyEdge } from '../src/plate/look/grey-edge.js';
import { LevelCounter } from '../src/plate/look/look-levels.js';
import type { PlateMeasures } from '../src/plate/types.js';
import { percentiles } from '../src/image/statistics.js';
import { planOf } from './exam-plan.js';
import { canTrace, finishFor, matteOf, printed, savePng, seedsOf, takeSet } from './exam-scenes.js';
import { lampsText } from './exam-sets.js';

const SMALL_WIDTH = 320;
/** Percentiles of luminance that a look holds. */
const LOOKED_AT = [0.01, 0.05, 0.25, 0.5, 0.75, 0.95, 0.99];

/** What the step is given of one scene, and what would have been right. */
interface Sample {
  readonly seed: number;
  readonly words: string;
  readonly look: {
    readonly percentiles: readonly number[];
    readonly meanLinear: readonly [number, number, number];
    readonly whiteCoded: readonly [number, number, number];
    readonly blackCoded: readonly [number, number, number];
  };
  readonly edges: EdgeColour | null;
  readonly groundK: number;
  /** The plate's ground about the feet; and the take's, and its picture. */
  readonly foot: FootGround | null;
  readonly ownFoot: FootGround | null;
  readonly ownLook: Pick<Sample['look'], 'percentiles' | 'meanLinear'>;
  readonly screen: number | null;
  readonly azimuthDeg: number;
  readonly subject: SubjectStatistics;
  /** Linear mean of the creature in the truth, a channel. */
  readonly truth: readonly [number, number, number];
}

const smaller = (c: Camera): Camera => {
  const k = SMALL_WIDTH / c.widthPx;
  return { ...c, focalPx: c.focalPx * k, widthPx: SMALL_WIDTH, heightPx: Math.round(c.heightPx * k) };
};

function planar(rgb: Uint8Array, w: number, h: number): Picture {
  const out = createPicture(w, h, 3);
  const n = w * h;
  for (let i = 0; i < n; i++) for (let c = 0; c < 3; c++) out.data[c * n + i] = rgb[3 * i + c]! / 255;
  return out;
}

/** Mean linear light and percentiles of luminance where the matte covers. */
function statistics(linear: Picture, matte: Uint8Array): SubjectStatistics {
  const n = linear.width * linear.height;
  const mean = [0, 0, 0];
  const luma: number[] = [];
  for (let i = 0; i < n; i++) {
    if (matte[3 * i]! < 250) continue;
    for (let c = 0; c < 3; c++) mean[c]! += linear.data[c * n + i]!;
    luma.push(0.2126 * linear.data[i]! + 0.7152 * linear.data[n + i]! + 0.0722 * linear.data[2 * n + i]!);
  }
  return {
    mean: mean.map((v) => v / luma.length) as [number, number, number],
    percentiles: percentiles(
      Float32Array.from(luma),
      [1, 5, 50, 95, 99],
    ) as unknown as SubjectStatistics['percentiles'],
  };
}

async function sampleOf(folder: string, seed: number): Promise<Sample> {
  const file = join(folder, `level-${seed}.json`);
  if (existsSync(file)) return JSON.parse(readFileSync(file, 'utf8')) as Sample;
  const p = planOf(seed);
  const f = (p.frames - 1) >> 1;
  const c = smaller(p.camera(f));
  const tc = smaller(p.take.camera);
  const cache = join(folder, 'cache');
  const o: TraceOptions = { cache, scale: 1.2, kept: new Map() };
  const k = SMALL_WIDTH / p.camera(0).widthPx;
  mkdirSync(cache, { recursive: true });
  const whole = (q: Camera) => ({ x: 0, y: 0, w: q.widthPx, h: q.heightPx });
  const shoot = (text: string, q: Camera): Promise<Traced> => trace(GLOBAL + text, q, whole(q), o);
  const set = p.set.text + lampsText(p.lamps, p.set.ground);
  const base = await shoot(set, c);
  const joined = await shoot(set + p.creature.text(p.at, p.yaw(f)), c);
  const home = await shoot(takeSet(p) + p.creature.text([0, 0, 0], p.take.yaw(f)), tc);
  const film = { ...finishFor(p.look, p.lamps, base), softness: k * p.look.finish.softness };
  const phone = { ...finishFor(p.take.look, p.take.lamps, home), softness: k * p.take.look.finish.softness };
  const picture = (t: Traced, g: typeof film, law: typeof p.look.law, grain: number | null): Picture =>
    planar(printed(develop(t, g), g, law, grain), t.w, t.h);
  const plate = picture(base, film, p.look.law, seed);
  const plateLinear = codedToLinear(plate, 'bt709');
  const takeCoded = picture(home, phone, p.take.look.law, seed + 1);
  const take = codedToLinear(takeCoded, 'bt709');
  const truth = codedToLinear(picture(joined, film, p.look.law, null), 'bt709');
  const levels = new LevelCounter();
  const ownLevels = new LevelCounter();
  const n = plate.width * plate.height;
  const all = { data: new Uint8Array(3 * n).fill(255) };
  levels.add(plate);
  ownLevels.add(takeCoded);
  const three = (q: number): [number, number, number] => [
    levels.percentile(0, q),
    levels.percentile(1, q),
    levels.percentile(2, q),
  ];
  const matte = await matteOf(p.creature.text(p.at, p.yaw(f), true), c, 0, o);
  const takeMatte = await matteOf(p.creature.text([0, 0, 0], p.take.yaw(f), true), tc, 0, o);
  // The ground about the foot, as a shadow mark would have it read.
  const ground = [0, 0, 0];
  const foot = Math.round(0.88 * plate.height);
  for (let y = foot; y < plate.height; y++)
    for (let x = 0; x < plate.width; x++)
      for (let j = 0; j < 3; j++) ground[j]! += plateLinear.data[j * n + y * plate.width + x]!;
  const stand = { ground: project(c, p.at), top: project(c, [p.at[0], p.at[1] + p.creature.height, p.at[2]]) };
  const out: Sample = {
    seed,
    words: p.words,
    look: {
      percentiles: LOOKED_AT.map((q) => levels.percentile(3, q)),
      meanLinear: [...statistics(plateLinear, all.data).mean] as [number, number, number],
      whiteCoded: three(0.999),
      blackCoded: three(0.001),
    },
    edges: greyEdge(plateLinear),
    groundK: temperatureOfBlueToRed(ground[2]! / ground[0]!),
    foot: footLevel(plateLinear, stand),
    ownFoot: footLevel(take, {
      ground: project(tc, [0, 0, 0]),
      top: project(tc, [0, p.creature.height, 0]),
    }),
    ownLook: {
      percentiles: LOOKED_AT.map((q) => ownLevels.percentile(3, q)),
      meanLinear: [...statistics(take, all.data).mean] as [number, number, number],
    },
    screen: p.take.colour === 'garden' ? null : litScreen(take, p.take.colour === 'blue' ? 2 : 1),
    azimuthDeg: Math.atan2(p.take.lamps.towards[0], -p.take.lamps.towards[2]) * (180 / Math.PI),
    subject: statistics(take, takeMatte),
    truth: statistics(truth, matte).mean as [number, number, number],
  };
  // To look at: the set, the truth, the take.
  for (const [what, t, g] of [
    ['base', base, film],
    ['truth', joined, film],
    ['take', home, phone],
  ] as const)
    savePng(join(folder, `level-${seed}-${what}.png`), printed(develop(t, g), g, 'even', null), t.w, t.h);
  writeFileSync(file, JSON.stringify(out));
  return out;
}

/** Measures as the light step is given them. */
function measuresOf(s: Sample): { plate: PlateMeasures; take: PlateMeasures } {
  const measure = (
    value: number | null,
  ): { value: number | null; unit: string; sd: number | null; method: string; priorLed?: boolean } => ({
    value,
    unit: '',
    sd: 1000,
    method: '',
    priorLed: true,
  });
  return {
    plate: { look: s.look, light: { temperatureK: measure(s.groundK) } } as unknown as PlateMeasures,
    take: {
      look: s.ownLook,
      light: { temperatureK: measure(null), azimuthDeg: { ...measure(s.azimuthDeg), sd: 3 } },
    } as unknown as PlateMeasures,
  };
}

const luma = (v: readonly number[]): number => 0.2126 * v[0]! + 0.7152 * v[1]! + 0.0722 * v[2]!;
const rms = (v: readonly number[]): number => Math.sqrt(v.reduce((s, x) => s + x * x, 0) / v.length);
const middle = (v: readonly number[]): number => [...v].sort((a, b) => a - b)[v.length >> 1]!;

if (process.argv[1] !== undefined && resolve(process.argv[1]) === fileURLToPath(import.meta.url)) {
  const args = process.argv.slice(2);
  const [folder, seeds] = args.filter((a) => !a.startsWith('--'));
  if (folder === undefined || seeds === undefined)
    console.log('usage: npx tsx bench/exam-level.ts FOLDER SEEDS [--rows]');
  else if (canTrace()) {
    const level: number[] = [];
    const left: number[] = [];
    const white: number[] = [];
    const whiteLeft: number[] = [];
    for (const seed of seedsOf(seeds)) {
      const s = await sampleOf(resolve(folder), seed);
      const m = measuresOf(s);
      const match = matchLight(m.plate, m.take, s.subject, {
        edges: s.edges,
        screen: s.screen,
        feet: s.foot,
        ownFeet: s.screen === null ? s.ownFoot : null,
      });
      const joined = s.subject.mean.map((v, k) => v * match.slope[k]! + match.offset[k]!);
      const stops = Math.log2(luma(joined) / luma(s.truth));
      const plain = Math.log2(luma(s.subject.mean) / luma(s.truth));
      // Blue over red, stops: what white moves most.
      const blue = (v: readonly number[]): number => Math.log2(v[2]! / v[0]! / (s.truth[2] / s.truth[0]));
      level.push(stops);
      left.push(plain);
      white.push(blue(joined));
      whiteLeft.push(blue(s.subject.mean));
      if (args.includes('--rows'))
        console.log(
          `${seed} level ${stops.toFixed(2)} (left ${plain.toFixed(2)}), ` +
            `blue over red ${white.at(-1)!.toFixed(2)} (left ${whiteLeft.at(-1)!.toFixed(2)}); ${s.words}; ` +
            `${match.why}`,
        );
    }
    const row = (name: string, v: readonly number[], w: readonly number[]): void =>
      console.log(
        `${name}: rms ${rms(v).toFixed(3)}, middle of the amounts ${middle(v.map(Math.abs)).toFixed(2)}, ` +
          `beyond one ${v.filter((x) => Math.abs(x) > 1).length} of ${v.length}; ` +
          `left as it is ${rms(w).toFixed(3)}, ${middle(w.map(Math.abs)).toFixed(2)}, ` +
          w.filter((x) => Math.abs(x) > 1).length,
      );
    row('level, stops', level, left);
    row('blue over red, stops', white, whiteLeft);
  }
}
