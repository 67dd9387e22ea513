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
import { mul, type Vec3 } from '../demo/scenes/vector.js';
import { RandomStream } from '../src/core/random.js';
import { gaussianPlane } from '../src/image/gaussian.js';
import { dilate } from '../src/image/morphology.js';
import { median } from '../src/image/statistics.js';
import { depthFromShadow, type TakeGround, type TakeShadow } from '../src/join/body-depth.js';
import { depthFromLikeness } from '../src/join/likely-depth.js';
import { groundGeometry, shadeGround } from '../src/join/ground.js';
import { fillShade } from '../src/join/shade-plane.js';
import { buildShadowMap, type SolidBall } from '../src/join/shadow-map.js';
import { dot } from '../src/geometry/mat3.js';
import type { BodyDepth, GroundFrame, GroundStep } from '../src/join/types.js';
import { planOf, seen, type ExamPlan } from './exam-plan.js';
import type { Lamps } from './exam-sets.js';
import { seedsOf } from './exam-scenes.js';
import { meets, type Ellipsoid } from './made-bodies.js';

const RAD = Math.PI / 180;
/** Lamp's points a pixel, in shares of its half width. */
const LAMP = [
  [-0.35, -0.35],
  [0.35, -0.35],
  [-0.35, 0.35],
  [0.35, 0.35],
] as const;

export interface View {
  readonly camera: Camera;
  readonly lamps: Lamps;
  readonly at: Vec3;
  readonly parts: readonly Ellipsoid[];
}
export interface Cast {
  readonly matte: Float32Array;
  readonly shadow: Float32Array;
}

const sub = (a: Vec3, b: Vec3): Vec3 => [a[0] - b[0], a[1] - b[1], a[2] - b[2]];
const add = (a: Vec3, b: Vec3, k = 1): Vec3 => [a[0] + k * b[0], a[1] + k * b[1], a[2] + k * b[2]];
const unit = (a: Vec3): Vec3 => mul(a, 1 / Math.hypot(...a));
const crossed = (a: Vec3, b: Vec3): Vec3 => [
  a[1] * b[2] - a[2] * b[1],
  a[2] * b[0] - a[0] * b[2],
  a[0] * b[1] - a[1] * b[0],
];

/** Ellipsoids turned by `yawDeg` and stood at a point. */
export function stood(parts: readonly Ellipsoid[], at: Vec3, yawDeg: number): Ellipsoid[] {
  const c = Math.cos(yawDeg * RAD);
  const s = Math.sin(yawDeg * RAD);
  const turn = (p: Vec3): Vec3 => [c * p[0] + s * p[2], p[1], -s * p[0] + c * p[2]];
  return parts.map((e) => ({ c: add(turn(e.c), at), a: e.a.map((r) => turn(r)) as unknown as Ellipsoid['a'] }));
}

/** Towards the lamp from a point. */
export const towardsLamp = (l: Lamps, p: Vec3): Vec3 => (l.far > 50 ? l.towards : unit(sub(mul(l.towards, l.far), p)));

function cast(v: View): Cast {
  const { camera: c, lamps, parts } = v;
  const w = c.widthPx;
  const h = c.heightPx;
  const matte = new Float32Array(w * h);
  const shadow = new Float32Array(w * h);
  const side = unit(crossed(lamps.towards, [0, 1, 0]));
  const up = crossed(side, lamps.towards);
  const wide = lamps.far * Math.tan((lamps.softDeg * RAD) / 2);
  const reach = (e: Ellipsoid): number => Math.max(...e.a.map((r) => 1 / Math.hypot(...r)));
  let x0 = w;
  let y0 = h;
  let x1 = 0;
  let y1 = 0;
  for (const e of parts) {
    const r = reach(e);
    for (const dx of [-r, r])
      for (const dy of [-r, r])
        for (const dz of [-r, r]) {
          const p = add(e.c, [dx, dy, dz]);
          const l = towardsLamp(lamps, p);
          const q = p[1] <= 0 ? p : shadowOf(p, l);
          for (const z of [p, q]) {
            if (z[2] < c.position[2] + 0.1) continue;
            const [x, y] = project(c, z);
            x0 = Math.min(x0, x);
            x1 = Math.max(x1, x);
            y0 = Math.min(y0, y);
            y1 = Math.max(y1, y);
          }
        }
  }
  for (let y = Math.max(0, Math.floor(y0)); y < Math.min(h, Math.ceil(y1)); y++)
    for (let x = Math.max(0, Math.floor(x0)); x < Math.min(w, Math.ceil(x1)); x++) {
      let m = 0;
      let s = 0;
      for (const [k, [ox, oy]] of LAMP.entries()) {
        const px = x + 0.25 + 0.5 * (k & 1) - w / 2;
        const py = y + 0.25 + 0.5 * (k >> 1) - h / 2;
        const d = add(add(c.forward, c.right, px / c.focalPx), c.down, py / c.focalPx);
        if (meets(parts, c.position, d)) m++;
        if (d[1] > -1e-4) continue;
        const g = add(c.position, d, -c.position[1] / d[1]);
        const l =
          lamps.far > 50
            ? add(add(lamps.towards, side, (ox * wide) / lamps.far), up, (oy * wide) / lamps.far)
            : sub(add(add(mul(lamps.towards, lamps.far), side, ox * wide), up, oy * wide), g);
        if (meets(parts, add(g, [0, 1e-4, 0]), l)) s++;
      }
      matte[y * w + x] = m / 4;
      shadow[y * w + x] = s / 4;
    }
  return { matte, shadow };
}

