/**
 * Made takes before screens of kinds that no practice screen has, with known matte and colour: a furred body of
 * many parts (ears, legs, a thin tail, drawn hairs), screens of other hues, wrinkles, a half in shadow,
 * markers, a screen that ends inside the picture, motion blur, sharpening, noise, 4:2:0 and compression. Light
 * is mixed scene-linear. Everything follows from a seed.
 */
import { bt709Encode } from '../src/colour/transfer.js';
import { RandomStream } from '../src/core/random.js';
import { rate } from '../src/core/rational.js';
import { gaussianPlane } from '../src/image/gaussian.js';
import { createPicture } from '../src/image/picture.js';
import { VideoWriter } from '../src/media/video-writer.js';
import { addHolder, lightOf } from './home-screens.js';

export interface HardScreen {
  readonly name: string;
  /** Scene-linear colour of the lit cloth. */
  readonly screen: readonly [number, number, number];
  readonly fallOff?: number;
  /** Depth of broad folds and of sharp creases, share of the light. */
  readonly folds?: number;
  readonly creases?: number;
  /** Light left in the half that lies in shadow; 1 none. */
  readonly half?: number;
  /** Light left in the performer's own shadow, and its edge in px. */
  readonly cast?: number;
  readonly castEdge?: number;
  /** Marks taped onto the cloth: crosses of another green, or white ones. */
  readonly markers?: 'green' | 'white';
  /** Share of the picture's width and height beyond which the cloth ends: room shows there. */
  readonly ends?: number;
  /** A peg (a thin grey rod with its shadow) that stands apart from the performer. */
  readonly peg?: boolean;
  readonly spill: number;
  readonly noise: number;
  readonly crf: number;
  /** In-camera sharpening. */
  readonly sharp?: number;
  /** Way a frame, px, and share of it that is smeared. */
  readonly speed?: number;
  readonly smear?: number;
  /**
   * Way of the exposure, stops up and down over the take; share by which red over blue drifts; widest defocus,
   * px (sd), with which the picture grows a little.
   */
  readonly pump?: number;
  readonly drift?: number;
  readonly breathe?: number;
  /** The holder's arm and a leash. */
  readonly holder?: boolean;
  readonly coat?: readonly [number, number, number];
  /** A patch on the body as green as the cloth. */
  readonly toy?: boolean;
}

