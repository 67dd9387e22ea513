/**
 * Pale coats in the screen's light. Cloth holds back two of the three channels wherever light falls on it; fur, skin
 * and wool give all three back. A white belly over a lit floor therefore has the floor's hue and brightness, but in
 * both of the other channels more than the screen has, as if grey were mixed in; folds and fall-off leave their share
 * of the main channel as it is, and the fill's tint or a coloured coat's bounce adds to one of them and not to both
 * (Shafer, Using color to separate reflection components, Color Research and Application 10, 1985). How much grey the
 * screen itself shows, and how much that scatters, is read at each brightness. What has more is no screen where it
 * fills most of a square. Near the performer what has half as much more is the rim, where coat and screen share a
 * pixel: it still is screen, which keeps gaps between legs and ears open, but tinged, and says nothing of the screen's
 * colour. Counted with the rest, it left the screen beside a dark coat too dark by up to a seventh, and thin fur too
 * thin. Parts far brighter than most of the screen are left, and those whose main channel lies in the camera's
 * shoulder: what is lost of it there greys them.
 */
import { kernels } from '../../image/kernels.js';
import { LIT_UNTIL, type LitHue } from './lit-hue.js';
import { CLIPPED } from './row-light.js';
import type { SmallLinear } from './small-linear.js';

/** Half sides of the square in which most must agree, and of that in which the performer must be, small pixels. */
const REACH = 2;
const NEAR = 4;
/** Share of a square's screen pixels that makes a rim, and how far up to the limit these are. */
const RIM = 1 / 3;
const RIM_FROM = 0.5;
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
/** Bins in which shares of grey are counted, the first one's lower end, and how many make a whole; as in the kernel. */
const BINS = 2048;
const SHARE_FROM = -0.25;
const SHARE_BINS = 2048;

/** Channels: the screen's main one and the two it holds back, with what lit screen has of these over the main one. */
interface Channels {
  readonly main: number;
  readonly others: readonly [number, number];
  readonly ratios: readonly [number, number];
}

/**
 * Takes out of `sure` and `weight`, in place, what has more grey than the take's own screen of the same brightness. By
 * kernels (kernels/greyed.ts). @param tinged is set to 1 where that is a rim, to 0 elsewhere
 */
export function dropGreyed(
  { width: w, height: h, data }: SmallLinear,
  lit: Pick<LitHue, 'colour'>,
  sure: Uint8Array,
  weight: Float32Array,
  tinged: Uint8Array,
): void {
  const { main, others, ratios } = channelsOf(lit.colour);
  const [bounds, brightest, dark] = boundsOf(lit.colour[main]!);
  const door = kernels();
  const scope = door.scope();
  try {
    const n = w * h;
    const planes = [main, ...others, ...ratios];
    const [at, screen, steps] = [scope.input(data), scope.changed(sure), scope.input(bounds)];
    const limits = scope.allocate(8 * STEPS);
    const [grey, verdict] = [scope.allocate(n + 16), scope.allocate(n + 16)];
    const looks = [dark, DARK_STEP, LIT_STEP, ENOUGH, MEDIANS, LEAST, limits];
    door.run('greyLimits', [at, n, ...planes, screen, steps, STEPS, ...looks], 1, 1, 4 * STEPS * BINS);
    door.run('greyCandidates', [at, w, h, ...planes, screen, steps, STEPS, brightest, limits, grey], h, w * 2);
    door.run('greySquares', [grey, screen, w, h, verdict], h, w);
    door.run('greyTake', [verdict, w, screen, scope.changed(weight), scope.changed(tinged)], h, w);
    scope.finish();
  } finally {
    scope.close();
  }
}

