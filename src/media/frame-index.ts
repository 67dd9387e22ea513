/**
 * Where every frame of a stream is: the timestamps of all packets from a pass that demuxes and decodes nothing. It
 * gives the exact frame count, the order of showing, and for each frame the key packet from which decoding must start,
 * which is what makes a seek exact in long groups with B frames and behind edit lists.
 */
import { PlatewrightError } from '../core/errors.js';
import type { Rate } from '../core/rational.js';
import { rate } from '../core/rational.js';
import { C, NO_TIMESTAMP, Packet } from './ffmpeg.js';
import type { OpenedInput } from './input.js';

/** JSON-safe, so that it can be cached beside the book under the file's size and time of change. */
export interface FrameIndex {
  readonly version: 1;
  readonly timeBase: readonly [number, number];
  /** Per packet in decoding order, ticks. */
  readonly pts: readonly number[];
  readonly dts: readonly number[];
  /** Decoding positions of key packets. */
  readonly keys: readonly number[];
  /** Decoding position of shown frame n. Packets that an edit list hides are not in it. */
  readonly shown: readonly number[];
  /** Ticks that the last frame lasts, 0 if the file does not say. */
  readonly lastDuration: number;
  /** Packets whose data were cut short; they are not in `shown`. */
  readonly damaged: number;
  /** True where the packets carry no usable times and frames have to be counted by decoding from the start. */
  readonly untimed: boolean;
}

/** Reads every packet of the picture stream. The input is used up: open another to decode. */
export async function buildFrameIndex(input: OpenedInput): Promise<FrameIndex> {
  const stream = input.video;
  if (stream === null)
    throw new PlatewrightError('PW-MEDIA-NOPICTURE', `${input.path} has no picture in it`, {
      detail: { file: input.path },
    });
  const streams = input.context.streams;
  for (const s of streams) if (s.index !== stream.index) s.discard = C.AVDISCARD_ALL;
  const timeBase = stream.timeBase;
  const pts: number[] = [];
  const dts: number[] = [];
  const keys: number[] = [];
  const visible: number[] = [];
  let damaged = 0;
  let missing = 0;
  let lastDuration = 0;
  let lastPts = -Infinity;
  const packet = new Packet();
  packet.alloc();
  let sinceYield = performance.now();
  try {
    while (input.context.readFrameSync(packet) >= 0) {
      if (packet.streamIndex === stream.index) {
        const flags = packet.flags;
        if ((flags & C.AV_PKT_FLAG_CORRUPT) !== 0) {
          damaged++;
        } else {
          const at = pts.length;
          const d = packet.dts;
          const p = packet.pts;
          if (p === NO_TIMESTAMP) missing++;
          const ticks = Number(p === NO_TIMESTAMP ? d : p);
          pts.push(ticks);
          dts.push(Number(d === NO_TIMESTAMP ? p : d));
          if ((flags & C.AV_PKT_FLAG_KEY) !== 0) keys.push(at);
          if ((flags & C.AV_PKT_FLAG_DISCARD) === 0) {
            visible.push(at);
            if (ticks > lastPts) {
              lastPts = ticks;
              lastDuration = Number(packet.duration);
            }
          }
        }
      }
      packet.unref();
      if (performance.now() - sinceYield > 12) {
        await new Promise((go) => setImmediate(go));
        sinceYield = performance.now();
      }
    }
  } finally {
    packet.free();
  }
  const reorders = ((stream.codecpar as unknown as { videoDelay: number }).videoDelay ?? 0) > 0;
  const times = new Set(visible.map((i) => pts[i]!));
  const codec = stream.codecpar.codecId;
  // VP8's hidden reference frames are packets that show nothing; without times or with
  // doubled ones packets can't be matched.
  const untimed =
    (missing > 0 && reorders) ||
    times.size !== visible.length ||
    visible.some((i) => pts[i]! < -9e15) ||
    codec === C.AV_CODEC_ID_VP8;
  const shown = untimed ? visible : [...visible].sort((i, j) => pts[i]! - pts[j]!);
  return { version: 1, timeBase: [timeBase.num, timeBase.den], pts, dts, keys, shown, lastDuration, damaged, untimed };
}

/**
 * Decoding position of the key packet from which shown frame `n` can be decoded whole
 * (leading pictures of open groups included).
 */
export function keyBefore(index: FrameIndex, n: number): number {
  const at = index.shown[n]!;
  const time = index.pts[at]!;
  let lo = 0;
  let hi = index.keys.length - 1;
  let best = 0;
  while (lo <= hi) {
    const mid = (lo + hi) >> 1;
    if (index.keys[mid]! <= at) {
      best = mid;
      lo = mid + 1;
    } else hi = mid - 1;
  }
  // A picture that is shown before the key it follows refers to the group before.
  while (best > 0 && index.pts[index.keys[best]!]! > time) best--;
  return index.keys[best] ?? 0;
}

const USUAL_RATES: readonly (readonly [number, number])[] = [
  [24000, 1001],
  [24, 1],
  [25, 1],
  [30000, 1001],
  [30, 1],
  [48, 1],
  [50, 1],
  [60000, 1001],
  [60, 1],
  [120000, 1001],
  [120, 1],
  [100, 1],
  [240, 1],
  [15, 1],
  [12, 1],
  [10, 1],
  [8, 1],
  [5, 1],
  [20, 1],
  [16, 1],
  [18, 1],
  [12000, 1001],
  [15000, 1001],
  [48000, 1001],
  [240000, 1001],
];

export interface Timing {
  readonly rate: Rate;
  readonly variable: boolean;
  readonly frameCount: number;
  /** Shown frame that is on screen at each frame of the constant rate; null where they are the same. */
  readonly sourceOf: Int32Array | null;
  readonly notes: readonly string[];
}

