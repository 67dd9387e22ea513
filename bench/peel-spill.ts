/**
 * What the peel leaves of the screen's light in the performer's colour, on the exam's takes (exam-scenes.ts): its
 * colour beside that of the same creature traced with the same lamps over a cloth of grey, its light blurred by the
 * same lens and divided by the true matte. One gain a scene is fitted, so that a grey floor's brightness does not
 * count. Rows: mean distance of a* b* and of L* a* b*, and mean b*, inside (true matte of .98 and more) and at the edge
 * (.05 to .98), weighted by the matte; beside them the creature with all of its spill, peeled by truth. `npx tsx
 * bench/peel-spill.ts FOLDER SEEDS [--pictures=DIR]`
 */
import { mkdirSync } from 'node:fs';
import { join, resolve } from 'node:path';
import { frameOf, GLOBAL, type Shot } from '../demo/scenes/shot.js';
import { blur, develop } from '../demo/scenes/look.js';
import { trace, type Picture as Traced } from '../demo/scenes/trace.js';
import type { Vec3 } from '../demo/scenes/vector.js';
import { linearToLab } from '../src/colour/lab.js';
import { createPicture } from '../src/image/picture.js';
import { encode } from '../src/media/curve-table.js';
import { copyFrame } from '../src/media/planes.js';
import { writePng16 } from '../src/media/stills.js';
import { VideoReader } from '../src/media/video-reader.js';
import { screenPeeler } from '../src/join/peel/screen-peeler.js';
import { planOf, type ExamPlan } from './exam-plan.js';
import { canTrace, finishFor, makeTake, seedsOf, takeSet } from './exam-scenes.js';
import { lampsText } from './exam-sets.js';

const grey = ([r, g, b]: Vec3): Vec3 => Array(3).fill((r + g + b) / 3) as unknown as Vec3;

interface Truth {
  readonly file: string;
  readonly frame: number;
  readonly width: number;
  readonly height: number;
  readonly matte: Float32Array;
  /** Straight display-linear colour, planar: before a grey cloth, and before the take's own. */
  readonly clean: Float32Array;
  readonly spilled: Float32Array;
}

/**
 * The creature of a take by itself, its straight colour under the take's lamps and the
 * bounce of a cloth of either colour.
 */
async function truthOf(folder: string, p: ExamPlan): Promise<Truth> {
  const t = p.take,
    cache = join(folder, 'cache'),
    made = await makeTake(join(folder, `exam-${p.seed}`), p, cache),
    frame = made.frames[made.frames.length >> 1]!,
    o = { cache, scale: 1.5, kept: new Map() },
    still = p.yaw(1) === p.yaw(0) ? o : { cache, scale: 1.2, kept: new Map() };
  const shot: Shot = {
    id: 'spill',
    what: p.words,
    frames: p.frames,
    how: 'whole',
    exposure: 1,
    camera: () => t.camera,
    sun: p.lamps.towards,
    set: takeSet(p),
    cast: () => p.creature.text([0, 0, 0], t.yaw(0)),
    reach: () => [],
    truth: () => ({}),
  };
  const phone = finishFor(t.look, t.lamps, await frameOf(shot, 0, still)),
    { widthPx: w, heightPx: h } = t.camera,
    alone = async (text: string): Promise<Traced> =>
      blur(await trace(`${GLOBAL}background{rgb 0}\n${text}`, t.camera, { x: 0, y: 0, w, h }, o), phone.softness);
  const cover = await alone(p.creature.text([0, 0, 0], t.yaw(frame), true)),
    matte = Float32Array.from({ length: w * h }, (_, i) => Math.min(1, cover.rgb[3 * i]!));
  const level = [0, 1, 2].map((k) => t.lamps.fill[k]! + t.lamps.key[k]! * t.lamps.towards[1]);
  const before = async (cloth: Vec3): Promise<Float32Array> => {
    const behind = level.map((c, i) => 0.45 * c * cloth[i]!).join(','),
      lit = await alone(
        `${lampsText(t.lamps, cloth)}light_source{<0,14,60> rgb<${behind}> shadowless parallel point_at 0}\n` +
          p.creature.text([0, 0, 0], t.yaw(frame)),
      );
    for (let i = 0; i < lit.rgb.length; i++) lit.rgb[i] = lit.rgb[i]! / Math.max(1e-3, matte[Math.floor(i / 3)]!);
    const shown = develop(lit, { ...phone, softness: 0 }).rgb;
    return Float32Array.from({ length: 3 * w * h }, (_, k) => shown[3 * (k % (w * h)) + Math.floor(k / (w * h))]!);
  };
  return {
    file: made.take,
    frame,
    width: w,
    height: h,
    matte,
    clean: await before(grey(t.screen.cloth)),
    spilled: await before(t.screen.cloth),
  };
}

