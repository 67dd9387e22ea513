/** A furry performer drawn from capsules and hairs, its cast shadow, and what lays it on a screen. */
import { mapTuple } from '../src/core/tuples.js';
import { RandomStream } from '../src/core/random.js';

export interface HardFrame {
  readonly alpha: Float32Array;
  /** Planar coded R'G'B' before spill. */
  readonly colour: Float32Array;
}

export interface Layer {
  readonly alpha: Float32Array;
  readonly rgb: Float32Array;
  readonly rim: Float32Array;
  readonly toyAt: readonly [number, number, number];
}
type Part = readonly [number, number, number, number, number, number];
const COATS: readonly (readonly [number, number, number])[] = [
  [0.5, 0.35, 0.2],
  [0.72, 0.68, 0.62],
  [0.05, 0.045, 0.04],
  [0.3, 0.28, 0.27],
  [0.6, 0.5, 0.3],
];

/** Smooth noise of period about `s` px, 0 mean. */
export function waves(random: RandomStream, s: number): (x: number, y: number) => number {
  const k = Array.from({ length: 6 }, () => {
    const a = 6.283 * random.uniform();
    const f = ((0.6 + 0.8 * random.uniform()) * 6.283) / s;
    return [f * Math.cos(a), f * Math.sin(a), 6.283 * random.uniform()] as const;
  });
  return (x, y) => k.reduce((t, [a, b, c]) => t + Math.sin(a * x + b * y + c), 0) / 2.5;
}

/** Tapered capsules of an animal on four legs about (0, 0), in bodies: from x y radius to x y radius. */
const BODY: readonly Part[] = [
  [-0.5, 0, 0.3, 0.45, -0.05, 0.34],
  [0.62, -0.42, 0.2, 0.72, -0.36, 0.16],
  [0.55, -0.55, 0.07, 0.4, -0.95, 0.05],
  [0.66, -0.58, 0.07, 0.72, -1, 0.04],
  [-0.55, 0.2, 0.1, -0.6, 0.72, 0.06],
  [-0.4, 0.2, 0.1, -0.38, 0.7, 0.055],
  [0.4, 0.2, 0.09, 0.36, 0.73, 0.05],
  [0.55, 0.18, 0.08, 0.6, 0.71, 0.05],
  [-0.78, -0.1, 0.03, -1.15, -0.5, 0.012],
];

/** Distance to the nearest of the capsules, px, below 0 inside. */
function distanceTo(parts: readonly Part[], x: number, y: number): number {
  let best = 1e9;
  for (const [ax, ay, ar, bx, by, br] of parts) {
    const lx = bx - ax;
    const ly = by - ay;
    const t = Math.min(1, Math.max(0, ((x - ax) * lx + (y - ay) * ly) / (lx * lx + ly * ly)));
    const d = Math.hypot(x - ax - t * lx, y - ay - t * ly) - (ar + t * (br - ar));
    if (d < best) best = d;
  }
  return best;
}

/** What is drawn into, h × w: cover, brightness of the coat, and how near the rim lies (1 on it). */
interface Coat {
  readonly w: number;
  readonly h: number;
  readonly alpha: Float32Array;
  readonly tone: Float32Array;
  readonly rim: Float32Array;
}

/** A place on the rim where a hair grows, px, and the direction outwards. */
type Root = readonly [x: number, y: number, outX: number, outY: number];

