/**
 * Direction of the key light from the shading of a head-like thing inside an ellipse: the ellipse is taken as the outline of
 * an ellipsoid whose depth is the mean of its half axes, so every pixel has a normal, and linear luminance is explained by
 *     I = a + b · (n · up) + k · max(0, n · l)
 * (one directional light with a sky-and-ground ambient: Lambert's law; shape from a known occluding contour after Horn,
 * *Obtaining Shape from Shading Information*, 1975; two-term ambient as the first spherical harmonics of Ramamoorthi &
 * Hanrahan, *On the relationship between radiance and irradiance*, JOSA A 2001). Cast shadow (a hat's, an ear's) shows ambient alone; eyes, hair and
 * texture are outliers. Robust search over directions, then refinement.
 */
import type { Picture } from '../image/picture.js';
import type { View } from './types.js';
import { twoKeys, type TwoKeys } from './light-two-keys.js';
import { lumaNoise } from './luma-noise.js';
import { outlineBlur } from './outline-blur.js';
import { viewCamera } from './view-derived.js';
import { groundCamera, unproject } from '../geometry/camera.js';
import { DEG_PER_RAD } from '../core/angles.js';

export interface ShadingLight {
  readonly azimuthDeg: number;
  readonly elevationDeg: number;
  /** Standard deviation of the direction itself, degrees on the sphere (each of two axes). */
  readonly directionSd: number;
  /** log2((key + ambient) / ambient) at a surface that faces the key. */
  readonly keyFillStops: number;
  readonly keyFillSd: number;
  /** Share of the variance of the shading explained, 0..1; below 0.3 there is no key to speak of. */
  readonly explained: number;
  /** Linear RGB of key and of ambient, up to the skin's own colour. */
  readonly keyRgb: readonly [number, number, number];
  readonly fillRgb: readonly [number, number, number];
  /** A second key where one light does not explain the shading and two do: where it stands and its share of the key's strength. */
  readonly second?: { readonly azimuthDeg: number; readonly elevationDeg: number; readonly share: number };
}

interface Sample { readonly nx: number; readonly ny: number; readonly nz: number; readonly up: number; readonly y: number; readonly r: number; readonly g: number; readonly b: number; readonly rim: boolean; beyond: boolean }

/** What shading that no single light explains adds to the uncertainty, were all of it unexplained: a second lamp, a hat's shadow. */
const UNEXPLAINED_DEG = 40, UNEXPLAINED_STOPS = 4;
/** Sds of the outline's blur that are kept clear of. */
const RING = 2.2;
/** What softness adds to the uncertainty, for an outline blurred by its whole radius: degrees and stops (made heads, blurred by up to a fifth of it). */
const SOFT_DEG = 45, SOFT_STOPS = 4;
/**
 * Beyond this share of the outline's area a hand's slip (some 4 % of the radius) may already show what lies behind: a bright wall
 * must not be taken for the brightest of a dark skin. What is there so many times brighter than the middle's brightest is not held against the head.
 */
const RIM = 0.72, BEYOND = 1.5;
/** Sds of a sample's noise to which the loss is still near its parabola. */
const NOISE_SDS = 2.2;
/** Samples on a disc grid of at most about this many points: enough for the fit, quick at any picture size. */
const TARGET_SAMPLES = 700;

/**
 * Fits the light on one ellipse [cx, cy, rx, ry, deg].
 * @param linear scene-linear RGB picture
 * @param view the camera's view where it is known; else a level camera is assumed
 * @param mask optional coverage (height × width): only pixels above 0.9 are used
 * @returns null where the ellipse lies outside the picture, is too small (under 5 px) or too dark
 */