/** Azimuth and elevation of a direction beside a camera's heading, degrees. */
function anglesOf(c: Camera, l: Vec3): { azimuthDeg: number; elevationDeg: number } {
  const h = Math.atan2(c.forward[0], c.forward[2]);
  const right: Vec3 = [Math.cos(h), 0, -Math.sin(h)];
  const ahead: Vec3 = [Math.sin(h), 0, Math.cos(h)];
  const d = (a: Vec3): number => a[0] * l[0] + a[2] * l[2];
  return { azimuthDeg: Math.atan2(d(right), -d(ahead)) / RAD, elevationDeg: Math.asin(l[1]) / RAD };
}

function frameFor(c: Camera, at: Vec3, azimuthDeg: number): GroundFrame {
  const q = sub(at, c.position);
  const z = q[0] * c.forward[0] + q[1] * c.forward[1] + q[2] * c.forward[2];
  const roll = Math.asin(Math.max(-1, Math.min(1, c.right[1] / Math.sqrt(1 - c.forward[1] ** 2))));
  return {
    frame: 0,
    foot: project(c, at) as [number, number],
    pxPerMetre: c.focalPx / z,
    tiltDeg: Math.asin(c.forward[1]) / RAD,
    rollDeg: roll / RAD,
    azimuthDeg,
  };
}

export interface ShadowExam {
  readonly seed: number;
  readonly words: string;
  readonly plan: ExamPlan;
  readonly plate: Cast;
  readonly take: Cast;
  readonly plateView: View;
  readonly takeView: View;
  readonly step: GroundStep;
  readonly at: GroundFrame;
  readonly trueKey: { azimuthDeg: number; elevationDeg: number };
  readonly takeGround: TakeGround;
  readonly trueTakeKey: { azimuthDeg: number; elevationDeg: number };
  readonly seen: TakeShadow;
  readonly placed: Float32Array;
}

/** @param cache where rays cast are kept */
export function makeShadowExam(seed: number, cache: string): ShadowExam {
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
  const kept = (name: string, v: View): Cast => {
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
  };
  const plate = kept('plate', plateView);
  const take = kept('take', takeView);
  const upright = (c: Camera, l: Lamps, at: Vec3, h: number): { azimuthDeg: number; elevationDeg: number } => {
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
  const key =
    marked.length === 0
      ? trueKey
      : {
          azimuthDeg:
            Math.atan2(
              marked.reduce((s, m) => s + Math.sin(m.azimuthDeg * RAD), 0),
              marked.reduce((s, m) => s + Math.cos(m.azimuthDeg * RAD), 0),
            ) / RAD,
          elevationDeg: marked.reduce((s, m) => s + m.elevationDeg, 0) / marked.length,
        };
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
  // The take's outline on the plate by foot and top.
  const pf = project(plateView.camera, p.at);
  const pt = project(plateView.camera, add(p.at, [0, H, 0]));
  const tf = project(t.camera, [0, 0, 0]);
  const tt = project(t.camera, [0, H, 0]);
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
          if (u >= 0 && v >= 0 && u < w && v < h) sum += take.matte[v * w + u]!;
        }
      placed[y * w + x] = sum / 4;
    }
  const cell = 2;
  const cw = w / cell;
  const ch = h / cell;
  const density = new Float32Array(cw * ch);
  const dark = 1 / (1 + t.lamps.fill[1]! / (t.lamps.key[1]! * t.lamps.towards[1]));
  for (let y = 0; y < ch; y++)
    for (let x = 0; x < cw; x++) {
      let s = 0;
      let m = 0;
      for (let oy = 0; oy < cell; oy++)
        for (let ox = 0; ox < cell; ox++) {
          const i = (y * cell + oy) * w + x * cell + ox;
          s += take.shadow[i]!;
          m += take.matte[i]!;
        }
      density[y * cw + x] = m > 0 ? 0 : (dark * s) / (cell * cell);
    }
  const soft = gaussianPlane(density, cw, ch, 1.2);
  for (let i = 0; i < soft.length; i++) soft[i] = Math.max(0, soft[i]! + 0.015 * r.normal());
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
    seen: { alpha: take.matte, box: [0, 0, w, h], shadow: { width: cw, height: ch, cell, density: soft } },
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

