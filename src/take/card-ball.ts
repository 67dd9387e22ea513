/**
 * The key light from a white ball (table tennis, 40 mm) on the card's spot. Its place and size are known from the
 * card's pose, so nothing is searched: ball, the shadow that it throws on the card, and the print round it are drawn as
 * the camera would see them for every direction of the light and fitted to the picture in linear light. On the ball,
 * Lambert's key and an ambient that changes with height (sky above, bounce from the paper below: first spherical
 * harmonics, Ramamoorthi & Hanrahan, JOSA A 2001):
 *     I = a + b · (n · up) + k · max(0, n · l)
 * Levels are linear, the direction by Gauss-Newton (variable projection, Golub & Pereyra 1973), with
 * a Huber loss. Works in soft light too, where a peg throws no shadow. Azimuth relative to the
 * camera: 0 from behind it, positive from its right.
 */
import { BALL_DIAMETER_MM, PEG_SPOT } from '../brief/card-layout.js';
import { DEG_PER_RAD } from '../core/angles.js';
import { groundCamera } from '../geometry/camera.js';
import { choleskyFactor, invertSymmetric, solveWithFactor } from '../geometry/linear-solve.js';
import { applyVector } from '../geometry/mat3.js';
import { type Picture } from '../image/picture.js';
import type { ShadingLight } from '../plate/light-shading.js';
import { cardToGround, type AlignedCard, type CardPose } from './card-pose.js';
import { COARSE_RADIUS_PX, FINE_RADIUS_PX, draw, prepare, type Scene, type Vec } from './card-ball-scene.js';

/** The card's own bounce is part of the ambient; colours are those on the white ball. */
export interface BallLight extends ShadingLight {
  /** Outline in pixels: centre, half axes, and the turn of the first in degrees. */
  readonly ellipse: readonly [number, number, number, number, number];
  /** Linear RGB of key and of ambient. */
  readonly keyRgb: readonly [number, number, number];
  readonly fillRgb: readonly [number, number, number];
}

/** Outline of the ball on the spot under a pose; null where a part lies behind the camera. */
export function ballEllipse(
  pose: CardPose,
  widthPx: number,
  heightPx: number,
): [number, number, number, number, number] | null {
  const camera = groundCamera({
    focalPx: pose.focalPx,
    tiltDeg: pose.tiltDeg,
    rollDeg: pose.rollDeg,
    cameraHeight: pose.cameraHeight,
    widthPx,
    heightPx,
  });
  const R = BALL_DIAMETER_MM / 2000;
  const spot = cardToGround(pose.card, PEG_SPOT[0], PEG_SPOT[1]);
  const c = applyVector(camera.worldToCamera, [
    spot[0] - camera.position[0],
    R - camera.position[1],
    spot[1] - camera.position[2],
  ]);
  const distance = Math.hypot(c[0], c[1], c[2]);
  const off = Math.hypot(c[0], c[1]);
  const alpha = Math.asin(Math.min(1, R / distance));
  const theta = Math.atan2(off, c[2]);
  if (!(c[2] > R) || theta + alpha >= Math.PI / 2) return null;
  const near = pose.focalPx * Math.tan(theta - alpha);
  const far = pose.focalPx * Math.tan(theta + alpha);
  const angle = Math.atan2(c[1], c[0]);
  const middle = (near + far) / 2;
  return [
    widthPx / 2 + middle * Math.cos(angle),
    heightPx / 2 + middle * Math.sin(angle),
    (far - near) / 2,
    (pose.focalPx * Math.sin(alpha)) / Math.sqrt(Math.cos(alpha) ** 2 - Math.sin(theta) ** 2),
    angle * DEG_PER_RAD,
  ];
}

/** Least half axis, pixels, from which shading can be read. */
const LEAST_RADIUS_PX = 5;
/** Linear unknowns: paper, its gradient, missing light in the shadow, ambient, its change with height, key. */
const LINEAR = 7;
const SHARED_NOISE = 2;
/** A ball is no perfect sphere of Lambert's kind, and seams and print show: degrees. */
const DIRECTION_FLOOR_DEG = 2;
/** Pegs and bare paper stay below 0.3 of a fit; balls are above 0.9 in made scenes. */
const LEAST_EXPLAINED = 0.7;

