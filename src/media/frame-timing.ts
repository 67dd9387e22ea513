/**
 * What rate a stream's times follow, and which of its frames is on screen at each tick of that rate. Times that wander
 * are numbered one by one; really varying ones are conformed to a usual rate; holes in which nothing was recorded are
 * closed up. (Own rules.)
 */
import type { Rate } from '../core/rational.js';
import { rate } from '../core/rational.js';
import type { FrameIndex } from './frame-index.js';

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
  /** Time of the holes that were closed up. */
  readonly holeSeconds: number;
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
/** Times that stray from an even grid by less than this share of a frame do not wander. */
const NO_WANDER = 0.01;
/** A step that is this near to a whole number of beats, in beats, is on the beat (own choice). */
const ON_BEAT = 0.15;
/**
 * A frame that stands this long, in seconds, is a hole: the camera's clock was set, or its recording was interrupted.
 * With sound, which may go on meanwhile, only what no film shows (own choice).
 */
const HOLE_SECONDS = { silent: 60, withSound: 600 };

/**
 * Finds the constant rate that the times follow, or conforms them to the nearest usual rate.
 * `claimed` are the rates that the container states. Times that stay within half a frame of an even
 * grid lose nothing by being numbered one by one. Holes are closed up first; `sound`: the file has sound, too.
 */
export function timingOf(index: FrameIndex, claimed: readonly Rate[], sound = false): Timing {
  const count = index.shown.length;
  const fallback = claimed[0] ?? rate(25);
  const oneByOne = { frameCount: count, sourceOf: null, holeSeconds: 0 };
  if (count < 2 || index.untimed)
    return {
      rate: fallback,
      variable: false,
      ...oneByOne,
      notes: index.untimed && count > 1 ? ['the file gives no usable times; its frames were numbered one by one'] : [],
    };
  const { steps, notes, holeSeconds } = closeHoles(stepsOf(index), sound);
  const candidates: Rate[] = [...claimed, ...USUAL_RATES.map(([n, d]) => rate(n, d))];
  const best = evenRate(candidates, steps);
  if (best !== null && best.exact) return { rate: best.rate, variable: false, ...oneByOne, holeSeconds, notes };
  if (best !== null && best.worst < MOST_WANDER && !leavesOut(steps))
    return {
      rate: best.rate,
      variable: true,
      ...oneByOne,
      holeSeconds,
      notes: [
        ...notes,
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
    holeSeconds,
    notes: [
      ...notes,
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
 * Does the camera keep an even beat and leave frames out of it, as phones do in the dark? Numbered one by one, the
 * motion would jump there; on the beat what is missing is known.
 */
function leavesOut({ count, at, median, tick }: Steps): boolean {
  const near = Math.max(ON_BEAT, (1.5 * tick) / median);
  let single = 0;
  let longer = 0;
  for (let n = 1; n < count; n++) {
    const beats = (at(n) - at(n - 1)) / median;
    const whole = Math.round(beats);
    if (whole < 1 || Math.abs(beats - whole) > near) return false;
    if (whole === 1) single++;
    else longer++;
  }
  return longer > 0 && single >= longer;
}

/** The same with each hole shortened to the usual step, and a sentence that says where holes were. */
function closeHoles(steps: Steps, sound: boolean): { steps: Steps; notes: string[]; holeSeconds: number } {
  const { count, at, median } = steps;
  const least = Math.max(sound ? HOLE_SECONDS.withSound : HOLE_SECONDS.silent, 20 * median);
  // Seconds taken off the time of every frame from this one on.
  const holes: { from: number; seconds: number }[] = [];
  for (let n = 1; n < count; n++) {
    const step = at(n) - at(n - 1);
    if (step > least) holes.push({ from: n, seconds: step - median });
  }
  if (holes.length === 0) return { steps, notes: [], holeSeconds: 0 };
  const taken = new Float64Array(count);
  for (let n = 0, next = 0, sum = 0; n < count; n++) {
    if (holes[next]?.from === n) sum += holes[next++]!.seconds;
    taken[n] = sum;
  }
  const first = holes[0]!;
  const longest = holes.reduce((most, h) => Math.max(most, h.seconds), 0);
  return {
    holeSeconds: taken[count - 1]!,
    steps: { ...steps, at: (n) => at(n) - taken[n]!, mean: (at(count - 1) - taken[count - 1]!) / (count - 1) },
    notes: [
      (holes.length === 1
        ? `nothing was recorded for ${spoken(longest)} after frame ${first.from - 1}`
        : `nothing was recorded in ${holes.length} places, the first after frame ${first.from - 1}, ` +
          `for up to ${spoken(longest)}`) +
        '; closed up' +
        (sound ? ', so sound after it may be out of step: split the file there if it is needed' : ''),
    ],
  };
}

function spoken(seconds: number): string {
  if (seconds < 120) return `${Math.round(seconds)} s`;
  if (seconds < 7200) return `${Math.round(seconds / 60)} minutes`;
  return seconds < 172_800 ? `${Math.round(seconds / 3600)} hours` : `${Math.round(seconds / 86_400)} days`;
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
    if (worst * step <= 1.01 * tick || worst < NO_WANDER) return { rate: c, worst, exact: true };
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

/**
 * At each tick of a rate the frame that is due then. @param lastDuration ticks that the last frame says it lasts, or 0
 */
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
