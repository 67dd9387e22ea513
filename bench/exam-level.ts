/**
 * How well the light step tells level and white: many of the exam's scenes (exam-plan.ts), each one small frame of
 * plate, take and truth, no join rendered. What the step would do to the take is held against what the creature's mean
 * light needs to be as it is in the truth; beside it a take left as it is. Keys and mattes are the true ones, so what
 * is measured is the guess of level and white alone (the keys' difference of direction stays in it). `--tones` lays
 * sheets of paper beside the feet (grey; white and black too), in the plate, or in plate and take, and marks them as a
 * hand would: their share of light told 0.2 stops off (one sd). Run: `npx tsx bench/exam-level.ts FOLDER SEEDS [--rows] [--tones]`; seeds of
 * exam.ts' development and hold-out are best left out.
 */
import { existsSync, mkdirSync, readFileSync, writeFileSync } from 'node:fs';
import { join, resolve } from 'node:path';
import { fileURLToPath } from 'node:url';
import { project, type Camera } from '../demo/scenes/camera.js';
import { develop } from '../demo/scenes/look.js';
import { GLOBAL } from '../demo/scenes/shot.js';
import { trace, type Picture as Traced, type TraceOptions } from '../demo/scenes/trace.js';
import type { Vec3 } from '../demo/scenes/vector.js';
import { RandomStream } from '../src/core/random.js';
import { createPicture, type Picture } from '../src/image/picture.js';
import { footLevel, type FootGround } from '../src/join/light/foot-level.js';
import {
  facingOverFlat,
  toneLine,
  type LightOnGround,
  type ToneLine,
  type ToneSeen,
} from '../src/join/light/known-tone.js';
import { matchLight, type SubjectStatistics } from '../src/join/light/light.js';
import { litScreen } from '../src/join/light/take-level.js';
import { temperatureOfBlueToRed, type EdgeColour } from '../src/join/light/white-balance.js';
import { codedToLinear } from '../src/media/convert.js';
import { greyEdge } from '../src/plate/look/grey-edge.js';
import { LevelCounter } from '../src/plate/look/look-levels.js';
import type { PlateMeasures } from '../src/plate/types.js';
import { percentiles } from '../src/image/statistics.js';
import { planOf, type Look } from './exam-plan.js';
import { canTrace, finishFor, matteOf, printed, savePng, seedsOf, takeSet } from './exam-scenes.js';
import { box, matt } from './exam-set-hand.js';
import { lampsText, type Lamps } from './exam-sets.js';

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

/** Shares of light that three sheets of paper throw back, the grey one first, and sd in stops of a hand's guess of them. */
const PAPERS = [0.2, 0.75, 0.05],
  GUESS_SD = 0.2;
/** Where they lie beside the feet, and their half width, in the creature's heights. */
const PAPERS_AT = [0.45, 0.85, -0.45],
  BEFORE = -0.4,
  PAPER_HALF = 0.17;

interface Told {
  /** By the grey sheet, and by all three. */
  readonly one: ToneLine | null;
  readonly three: ToneLine | null;
}

/** What sheets of paper beside the feet tell, marked by a hand, in the plate and in the take. */
async function tonesOf(folder: string, seed: number): Promise<{ readonly plate: Told; readonly take: Told }> {
  const file = join(folder, `tones-${seed}.json`);
  if (existsSync(file)) return JSON.parse(readFileSync(file, 'utf8')) as { plate: Told; take: Told };
  const p = planOf(seed),
    random = new RandomStream(seed, 777),
    f = (p.frames - 1) >> 1,
    o: TraceOptions = { cache: join(folder, 'cache'), scale: 1.2, kept: new Map() };
  mkdirSync(o.cache, { recursive: true });
  const of = async (text: string, full: Camera, at: Vec3, look: Look, lamps: Lamps, grain: number): Promise<Told> => {
    const c = smaller(full),
      H = p.creature.height,
      corner = (k: number, x: number, z: number): Vec3 => [
        at[0] + PAPERS_AT[k]! * H + x * PAPER_HALF * H,
        // Over the path of a garden, which lies 4 mm high.
        0.006 + 0.004 * H,
        at[2] + BEFORE * H + z * PAPER_HALF * H,
      ],
      sheets = PAPERS.map((share, k) => {
        const [x, , z] = corner(k, -1, -1);
        return box([x, 0, z], corner(k, 1, 1), matt([share / 0.9, share / 0.9, share / 0.9]));
      }),
      all = { x: 0, y: 0, w: c.widthPx, h: c.heightPx },
      bare = await trace(GLOBAL + text, c, all, o),
      laid = await trace(GLOBAL + text + sheets.join(''), c, all, o),
      finish = { ...finishFor(look, lamps, bare), softness: (SMALL_WIDTH / full.widthPx) * look.finish.softness },
      linear = codedToLinear(planar(printed(develop(laid, finish), finish, look.law, grain), laid.w, laid.h), 'bt709');
    const seen = PAPERS.map((share, k): ToneSeen => {
      const polygon = CORNERS.map(([x, z]) => {
        const [u, w] = project(c, corner(k, 0.8 * x, 0.8 * z));
        return [u, w] as [number, number];
      });
      const reflects = share * 2 ** (GUESS_SD * random.normal());
      return { mark: { kind: 'tone', polygon, reflects, sdStops: GUESS_SD, grey: true }, linear };
    });
    return { one: toneLine(seen.slice(0, 1), null), three: toneLine(seen, null) };
  };
  const out = {
    plate: await of(p.set.text + lampsText(p.lamps, p.set.ground), p.camera(f), p.at, p.look, p.lamps, seed),
    take: await of(takeSet(p), p.take.camera, [0, 0, 0], p.take.look, p.take.lamps, seed + 1),
  };
  writeFileSync(file, JSON.stringify(out));
  return out;
}