/** Light on the ball, or why there is none to be read. `linear` is scene-linear RGB. */
export function readBall(linear: Picture, card: AlignedCard): { ball: BallLight } | { reason: string } {
  const ellipse = ballEllipse(card.pose, linear.width, linear.height);
  if (ellipse === null || Math.min(ellipse[2], ellipse[3]) < LEAST_RADIUS_PX)
    return { reason: 'the spot is too small in the picture for a ball to be read' };
  const coarse = prepare(linear, card, ellipse, COARSE_RADIUS_PX);
  const fine = prepare(linear, card, ellipse, FINE_RADIUS_PX);
  if (coarse === null || fine === null) return { reason: 'the spot lies outside the picture' };
  const none = { reason: 'no ball lies on the spot' };
  const starts: { l: Vec; fit: Fit }[] = [];
  for (const el of [18, 42, 68])
    for (let k = 0; k < 16; k++) {
      const l = direction((k * 360) / 16 - 180, el);
      const fit = evaluate(coarse, 0, l, null, 1);
      if (fit !== null) starts.push({ l, fit });
    }
  if (starts.length === 0) return none;
  starts.sort((p, q) => p.fit.cost - q.fit.cost);
  // Far from a ball: no direction explains anything.
  if (starts[0]!.fit.explained < 0.4) return none;
  let best: { l: Vec; fit: Fit } | null = null;
  for (const s of starts.slice(0, 3)) {
    const r = solve(coarse, s.l, Math.max(0.002, s.fit.mad), 8);
    if (r !== null && (best === null || r.fit.mad < best.fit.mad)) best = r;
  }
  if (best === null) return none;
  best = solve(fine, best.l, Math.max(0.004, best.fit.mad), 12);
  if (best === null) return none;
  const { l, fit } = best;
  if (fit.explained < LEAST_EXPLAINED) return none;
  const key = fit.linear[6]!;
  const ambient = fit.linear[4]! + fit.linear[5]! * l[1];
  const sd = directionSd(fine, l, fit);
  if (!(key > 0.05 * Math.max(1e-4, ambient)) || sd === null || sd > 0.5)
    return { reason: 'what lies on the spot shows no key: no ball, or light from all sides' };
  const rgb = [1, 2, 3].map((channel) => evaluate(fine, channel, l, fit.residual, Math.max(0.002, fit.mad)) ?? fit);
  const keyRgb = rgb.map((f) => Math.max(0, f.linear[6]!)) as [number, number, number];
  const fillRgb = rgb.map((f) => Math.max(0, f.linear[4]! + f.linear[5]! * l[1])) as [number, number, number];
  const safe = Math.max(1e-3 * key, ambient);
  return {
    ball: {
      azimuthDeg: Math.atan2(l[0], -l[2]) * DEG_PER_RAD,
      elevationDeg: Math.asin(Math.max(-1, Math.min(1, l[1]))) * DEG_PER_RAD,
      directionSd: Math.hypot(sd * DEG_PER_RAD, DIRECTION_FLOOR_DEG),
      keyFillStops: Math.log2((key + safe) / safe),
      keyFillSd: Math.min(3, 0.25 + (2 * fit.mad) / safe),
      explained: fit.explained,
      keyRgb,
      fillRgb,
      ellipse,
    },
  };
}

interface Fit {
  readonly cost: number;
  readonly mad: number;
  readonly explained: number;
  readonly linear: Float64Array;
  readonly residual: Float32Array;
  readonly lit: Float32Array;
  readonly shadow: Float32Array;
}

/** Unit vector towards a light at an azimuth and elevation in degrees; world x right, y up, z away. */
function direction(azimuthDeg: number, elevationDeg: number): Vec {
  const a = azimuthDeg / DEG_PER_RAD;
  const e = elevationDeg / DEG_PER_RAD;
  return [Math.cos(e) * Math.sin(a), Math.sin(e), -Math.cos(e) * Math.cos(a)];
}

function fill(row: Float64Array, s: Scene, lit: Float32Array, shadow: Float32Array, at: number): void {
  const p = s.fixed[2]![at]!;
  row[0] = p;
  row[1] = (p * ((at % s.w) - s.w / 2)) / s.w;
  row[2] = (p * (((at / s.w) | 0) - s.h / 2)) / s.h;
  row[3] = -shadow[at]!;
  row[4] = s.fixed[0]![at]!;
  row[5] = s.fixed[1]![at]!;
  row[6] = lit[at]!;
}