/** The body without its hairs; gives their roots. */
function drawBody(
  random: RandomStream,
  { w, h, alpha, tone, rim }: Coat,
  parts: readonly Part[],
  cx: number,
  cy: number,
  u: number,
): Root[] {
  const broad = waves(random, 0.9 * u);
  const fine = waves(random, 5);
  const patch = waves(random, 0.7 * u);
  const x0 = Math.max(0, Math.floor(cx - 1.5 * u));
  const x1 = Math.min(w, Math.ceil(cx + 1.4 * u));
  const y0 = Math.max(0, Math.floor(cy - 1.4 * u));
  const y1 = Math.min(h, Math.ceil(cy + 1.2 * u));
  const roots: Root[] = [];
  for (let y = y0; y < y1; y++)
    for (let x = x0; x < x1; x++) {
      const d = distanceTo(parts, x + 0.5, y + 0.5);
      const i = y * w + x;
      alpha[i] = Math.min(1, Math.max(0, 0.5 - d));
      rim[i] = Math.exp(-Math.max(0, -d) / (0.03 * h));
      tone[i] =
        Math.max(0.25, 1 + 0.25 * broad(x, y) + 0.15 * fine(x, y) + (0.4 * (cy - y)) / u) *
        (patch(x, y) > 0.7 ? 0.35 : 1);
      if (Math.abs(d) < 0.7 && random.uniform() < 0.5) {
        const gx = distanceTo(parts, x + 1, y + 0.5) - distanceTo(parts, x, y + 0.5);
        const gy = distanceTo(parts, x + 0.5, y + 1) - distanceTo(parts, x + 0.5, y);
        const l = Math.hypot(gx, gy) || 1;
        roots.push([x + 0.5, y + 0.5, gx / l, gy / l]);
      }
    }
  return roots;
}

/** A hair from its root outwards, thinner and fainter to its end. */
function drawHair(random: RandomStream, { w, h, alpha, tone, rim }: Coat, [px, py, gx, gy]: Root): void {
  const long = h * (0.006 + 0.03 * random.uniform() ** 2);
  const lean = 0.9 * (random.uniform() - 0.5);
  const c = Math.cos(lean);
  const s = Math.sin(lean);
  const dx = (gx * c - gy * s) * long;
  const dy = (gx * s + gy * c + 0.25) * long;
  const ax = px - gx * 2;
  const ay = py - gy * 2;
  const wide = 0.35 + 0.45 * random.uniform();
  const shade = 0.6 + 0.8 * random.uniform();
  const x0 = Math.max(0, Math.floor(Math.min(ax, ax + dx) - 2));
  const x1 = Math.min(w - 1, Math.max(ax, ax + dx) + 2);
  const y0 = Math.max(0, Math.floor(Math.min(ay, ay + dy) - 2));
  const y1 = Math.min(h - 1, Math.max(ay, ay + dy) + 2);
  for (let y = y0; y <= y1; y++)
    for (let x = x0; x <= x1; x++) {
      const t = Math.min(1, Math.max(0, ((x + 0.5 - ax) * dx + (y + 0.5 - ay) * dy) / (dx * dx + dy * dy)));
      const d = Math.hypot(x + 0.5 - ax - t * dx, y + 0.5 - ay - t * dy);
      const cover = Math.min(1, Math.max(0, wide * (1 - 0.6 * t) + 0.5 - d)) * Math.min(1, 1.5 - t);
      const i = y * w + x;
      if (cover <= 0) continue;
      const was = alpha[i]!;
      const all = 1 - (1 - was) * (1 - cover);
      tone[i] = ((tone[i]! || shade) * was * (1 - cover) + shade * cover) / Math.max(1e-6, was * (1 - cover) + cover);
      alpha[i] = all;
      if (rim[i] === 0) rim[i] = 1;
    }
}

/**
 * The performer about (cx, cy), `size` px half long, premultiplied scene-linear. @param toy whether it holds a thing of
 * the screen's colour @param told its coat's colour, else one is drawn
 */
export function performer(
  random: RandomStream,
  w: number,
  h: number,
  cx: number,
  cy: number,
  size: number,
  toy: boolean,
  screen: readonly number[],
  told?: readonly [number, number, number],
): Layer {
  const u = size;
  const drawn = COATS[random.uint32() % COATS.length]!;
  const colour = told ?? drawn;
  const parts = BODY.map((p) =>
    mapTuple(
      p,
      (v, i) => v * (1 + 0.08 * (random.uniform() - 0.5)) * u + (i === 0 || i === 3 ? cx : i === 1 || i === 4 ? cy : 0),
    ),
  );
  const n = w * h;
  const alpha = new Float32Array(n);
  const rim = new Float32Array(n);
  const coat: Coat = { w, h, alpha, rim, tone: new Float32Array(n) };
  for (const root of drawBody(random, coat, parts, cx, cy, u)) drawHair(random, coat, root);
  const rgb = new Float32Array(3 * n);
  const toyAt = [cx - 0.02 * u, cy, 0.17 * u] as const;
  for (let i = 0; i < n; i++)
    if (alpha[i]! > 0) {
      const on = toy && Math.hypot((i % w) - toyAt[0], Math.floor(i / w) - toyAt[1]) < toyAt[2];
      const tone = coat.tone[i]!;
      for (let p = 0; p < 3; p++) rgb[p * n + i] = on ? 0.8 * screen[p]! * Math.max(0.5, tone) : colour[p]! * tone;
    }
  return { alpha, rgb, rim, toyAt };
}

