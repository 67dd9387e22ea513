/**
 * The cast shadow of the exam's scenes (exam-plan.ts) by ray casting alone, in seconds a scene instead of minutes:
 * outline and floor shadow of the creature without its fur, in plate and take, lamps near or far; no film look, no
 * peel. Rows: overlap over union on the ground outside the performer of the body flat, by the take's shadow
 * (body-depth.ts), by likeness to a usual body (likely-depth.ts), by that of the outline alone, and of the true body;
 * under the key as marks tell it, or its true direction at the performer. Run: `npx tsx bench/shadow-exam.ts SEEDS
 * [FOLDER] [--true-key]`; FOLDER keeps the rays cast.
 */
import { existsSync, mkdirSync, readFileSync, writeFileSync } from 'node:fs';
import { join, resolve } from 'node:path';
import { fileURLToPath } from 'node:url';
import { project, shadowOf, type Camera } from '../demo/scenes/camera.js';
import type { Vec3 } from '../demo/scenes/vector.js';
import { RandomStream } from '../src/core/random.js';
import { median } from '../src/image/statistics.js';
import { depthFromShadow } from '../src/join/body/body-depth.js';
import { depthFromLikeness } from '../src/join/body/likely-depth.js';
import type { GroundStep } from '../src/join/types.js';
import { shownShadow } from './body-views.js';
import { planOf, seen } from './exam-plan.js';
import type { Lamps } from './exam-sets.js';
import { seedsOf } from './exam-scenes.js';
import {
  type Cast,
  RAD,
  type ShadowExam,
  type View,
  add,
  anglesOf,
  cast,
  frameFor,
  stood,
  towardsLamp,
} from './shadow-exam-casting.js';
import { coverOf, overlap, trueBodyCover } from './shadow-exam-score.js';

interface Key {
  readonly azimuthDeg: number;
  readonly elevationDeg: number;
}

/** The rays cast of a view, kept in a file of the folder. */
function keptCast(cache: string, seed: number, name: string, v: View): Cast {
  const file = join(cache, `${seed}-${name}.bin`);
  const n = v.camera.widthPx * v.camera.heightPx;
  if (existsSync(file)) {
    const b = readFileSync(file);
    return {
      matte: Float32Array.from(b.subarray(0, n), (x) => x / 4),
      shadow: Float32Array.from(b.subarray(n), (x) => x / 4),
    };
  }
  const made = cast(v);
  mkdirSync(cache, { recursive: true });
  writeFileSync(file, Uint8Array.from([...made.matte, ...made.shadow].map((x) => 4 * x)));
  return made;
}

/** The mean of keys as marks tell them, round the circle; what is true where no mark does. */
function meanKey(marked: readonly Key[], trueKey: Key): Key {
  if (marked.length === 0) return trueKey;
  const sum = (of: (m: Key) => number): number => marked.reduce((s, m) => s + of(m), 0);
  return {
    azimuthDeg:
      Math.atan2(
        sum((m) => Math.sin(m.azimuthDeg * RAD)),
        sum((m) => Math.cos(m.azimuthDeg * RAD)),
      ) / RAD,
    elevationDeg: sum((m) => m.elevationDeg) / marked.length,
  };
}

/** The take's outline on the plate, w × h both, by the performer's foot and top (height `H`, m). */
function placedOutline(plate: View, take: View, matte: Float32Array, H: number): Float32Array {
  const { widthPx: w, heightPx: h } = plate.camera;
  // The take's outline on the plate by foot and top.
  const pf = project(plate.camera, plate.at);
  const pt = project(plate.camera, add(plate.at, [0, H, 0]));
  const tf = project(take.camera, [0, 0, 0]);
  const tt = project(take.camera, [0, H, 0]);
  const q = (pt[0] - pf[0]) ** 2 + (pt[1] - pf[1]) ** 2;
  const dx = pt[0] - pf[0];
  const dy = pt[1] - pf[1];
  const ex = tt[0] - tf[0];
  const ey = tt[1] - tf[1];
  const co = (ex * dx + ey * dy) / q;
  const si = (ey * dx - ex * dy) / q;
  const placed = new Float32Array(w * h);
  for (let y = 0; y < h; y++)
    for (let x = 0; x < w; x++) {
      let sum = 0;
      for (const oy of [0.25, 0.75])
        for (const ox of [0.25, 0.75]) {
          const a = x + ox - pf[0];
          const b = y + oy - pf[1];
          const u = Math.floor(tf[0] + co * a - si * b);
          const v = Math.floor(tf[1] + si * a + co * b);
          if (u >= 0 && v >= 0 && u < w && v < h) sum += matte[v * w + u]!;
        }
      placed[y * w + x] = sum / 4;
    }
  return placed;
}

