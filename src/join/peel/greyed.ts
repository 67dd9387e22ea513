/**
 * Pale coats in the screen's light. Cloth holds back two of the three channels wherever light falls on it; fur, skin and
 * wool give all three back. A white belly over a lit floor therefore has the floor's hue and brightness, but in both of
 * the other channels more than the screen has, as if grey were mixed in; folds and fall-off leave their share of the
 * main channel as it is, and the fill's tint or a coloured coat's bounce adds to one of them and not to both (Shafer,
 * Using color to separate reflection components, Color Research and Application 10, 1985). How much grey the screen
 * itself shows, and how much that scatters, is read at each brightness; what has more over most of a square is no
 * screen. Parts far brighter than most of the screen are left: a camera that clips greys them.
 */
import { median } from '../../image/statistics.js';
import { LIT_UNTIL, type LitHue } from './lit-hue.js';
import type { SmallLinear } from './small-linear.js';

/** Half side of the square in which most must agree, small pixels. */
const REACH = 2;
/** Medians of the scatter above the middle that a pixel of the screen may have: two deviations of a normal one. */
const MEDIANS = 3;
/** Least share of grey that counts: a quarter more of a channel that has a tenth of the main one, or so. */
const LEAST = 0.02;
/** Brightness is told in half stops, this many downwards from the brightest looked at; fewest pixels that tell one. */
const STEPS = 8;
const ENOUGH = 40;
/** Of the brightest three half stops every so many pixels are looked at, of the darker and rarer ones every third. */
const LIT_STEP = 21;
const DARK_STEP = 3;
const DARK_FROM = 3;
/** Of how many of a half stop the medians are taken. */
const MOST = 1000;

/** Channels: the screen's main one and the two it holds back, with what lit screen has of these over the main one. */
interface Channels {
  readonly main: number;
  readonly others: readonly [number, number];
  readonly ratios: readonly [number, number];
}

/** Takes out of `sure` and `weight`, in place, what has more grey than the take's own screen of the same brightness. */
export function dropGreyed(
  { width: w, height: h, data }: SmallLinear,
  lit: Pick<LitHue, 'colour'>,
  sure: Uint8Array,
  weight: Float32Array,
): void {
  const n = w * h;
  const channels = channelsOf(lit.colour);
  const limits = greyLimits(data, channels, lit.colour[channels.main]!, sure);
  const candidate = new Uint8Array(n);
  const marked = mark(data, channels, lit.colour[channels.main]!, limits, sure, candidate);
  const drop = marked.filter((i) => {
    const x = i % w;
    const y = (i - x) / w;
    const inner = x >= REACH && y >= REACH && x < w - REACH && y < h - REACH;
    return inner && mostAgree(candidate, sure, w, i);
  });
  for (const i of drop) {
    sure[i] = 0;
    weight[i] = 0;
  }
}

function channelsOf(colour: readonly [number, number, number]): Channels {
  const main = colour[1] >= colour[2] ? 1 : 2;
  const others = [0, 3 - main] as const;
  const [a, b] = others;
  return { main, others, ratios: [colour[a]! / colour[main]!, colour[b]! / colour[main]!] };
}

/** Half stops below the brightest that is looked at. */
function stepOf(value: number, lit: number): number {
  return Math.max(0, Math.min(STEPS - 1, Math.floor(2 * Math.log2((LIT_UNTIL * lit) / Math.max(value, 1e-5)))));
}

/**
 * Largest share of grey of the screen by brightness; 1, which nothing has, where too little of it is seen. The share is
 * the least that either of the held back channels allows, once what lit screen has is taken off.
 */
function greyLimits(data: Float32Array, channels: Channels, lit: number, sure: Uint8Array): Float32Array {
  const { main, others, ratios } = channels;
  const n = sure.length;
  const dark = LIT_UNTIL * lit * 2 ** (-DARK_FROM / 2);
  const shares: number[][] = Array.from({ length: STEPS }, () => []);
  for (let i = 0; i < n; i += DARK_STEP) {
    if (sure[i] === 0) continue;
    const m = Math.max(data[main * n + i]!, 1e-5);
    if (m > dark && i % LIT_STEP !== 0) continue;
    const a = (data[others[0] * n + i]! / m - ratios[0]) / (1 - ratios[0]);
    const b = (data[others[1] * n + i]! / m - ratios[1]) / (1 - ratios[1]);
    shares[stepOf(m, lit)]!.push(Math.min(a, b));
  }
  return Float32Array.from(shares, (of) => {
    if (of.length < ENOUGH) return 1;
    const every = Math.ceil(of.length / MOST);
    const some = Float32Array.from({ length: Math.floor(of.length / every) }, (_, k) => of[k * every]!);
    const middle = median(some);
    return Math.max(0, middle) + Math.max(LEAST, MEDIANS * median(some.map((v) => Math.abs(v - middle))));
  });
}

/** Marks pixels of `sure` that have more grey than their limit, and says which. */
function mark(
  data: Float32Array,
  { main, others, ratios }: Channels,
  lit: number,
  limits: Float32Array,
  sure: Uint8Array,
  candidate: Uint8Array,
): readonly number[] {
  const n = sure.length;
  const [ra, rb] = ratios;
  const least = limits.reduce((l, v) => Math.min(l, v), 1);
  const [at, a, b] = [main * n, others[0] * n, others[1] * n];
  const [fa, fb] = [ra + least * (1 - ra), rb + least * (1 - rb)];
  const brightest = LIT_UNTIL * lit;
  const marked: number[] = [];
  for (let i = 0; i < n; i += 1) {
    const m = data[at + i]!;
    // Nearly all of the screen has less than the least limit in one of the two; only the rest is looked at closely.
    if (data[b + i]! <= fb * m || data[a + i]! <= fa * m || sure[i] === 0 || m >= brightest) continue;
    const limit = limits[stepOf(m, lit)]!;
    if (data[a + i]! <= (ra + limit * (1 - ra)) * m || data[b + i]! <= (rb + limit * (1 - rb)) * m) continue;
    candidate[i] = 1;
    marked.push(i);
  }
  return marked;
}

/** Whether more than half of the square's screen pixels are candidates. */
function mostAgree(candidate: Uint8Array, sure: Uint8Array, w: number, i: number): boolean {
  let agree = 0;
  let all = 0;
  for (let v = -REACH; v <= REACH; v += 1)
    for (let u = -REACH; u <= REACH; u += 1) {
      const j = i + v * w + u;
      all += sure[j]!;
      agree += candidate[j]!;
    }
  return 2 * agree > all;
}