export function lightFromShading(linear: Picture, ellipse: readonly [number, number, number, number, number], view: View | null, mask?: Float32Array): ShadingLight | null {
  const [cx, cy, rx, ry, deg] = ellipse;
  if (Math.min(rx, ry) < 5) return null;
  const camera = view ? viewCamera(view) : groundCamera({ focalPx: linear.width * 1.3, tiltDeg: 0, rollDeg: 0, cameraHeight: 1, widthPx: linear.width, heightPx: linear.height });
  // Local frame of the head: towards the camera along its own sight line, so that a head at the picture's edge is right.
  const sight = unproject(camera, cx, cy);
  const right = unit([sight[2], 0, -sight[0]]);
  // The world is left-handed, so the sense of the cross product is settled by the sign: down must point down.
  const across = crossOf(sight, right);
  const down: [number, number, number] = across[1] > 0 ? [-across[0], -across[1], -across[2]] : across;
  const roll = view ? (view.rollDeg.value ?? 0) / DEG_PER_RAD : 0;
  // The outermost ring is mixed with what lies behind, the wider the softer the picture, and its normals swing fast.
  const blur = (outlineBlur(linear, ellipse) ?? 0) / Math.min(rx, ry);
  const samples = collect(linear, cx, cy, rx, ry, deg / DEG_PER_RAD, roll, right, down, sight, Math.min(0.92, Math.max(0.2, 1 - RING * blur) ** 2), mask);
  if (samples.length < 40) return null;
  const noise = lumaNoise(linear, ellipse) / sampleSide(rx, ry);
  const one = fitLight(samples, noise);
  if (one === null) return null;
  const two = secondKey(samples, noise, [-sight[0], -sight[1], -sight[2]]);
  const fit = two === null ? one : keyOfTwo(one, two);
  const angles = (d: readonly number[]): { azimuthDeg: number; elevationDeg: number } => ({ azimuthDeg: Math.atan2(d[0]!, -d[2]!) * DEG_PER_RAD, elevationDeg: Math.asin(Math.max(-1, Math.min(1, d[1]!))) * DEG_PER_RAD });
  return {
    ...angles(fit.l), ...(two === null ? {} : { second: { ...angles(two.second), share: two.secondStrength / two.keyStrength } }),
    directionSd: Math.hypot(fit.sdDeg, SOFT_DEG * blur), keyFillStops: fit.stops, keyFillSd: Math.hypot(fit.stopsSd, SOFT_STOPS * blur), explained: fit.explained, keyRgb: fit.keyRgb, fillRgb: fit.fillRgb,
  };
}

/** Levels under this share of the brightest tell nothing of a second light, and neither do three sds of noise. */
const DARKEST = 0.08;

function secondKey(all: readonly Sample[], noise: number, eye: [number, number, number]): TwoKeys | null {
  const middle = all.filter((q) => !q.rim).map((q) => q.y).sort((a, b) => a - b);
  const top = middle[Math.floor(0.97 * (middle.length - 1))] ?? 0;
  if (!(top > 1e-4)) return null;
  const s = all.filter((q) => !q.rim || q.y <= BEYOND * top), column = (f: (q: Sample) => number): Float64Array => Float64Array.from(s, f);
  return twoKeys({ count: s.length, nx: column((q) => q.nx), ny: column((q) => q.ny), nz: column((q) => q.nz), y: column((q) => q.y), noise, floor: Math.max(DARKEST * top, 3 * noise), top }, eye);
}

/** Least sd of the stronger of two keys (made heads), degrees and stops. */
const TWO_KEYS_DEG = 9, TWO_KEYS_STOPS = 0.6;

/** A coat's pattern can pass for a second lamp, so what one light alone would say stays within the uncertainty. */
function keyOfTwo(one: Fit, two: TwoKeys): Fit {
  const ambient = Math.max(1e-5 * two.keyStrength, two.ambient[0] + two.ambient[1] * two.key[1]);
  const stops = Math.log2(1 + two.keyStrength / ambient);
  const apart = Math.acos(Math.max(-1, Math.min(1, one.l[0] * two.key[0] + one.l[1] * two.key[1] + one.l[2] * two.key[2]))) * DEG_PER_RAD;
  return { ...one, l: [...two.key], sdDeg: Math.hypot(TWO_KEYS_DEG, apart), stops, stopsSd: Math.hypot(TWO_KEYS_STOPS, Math.abs(one.stops - stops)) };
}