/** Straight colour and matte by the peel. */
async function peeled(t: Truth, p: ExamPlan): Promise<{ colour: Float32Array; alpha: Float32Array }> {
  const reader = await VideoReader.open(t.file),
    peeler = await screenPeeler(
      {
        step: 'peel',
        on: true,
        why: '',
        method: 'screen',
        screen: p.take.colour === 'blue' ? 'blue' : 'green',
        quality: 'fine',
        spill: 1,
      },
      reader,
      { in: 0, out: p.frames },
    );
  const { picture, box } = await peeler.peel(copyFrame(await reader.frame(t.frame))),
    n = t.width * t.height,
    m = picture.width * picture.height,
    alpha = new Float32Array(n),
    colour = new Float32Array(3 * n);
  for (let k = 0; k < m; k++) {
    const a = picture.data[3 * m + k]!,
      i = (box[1] + Math.floor(k / picture.width)) * t.width + box[0] + (k % picture.width);
    alpha[i] = a;
    for (let c = 0; c < 3 && a > 0; c++) colour[c * n + i] = picture.data[c * m + k]! / a;
  }
  await reader.close();
  return { colour, alpha };
}

interface Off {
  readonly hue: number;
  readonly all: number;
  readonly b: number;
}

function lumaOf(c: Float32Array, n: number, i: number): number {
  return 0.2126 * c[i]! + 0.7152 * c[n + i]! + 0.0722 * c[2 * n + i]!;
}

function gainOf(colour: Float32Array, { clean, matte }: Truth): number {
  const n = matte.length;
  let ours = 0,
    truth = 0;
  for (let i = 0; i < n; i++)
    if (matte[i]! >= 0.98) {
      ours += lumaOf(colour, n, i);
      truth += lumaOf(clean, n, i);
    }
  return truth / Math.max(ours, 1e-6);
}

function off(colour: Float32Array, t: Truth, from: number, to: number): Off {
  const n = t.matte.length,
    k = gainOf(colour, t),
    sum = { hue: 0, all: 0, b: 0, weight: 0 };
  for (let i = 0; i < n; i++) {
    const w = t.matte[i]!;
    if (w < from || w > to) continue;
    const q = linearToLab(t.clean[i]!, t.clean[n + i]!, t.clean[2 * n + i]!),
      d = linearToLab(k * colour[i]!, k * colour[n + i]!, k * colour[2 * n + i]!).map((x, c) => x - q[c]!);
    sum.hue += w * Math.hypot(d[1]!, d[2]!);
    sum.all += w * Math.hypot(...d);
    sum.b += w * d[2]!;
    sum.weight += w;
  }
  return { hue: sum.hue / sum.weight, all: sum.all / sum.weight, b: sum.b / sum.weight };
}

/** Peeled, true without spill and true with it, over mid grey beside each other. */
async function draw(file: string, t: Truth, ours: Float32Array, alpha: Float32Array): Promise<void> {
  const { width: w, height: h } = t,
    n = w * h,
    out = createPicture(3 * w, h, 3),
    rows: [Float32Array, Float32Array][] = [
      [ours, alpha],
      [t.clean, t.matte],
      [t.spilled, t.matte],
    ];
  rows.forEach(([colour, cover], k) => {
    const gain = gainOf(colour, t);
    for (let c = 0; c < 3; c++)
      for (let i = 0; i < n; i++)
        out.data[c * 3 * n + Math.floor(i / w) * 3 * w + k * w + (i % w)] = Math.min(
          1,
          gain * colour[c * n + i]! * cover[i]! + 0.18 * (1 - cover[i]!),
        );
  });
  encode(out.data, out.data, 'bt709');
  await writePng16(file, out);
}

const INSIDE = [0.98, 1] as const,
  EDGE = [0.05, 0.98] as const;

async function main(): Promise<void> {
  const args = process.argv.slice(2),
    [folder, seeds] = args.filter((a) => !a.startsWith('--')),
    pictures = args.find((a) => a.startsWith('--pictures='))?.slice(11);
  if (folder === undefined || seeds === undefined)
    return console.log('usage: npx tsx bench/peel-spill.ts FOLDER SEEDS [--pictures=DIR]');
  if (!canTrace()) return;
  if (pictures !== undefined) mkdirSync(pictures, { recursive: true });
  const means = [0, 0, 0, 0, 0];
  console.log('seed   inside: a*b*, L*a*b*, b* | edge: a*b*, L*a*b* | with its spill, inside: a*b*');
  for (const seed of seedsOf(seeds)) {
    const p = planOf(seed);
    if (p.take.garden !== null) continue;
    const t = await truthOf(resolve(folder), p),
      { colour, alpha } = await peeled(t, p),
      inside = off(colour, t, ...INSIDE),
      edge = off(colour, t, ...EDGE),
      spilled = off(t.spilled, t, ...INSIDE);
    [inside.hue, inside.all, edge.hue, edge.all, 1].forEach((x, k) => (means[k]! += x));
    console.log(
      `${seed} ${p.take.colour.padEnd(5)} ${inside.hue.toFixed(1)} ${inside.all.toFixed(1)} ` +
        `${inside.b.toFixed(1)} | ${edge.hue.toFixed(1)} ${edge.all.toFixed(1)} | ${spilled.hue.toFixed(1)}  ` +
        `${p.creature.name}`,
    );
    if (pictures !== undefined) await draw(join(pictures, `${seed}.png`), t, colour, alpha);
  }
  console.log(
    `mean ${means
      .slice(0, 4)
      .map((x) => (x / means[4]!).toFixed(2))
      .join(' ')} of ${means[4]}`,
  );
}
await main();
