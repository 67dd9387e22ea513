/**
 * Frames of a film or a take that only repeat the one before, although the file runs at a constant rate: a converter
 * put 24 frames into 30, a phone had no new picture in time. Told from small pictures: what moves before and after
 * such a frame stands still across it. At a turning point a thing stands still too, but comes back by the way it
 * went; after a repeat it has gone on. Where nothing moves a repeat can't be told, and does no harm. (Own rule, no
 * source; its limits in docs/tolerances.md.)
 */
import { framesPerSecond, type Rate } from '../core/rational.js';
import type { VideoFrame } from '../media/types.js';

/** Width of the small pictures that are compared, px. */
export const REPEAT_WIDTH = 240;

/** At most so many repeats of one frame in a row; what stands still longer rests. */
const LONGEST = 4;
/** Across a repeat no more than this share of the motion before and after is seen: what coding adds. */
const STILL = 0.22;
/** The small pixels that move most are looked at, this share of the picture: a performer's ear is one in a hundred. */
const MOVING_SHARE = 0.005;
/** They must move by so much in the mean, display-coded 0..1. */
const LEAST_MOTION = 2.5 / 255;
/** A thing that turns round is back near the place before its last step: by less than this share of that step off. */
const COMES_BACK = 0.6;
/**
 * Rates that a file's own frames may have come from, frames a second; beside television's file also a thousandth
 * less.
 */
const OWN_RATES = [8, 10, 12, 12.5, 15, 16, 18, 20, 24, 25, 30, 48, 50, 60],
  TELEVISION = 1000 / 1001;
/** A cycle is believed from so many repeats on, and where so few of the frames that tell speak against it. */
const LEAST_REPEATS = 3,
  AGAINST = 0.02;
/** Starts of a cycle that are tried. */
const PHASES = 96;

/** What a file of constant rate repeats. */
export interface Repeats {
  /** Frames that only show the one before again, rising; in a cycle those too at which nothing moves. */
  readonly held: readonly number[];
  /**
   * Where they come evenly: frames of the file from one new picture to the next (30 /
   * 24 = 1.25), and the rate of the new ones.
   */
  readonly cycle?: { readonly stride: number; readonly ownFps: number };
}

/** Samples along each side of a small pixel. */
const TAPS = 4;

/**
 * The frame's own luma (of RGB its green), 0..1 of the coded range, in means of sixteen
 * samples a small pixel: only differences count.
 */
export function smallPicture(frame: VideoFrame, width: number, height: number, dst: Float32Array): Float32Array {
  const src = frame.planes[frame.layout === 'rgb' ? 1 : 0]!,
    { widthPx: w, heightPx: h } = frame,
    k = 1 / (TAPS * TAPS * (frame.bitDepth >= 32 ? 1 : 2 ** frame.bitDepth - 1));
  const at = (n: number, of: number, full: number): Int32Array =>
    Int32Array.from({ length: n * TAPS }, (_, i) => Math.min(full - 1, Math.floor(((i + 0.5) * of) / TAPS)));
  const xs = at(width, w / width, w),
    ys = at(height, h / height, h);
  for (let y = 0, o = 0; y < height; y++)
    for (let x = 0; x < width; x++, o++) {
      let sum = 0;
      for (let j = 0; j < TAPS; j++)
        for (let i = 0, row = ys[TAPS * y + j]! * w; i < TAPS; i++) sum += src[row + xs[TAPS * x + i]!]!;
      dst[o] = Math.min(1, Math.max(0, sum * k));
    }
  return dst;
}

/** Mean of the largest share of the values, which lie between 0 and 1. */
function topMean(values: Float32Array, many: number): number {
  const BINS = 2048,
    count = new Uint32Array(BINS);
  for (const v of values) count[Math.min(BINS - 1, Math.floor(v * BINS))]!++;
  let left = many,
    sum = 0;
  for (let b = BINS - 1; b >= 0 && left > 0; b--) {
    const n = Math.min(left, count[b]!);
    sum += (n * (b + 0.5)) / BINS;
    left -= n;
  }
  return Math.max(0, sum / many - 0.5 / BINS);
}

/** Fed every frame of a clip in order; holds five small pictures. */
export class RepeatWatch {
  private readonly many: number;
  private frame = 0;
  private last: Float32Array | null = null;
  /** The last step that moved: from which picture, where, and how much. */
  private step: { readonly from: Float32Array; readonly where: Float32Array; readonly top: number } | null = null;
  private run: { readonly frame: number; readonly top: number }[] = [];
  private readonly found: number[] = [];
  /** Frames that are surely new. */
  private readonly fresh: number[] = [];

  /** @param size pixels of a small picture */
  constructor(size: number) {
    this.many = Math.max(1, Math.ceil(MOVING_SHARE * size));
  }

  /** @param small display-coded luma of the next frame; it is copied */
  add(small: Float32Array): void {
    const now = small.slice(),
      before = this.last,
      n = this.frame++;
    this.last = now;
    if (before === null) return;
    const where = now.map((v, i) => Math.min(1, Math.abs(v - before[i]!))),
      top = topMean(where, this.many),
      { step } = this;
    if (step !== null && top <= STILL * step.top) {
      this.run.push({ frame: n, top });
      if (this.run.length <= LONGEST) return;
      this.run = [];
      this.step = null;
      return;
    }
    if (step !== null && this.run.length > 0) this.settle(step, where, now);
    if (top >= LEAST_MOTION) this.fresh.push(n);
    this.step = { from: before, where, top };
    this.run = [];
  }