const CORNERS = [
  [-1, -1],
  [1, -1],
  [1, 1],
  [-1, 1],
] as const;

/** The lamps' own elevation and fill, as the light step has them from the measures. */
function keyOf(l: Lamps): LightOnGround {
  const fill = luma(l.fill);
  return { azimuthDeg: 0, elevationDeg: Math.asin(l.towards[1]) * (180 / Math.PI), fill: fill / (fill + luma(l.key)) };
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
    console.log('usage: npx tsx bench/exam-level.ts FOLDER SEEDS [--rows] [--tones]');
  else if (canTrace()) {
    const ways = args.includes('--tones')
      ? (['nothing known', 'one surface known in the plate', 'one in both', 'three in both'] as const)
      : (['nothing known'] as const);
    const level = ways.map((): number[] => []),
      white = ways.map((): number[] => []),
      left: number[] = [],
      whiteLeft: number[] = [];
    for (const seed of seedsOf(seeds)) {
      const s = await sampleOf(resolve(folder), seed),
        tones = args.includes('--tones') ? await tonesOf(resolve(folder), seed) : null,
        m = measuresOf(s),
        { lamps, take } = planOf(seed),
        facingStops = facingOverFlat(keyOf(lamps)) - facingOverFlat(keyOf(take.lamps));
      // Blue over red, stops: what white moves most.
      const blue = (v: readonly number[]): number => Math.log2(v[2]! / v[0]! / (s.truth[2] / s.truth[0]));
      left.push(Math.log2(luma(s.subject.mean) / luma(s.truth)));
      whiteLeft.push(blue(s.subject.mean));
      ways.forEach((way, k) => {
        const match = matchLight(m.plate, m.take, s.subject, {
          edges: s.edges,
          screen: s.screen,
          feet: s.foot,
          ownFeet: s.screen === null ? s.ownFoot : null,
          plateTone: tones === null || k === 0 ? null : tones.plate[k === 3 ? 'three' : 'one'],
          takeTone: tones === null || k < 2 ? null : tones.take[k === 3 ? 'three' : 'one'],
          facingStops,
        });
        const joined = s.subject.mean.map((v, c) => (v * match.slope[c]! + match.offset[c]!) ** match.power[c]!);
        level[k]!.push(Math.log2(luma(joined) / luma(s.truth)));
        white[k]!.push(blue(joined));
        if (args.includes('--rows'))
          console.log(
            `${seed} ${way}: level ${level[k]!.at(-1)!.toFixed(2)} (left ${left.at(-1)!.toFixed(2)}), ` +
              `blue over red ${white[k]!.at(-1)!.toFixed(2)} (left ${whiteLeft.at(-1)!.toFixed(2)}); ${s.words}; ` +
              `${match.why}`,
          );
      });
    }
    const row = (name: string, v: readonly number[], w: readonly number[]): void =>
      console.log(
        `${name}: rms ${rms(v).toFixed(3)}, middle of the amounts ${middle(v.map(Math.abs)).toFixed(2)}, ` +
          `beyond one ${v.filter((x) => Math.abs(x) > 1).length} of ${v.length}; ` +
          `left as it is ${rms(w).toFixed(3)}, ${middle(w.map(Math.abs)).toFixed(2)}, ` +
          w.filter((x) => Math.abs(x) > 1).length,
      );
    ways.forEach((way, k) => {
      row(`${way}: level, stops`, level[k]!, left);
      row(`${way}: blue over red, stops`, white[k]!, whiteLeft);
    });
  }
}