/** Plain twin of {@link dropGreyed}. */
export function dropGreyedPlain(
  { width: w, height: h, data }: SmallLinear,
  lit: Pick<LitHue, 'colour'>,
  sure: Uint8Array,
  weight: Float32Array,
  tinged: Uint8Array,
): void {
  const n = w * h;
  const channels = channelsOf(lit.colour);
  const limits = greyLimitsPlain(data, channels, lit.colour[channels.main]!, sure);
  const over = greyOf(data, channels, lit.colour[channels.main]!, limits, sure, 1);
  const half = greyOf(data, channels, lit.colour[channels.main]!, limits, sure, RIM_FROM);
  const verdict = new Uint8Array(n);
  for (let y = NEAR; y < h - NEAR; y += 1)
    for (let x = NEAR; x < w - NEAR; x += 1) {
      const i = y * w + x;
      if (half[i] === 0) continue;
      const all = within(sure, w, i, REACH);
      const agree = within(over, w, i, REACH);
      if (over[i] === 1 && 2 * agree > all && 2 * agree > (2 * REACH + 1) ** 2) verdict[i] = 2;
      else if (within(sure, w, i, NEAR) < (2 * NEAR + 1) ** 2 && within(half, w, i, REACH) > RIM * all) verdict[i] = 1;
    }
  for (let i = 0; i < n; i += 1) {
    tinged[i] = verdict[i] === 1 ? 1 : 0;
    if (verdict[i] === 0) continue;
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

/** Lower bounds of the half stops, the brightest that is judged, and below what all darker ones are. */
function boundsOf(lit: number): readonly [Float32Array, number, number] {
  const brightest = LIT_UNTIL * lit;
  const bounds = Float32Array.from({ length: STEPS }, (_, k) => brightest * 2 ** (-(k + 1) / 2));
  return [bounds, Math.min(brightest, CLIPPED), brightest * 2 ** (-DARK_FROM / 2)];
}

function stepOf(value: number, bounds: Float32Array): number {
  const step = bounds.findIndex((b) => value > b);
  return step < 0 ? STEPS - 1 : step;
}

/** Share of grey of the screen by brightness, and how much more it may have at most. */
interface GreyLimits {
  readonly middle: Float32Array;
  readonly way: Float32Array;
}

/**
 * The limits, 1, which nothing has, where too little of the screen is seen. The share is the least that either of the
 * held back channels allows, once what lit screen has is taken off.
 */
function greyLimitsPlain(data: Float32Array, channels: Channels, lit: number, sure: Uint8Array): GreyLimits {
  const { main, others, ratios } = channels;
  const n = sure.length;
  const [bounds, , dark] = boundsOf(lit);
  const counts = Array.from({ length: STEPS }, () => new Int32Array(BINS));
  for (let i = 0; i < n; i += DARK_STEP) {
    if (sure[i] === 0) continue;
    const m = Math.max(data[main * n + i]!, 1e-5);
    if (m > dark && i % LIT_STEP !== 0) continue;
    const a = (data[others[0] * n + i]! / m - ratios[0]) / (1 - ratios[0]);
    const b = (data[others[1] * n + i]! / m - ratios[1]) / (1 - ratios[1]);
    const bin = Math.min(BINS - 1, Math.max(0, Math.trunc((Math.min(a, b) - SHARE_FROM) * SHARE_BINS)));
    const of = counts[stepOf(m, bounds)]!;
    of[bin] = of[bin]! + 1;
  }
  const [middle, way] = [new Float32Array(STEPS).fill(1), new Float32Array(STEPS)];
  counts.forEach((of, k) => {
    const count = of.reduce((s, v) => s + v, 0);
    if (count < ENOUGH) return;
    const at = binAt(of, count >> 1, -1);
    middle[k] = Math.max(0, (at + 0.5) / SHARE_BINS + SHARE_FROM);
    way[k] = Math.max(LEAST, (MEDIANS * binAt(of, count >> 1, at)) / SHARE_BINS);
  });
  return { middle, way };
}

/** How many bins up from the first (`about` -1), or away from `about`, the one of `rank` counted so lies. */
function binAt(counts: Int32Array, rank: number, about: number): number {
  let sum = 0;
  for (let d = 0; d < BINS; d += 1) {
    if (about < 0) sum += counts[d]!;
    else sum += (counts[about - d] ?? 0) + (d > 0 ? (counts[about + d] ?? 0) : 0);
    if (sum > rank) return d;
  }
  return BINS - 1;
}

/** Pixels of `sure` that have more grey than the middle and `part` of the way up to the limit. */
function greyOf(
  data: Float32Array,
  { main, others, ratios }: Channels,
  lit: number,
  { middle, way }: GreyLimits,
  sure: Uint8Array,
  part: number,
): Uint8Array {
  const n = sure.length;
  const [bounds, brightest] = boundsOf(lit);
  return Uint8Array.from(sure, (is, i) => {
    const m = data[main * n + i]!;
    if (is === 0 || m >= brightest) return 0;
    const step = stepOf(m, bounds);
    const limit = middle[step]! + part * way[step]!;
    const more = (k: 0 | 1): boolean => data[others[k] * n + i]! > (ratios[k] + limit * (1 - ratios[k])) * m;
    return more(0) && more(1) ? 1 : 0;
  });
}

/** Set pixels of the square of half side `reach` about. */
function within(mask: Uint8Array, w: number, i: number, reach: number): number {
  let count = 0;
  for (let v = -reach; v <= reach; v += 1) for (let u = -reach; u <= reach; u += 1) count += mask[i + v * w + u]!;
  return count;
}