const unit = (v: [number, number, number]): [number, number, number] => { const n = Math.hypot(v[0], v[1], v[2]); return [v[0] / n, v[1] / n, v[2] / n]; };
function crossOf(a: readonly number[], b: readonly number[]): [number, number, number] {
  return [a[1]! * b[2]! - a[2]! * b[1]!, a[2]! * b[0]! - a[0]! * b[2]!, a[0]! * b[1]! - a[1]! * b[0]!];
}

function collect(p: Picture, cx: number, cy: number, rx: number, ry: number, angle: number, roll: number, right: readonly number[], down: readonly number[], sight: readonly number[], outermost: number, mask?: Float32Array): Sample[] {
  const n = p.width * p.height;
  const step = sampleStep(rx, ry);
  const rz = (rx + ry) / 2;
  const ca = Math.cos(angle), sa = Math.sin(angle);
  const cr = Math.cos(-roll), sr = Math.sin(-roll);
  const out: Sample[] = [];
  const half = Math.max(0, Math.floor(step / 2));
  const big = Math.max(rx, ry);
  for (let v = -big; v <= big; v += step) {
    for (let u = -big; u <= big; u += step) {
      // Ellipse coordinates.
      const ex = (u * ca + v * sa) / rx, ey = (-u * sa + v * ca) / ry;
      const q = ex * ex + ey * ey;
      if (q > outermost) continue;
      const x = Math.floor(cx + u), y = Math.floor(cy + v);
      if (x < half || y < half || x >= p.width - half || y >= p.height - half) continue;
      if (mask && mask[y * p.width + x]! < 0.9) continue;
      // Normal of the ellipsoid in its own axes, then in the picture's.
      let nx = ex / rx, ny = ey / ry;
      const nz = Math.sqrt(1 - q) / rz;
      const ix = nx * ca - ny * sa, iy = nx * sa + ny * ca;
      // Undo the camera's roll, so that picture-right and -down are the level frame's.
      nx = ix * cr - iy * sr;
      ny = ix * sr + iy * cr;
      const len = Math.hypot(nx, ny, nz);
      const wx = (nx * right[0]! + ny * down[0]! - nz * sight[0]!) / len;
      const wy = (nx * right[1]! + ny * down[1]! - nz * sight[1]!) / len;
      const wz = (nx * right[2]! + ny * down[2]! - nz * sight[2]!) / len;
      let r = 0, g = 0, b = 0, c = 0;
      for (let j = -half; j <= half; j++) for (let i = -half; i <= half; i++) {
        const at = (y + j) * p.width + x + i;
        r += p.data[at]!; g += p.data[at + n]!; b += p.data[at + 2 * n]!;
        c++;
      }
      r /= c; g /= c; b /= c;
      out.push({ nx: wx, ny: wy, nz: wz, up: wy, y: 0.2126 * r + 0.7152 * g + 0.0722 * b, r, g, b, rim: q > RIM, beyond: false });
    }
  }
  return out;
}

const sampleStep = (rx: number, ry: number): number => Math.max(1, Math.sqrt((Math.PI * rx * ry) / TARGET_SAMPLES));
/** Side of the square of pixels that makes one sample. */
const sampleSide = (rx: number, ry: number): number => 2 * Math.max(0, Math.floor(sampleStep(rx, ry) / 2)) + 1;

interface Fit { l: [number, number, number]; sdDeg: number; stops: number; stopsSd: number; explained: number; keyRgb: [number, number, number]; fillRgb: [number, number, number] }

/** What it costs to explain a sample as lying in a cast shadow. */
const SHADOW_TOLL = 0.1;
/**
 * Geman-McClure loss, five times as dear for light that the model does not have: hair, eyes and shadows darken a head in
 * many ways, but little except a small glint brightens it.
 */