/** Levels for a direction in channel 0 (luma) to 3; weights from `previous` residuals where given. */
function evaluate(s: Scene, channel: number, l: Vec, previous: Float32Array | null, scale: number): Fit | null {
  const { lit, shadow } = draw(s, l);
  const seen = s.seen[channel]!;
  const n = seen.length;
  const A = new Float64Array(LINEAR * LINEAR);
  const B = new Float64Array(LINEAR);
  const row = new Float64Array(LINEAR);
  let count = 0;
  for (let at = 0; at < n; at++) {
    const y = seen[at]!;
    if (Number.isNaN(y)) continue;
    fill(row, s, lit, shadow, at);
    const w = previous === null ? 1 : Math.min(1, (1.345 * scale) / Math.max(1e-9, Math.abs(previous[at]!)));
    count++;
    for (let i = 0; i < LINEAR; i++) {
      const wi = w * row[i]!;
      B[i]! += wi * y;
      for (let j = 0; j <= i; j++) A[i * LINEAR + j]! += wi * row[j]!;
    }
  }
  if (count < 80) return null;
  for (let i = 0; i < LINEAR; i++) {
    A[i * LINEAR + i]! += 1e-6 * count;
    for (let j = 0; j < i; j++) A[j * LINEAR + i] = A[i * LINEAR + j]!;
  }
  const linear = bounded(A, B);
  if (linear === null) return null;
  const residual = new Float32Array(n).fill(NaN);
  const sizes: number[] = [];
  let cost = 0;
  let bn = 0;
  let by = 0;
  let byy = 0;
  let br = 0;
  for (let at = 0; at < n; at++) {
    const y = seen[at]!;
    if (Number.isNaN(y)) continue;
    fill(row, s, lit, shadow, at);
    let m = 0;
    for (let i = 0; i < LINEAR; i++) m += linear[i]! * row[i]!;
    const r = y - m;
    const t = Math.abs(r) / scale;
    residual[at] = r;
    cost += previous === null || t <= 1.345 ? t * t : 2 * 1.345 * t - 1.345 * 1.345;
    if (s.fixed[0]![at]! > 0.5) {
      bn++;
      by += y;
      byy += y * y;
      br += r * r;
      sizes.push(Math.abs(r));
    }
  }
  sizes.sort((p, q) => p - q);
  const variance = byy - (by * by) / Math.max(1, bn);
  return {
    cost,
    mad: 1.4826 * (sizes[sizes.length >> 1] ?? 1),
    explained: bn > 12 && variance > 0 ? Math.max(0, 1 - br / variance) : 0,
    linear,
    residual,
    lit,
    shadow,
  };
}

/** Solution with shadow and key not below zero: what would be is left out, and the rest solved again. */
function bounded(A: Float64Array, B: Float64Array): Float64Array | null {
  const off = new Set<number>();
  for (;;) {
    const a = Float64Array.from(A);
    const b = Float64Array.from(B);
    for (const k of off) {
      for (let i = 0; i < LINEAR; i++) {
        a[k * LINEAR + i] = 0;
        a[i * LINEAR + k] = 0;
      }
      a[k * LINEAR + k] = 1;
      b[k] = 0;
    }
    const f = choleskyFactor(a, LINEAR);
    if (f === null) return null;
    const x = solveWithFactor(f, b, LINEAR);
    const below = [3, 6].find((k) => !off.has(k) && x[k]! < 0);
    if (below === undefined) return x;
    off.add(below);
  }
}

/** Two unit vectors across l. */
function across(l: Vec): [Vec, Vec] {
  const o: Vec = Math.abs(l[1]) < 0.9 ? [0, 1, 0] : [1, 0, 0];
  const t = unit([l[1] * o[2] - l[2] * o[1], l[2] * o[0] - l[0] * o[2], l[0] * o[1] - l[1] * o[0]]);
  return [t, [l[1] * t[2] - l[2] * t[1], l[2] * t[0] - l[0] * t[2], l[0] * t[1] - l[1] * t[0]]];
}
function unit(v: Vec): Vec {
  const n = Math.hypot(v[0], v[1], v[2]);
  return [v[0] / n, v[1] / n, v[2] / n];
}
function turned(l: Vec, t: readonly [Vec, Vec], u: number, v: number): Vec {
  return unit([l[0] + u * t[0][0] + v * t[1][0], l[1] + u * t[0][1] + v * t[1][1], l[2] + u * t[0][2] + v * t[1][2]]);
}