const GREEN = [0.03, 0.33, 0.07] as const;
const BLUE = [0.03, 0.09, 0.42] as const;
const FADED = [0.24, 0.38, 0.13] as const;
export const HARD: readonly HardScreen[] = [
  {
    name: 'faded yellow-green, folds',
    screen: FADED,
    fallOff: 0.3,
    folds: 0.15,
    creases: 0.15,
    cast: 0.6,
    castEdge: 12,
    spill: 0.1,
    noise: 0.006,
    crf: 22,
    speed: 3,
  },
  {
    name: 'blue, crumpled',
    screen: BLUE,
    fallOff: 0.3,
    folds: 0.2,
    creases: 0.4,
    cast: 0.6,
    castEdge: 12,
    spill: 0.1,
    noise: 0.006,
    crf: 22,
    speed: 3,
  },
  {
    name: 'green, crumpled',
    screen: GREEN,
    fallOff: 0.3,
    folds: 0.25,
    creases: 0.5,
    cast: 0.6,
    castEdge: 12,
    spill: 0.1,
    noise: 0.006,
    crf: 22,
    speed: 3,
  },
  {
    name: 'green, half in shadow',
    screen: GREEN,
    fallOff: 0.2,
    folds: 0.08,
    half: 0.3,
    cast: 0.5,
    castEdge: 3,
    spill: 0.1,
    noise: 0.006,
    crf: 22,
    speed: 3,
  },
  {
    name: 'green, markers',
    screen: GREEN,
    fallOff: 0.3,
    folds: 0.1,
    creases: 0.1,
    cast: 0.6,
    castEdge: 12,
    markers: 'green',
    spill: 0.1,
    noise: 0.006,
    crf: 22,
    speed: 3,
  },
  {
    name: 'green, white markers',
    screen: GREEN,
    fallOff: 0.3,
    folds: 0.1,
    creases: 0.1,
    cast: 0.6,
    castEdge: 12,
    markers: 'white',
    spill: 0.1,
    noise: 0.006,
    crf: 22,
    speed: 3,
  },
  {
    name: 'green, ends in the picture',
    screen: GREEN,
    fallOff: 0.3,
    folds: 0.1,
    cast: 0.5,
    castEdge: 8,
    ends: 0.13,
    spill: 0.1,
    noise: 0.006,
    crf: 22,
    speed: 3,
  },
  {
    name: 'green, fast',
    screen: GREEN,
    fallOff: 0.3,
    folds: 0.1,
    cast: 0.6,
    castEdge: 12,
    spill: 0.1,
    noise: 0.006,
    crf: 22,
    speed: 24,
    smear: 0.5,
  },
  {
    name: 'green, sun: hard dark shadow, peg',
    screen: GREEN,
    fallOff: 0.1,
    folds: 0.08,
    cast: 0.2,
    castEdge: 2,
    peg: true,
    spill: 0.1,
    noise: 0.006,
    crf: 22,
    speed: 3,
  },
  {
    name: 'blue, sun: hard dark shadow, peg',
    screen: BLUE,
    fallOff: 0.1,
    folds: 0.08,
    cast: 0.2,
    castEdge: 2,
    peg: true,
    spill: 0.1,
    noise: 0.006,
    crf: 22,
    speed: 3,
  },
  {
    name: 'green, one lamp: shadow of a tenth',
    screen: GREEN,
    fallOff: 0.1,
    folds: 0.08,
    cast: 0.1,
    castEdge: 2,
    spill: 0.1,
    noise: 0.006,
    crf: 22,
    speed: 3,
  },
  {
    name: 'blue, one lamp: shadow of a sixteenth',
    screen: BLUE,
    fallOff: 0.1,
    folds: 0.08,
    cast: 0.06,
    castEdge: 6,
    spill: 0.1,
    noise: 0.006,
    crf: 22,
    speed: 3,
  },
  {
    name: 'green, one lamp: black coat',
    screen: GREEN,
    fallOff: 0.2,
    folds: 0.08,
    cast: 0.12,
    castEdge: 4,
    coat: [0.015, 0.014, 0.013],
    spill: 0.03,
    noise: 0.008,
    crf: 24,
    speed: 3,
  },
  {
    name: 'green, a green toy marked',
    screen: GREEN,
    fallOff: 0.3,
    folds: 0.1,
    cast: 0.6,
    castEdge: 12,
    spill: 0.1,
    noise: 0.006,
    crf: 22,
    speed: 3,
    toy: true,
  },
  {
    name: 'green, dim phone',
    screen: [0.02, 0.12, 0.03],
    fallOff: 0.5,
    folds: 0.15,
    cast: 0.5,
    castEdge: 10,
    spill: 0.2,
    noise: 0.016,
    crf: 28,
    sharp: 0.8,
    speed: 5,
  },
];