/** @param cache where rays cast are kept */
function makeShadowExam(seed: number, cache: string): ShadowExam {
  const p = planOf(seed);
  const f = p.frames >> 1;
  const t = p.take;
  const r = new RandomStream(seed, 909);
  const H = p.creature.height;
  const plateView: View = {
    camera: p.camera(f),
    lamps: p.lamps,
    at: p.at,
    parts: stood(p.creature.parts, p.at, p.yaw(f)),
  };
  const takeView: View = {
    camera: t.camera,
    lamps: t.lamps,
    at: [0, 0, 0],
    parts: stood(p.creature.parts, [0, 0, 0], t.yaw(f)),
  };
  const kept = (name: string, v: View): Cast => keptCast(cache, seed, name, v);
  const plate = kept('plate', plateView);
  const take = kept('take', takeView);
  const upright = (c: Camera, l: Lamps, at: Vec3, h: number): Key => {
    const a = anglesOf(c, towardsLamp(l, add(at, [0, h, 0])));
    return { azimuthDeg: a.azimuthDeg + 1.2 * r.normal(), elevationDeg: a.elevationDeg + 0.8 * r.normal() };
  };
  const mid: Vec3 = add(p.at, [0, H / 2, 0]);
  const trueKey = anglesOf(plateView.camera, towardsLamp(p.lamps, mid));
  const c0 = p.camera(0);
  const marked = p.set.uprights
    .filter(
      (q) =>
        seen(c0, q.at) &&
        seen(c0, add(q.at, [0, q.height, 0])) &&
        seen(c0, shadowOf(add(q.at, [0, q.height, 0]), towardsLamp(p.lamps, add(q.at, [0, q.height, 0])))),
    )
    .map((q) => upright(plateView.camera, p.lamps, q.at, q.height));
  const key = meanKey(marked, trueKey);
  const at = frameFor(plateView.camera, p.at, key.azimuthDeg);
  const trueTakeKey = anglesOf(t.camera, towardsLamp(t.lamps, [0, H / 2, 0]));
  const takeKey = upright(
    t.camera,
    t.lamps,
    t.garden === null ? t.screen.peg : t.garden.uprights[0]!.at,
    t.garden === null ? t.screen.pegHeight : t.garden.uprights[0]!.height,
  );
  const takeAt = frameFor(t.camera, [0, 0, 0], takeKey.azimuthDeg);
  const w = plateView.camera.widthPx;
  const h = plateView.camera.heightPx;
  const placed = placedOutline(plateView, takeView, take.matte, H);
  const dark = 1 / (1 + t.lamps.fill[1]! / (t.lamps.key[1]! * t.lamps.towards[1]));
  const shadow = shownShadow(take, w, h, dark, r);
  const step = {
    step: 'ground',
    on: true,
    shadow: true,
    contact: false,
    receiver: 'ground',
    ...key,
    transmission: [0.35, 0.35, 0.4],
    softnessDeg: p.lamps.softDeg,
    contactStrength: 0.8,
    focalPx: plateView.camera.focalPx,
    frames: [at],
    why: '',
  } as GroundStep;
  return {
    seed,
    words: p.words,
    plan: p,
    plate,
    take,
    plateView,
    takeView,
    step,
    at,
    trueKey,
    trueTakeKey,
    placed,
    seen: { alpha: take.matte, box: [0, 0, w, h], shadow },
    takeGround: {
      focalPx: t.camera.focalPx,
      ...takeKey,
      softnessDeg: t.lamps.softDeg,
      at: takeAt,
      widthPx: w,
      heightPx: h,
    },
  };
}

if (process.argv[1] !== undefined && resolve(process.argv[1]) === fileURLToPath(import.meta.url)) {
  const [seeds, cache] = process.argv.slice(2).filter((a) => !a.startsWith('--'));
  const all: number[][] = [];
  const key = process.argv.includes('--true-key');
  for (const seed of seedsOf(seeds ?? '1-6')) {
    const s = makeShadowExam(seed, cache ?? 'build/shadow-exam');
    const flat = overlap(s, coverOf(s, undefined));
    if (!Number.isFinite(flat)) continue;
    const k = key ? s.trueKey : null;
    const t = s.plan.take;
    const peg = t.garden === null ? { at: t.screen.peg, height: t.screen.pegHeight } : t.garden.uprights[0]!;
    const found = depthFromShadow(s.seen, s.takeGround);
    const seen = {
      alpha: s.seen.alpha,
      box: s.seen.box,
      toldAt: { foot: project(t.camera, peg.at) as [number, number], height: peg.height },
      others: [],
      keySd: [0, 0] as const,
    };
    const like = depthFromLikeness({ ...seen, shadow: s.seen.shadow }, s.takeGround);
    const alone = depthFromLikeness({ ...seen, shadow: null }, s.takeGround);
    const row = [
      flat,
      overlap(s, coverOf(s, found?.depth, k)),
      overlap(s, coverOf(s, like?.depth, k)),
      overlap(s, coverOf(s, alone?.depth, k)),
      overlap(s, trueBodyCover(s, k ?? s.step)),
    ];
    all.push(row);
    console.log(
      seed,
      row.map((v) => v.toFixed(2)).join(' '),
      found === null
        ? 'none'
        : `${found.depth.parts === undefined ? 'three' : 'carved'} ${found.before.toFixed(2)} ` +
            `${found.after.toFixed(2)}`,
      like === null
        ? ''
        : `${like.kind} ${like.outline.toFixed(2)} ${like.shadow?.toFixed(2)}; ` +
            `${alone!.kind} ${alone!.outline.toFixed(2)}`,
      s.words.replace(/.*mm, /, ''),
    );
  }
  const line = (f: (v: number[]) => number): string =>
    (all[0] ?? []).map((_, j) => f(all.map((r) => r[j]!)).toFixed(3)).join('  ');
  console.log(
    `${all.length} scenes; mean ${line((v) => v.reduce((a, b) => a + b, 0) / v.length)}; ` +
      `middle ${line(median)} (flat; by the take's shadow; by likeness; the same by the outline alone; true body)`,
  );
}