const UNEXPLAINED_LIGHT = 5;
const gm = (t: number, rim: boolean): number => ((t > 0 && !rim ? UNEXPLAINED_LIGHT : 1) * t * t) / (1 + t * t);

function fitLight(all: readonly Sample[], noise: number): Fit | null {
  const sorted = all.filter((q) => !q.rim).map((q) => q.y).sort((a, b) => a - b);
  if (sorted.length < 20) return null;
  const top = sorted[Math.floor(0.97 * (sorted.length - 1))]!, low = sorted[Math.floor(0.05 * (sorted.length - 1))]!;
  if (!(top > 1e-4)) return null;
  const s = all.map((q) => (q.rim && q.y > BEYOND * top ? { ...q, beyond: true } : q));
  const scale0 = Math.max(0.03 * top, 0.12 * (top - low), NOISE_SDS * noise);
  let best = { cost: Infinity, l: [0, 0, -1] as [number, number, number], w: [0, 0, 0] as [number, number, number], scale: scale0 };
  // Fibonacci sphere of directions.
  const N = 420;
  const dirs: [number, number, number][] = [];
  for (let i = 0; i < N; i++) {
    const y = 1 - (2 * (i + 0.5)) / N, r = Math.sqrt(1 - y * y), a = i * 2.399963229728653;
    // A key from far below or from straight behind the head lights nothing that is seen.
    if (y < -0.35) continue;
    dirs.push([r * Math.cos(a), y, r * Math.sin(a)]);
  }
  const tried = dirs.map((l) => ({ l, ...robustLinear(s, l, scale0, top, 6) })).sort((a, b) => a.cost - b.cost);
  for (const t of tried.slice(0, 6)) {
    const refined = refine(s, t.l, scale0, top);
    if (refined.cost < best.cost) best = { ...refined, scale: scale0 };
  }
  const [a, b, k] = best.w;
  // Curvature of the cost along two axes across l gives the direction's uncertainty; model error (a head is no ellipsoid,
  // skin no Lambertian) puts a floor under it.
  const sd = curvatureSd(s, best.l, best.scale, top, best.cost);
  const floor = 4;
  let ssTot = 0, ssRes = 0, used = 0, mean = 0;
  const weights = s.map((q) => {
    const e = residuals(q, best.l, best.w);
    const lit = gm(e.lit / best.scale, q.beyond), shade = gm(e.shade / best.scale, q.beyond) + SHADOW_TOLL;
    return lit <= shade ? Math.max(0, 1 - lit) : 0;
  });
  s.forEach((q, i) => { mean += weights[i]! * q.y; used += weights[i]!; });
  if (!(used > 20)) return null;
  mean /= used;
  s.forEach((q, i) => {
    const e = residuals(q, best.l, best.w).lit;
    ssTot += weights[i]! * (q.y - mean) ** 2;
    ssRes += weights[i]! * e * e;
  });
  // Ambient where the surface faces the key.
  const amb = Math.max(1e-5 * top, a + b * best.l[1]);
  const stops = Math.log2((Math.max(0, k) + amb) / amb);
  // Noise leaves something over whatever the light: it widens the cost's valley, but is no sign of a second light.
  const free = noise * noise * used;
  const explained = ssTot > free ? Math.max(0, 1 - Math.max(0, ssRes - free) / (ssTot - free)) : 0;
  const rms = Math.sqrt(ssRes / used);
  const stopsSd = Math.min(3, Math.hypot(0.25 + (rms / amb) / Math.LN2 * 0.3, UNEXPLAINED_STOPS * (1 - explained)));
  const rgb = colours(s, best.l, weights);
  // Where most of the shading is left unexplained (a face in a hat's shadow), the direction is a guess by so much more.
  return { l: best.l, sdDeg: Math.hypot(floor, Math.min(60, sd), UNEXPLAINED_DEG * (1 - explained)), stops, stopsSd, explained, ...rgb };
}