/** Gauss-Newton over the two angles with the levels eliminated. */
function solve(s: Scene, start: Vec, scale: number, most: number): { l: Vec; fit: Fit } | null {
  let l = start;
  let lambda = 1e-2;
  const first = evaluate(s, 0, l, null, scale);
  if (first === null) return null;
  let fit = evaluate(s, 0, l, first.residual, scale);
  if (fit === null) return null;
  for (let iteration = 0; iteration < most; iteration++) {
    const t = across(l);
    const g = gradients(s, l, t, fit);
    let a = 0;
    let b = 0;
    let c = 0;
    let gu = 0;
    let gv = 0;
    for (let at = 0; at < fit.residual.length; at++) {
      const r = fit.residual[at]!;
      if (Number.isNaN(r)) continue;
      const w = Math.min(1, (1.345 * scale) / Math.max(1e-9, Math.abs(r)));
      const x = g[0][at]!;
      const y = g[1][at]!;
      a += w * x * x;
      b += w * x * y;
      c += w * y * y;
      gu += w * x * r;
      gv += w * y * r;
    }
    let moved = false;
    for (let tries = 0; tries < 5; tries++) {
      const A = a * (1 + lambda) + 1e-12;
      const C = c * (1 + lambda) + 1e-12;
      const det = A * C - b * b;
      if (!(det > 0)) {
        lambda *= 10;
        continue;
      }
      const limit = (v: number): number => Math.max(-0.35, Math.min(0.35, v));
      const u = limit((C * gu - b * gv) / det);
      const v = limit((A * gv - b * gu) / det);
      const q = turned(l, t, u, v);
      const next = evaluate(s, 0, q, fit.residual, scale);
      if (next !== null && next.cost < fit.cost) {
        moved = Math.hypot(u, v) > 5e-4;
        l = q;
        fit = next;
        lambda = Math.max(1e-5, lambda / 4);
        break;
      }
      lambda *= 8;
    }
    if (!moved) break;
  }
  return { l, fit };
}

/** Change of the prediction along both tangents at the fitted levels. */
function gradients(s: Scene, l: Vec, t: readonly [Vec, Vec], fit: Fit): [Float32Array, Float32Array] {
  const h = 0.02;
  return [
    [h, 0],
    [0, h],
  ].map(([u, v]) => {
    const p = draw(s, turned(l, t, u!, v!));
    const m = draw(s, turned(l, t, -u!, -v!));
    return p.lit.map(
      (x, i) => (fit.linear[6]! * (x - m.lit[i]!) - fit.linear[3]! * (p.shadow[i]! - m.shadow[i]!)) / (2 * h),
    );
  }) as [Float32Array, Float32Array];
}

/** Standard deviation of the direction, radians, its worse axis, with all levels free; null where it is not held. */
function directionSd(s: Scene, l: Vec, fit: Fit): number | null {
  const g = gradients(s, l, across(l), fit);
  const n = LINEAR + 2;
  const A = new Float64Array(n * n);
  const row = new Float64Array(n);
  const part = row.subarray(2);
  for (let at = 0; at < fit.residual.length; at++) {
    const r = fit.residual[at]!;
    if (Number.isNaN(r)) continue;
    const w = Math.min(1, (1.345 * Math.max(0.002, fit.mad)) / Math.max(1e-9, Math.abs(r)));
    fill(part, s, fit.lit, fit.shadow, at);
    row[0] = g[0][at]!;
    row[1] = g[1][at]!;
    for (let i = 0; i < n; i++) for (let j = 0; j <= i; j++) A[i * n + j]! += w * row[i]! * row[j]!;
  }
  for (let i = 0; i < n; i++) {
    A[i * n + i]! += 1e-9;
    for (let j = 0; j < i; j++) A[j * n + i] = A[i * n + j]!;
  }
  const inverse = invertSymmetric(A, n);
  return inverse === null
    ? null
    : SHARED_NOISE * Math.max(0.002, fit.mad) * Math.sqrt(Math.max(inverse[0]!, inverse[n + 1]!));
}