/** out += k × src shifted by (dx, dy), bilinear. */
export function addShifted(
  out: Float32Array,
  src: Float32Array,
  w: number,
  h: number,
  planes: number,
  dx: number,
  dy: number,
  k: number,
): void {
  const ix = Math.floor(dx);
  const iy = Math.floor(dy);
  const fx = dx - ix;
  const fy = dy - iy;
  const n = w * h;
  for (const [ox, oy, g] of [
    [ix, iy, (1 - fx) * (1 - fy)],
    [ix + 1, iy, fx * (1 - fy)],
    [ix, iy + 1, (1 - fx) * fy],
    [ix + 1, iy + 1, fx * fy],
  ] as const) {
    if (g * k === 0) continue;
    for (let p = 0; p < planes; p++)
      for (let y = Math.max(0, oy); y < Math.min(h, h + oy); y++) {
        const to = p * n + y * w;
        const from = p * n + (y - oy) * w - ox;
        for (let x = Math.max(0, ox); x < Math.min(w, w + ox); x++) out[to + x] = out[to + x]! + g * k * src[from + x]!;
      }
  }
}

/** The matte laid down from its foot to the right, its edge `soft` px wide. */
export function castShadow(
  out: Float32Array,
  alpha: Float32Array,
  w: number,
  h: number,
  cx: number,
  foot: number,
  soft: number,
): void {
  const raw = new Float32Array(w * h);
  for (let y = 0; y < h; y++)
    for (let x = 0; x < w; x++) {
      const up = (foot - y) / 0.32;
      const sx = Math.round(x - 0.75 * up);
      const sy = Math.round(foot - up);
      if (up < -6 || sy < 0 || sy >= h || sx < 0 || sx >= w) continue;
      raw[y * w + x] = alpha[sy * w + sx]!;
    }
  const r = Math.max(0, Math.round(soft / 2));
  const rows = new Float32Array(w * h);
  for (let y = 0; y < h; y++) {
    let s = 0;
    for (let x = -r; x < w; x++) {
      if (x + r < w) s += raw[y * w + x + r]!;
      if (x - r - 1 >= 0) s -= raw[y * w + x - r - 1]!;
      if (x >= 0) rows[y * w + x] = s / (2 * r + 1);
    }
  }
  for (let x = 0; x < w; x++) {
    let s = 0;
    for (let y = -r; y < h; y++) {
      if (y + r < h) s += rows[(y + r) * w + x]!;
      if (y - r - 1 >= 0) s -= rows[(y - r - 1) * w + x]!;
      if (y >= 0) out[y * w + x] = s / (2 * r + 1);
    }
  }
  void cx;
}

/** A picture grown about its middle, as a lens does that focuses nearer. */
export function grown(src: Float32Array, w: number, h: number, by: number): Float32Array {
  const out = new Float32Array(src.length);
  for (let p = 0; p < src.length; p += w * h)
    for (let y = 0; y < h; y++)
      for (let x = 0; x < w; x++) {
        const u = Math.min(w - 1.01, Math.max(0, w / 2 + (x - w / 2) / by));
        const v = Math.min(h - 1.01, Math.max(0, h / 2 + (y - h / 2) / by));
        const a = u | 0;
        const b = v | 0;
        const k = u - a;
        const m = v - b;
        const o = p + b * w + a;
        out[p + y * w + x] =
          (1 - m) * ((1 - k) * src[o]! + k * src[o + 1]!) + m * ((1 - k) * src[o + w]! + k * src[o + w + 1]!);
      }
  return out;
}