function residuals(q: Sample, l: readonly number[], w: readonly number[]): { lit: number; shade: number } {
  const nl = q.nx * l[0]! + q.ny * l[1]! + q.nz * l[2]!;
  const amb = w[0]! + w[1]! * q.up;
  // Only a surface turned to the light can lie in a cast shadow.
  return { lit: q.y - amb - (nl > 0 ? w[2]! * nl : 0), shade: nl > 0.05 ? q.y - amb : Infinity };
}

/** Robust linear fit of (a, b, k) for a fixed direction, iteratively reweighted, with a, k ≥ 0 and |b| ≤ a. */
function robustLinear(s: readonly Sample[], l: readonly number[], scale: number, top: number, rounds: number, from?: readonly [number, number, number]): { cost: number; w: [number, number, number] } {
  // Start: the darkest as ambient, the brightest as key.
  let w: [number, number, number] = from ? [...from] : [0.15 * top, 0.03 * top, 0.8 * top];
  let cost = Infinity;
  for (let round = 0; round < rounds; round++) {
    const A = new Float64Array(6), g = new Float64Array(3);
    cost = 0;
    for (let i = 0; i < s.length; i++) {
      const q = s[i]!;
      const nlRaw = q.nx * l[0]! + q.ny * l[1]! + q.nz * l[2]!;
      const amb = w[0] + w[1] * q.up;
      const nl = nlRaw > 0 ? nlRaw : 0;
      const el = (q.y - amb - w[2] * nl) / scale;
      const cl = gm(el, q.beyond);
      let shade = false, e = el, c = cl;
      if (nlRaw > 0.05) {
        const es = (q.y - amb) / scale;
        const cs = gm(es, q.beyond) + SHADOW_TOLL;
        if (cs < cl) { shade = true; e = es; c = cs; }
      }
      cost += c;
      const wt = (e > 0 && !q.beyond ? UNEXPLAINED_LIGHT : 1) / ((1 + e * e) * (1 + e * e));
      const x2 = shade ? 0 : nl;
      A[0]! += wt; A[1]! += wt * q.up; A[2]! += wt * x2; A[3]! += wt * q.up * q.up; A[4]! += wt * q.up * x2; A[5]! += wt * x2 * x2;
      g[0]! += wt * q.y; g[1]! += wt * q.up * q.y; g[2]! += wt * x2 * q.y;
    }
    if (round === rounds - 1) break;
    w = solve3(A, g, s.length, w);
    if (w[0] < 0) w[0] = 0;
    if (w[2] < 0) w[2] = 0;
    if (w[1] > 0.9 * w[0]) w[1] = 0.9 * w[0];
    if (w[1] < -0.9 * w[0]) w[1] = -0.9 * w[0];
  }
  return { cost, w };
}

/**
 * What is usual of an ambient light, its weight against the samples: it falls off downwards by this share of itself, since a
 * sky or a ceiling is brighter than the ground under it (an even sky over ground that reflects a quarter gives 0.6, a room less;
 * common practice, no source). Without it a low weak key and a high stronger one explain a face alike.
 */
const SKY_SLOPE = 0.3;
const SKY_WEIGHT = 0.1;

/** Solves the 3 × 3 normal equations, the ambient's slope drawn towards the usual. */
function solve3(A: Float64Array, g: Float64Array, n: number, old: [number, number, number]): [number, number, number] {
  const ridge = SKY_WEIGHT * n;
  const a = A[0]! + 1e-9 * n + SKY_SLOPE ** 2 * ridge, b = A[1]! - SKY_SLOPE * ridge, c = A[2]!, d = A[3]! + ridge, e = A[4]!, f = A[5]! + 1e-6 * n;
  const det = a * (d * f - e * e) - b * (b * f - e * c) + c * (b * e - d * c);
  if (!(Math.abs(det) > 1e-18)) return old;
  const x = (g[0]! * (d * f - e * e) - b * (g[1]! * f - e * g[2]!) + c * (g[1]! * e - d * g[2]!)) / det;
  const y = (a * (g[1]! * f - e * g[2]!) - g[0]! * (b * f - e * c) + c * (b * g[2]! - g[1]! * c)) / det;
  const z = (a * (d * g[2]! - g[1]! * e) - b * (b * g[2]! - g[1]! * c) + g[0]! * (b * e - d * c)) / det;
  return [x, y, z];
}

