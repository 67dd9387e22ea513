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
import { existsSync, mkdirSync, mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { RandomStream } from '../src/core/random.js';
import { RAD_PER_DEG } from '../src/core/angles.js';
import { bt709Decode } from '../src/colour/transfer.js';
import { ciede2000 } from '../src/colour/ciede2000.js';
import { linearToLab } from '../src/colour/lab.js';
import { tryInvert, type Point2 } from '../src/geometry/mat3.js';
import { distanceToSet } from '../src/image/distance.js';
import { gaussianPlane } from '../src/image/gaussian.js';
import { createPicture, plane, type Picture } from '../src/image/picture.js';
import { rasterizePolygon } from '../src/image/polygon.js';
import { warpHomography } from '../src/image/warp.js';
import { fitLocally } from '../src/join/erase-align.js';
import { similarityBetween } from '../src/join/patch.js';
import { joinPatcher } from '../src/join/patch-join.js';
import { followed, takePatcher } from '../src/join/patch-take.js';
import type { Recipe } from '../src/join/types.js';
import { toCodedRgb } from '../src/media/convert.js';
import { writePng16 } from '../src/media/stills.js';
import { VideoReader } from '../src/media/video-reader.js';
import { VideoWriter } from '../src/media/video-writer.js';
import { faceDepth, madePerson, seenAt, traceHead, type HeadLight, type HeadScene, type Pose } from './traced-heads.js';
import type { BenchRow } from './rows.js';

const W = 400;
const H = 288;
const COUNT = 24;
const value = (name: string): string | undefined =>
  process.argv.find((a) => a.startsWith(`--${name}=`))?.slice(name.length + 3);

type Kind = 'a' | 'b' | 'c';
const NAMES: Record<Kind, string> = {
  a: 'another take’s mouth',
  b: 'the face from another moment',
  c: 'an actor’s head on a double',
};

interface Case {
  /** Of the target. */ readonly pose: (f: number) => Pose;
  readonly target: (f: number) => Picture;
  readonly source: (f: number) => Picture;
  readonly truth: (f: number) => Picture;
  readonly offset: number;
  readonly targetPolygon: Point2[];
  readonly sourcePolygon: Point2[];
  /** Part judged, on a frame. */
  readonly judged: (f: number) => Point2[];
}

/** The case of a kind and seed; frames of target and source are those of their files. */
export function patchCase(kind: Kind, seed: number): Case {
  const random = new RandomStream(seed, kind.charCodeAt(0));
  const u = (a: number, b: number): number => a + (b - a) * random.uniform();
  const person = madePerson(random);
  const other = madePerson(random);
  const light = (azimuth: number, elevation: number, stops: number, warm: number, fill: number): HeadLight => {
    const e = 0.85 * 2 ** stops;
    const az = azimuth * RAD_PER_DEG;
    const el = elevation * RAD_PER_DEG;
    return {
      towards: [Math.sin(az) * Math.cos(el), Math.sin(el), Math.cos(az) * Math.cos(el)],
      key: [e * (1 + warm), e, e * (1 - warm)],
      sky: [fill * e, fill * e, fill * e * 1.1],
    };
  };
  const az = u(-55, 55);
  const el = u(15, 50);
  const fill = u(0.2, 0.5);
  const warm = u(-0.1, 0.15);
  const here = light(az, el, 0, warm, fill);
  const there = light(az + u(-20, 20), el + u(-8, 8), u(-0.4, 0.25), warm + u(-0.08, 0.08), fill * u(0.8, 1.25));
  const wall = (): HeadScene['wall'] => {
    const q = [u(9, 25), u(4, 14), u(5, 20)];
    const tint = [u(0.7, 1.2), u(0.7, 1.2), u(0.7, 1.2)];
    return (x, y) => {
      const v = 0.18 + 0.08 * Math.cos(x / q[0]! + Math.cos(y / q[1]!)) + 0.05 * Math.cos(y / q[2]!);
      return [v * tint[0]!, v * tint[1]!, v * tint[2]!];
    };
  };
  const path = (x: number, y: number, size: number, yaw: number): ((f: number) => Pose) => {
    const wave = (amount: number): ((f: number) => number) => {
      const p = u(0, 6.28);
      const s = u(6, 14);
      const q = u(0, 6.28);
      const t = u(3, 6);
      return (f) => amount * (Math.sin(f / s + p) + 0.3 * Math.sin(f / t + q));
    };
    const dx = wave(12);
    const dy = wave(4);
    const dz = wave(0.03);
    const dyaw = wave(9);
    const dpitch = wave(4);
    const droll = wave(4);
    const talk = u(1.2, 2.2);
    const first = u(0, 6.28);
    const walk = u(-0.8, 0.8);
    return (f) => ({
      x: x + dx(f) + walk * (f - 12),
      y: y + dy(f),
      size: size * (1 + dz(f)),
      yawDeg: yaw + dyaw(f),
      pitchDeg: dpitch(f),
      rollDeg: droll(f),
      mouth: Math.max(0, Math.min(1, 0.45 + 0.6 * Math.sin(f / talk + first))),
    });
  };
  const yaw = u(-15, 15);
  const scene: HeadScene = { width: W, height: H, light: here, person, wall: wall() };
  const grain = (p: Picture): Picture => {
    const out = { ...p, channels: 3, data: p.data.slice(0, 3 * W * H) } as Picture;
    for (let i = 0; i < out.data.length; i++)
      out.data[i] = Math.min(1, Math.max(0, out.data[i]! + 0.008 * random.normal()));
    return out;
  };
  const hand = (polygon: readonly Point2[], px: number): Point2[] => {
    const x = px * random.normal();
    const y = px * random.normal();
    return polygon.map((p) => [p[0] + x + 0.4 * px * random.normal(), p[1] + y + 0.4 * px * random.normal()]);
  };
  const round = (pose: Pose, c: Point2, r: Point2): Point2[] =>
    Array.from({ length: 24 }, (_, k) => {
      const a = (2 * Math.PI * k) / 24;
      const x = c[0] + r[0] * Math.cos(a);
      const y = c[1] + r[1] * Math.sin(a);
      return seenAt(pose, [x, y, faceDepth(person, x, y)]);
    });
  // A whole head is outlined as it is seen, however it is turned.
  const skull = (pose: Pose, r: number): Point2[] =>
    Array.from({ length: 24 }, (_, k) => {
      const a = (2 * Math.PI * k) / 24;
      const roll = pose.rollDeg * RAD_PER_DEG;
      const x = 0.86 * r * Math.cos(a);
      const y = 1.12 * r * Math.sin(a) - 0.02;
      return [
        pose.x + pose.size * (x * Math.cos(roll) - y * Math.sin(roll)),
        pose.y - pose.size * (x * Math.sin(roll) + y * Math.cos(roll)),
      ];
    });
  const mouthOf = (pose: Pose): Point2[] => round(pose, [0, -0.56], [0.38, 0.3]);
  const faceOf = (pose: Pose): Point2[] => round(pose, [0, -0.22], [0.55, 0.62]);
  if (kind === 'a') {
    const target = path(200, 120, u(62, 85), yaw);
    const source = path(200, 120, u(62, 85) * u(0.8, 1.3), yaw + u(-12, 12));
    const away: HeadScene = { ...scene, light: there, wall: wall() };
    return {
      pose: target,
      target: (f) => grain(traceHead(scene, target(f))),
      source: (f) => grain(traceHead(away, source(f))),
      truth: (f) => traceHead(scene, { ...target(f), mouth: source(f).mouth }),
      offset: 0,
      targetPolygon: hand(mouthOf(target(0)), 1.2),
      sourcePolygon: hand(mouthOf(source(0)), 1.2),
      judged: (f) => mouthOf(target(f)),
    };
  }
  if (kind === 'b') {
    const pose = path(200, 120, u(62, 85), yaw);
    const offset = Math.round(u(8, 20));
    // Region drawn on frame 0 serves both times; the head itself stays in its own pose,
    // its face says what it says later.
    const region = hand(faceOf(pose(0)), 1.2);
    return {
      pose,
      target: (f) => grain(traceHead(scene, pose(f))),
      source: (f) => grain(traceHead(scene, pose(f))),
      truth: (f) => traceHead(scene, { ...pose(f), mouth: pose(f + offset).mouth }),
      offset,
      targetPolygon: region,
      sourcePolygon: region,
      judged: (f) => faceOf(pose(f)),
    };
  }
  const actor = path(150, 120, u(55, 75), yaw);
  const double = path(200, 125, u(55, 75), yaw + u(-8, 8));
  const onBody: HeadScene = { ...scene, person: other };
  const joined: HeadScene = { ...scene, body: other };
  const at = (f: number): Pose => ({ ...actor(f), x: double(f).x, y: double(f).y, size: double(f).size });
  return {
    pose: double,
    target: (f) => grain(traceHead(onBody, double(f))),
    source: (f) => grain(traceHead(scene, actor(f))),
    truth: (f) => traceHead(joined, at(f)),
    offset: 0,
    targetPolygon: hand(skull(double(0), 1.02), 1.2),
    sourcePolygon: hand(skull(actor(0), 1.02), 1.2),
    judged: (f) => skull(at(f), 1.12),
  };
}

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

interface Score {
  inside: number;
  seam: number;
  mean: number;
  jitter: number;
  drift: number;
  flicker: number;
  floor: number;
}

class Judge {
  private colour: number[] = [];
  private edge: number[] = [];
  private places: Point2[] = [];
  private errors: { inside: Float32Array; error: Float32Array; out: Float32Array }[] = [];
  add(result: Picture, truth: Picture, judged: readonly Point2[]): void {
    const n = W * H;
    const soft = (p: Picture, s: number): Picture => {
      const o = createPicture(W, H, 3);
      for (let c = 0; c < 3; c++) gaussianPlane(plane(p, c), W, H, s, s, plane(o, c));
      return o;
    };
    const inside = rasterizePolygon(judged, W, H).map((v) => (v > 0.5 ? 1 : 0));
    const outside = inside.map((v) => 1 - v);
    const toOut = distanceToSet(outside, W, H);
    const toIn = distanceToSet(inside, W, H);
    const a = soft(result, 1.2);
    const b = soft(truth, 1.2);
    let s = 0;
    let k = 0;
    let e = 0;
    let m = 0;
    for (let i = 0; i < n; i++) {
      const seam = toOut[i]! <= 4 && toIn[i]! <= 6;
      const deep = inside[i]! > 0;
      if (!seam && !deep) continue;
      const lab = (p: Picture): [number, number, number] =>
        linearToLab(bt709Decode(p.data[i]!), bt709Decode(p.data[n + i]!), bt709Decode(p.data[2 * n + i]!));
      const d = ciede2000(...lab(a), ...lab(b));
      if (deep) {
        s += d;
        k++;
      }
      if (seam) {
        e += d;
        m++;
      }
    }
    this.colour.push(s / k);
    this.edge.push(e / m);
    const luma = (p: Picture): Float32Array =>
      plane(p, 0).map((v, i) => 0.2126 * v + 0.7152 * p.data[n + i]! + 0.0722 * p.data[2 * n + i]!);
    const fit = fitLocally(
      luma(truth),
      luma(result),
      Float32Array.from(toOut, (v) => (v > 2 ? 1 : 0)),
      W,
      H,
      { reachPx: 4, shiftOnly: true },
    );
    const back = tryInvert(fit.matrix) ?? fit.matrix;
    this.places.push([-back[2], -back[5]]);
    const l = gaussianPlane(luma(result), W, H, 1.5);
    const t = gaussianPlane(luma(truth), W, H, 1.5);
    this.errors.push({
      inside,
      error: l.map((v, i) => 255 * (v - t[i]!)),
      out: Float32Array.from(toIn, (v) => (v > 12 && v < 30 ? 1 : 0)),
    });
  }
  score(): Score {
    const mean = (v: readonly number[]): number => v.reduce((s, x) => s + x, 0) / v.length;
    const mx = mean(this.places.map((p) => p[0]));
    const my = mean(this.places.map((p) => p[1]));
    const q = this.places.length;
    const steps = this.places
      .slice(1)
      .map((p, k) => (p[0] - this.places[k]![0]) ** 2 + (p[1] - this.places[k]![1]) ** 2);
    const third = Math.floor(q / 3);
    const d = [0, 1].map(
      (c) => mean(this.places.slice(-third).map((p) => p[c]!)) - mean(this.places.slice(0, third).map((p) => p[c]!)),
    );
    const second = (where: 'inside' | 'out'): number => {
      let s = 0;
      let k = 0;
      for (let f = 1; f + 1 < this.errors.length; f++)
        for (let i = 0; i < W * H; i++) {
          if (
            !(
              this.errors[f - 1]![where][i]! > 0 &&
              this.errors[f]![where][i]! > 0 &&
              this.errors[f + 1]![where][i]! > 0
            )
          )
            continue;
          s += (this.errors[f]!.error[i]! - 0.5 * (this.errors[f - 1]!.error[i]! + this.errors[f + 1]!.error[i]!)) ** 2;
          k++;
        }
      return Math.sqrt(s / Math.max(1, k));
    };
    return {
      inside: mean(this.colour),
      seam: mean(this.edge),
      mean: Math.hypot(mx, my),
      jitter: Math.sqrt(mean(steps)),
      drift: Math.hypot(d[0]!, d[1]!),
      flicker: second('inside'),
      floor: second('out'),
    };
  }
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
  const options = { widthPx: W, heightPx: H, rate: { num: 24, den: 1 } } as const;
  const file = (name: string): string => join(folder, name);
  if (!existsSync(file('truth.mkv'))) {
    const target = await VideoWriter.open(file('target.mp4'), { ...options, codec: 'h264' });
    const source = await VideoWriter.open(file('source.mp4'), { ...options, codec: 'h264' });
    const truth = await VideoWriter.open(file('truth.part.mkv'), { ...options, codec: 'ffv1' });
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
  const src = kind === 'b' ? file('target.mp4') : file('source.mp4');
  const region = (polygon: Point2[]) => ({
    frames: [{ frame: 0, polygon: polygon.map((p): [number, number] => [p[0], p[1]]) }],
  });
  const step = {
    step: 'patch' as const,
    on: true,
    why: '',
    source: kind === 'c' ? '' : src,
    sourceRegion: region(c.sourcePolygon),
    targetRegion: region(c.targetPolygon),
    offsetFrames: c.offset,
    ...(kind === 'c' ? { onto: 'join' as const } : {}),
  };
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
  const [ours, clone, untouched] = [new Judge(), new Judge(), new Judge()];
  const lines: string[] = [];
  const truths: Picture[] = [];
  const dump = (name: string, data: Float32Array): string => {
    const f = file(name);
    writeFileSync(f, new Uint8Array(data.buffer, data.byteOffset, data.byteLength));
    return f;
  };
  const copy = (p: Picture): Picture => ({ ...p, channels: 3, data: p.data.slice(0, 3 * W * H) });
  let seconds = 0;
  for (let f = 0; f < COUNT; f++) {
    const frame = await clip.frame(f);
    const target = copy(toCodedRgb(frame));
    const truth = copy(toCodedRgb(await right.frame(f)));
    const t0 = process.cpuUsage();
    let result = copy(target);
    if (taker !== null) result = copy(toCodedRgb(await taker.patch(frame)));
    else {
      const matte = new Float32Array(W * H).fill(1);
      const box: [number, number, number, number] = [0, 0, W, H];
      const got = await joiner!.patch(
        f,
        f,
        target,
        { box, coded: target, changed: new Uint8Array(W * H), matte },
        null,
        [1, 0, 0, 0, 1, 0, 0, 0, 1],
        [1, 1],
      );
      if (got !== null)
        for (let k = 0; k < 3; k++)
          for (let y = got.box[1]; y < got.box[3]; y++)
            result.data.set(
              got.coded.data.subarray(
                k * (got.box[2] - got.box[0]) * (got.box[3] - got.box[1]) +
                  (y - got.box[1]) * (got.box[2] - got.box[0]),
                k * (got.box[2] - got.box[0]) * (got.box[3] - got.box[1]) +
                  (y - got.box[1] + 1) * (got.box[2] - got.box[0]),
              ),
              k * W * H + y * W + got.box[0],
            );
    }
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
  const py = ['python3', '/usr/bin/python3'].find(
    (p) => spawnSync(p, ['-c', 'import cv2; cv2.seamlessClone']).status === 0,
  );
  let cloned: Score | null = null;
  if (py !== undefined) {
    writeFileSync(file('clone.py'), CLONE);
    spawnSync(py, [file('clone.py')], { input: `${lines.join('\n')}\n` });
    const { readFileSync } = await import('node:fs');
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
    cloned = clone.score();
  }
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