/** Steps from frame to frame, seconds. */
interface Steps {
  readonly count: number;
  /** Time of shown frame n after the first. */
  readonly at: (n: number) => number;
  readonly mean: number;
  readonly median: number;
  /** The container's clock. */
  readonly tick: number;
}

/** Times that stay within this share of a frame about an even grid lose nothing by being numbered one by one. */
const MOST_WANDER = 0.5;

/**
 * Finds the constant rate that the times follow, or conforms them to the nearest usual rate.
 * `claimed` are the rates that the container states. Times that stay within half a frame of an even
 * grid lose nothing by being numbered one by one.
 */
export function timingOf(index: FrameIndex, claimed: readonly Rate[]): Timing {
  const count = index.shown.length;
  const fallback = claimed[0] ?? rate(25);
  const oneByOne = { frameCount: count, sourceOf: null };
  if (count < 2 || index.untimed)
    return {
      rate: fallback,
      variable: false,
      ...oneByOne,
      notes: index.untimed && count > 1 ? ['the file gives no usable times; its frames were numbered one by one'] : [],
    };
  const steps = stepsOf(index);
  const candidates: Rate[] = [...claimed, ...USUAL_RATES.map(([n, d]) => rate(n, d))];
  const best = evenRate(candidates, steps);
  if (best !== null && best.exact) return { rate: best.rate, variable: false, ...oneByOne, notes: [] };
  if (best !== null && best.worst < MOST_WANDER)
    return {
      rate: best.rate,
      variable: true,
      ...oneByOne,
      notes: [
        `times wander by up to ${((best.worst * 1000 * best.rate.den) / best.rate.num).toFixed(1)} ms ` +
          `about ${best.rate.num}/${best.rate.den} frames a second; ` +
          'frames were numbered one by one, none doubled or left out',
      ],
    };
  const target = nearestRate(candidates, steps, fallback);
  const { sourceOf, doubled, dropped } = conformed(steps, target, index.lastDuration);
  return {
    rate: target,
    variable: true,
    frameCount: sourceOf.length,
    sourceOf,
    notes: [
      `the frame rate varies; conformed to ${target.num}/${target.den} frames a second: ` +
        `${count} frames became ${sourceOf.length}, ${doubled} held longer, ${dropped} left out`,
    ],
  };
}

function stepsOf(index: FrameIndex): Steps {
  const count = index.shown.length;
  const [num, den] = index.timeBase;
  const at = (n: number): number => ((index.pts[index.shown[n]!]! - index.pts[index.shown[0]!]!) * num) / den;
  const deltas = new Float64Array(count - 1);
  for (let n = 1; n < count; n++) deltas[n - 1] = at(n) - at(n - 1);
  return { count, at, mean: at(count - 1) / (count - 1), median: deltas.sort()[(count - 1) >> 1]!, tick: num / den };
}

/**
 * The rate about whose even grid the times wander least (`worst`, in frames), of those near the mean step. The first
 * to fit to within the clock's tick wins (`exact`): the container's claim is asked first.
 */
function evenRate(
  candidates: readonly Rate[],
  { count, at, mean, tick }: Steps,
): { rate: Rate; worst: number; exact: boolean } | null {
  let best: { rate: Rate; worst: number; exact: boolean } | null = null;
  for (const c of candidates) {
    const step = c.den / c.num;
    if (Math.abs(step - mean) > 0.02 * mean) continue;
    let low = Infinity;
    let high = -Infinity;
    for (let n = 0; n < count; n++) {
      const e = at(n) - n * step;
      if (e < low) low = e;
      if (e > high) high = e;
    }
    const worst = (high - low) / 2 / step;
    if (worst * step <= 1.01 * tick) return { rate: c, worst, exact: true };
    if (best === null || worst < best.worst - 1e-9) best = { rate: c, worst, exact: false };
  }
  return best;
}

/**
 * The rate to which really varying times are conformed: of the rates near the median step the one whose grid the times
 * lie closest to (the container's claim is asked first); where none is near, the nearest of all.
 */
function nearestRate(candidates: readonly Rate[], { count, at, median }: Steps, fallback: Rate): Rate {
  let target = fallback;
  let closest = Infinity;
  for (const c of candidates) {
    const step = c.den / c.num;
    if (Math.abs(step / median - 1) > 0.06) continue;
    let off = 0;
    for (let n = 0; n < count; n++) off += Math.abs(at(n) / step - Math.round(at(n) / step));
    if (off / count < closest - 1e-3) {
      closest = off / count;
      target = c;
    }
  }
  if (closest < Infinity) return target;
  const miss = (c: Rate): number => Math.abs(Math.log(c.den / c.num / median));
  return candidates.reduce((a, b) => (miss(b) < miss(a) - 1e-9 ? b : a));
}

/** At each tick of a rate the frame that is due then. @param lastDuration ticks that the last frame says it lasts, or 0 */
function conformed(
  { count, at, median, tick }: Steps,
  target: Rate,
  lastDuration: number,
): { sourceOf: Int32Array; doubled: number; dropped: number } {
  const step = target.den / target.num;
  const last = lastDuration > 0 ? lastDuration * tick : median;
  const frames = Math.max(1, Math.round((at(count - 1) + last) / step));
  const sourceOf = new Int32Array(frames);
  let s = 0;
  let doubled = 0;
  const used = new Uint8Array(count);
  for (let n = 0; n < frames; n++) {
    while (s + 1 < count && at(s + 1) <= (n + 0.5) * step) s++;
    if (n > 0 && sourceOf[n - 1] === s) doubled++;
    sourceOf[n] = s;
    used[s] = 1;
  }
  return { sourceOf, doubled, dropped: count - used.reduce((a, b) => a + b, 0) };
}