/** Tangent vectors across a direction. */
function tangents(l: readonly number[]): [[number, number, number], [number, number, number]] {
  const other: [number, number, number] = Math.abs(l[1]!) < 0.9 ? [0, 1, 0] : [1, 0, 0];
  const t = unit(crossOf(l, other));
  return [t, crossOf(l, t)];
}
function tilted(l: readonly number[], t: readonly (readonly number[])[], u: number, v: number): [number, number, number] {
  return unit([l[0]! + u * t[0]![0]! + v * t[1]![0]!, l[1]! + u * t[0]![1]! + v * t[1]![1]!, l[2]! + u * t[0]![2]! + v * t[1]![2]!]);
}

/** Pattern search on the sphere with halving steps, from 6° to a quarter. */
function refine(s: readonly Sample[], start: [number, number, number], scale: number, top: number): { cost: number; l: [number, number, number]; w: [number, number, number] } {
  let l = start;
  let now = robustLinear(s, l, scale, top, 10);
  for (let step = 0.105; step > 0.004; step /= 2) {
    for (let guard = 0; guard < 12; guard++) {
      const t = tangents(l);
      let moved = false;
      for (const [u, v] of [[step, 0], [-step, 0], [0, step], [0, -step]] as const) {
        const q = tilted(l, t, u, v);
        const r = robustLinear(s, q, scale, top, 6, now.w);
        if (r.cost < now.cost - 1e-9) {
          l = q;
          now = r;
          moved = true;
          break;
        }
      }
      if (!moved) break;
    }
  }
  return { cost: now.cost, l, w: now.w };
}

/** sd from the cost's curvature: Geman-McClure cost over its noise level, with neighbouring samples correlated (skin texture). */
function curvatureSd(s: readonly Sample[], l: readonly [number, number, number], scale: number, top: number, cost: number): number {
  const t = tangents(l);
  const h = 0.14;
  let worst = 0;
  for (const [u, v] of [[h, 0], [0, h]] as const) {
    const c = (robustLinear(s, tilted(l, t, u, v), scale, top, 8).cost + robustLinear(s, tilted(l, t, -u, -v), scale, top, 8).cost) / 2 - cost;
    const curve = Math.max(1e-9, (2 * c) / (h * h));
    const perSample = Math.max(0.01, cost / s.length);
    // Effective samples: one in ten is independent.
    worst = Math.max(worst, Math.sqrt((10 * perSample) / curve) * DEG_PER_RAD);
  }
  return worst;
}

function colours(s: readonly Sample[], l: readonly number[], weights: readonly number[]): { keyRgb: [number, number, number]; fillRgb: [number, number, number] } {
  const key: [number, number, number] = [0, 0, 0], fill: [number, number, number] = [0, 0, 0];
  for (let c = 0; c < 3; c++) {
    let n = 0, x = 0, xx = 0, y = 0, xy = 0;
    s.forEach((q, i) => {
      const w = weights[i]!;
      const nl = Math.max(0, q.nx * l[0]! + q.ny * l[1]! + q.nz * l[2]!);
      const v = c === 0 ? q.r : c === 1 ? q.g : q.b;
      n += w; x += w * nl; xx += w * nl * nl; y += w * v; xy += w * nl * v;
    });
    const det = n * xx - x * x;
    if (det > 1e-12) {
      key[c] = Math.max(0, (n * xy - x * y) / det);
      fill[c] = Math.max(0, (xx * y - x * xy) / det);
    }
  }
  return { keyRgb: key, fillRgb: fill };
}