export interface HardFrame {
  readonly alpha: Float32Array;
  /** Planar coded R'G'B' before spill. */
  readonly colour: Float32Array;
}
export interface HardTake {
  readonly frames: readonly HardFrame[];
  /** Outline of the green toy a frame; null without one. */
  readonly toy: readonly (readonly (readonly [number, number])[])[] | null;
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

/** The performer about (cx, cy), premultiplied scene-linear. */
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
  const coat = told ?? drawn;
  // Tapered capsules: from x y radius to x y radius.
  const parts: Part[] = [
    [-0.5, 0, 0.3, 0.45, -0.05, 0.34],
    [0.62, -0.42, 0.2, 0.72, -0.36, 0.16],
    [0.55, -0.55, 0.07, 0.4, -0.95, 0.05],
    [0.66, -0.58, 0.07, 0.72, -1, 0.04],
    [-0.55, 0.2, 0.1, -0.6, 0.72, 0.06],
    [-0.4, 0.2, 0.1, -0.38, 0.7, 0.055],
    [0.4, 0.2, 0.09, 0.36, 0.73, 0.05],
    [0.55, 0.18, 0.08, 0.6, 0.71, 0.05],
    [-0.78, -0.1, 0.03, -1.15, -0.5, 0.012],
  ].map(
    (p) =>
      p.map(
        (v, i) =>
          v * (1 + 0.08 * (random.uniform() - 0.5)) * u + (i === 0 || i === 3 ? cx : i === 1 || i === 4 ? cy : 0),
      ) as unknown as Part,
  );
  const distance = (x: number, y: number): number => {
    let best = 1e9;
    for (const [ax, ay, ar, bx, by, br] of parts) {
      const lx = bx - ax;
      const ly = by - ay;
      const t = Math.min(1, Math.max(0, ((x - ax) * lx + (y - ay) * ly) / (lx * lx + ly * ly)));
      const d = Math.hypot(x - ax - t * lx, y - ay - t * ly) - (ar + t * (br - ar));
      if (d < best) best = d;
    }
    return best;
  };
  const n = w * h;
  const alpha = new Float32Array(n);
  const rgb = new Float32Array(3 * n);
  const rim = new Float32Array(n);
  const tone = new Float32Array(n);
  const broad = waves(random, 0.9 * u);
  const fine = waves(random, 5);
  const patch = waves(random, 0.7 * u);
  const x0 = Math.max(0, Math.floor(cx - 1.5 * u));
  const x1 = Math.min(w, Math.ceil(cx + 1.4 * u));
  const y0 = Math.max(0, Math.floor(cy - 1.4 * u));
  const y1 = Math.min(h, Math.ceil(cy + 1.2 * u));
  const edge: (readonly [number, number, number, number])[] = [];
  for (let y = y0; y < y1; y++)
    for (let x = x0; x < x1; x++) {
      const d = distance(x + 0.5, y + 0.5);
      const i = y * w + x;
      alpha[i] = Math.min(1, Math.max(0, 0.5 - d));
      rim[i] = Math.exp(-Math.max(0, -d) / (0.03 * h));
      tone[i] =
        Math.max(0.25, 1 + 0.25 * broad(x, y) + 0.15 * fine(x, y) + (0.4 * (cy - y)) / u) *
        (patch(x, y) > 0.7 ? 0.35 : 1);
      if (Math.abs(d) < 0.7 && random.uniform() < 0.5) {
        const gx = distance(x + 1, y + 0.5) - distance(x, y + 0.5);
        const gy = distance(x + 0.5, y + 1) - distance(x + 0.5, y);
        const l = Math.hypot(gx, gy) || 1;
        edge.push([x + 0.5, y + 0.5, gx / l, gy / l]);
      }
    }
  for (const [px, py, gx, gy] of edge) {
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
    for (
      let y = Math.max(0, Math.floor(Math.min(ay, ay + dy) - 2));
      y <= Math.min(h - 1, Math.max(ay, ay + dy) + 2);
      y++
    )
      for (
        let x = Math.max(0, Math.floor(Math.min(ax, ax + dx) - 2));
        x <= Math.min(w - 1, Math.max(ax, ax + dx) + 2);
        x++
      ) {
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
  const toyAt = [cx - 0.02 * u, cy, 0.17 * u] as const;
  for (let i = 0; i < n; i++)
    if (alpha[i]! > 0) {
      const on = toy && Math.hypot((i % w) - toyAt[0], Math.floor(i / w) - toyAt[1]) < toyAt[2];
      for (let p = 0; p < 3; p++)
        rgb[p * n + i] = on ? 0.8 * screen[p]! * Math.max(0.5, tone[i]!) : coat[p]! * tone[i]!;
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

/** Writes the take as H.264 and gives its truth. */
export async function hardTake(
  path: string,
  seed: number,
  kind: HardScreen,
  w: number,
  h: number,
  count: number,
): Promise<HardTake> {
  const random = new RandomStream(seed, 23);
  const n = w * h;
  const size = 0.24 * h * (1 + 0.2 * (random.uniform() - 0.5));
  const inset = kind.ends ?? 0;
  const floor = h * (1 - inset) - 3;
  const cx = w * (0.4 + 0.2 * random.uniform());
  const cy = Math.min(h * 0.6, inset > 0 ? floor - 0.79 * size : h * 0.62);
  const layer = performer(random, w, h, cx, cy, size, kind.toy === true, kind.screen, kind.coat);
  if (kind.holder === true) addHolder(layer, seed, w, h, cx, cy, size);
  const folds = waves(random, 0.22 * w);
  const folds2 = waves(random, 0.07 * w);
  const crease = waves(random, 0.16 * w);
  const crease2 = waves(random, 0.1 * w);
  const cloth = new Float32Array(3 * n);
  const tilt = random.uniform() - 0.5;
  for (let y = 0; y < h; y++)
    for (let x = 0; x < w; x++) {
      const i = y * w + x;
      const u = x / w;
      const v = y / h;
      // Creases: light on one side, dark on the other of a ridge.
      const ridge = (c: number): number => Math.sign(c) * Math.exp(-Math.abs(c) * 6);
      let light =
        (1 - (kind.fallOff ?? 0) * Math.min(1, 1.3 * Math.hypot(u - 0.35, v - 0.4))) *
        (1 + (kind.folds ?? 0) * (0.6 * folds(x, y) + 0.4 * folds2(x, y))) *
        (1 + (kind.creases ?? 0) * (0.5 * ridge(crease(x, y)) + 0.35 * ridge(crease2(x, y))));
      if (kind.half !== undefined) {
        const s = Math.min(1, Math.max(0, ((u - 0.5 - 0.3 * tilt * (v - 0.5)) * w) / 6 + 0.5));
        light *= 1 - (1 - kind.half) * s;
      }
      light = Math.max(0.08, light);
      const mark =
        kind.markers !== undefined &&
        (x + 40) % 190 < 34 &&
        (y + 30) % 150 < 34 &&
        (Math.abs(((x + 40) % 190) - 17) < 4 || Math.abs(((y + 30) % 150) - 17) < 4);
      const room = inset > 0 && (u < inset || u > 1 - inset || v > 1 - inset || v < inset * 0.6);
      for (let p = 0; p < 3; p++)
        cloth[p * n + i] = room
          ? [0.2, 0.17, 0.14][p]! * (1 + 0.5 * folds2(2 * x, y))
          : light *
            (mark ? (kind.markers === 'white' ? 0.6 : kind.screen[p]! * [1.2, 0.55, 0.8][p]!) : kind.screen[p]!);
    }
  if (kind.peg === true) {
    const px = cx + (cx < w / 2 ? 1.75 : -1.75) * size;
    const py = cy + 0.75 * size;
    for (let y = 0; y < h; y++)
      for (let x = 0; x < w; x++) {
        const i = y * w + x;
        const rod = Math.min(1, Math.max(0, 3 - Math.abs(x - px))) * (y < py && y > py - 0.7 * size ? 1 : 0);
        const t = (x - px) / (0.9 * size);
        const lies = t > 0 && t < 1 ? Math.min(1, Math.max(0, 2.5 - Math.abs(y - py - 0.12 * size * t))) : 0;
        for (let p = 0; p < 3; p++)
          cloth[p * n + i] = cloth[p * n + i]! * (1 - (1 - (kind.cast ?? 0.3)) * lies) * (1 - rod) + rod * 0.35;
      }
  }
  const writer = await VideoWriter.open(path, {
    widthPx: w,
    heightPx: h,
    rate: rate(24),
    codec: 'h264',
    crf: kind.crf,
  });
  const frames: HardFrame[] = [];
  const toys: (readonly [number, number])[][] = [];
  const speed = kind.speed ?? 3;
  const way = random.uniform() < 0.5 ? 1 : -1;
  const subs = (kind.smear ?? 0) > 0 ? 12 : 1;
  const premultiplied = new Float32Array(3 * n);
  const spilt = new Float32Array(3 * n);
  const cover = layer.alpha;
  for (let i = 0; i < n; i++)
    for (let p = 0; p < 3; p++) {
      const f = layer.rgb[p * n + i]!;
      premultiplied[p * n + i] = cover[i]! * f;
      spilt[p * n + i] = cover[i]! * (f + kind.spill * (0.3 + 0.7 * layer.rim[i]!) * kind.screen[p]! * (0.4 + f));
    }
  for (let f = 0; f < count; f++) {
    const dx = way * speed * (f - (count - 1) / 2);
    const dy = 1.1 * Math.sin(1.7 * f);
    const alpha = new Float32Array(n);
    const own = new Float32Array(3 * n);
    const seen = new Float32Array(3 * n);
    const shade = new Float32Array(n);
    for (let s = 0; s < subs; s++) {
      const more = subs === 1 ? 0 : way * speed * kind.smear! * (s / (subs - 1) - 0.5);
      addShifted(alpha, cover, w, h, 1, dx + more, dy, 1 / subs);
      addShifted(own, premultiplied, w, h, 3, dx + more, dy, 1 / subs);
      addShifted(seen, spilt, w, h, 3, dx + more, dy, 1 / subs);
    }
    if (kind.cast !== undefined) castShadow(shade, alpha, w, h, cx + dx, cy + 0.72 * size + dy, kind.castEdge ?? 8);
    const coded = createPicture(w, h, 3);
    const colour = new Float32Array(3 * n);
    const soft = (kind.breathe ?? 0) * (0.5 - 0.5 * Math.cos((2 * Math.PI * f) / count));
    const light = lightOf(kind, f, count);
    if (soft > 0.1)
      for (const planes of [alpha, own, seen])
        for (let o = 0; o < planes.length; o += n) planes.set(gaussianPlane(planes.slice(o, o + n), w, h, soft), o);
    const behind = soft > 0.1 ? grown(cloth, w, h, 1 + 0.006 * soft) : cloth;
    if (soft > 0.1) for (let o = 0; o < 3 * n; o += n) behind.set(gaussianPlane(behind.slice(o, o + n), w, h, soft), o);
    for (let p = 0; p < 3; p++)
      for (let i = 0; i < n; i++) {
        const a = alpha[i]!;
        const back = behind[p * n + i]! * (1 - (1 - (kind.cast ?? 1)) * shade[i]!);
        coded.data[p * n + i] = bt709Encode(Math.max(0, light[p]! * (seen[p * n + i]! + (1 - a) * back)));
        colour[p * n + i] = a > 0 ? bt709Encode(Math.min(1, (light[p]! * own[p * n + i]!) / a)) : 0;
      }
    if (kind.sharp !== undefined) sharpen(coded.data, w, h, kind.sharp);
    for (let i = 0; i < 3 * n; i++)
      coded.data[i] = Math.min(1, Math.max(0, coded.data[i]! + kind.noise * random.normal()));
    await writer.writeCoded(coded);
    frames.push({ alpha, colour });
    const [tx, ty, tr] = layer.toyAt;
    toys.push(
      Array.from(
        { length: 24 },
        (_, k) => [tx + dx + 1.05 * tr * Math.cos(k * 0.2618), ty + dy + 1.05 * tr * Math.sin(k * 0.2618)] as const,
      ),
    );
  }
  await writer.close();
  return { frames, toy: kind.toy === true ? toys : null };
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
function grown(src: Float32Array, w: number, h: number, by: number): Float32Array {
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

/** Unsharp over 3 × 3 in every channel. */
function sharpen(data: Float32Array, w: number, h: number, amount: number): void {
  const n = w * h;
  const src = data.slice();
  for (let p = 0; p < 3; p++)
    for (let y = 1; y < h - 1; y++)
      for (let x = 1; x < w - 1; x++) {
        const i = p * n + y * w + x;
        data[i] = src[i]! + amount * (src[i]! - 0.25 * (src[i - 1]! + src[i + 1]! + src[i - w]! + src[i + w]!));
      }
}