/**
 * Overlap over union of a shadow with the true one outside the performer and its soft edge; not a
 * number where only a rim of the true one is seen.
 */
export function overlap(s: ShadowExam, cover: Float32Array): number {
  const { widthPx: w, heightPx: h } = s.plateView.camera;
  const n = w * h;
  const kept = dilate(
    s.plate.matte.map((v) => (v > 0.02 ? 1 : 0)),
    w,
    h,
    3,
  );
  const there = new Uint8Array(n);
  let both = 0;
  let either = 0;
  let all = 0;
  let inside = 0;
  for (let i = 0; i < n; i++) if (kept[i]! <= 0.5 && s.plate.shadow[i]! > 0.45) there[i] = 1;
  for (let i = w; i < n - w; i++) {
    if (kept[i]! > 0.5) continue;
    const a = cover[i]! > 0.45;
    const b = there[i] === 1;
    if (a && b) both++;
    if (a || b) either++;
    if (b) {
      all++;
      if (there[i - 1]! + there[i + 1]! + there[i - w]! + there[i + w]! === 4) inside++;
    }
  }
  return inside > 0.5 * all && all > 60 ? both / either : NaN;
}

export function coverOf(
  s: ShadowExam,
  body: BodyDepth | undefined,
  key: { azimuthDeg: number; elevationDeg: number } | null = null,
  alpha = s.placed,
): Float32Array {
  const { widthPx: w, heightPx: h } = s.plateView.camera;
  const out = new Float32Array(w * h);
  const step = { ...s.step, ...(key ?? {}), ...(body === undefined ? {} : { body }) };
  const at = key === null ? s.at : { ...s.at, azimuthDeg: key.azimuthDeg };
  const shade = shadeGround(step, at, alpha, [0, 0, w, h], w, h, 0.6);
  if (shade !== null) {
    const [x0, y0, x1, y1] = shade.box;
    for (let y = y0; y < y1; y++)
      for (let x = x0; x < x1; x++) out[y * w + x] = shade.cover[(y - y0) * (x1 - x0) + x - x0]!;
  }
  return out;
}

/** The true body's shadow by the product's map, under the key's one direction. */
export function trueBodyCover(s: ShadowExam, key: { azimuthDeg: number; elevationDeg: number }): Float32Array {
  const { camera: c } = s.plateView;
  const w = c.widthPx;
  const h = c.heightPx;
  const out = new Float32Array(w * h);
  const g = groundGeometry({ ...s.step, ...key }, { ...s.at, azimuthDeg: key.azimuthDeg }, w, h);
  const balls: SolidBall[] = [];
  for (const e of s.plateView.parts)
    for (let i = -6; i <= 6; i++) {
      // An ellipsoid as balls along its longest axis.
      const axes = e.a.map((row) => {
        const q = row[0] ** 2 + row[1] ** 2 + row[2] ** 2;
        return [row[0] / q, row[1] / q, row[2] / q] as Vec3;
      });
      const long = axes.map((a) => Math.hypot(...a));
      const k = long.indexOf(Math.max(...long));
      const t = i / 6.5;
      const rest = long.filter((_, j) => j !== k);
      const radius = (Math.sqrt(1 - t * t) * (rest[0]! + rest[1]!)) / 2;
      const q = sub(add(e.c, axes[k]!, t * (1 - (Math.min(...long) / long[k]!) * 0.5)), c.position);
      balls.push({ centre: [dot(q, c.right), dot(q, c.down), dot(q, c.forward)], radius });
    }
  const map = buildShadowMap(balls, g.light, g.up, s.step.softnessDeg, 0.6 / s.at.pxPerMetre, 0.6 / s.at.pxPerMetre);
  if (map !== null)
    fillShade(g, { n: g.up, d: dot(g.up, g.foot) }, map, [], [0, 0, w, h], out, new Float32Array(w * h));
  return out;
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