  /** Do the frames that stood still repeat, now that the motion goes on? */
  private settle(
    step: { readonly from: Float32Array; readonly where: Float32Array },
    after: Float32Array,
    now: Float32Array,
  ): void {
    const both = step.where.map((v, i) => Math.min(v, after[i]!)),
      motion = topMean(both, this.many);
    if (motion < LEAST_MOTION) return;
    if (this.run.some((r) => r.top > STILL * motion)) {
      this.fresh.push(...this.run.map((r) => r.frame));
      return;
    }
    const back = topMean(
      both.map((v, i) => (v >= LEAST_MOTION ? Math.min(1, Math.abs(now[i]! - step.from[i]!)) : 0)),
      this.many,
    );
    if (back < COMES_BACK * motion) return;
    this.found.push(...this.run.map((r) => r.frame));
  }

  /** What was found in all frames so far; null where none repeats. */
  repeats(rate: Rate): Repeats | null {
    if (this.found.length === 0) return null;
    return cycleOf(this.found, this.fresh, this.frame, framesPerSecond(rate)) ?? { held: this.found };
  }
}

/**
 * The even cycle in which frames repeat, if there is one. @param fresh frames known to be new; all others may be
 * either
 */
function cycleOf(held: readonly number[], fresh: readonly number[], count: number, fps: number): Repeats | null {
  if (held.length < LEAST_REPEATS) return null;
  let best: Repeats | null = null,
    least = AGAINST * (held.length + fresh.length) + 1e-9;
  // A short clip does not tell 24 from 23.976: both are taken to be of one kind with the file's.
  const kind =
    Math.abs(fps / TELEVISION - Math.round(fps / TELEVISION)) < Math.abs(fps - Math.round(fps)) ? TELEVISION : 1;
  for (const ownFps of [...OWN_RATES.map((r) => r * kind), ...OWN_RATES.map((r) => (r * TELEVISION) / kind)]) {
    const stride = fps / ownFps;
    if (stride < 1.02 || stride > LONGEST + 1) continue;
    for (let p = 0; p < PHASES; p++) {
      const phase = (stride * (p + 0.5)) / PHASES,
        repeats = (n: number): boolean =>
          n > 0 && Math.floor((n + phase) / stride) === Math.floor((n - 1 + phase) / stride);
      let against = 0;
      for (const n of held) if (!repeats(n)) against++;
      for (const n of fresh) if (repeats(n)) against++;
      if (against >= least) continue;
      least = against;
      best = { held: Array.from({ length: count }, (_, n) => n).filter(repeats), cycle: { stride, ownFps } };
    }
  }
  return best;
}

/** Fed the frames of a stretch in order, as they are read; makes the small pictures itself. */
export class RepeatsOfFrames {
  private readonly width: number;
  private readonly height: number;
  private readonly small: Float32Array;
  private readonly watch: RepeatWatch;
  private first: number | null = null;

  constructor({ widthPx, heightPx }: { readonly widthPx: number; readonly heightPx: number }) {
    this.width = Math.min(widthPx, REPEAT_WIDTH);
    this.height = Math.max(1, Math.round((this.width * heightPx) / widthPx));
    this.small = new Float32Array(this.width * this.height);
    this.watch = new RepeatWatch(this.small.length);
  }

  add(frame: VideoFrame): void {
    this.first ??= frame.index;
    this.watch.add(smallPicture(frame, this.width, this.height, this.small));
  }

  /** Which frames only repeat the one before, numbered as in the file; null where none does. */
  repeats(rate: Rate): Repeats | null {
    const found = this.watch.repeats(rate);
    return found === null ? null : { ...found, held: found.held.map((n) => n + (this.first ?? 0)) };
  }
}

/** Sentence for a maker, of a film's shot. */
export function filmRepeatsInWords({ held, cycle }: Repeats, count: number, fps: number): string {
  const plain = (v: number): string => String(Number(v.toFixed(2))),
    what =
      cycle !== undefined
        ? `the film's file shows ${plain(fps)} frames a second, ` +
          `but only ${plain(cycle.ownFps)} of them are pictures of their own`
        : `${held.length} of ${count} frames ${held.length === 1 ? 'only repeats' : 'only repeat'} the one before ` +
          `(the first is frame ${held[0]})`;
  return `${what}: the performer holds where the film's picture holds`;
}

/** Sentence for a maker, of a take. */
export function repeatsInWords({ held, cycle }: Repeats, count: number, fps: number): string {
  const plain = (v: number): string => String(Number(v.toFixed(2)));
  if (cycle !== undefined)
    return (
      `the file shows ${plain(fps)} frames a second, ` +
      `but only ${plain(cycle.ownFps)} of them are pictures of their own: the join uses these at their own times; ` +
      "hand over the camera's file as it was shot, or film at the plate's rate"
    );
  return (
    `${held.length} of ${count} frames ${held.length === 1 ? 'only repeats' : 'only repeat'} the one before (the ` +
    `first is frame ${held[0]}): the camera or a converter left pictures out; ` +
    'the join draws them anew between their neighbours, so choose another take where something moves fast there'
  );
}
