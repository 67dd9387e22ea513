/**
 * Finds shot changes in a stream of small frames, one frame in at a time, in bounded memory.
 *
 * Hard cuts: a frame in which little of the one before can be found again (block matching with gain and bias normalised
 * out), standing out from its neighbours, unless the old shot returns within a few frames (a flash, a drop-out).
 * Gradual changes: a run of frames that is a linear mixture of its two ends, which are not the same shot. A fade is a mixture
 * with a flat picture; two that meet in one are one change.
 *
 * The detector's state can be saved to plain JSON and restored, so that a scan can be stopped and gone on with.
 */
import { BlockMatcher, emptyMatch } from './block-match.js';
import { LOW_LENGTH, lowContrast, lowVector } from './low-vector.js';
import { fitRamp, gradualScore, mixtureShare, testMixture } from './mixture.js';
import { joinFades, type GradualEvent, type ShotEvent } from './shot-events.js';
import { SMALL_H, SMALL_LENGTH, SMALL_W, type SmallFrame } from './small-frame.js';

/** Frames kept. The longest run tested, its margins, and the wait before a verdict all fit in. */
const KEPT = 192;
/** A cut is decided this many frames after it. */
const CUT_WAIT = 7;
/** Longest time in which an old shot may come back for the change to be a flash or drop-out. */
const RETURN_FRAMES = 5;
/** Spans tested for a mixture, frames from the last of the old shot to the first of the new. */
const SPANS = [5, 7, 9, 12, 16, 21, 27, 34, 42, 50, 60] as const;
const LONGEST = 60;
const CENTRE_STEP = 2;
/** Below this contrast (code values) a picture is flat: black, white, or one colour. */
export const FLAT = 2.5;
const SAME_SHOT = 0.36;
/** Least log odds of a gradual change (mixture.ts). */
const LEAST_SCORE = 1;
/** Longest flat stretch of a flash, and longest faint tail of a fade that its ramp may leave out, frames. */
const LONGEST_FLASH = 10;
const LONGEST_TAIL = 16;

interface Candidate {
  a: number;
  b: number;
  quality: number;
}

/** Plain JSON. `frames` are base64 of the kept small frames. */
export interface CutDetectorState {
  readonly version: 1;
  readonly count: number;
  readonly firstKept: number;
  readonly frames: readonly string[];
  readonly changes: readonly number[];
  readonly rigids: readonly number[];
  readonly motions: readonly number[];
  readonly shifts: readonly number[];
  readonly cutDecided: number;
  readonly centre: number;
  readonly candidates: readonly Candidate[];
  readonly events: readonly ShotEvent[];
  readonly disturbedUntil: number;
  readonly wentFlat: { readonly a: number; readonly frame: string } | null;
}

export class CutDetector {
  private readonly matcher = new BlockMatcher();
  private readonly scratch = emptyMatch();
  private readonly ring: SmallFrame[] = [];
  private readonly low: Float32Array[] = [];
  private readonly lowKnown = new Uint8Array(KEPT);
  private readonly lowScratch = new Float32Array(LOW_LENGTH);
  private readonly change = new Float64Array(KEPT);
  private readonly rigid = new Float64Array(KEPT);
  private readonly moved = new Float64Array(KEPT);
  private readonly shift = new Float64Array(KEPT);
  private readonly detail = new Float64Array(KEPT);
  private count = 0;
  private cutDecided = 0;
  private centre = 0;
  private candidates: Candidate[] = [];
  private events: ShotEvent[] = [];
  private disturbedUntil = -1;
  /** Where the picture last faded to flat, and what it showed before. */
  private wentFlat: { a: number; frame: SmallFrame } | null = null;
  private readonly atLow = (t: number): Float32Array => this.lowOf(t);

  constructor() {
    for (let i = 0; i < KEPT; i++) {
      this.ring.push(new Uint16Array(SMALL_LENGTH));
      this.low.push(new Float32Array(LOW_LENGTH));
    }
  }

  get frames(): number {
    return this.count;
  }

  /** Change found between the last two frames pushed, 0..1, and the mean motion in cells of 96 × 54. */
  get lastChange(): { change: number; motion: number; shift: number } {
    const i = (this.count - 1 + KEPT) % KEPT;
    return { change: this.change[i]!, motion: this.moved[i]!, shift: this.shift[i]! };
  }

  /** Takes the next frame. The buffer is copied. */
  push(frame: SmallFrame): void {
    const t = this.count;
    const slot = t % KEPT;
    this.ring[slot]!.set(frame);
    this.lowKnown[slot] = 0;
    this.detail[slot] = detailEnergy(frame);
    this.count++;
    if (t > 0) {
      this.dissimilarity(t - 1, t, 2);
      this.change[slot] = this.scratch.dissimilarity;
      this.rigid[slot] = this.scratch.rigidDissimilarity;
      this.moved[slot] = this.scratch.motion;
      this.shift[slot] = Math.hypot(this.scratch.dx, this.scratch.dy);
    } else {
      this.change[slot] = this.rigid[slot] = this.moved[slot] = this.shift[slot] = 0;
    }
    this.advance(false);
  }

  /** Ends the stream and returns every event in order of time. */
  finish(): readonly ShotEvent[] {
    this.advance(true);
    return joinFades(this.events);
  }

  /** Events settled so far (for progress; later frames may still join a fade's two halves). */
  get found(): readonly ShotEvent[] {
    return this.events;
  }

  private frame(t: number): SmallFrame {
    return this.ring[t % KEPT]!;
  }

  private lowOf(t: number): Float32Array {
    const slot = t % KEPT;
    if (this.lowKnown[slot] === 0) {
      lowVector(this.ring[slot]!, this.low[slot]!, this.lowScratch);
      this.lowKnown[slot] = 1;
    }
    return this.low[slot]!;
  }

  private kept(t: number): boolean {
    return t >= 0 && t >= this.count - KEPT && t < this.count;
  }

  /** Dissimilarity of two kept frames, from the one that holds more to be found. */
  private dissimilarity(p: number, q: number, reach: number): number {
    const a = this.frame(p);
    const b = this.frame(q);
    const m = this.matcher.match(a, b, reach, this.scratch);
    if (m.evidence < 0.12) {
      const forward = m.evidence;
      const d = m.dissimilarity;
      const back = this.matcher.match(b, a, reach, this.scratch);
      if (back.evidence <= forward) {
        back.dissimilarity = d;
        if (back.evidence < 0.02 && forward < 0.02) back.dissimilarity = 0;
      }
    }
    return this.scratch.dissimilarity;
  }

  private changeAt(t: number): number {
    return this.kept(t) && t > 0 ? this.change[t % KEPT]! : 0;
  }

  private advance(end: boolean): void {
    const cutLimit = end ? this.count - 1 : this.count - 1 - CUT_WAIT;
    while (this.cutDecided < cutLimit) {
      this.cutDecided++;
      this.decideCut(this.cutDecided);
    }
    const margin = LONGEST / 2 + 12;
    const centreLimit = end ? this.count - 3 : this.count - 1 - margin;
    while (this.centre + CENTRE_STEP <= centreLimit) {
      this.centre += CENTRE_STEP;
      this.testCentre(this.centre);
      this.resolve(false);
    }
    if (end) this.resolve(true);
  }

  private decideCut(t: number): void {
    const d = this.changeAt(t);
    if (d < 0.3 || t <= this.disturbedUntil) return;
    const before = Math.max(this.changeAt(t - 1), this.changeAt(t - 2));
    const after = Math.max(this.changeAt(t + 1), this.changeAt(t + 2));
    const around = Math.max(Math.min(before, after), 0.5 * Math.max(before, after));
    // In a whip or a shaken stretch the neighbours change much too; a cut stands out.
    const needed = Math.max(0.42, Math.min(0.62, 1.35 * around + 0.12));
    const spike = d > 0.3 && d > 3 * Math.max(before, after, 0.05) && this.rigid[t % KEPT]! > 0.4;
    if (d < needed && !spike) return;
    // The old shot returns: flash, drop-out, strobe. Compare what was before with what comes after.
    for (let k = 1; k <= RETURN_FRAMES; k++) {
      const later = t + k;
      if (!this.kept(later)) break;
      for (let back = 1; back <= 2; back++) {
        if (!this.kept(t - back) || t - back <= this.lastCut()) continue;
        if (lowContrast(this.lowOf(t - back)) < FLAT) continue;
        const r = this.dissimilarity(t - back, later, 3);
        if (this.scratch.evidence > 0.05 && r < Math.max(SAME_SHOT, 0.5 * d) && r < 0.45) {
          this.disturbedUntil = later;
          return;
        }
      }
    }
    this.events.push({ kind: 'cut', at: t, strength: d, ...(lowContrast(this.lowOf(t - 1)) < FLAT ? { flatBefore: true } : {}) });
  }

  private lastCut(): number {
    for (let i = this.events.length - 1; i >= 0; i--) {
      const e = this.events[i]!;
      if (e.kind === 'cut') return e.at - 1;
    }
    return -1;
  }

  private testCentre(c: number): void {
    for (const span of SPANS) {
      const a = c - (span >> 1);
      const b = a + span;
      if (!this.kept(a) || !this.kept(b)) continue;
      // Cheapest first: where two pictures lie over each other fine detail is weakest in the middle; motion leaves it alone.
      let dip = 0;
      const da = this.detail[a % KEPT]!;
      const db = this.detail[b % KEPT]!;
      for (let t = a + 1; t < b; t++) {
        const r = (t - a) / span;
        dip += this.detail[t % KEPT]! / ((1 - r) * da + r * db + 1);
      }
      dip = 1 - dip / (span - 1);
      if (dip < 0.03) continue;
      const short = span < 9;
      const m = testMixture(this.atLow, a, b, short ? 0.6 : 0.4, short ? 40 : 16);
      if (m === null || m.rampError > 0.14 || m.residual > 0.12 || m.largestStep > Math.max(0.24, 2.4 / span)) continue;
      const flat = lowContrast(this.lowOf(a)) < FLAT || lowContrast(this.lowOf(b)) < FLAT;
      const d = flat ? 1 : this.dissimilarity(a, b, 2);
      if (d < 0.4) continue;
      const score = gradualScore(dip, d, m) - (short ? 1 : 0);
      if (score > LEAST_SCORE) this.candidates.push({ a, b, quality: score });
    }
  }

  /** Turns a finished cluster of candidates into one gradual event. */
  private resolve(end: boolean): void {
    while (this.candidates.length > 0) {
      let first = this.candidates[0]!;
      for (const k of this.candidates) if (k.a < first.a) first = k;
      // Best of what overlaps the earliest.
      let best = first;
      for (const k of this.candidates) if (k.a < best.b && k.b > best.a && k.quality > best.quality) best = k;
      if (!end && this.centre < best.b + 6) return;
      this.candidates = this.candidates.filter((k) => k.a >= best.b - 1 || (k.b <= best.a + 1 && k !== best));
      if (this.flashBack(best)) continue;
      const g = this.refine(best);
      if (g !== null) {
        this.events = this.events.filter((e) => !(e.kind === 'cut' && e.at > g.a - 2 && e.at <= g.b + 2));
        const before = this.events.findLast((e) => e.kind === 'gradual');
        if (before !== undefined && before.kind === 'gradual' && before.b > g.a + 2) {
          if (before.quality >= g.quality) continue;
          this.events = this.events.filter((e) => e !== before);
        }
        if (!this.sameShotBack(g)) this.events.push(g);
      }
    }
  }

  /** A flash: flat at once, and what was there before comes back out of it. Its fall looks like a fade in. */
  private flashBack(k: Candidate): boolean {
    if (lowContrast(this.lowOf(k.a)) >= FLAT) return false;
    let t = k.a - 1;
    while (t > k.a - LONGEST_FLASH && this.kept(t) && lowContrast(this.lowOf(t)) < FLAT) t--;
    if (!this.kept(t) || lowContrast(this.lowOf(t)) < FLAT) return false;
    const d = this.dissimilarity(t, k.b, 3);
    return this.scratch.evidence > 0.05 && d < SAME_SHOT;
  }

  private cutBetween(x: number, y: number): boolean {
    return this.events.some((e) => e.kind === 'cut' && e.at > x && e.at <= y);
  }

  /** The flat frame that a fade runs into from `t` on (step 1 or −1), its contrast falling all the way; else `t`. */
  private flatBeyond(t: number, step: 1 | -1, most: number): number {
    let contrast = lowContrast(this.lowOf(t));
    if (contrast < FLAT) return t;
    for (let s = t + step; Math.abs(s - t) <= most && this.kept(s); s += step) {
      const c = lowContrast(this.lowOf(s));
      if (c > contrast) return t;
      if (c < FLAT) return this.cutBetween(Math.min(s, t), Math.max(s, t)) ? t : s;
      contrast = c;
    }
    return t;
  }

  /** A shot that went flat for a moment (a blink, a glow to white) and came back has not changed. Drops both halves. */
  private sameShotBack(g: GradualEvent): boolean {
    if (g.flatEnd) {
      this.wentFlat = { a: g.a, frame: this.frame(g.a).slice() };
      return false;
    }
    if (!g.flatStart || this.wentFlat === null) return false;
    const { a, frame } = this.wentFlat;
    this.wentFlat = null;
    if (g.b - a > 60) return false;
    const out = this.events.findLastIndex((e) => e.kind === 'gradual' && e.a === a);
    if (out < 0 || this.events.some((e) => e.kind === 'cut' && e.at > a && e.at <= g.b)) return false;
    const m = this.matcher.match(frame, this.frame(g.b), 3, this.scratch);
    if (m.evidence < 0.05 || m.dissimilarity > SAME_SHOT) return false;
    this.events.splice(out, 1);
    return true;
  }

  private refine(k: Candidate): GradualEvent | null {
    const margin = Math.max(4, Math.min(10, (k.b - k.a) >> 1));
    let from = k.a;
    let to = k.b;
    while (from > k.a - margin && this.kept(from - 1) && !this.cutBetween(from - 1, from)) from--;
    while (to < k.b + margin && this.kept(to + 1) && !this.cutBetween(to, to + 1)) to++;
    const a = this.lowOf(k.a);
    const b = this.lowOf(k.b);
    let e = 0;
    for (let i = 0; i < a.length; i++) e += (b[i]! - a[i]!) ** 2;
    const alpha = new Float64Array(to - from + 1);
    for (let t = from; t <= to; t++) alpha[t - from] = mixtureShare(this.lowOf(t), a, b, e);
    // Rescale: the anchors may sit inside the change, so that beyond them α runs past 0 and 1.
    const head = Math.min(...alpha.subarray(0, 3));
    const tail = Math.max(...alpha.subarray(alpha.length - 3));
    const lo = Math.min(0, (head + alpha[0]!) / 2);
    const hi = Math.max(1, (tail + alpha[alpha.length - 1]!) / 2);
    for (let i = 0; i < alpha.length; i++) alpha[i] = (alpha[i]! - lo) / (hi - lo);
    const detail = Float64Array.from(alpha, (_, i) => this.detail[(from + i) % KEPT]!);
    const fit = fitRamp(alpha, from, detail);
    // A fade whose last faint frames the ramp left out is still a fade.
    const most = Math.min(LONGEST_TAIL, fit.b - fit.a);
    const start = this.flatBeyond(fit.a, -1, most), end = this.flatBeyond(fit.b, 1, most);
    return { kind: 'gradual', a: start, b: end, flatStart: lowContrast(this.lowOf(start)) < FLAT, flatEnd: lowContrast(this.lowOf(end)) < FLAT, quality: k.quality };
  }

  save(): CutDetectorState {
    const firstKept = Math.max(0, this.count - KEPT);
    const frames: string[] = [];
    const changes: number[] = [], rigids: number[] = [], motions: number[] = [], shifts: number[] = [];
    for (let t = firstKept; t < this.count; t++) {
      const f = this.frame(t);
      frames.push(toText(f));
      changes.push(this.change[t % KEPT]!);
      rigids.push(this.rigid[t % KEPT]!);
      motions.push(this.moved[t % KEPT]!);
      shifts.push(this.shift[t % KEPT]!);
    }
    return { version: 1, count: this.count, firstKept, frames, changes, rigids, motions, shifts, cutDecided: this.cutDecided, centre: this.centre, candidates: this.candidates.map((k) => ({ ...k })), events: [...this.events], disturbedUntil: this.disturbedUntil, wentFlat: this.wentFlat && { a: this.wentFlat.a, frame: toText(this.wentFlat.frame) } };
  }

  static restore(state: CutDetectorState): CutDetector {
    const d = new CutDetector();
    d.count = state.count;
    d.cutDecided = state.cutDecided;
    d.centre = state.centre;
    d.candidates = state.candidates.map((k) => ({ ...k }));
    d.events = [...state.events];
    d.disturbedUntil = state.disturbedUntil;
    if (state.wentFlat !== null) d.wentFlat = { a: state.wentFlat.a, frame: fromText(state.wentFlat.frame, new Uint16Array(SMALL_LENGTH)) };
    state.frames.forEach((text, i) => {
      const t = state.firstKept + i;
      fromText(text, d.ring[t % KEPT]!);
      d.change[t % KEPT] = state.changes[i]!;
      d.rigid[t % KEPT] = state.rigids[i]!;
      d.moved[t % KEPT] = state.motions[i]!;
      d.shift[t % KEPT] = state.shifts[i]!;
      d.detail[t % KEPT] = detailEnergy(d.ring[t % KEPT]!);
    });
    return d;
  }
}

/** Mean squared gradient of the luma cells: falls to about half in the middle of a dissolve, whatever moves. */
function detailEnergy(f: SmallFrame): number {
  let s = 0;
  for (let y = 0; y < SMALL_H - 1; y++) {
    let i = y * SMALL_W;
    for (let x = 0; x < SMALL_W - 1; x++, i++) {
      const c = f[i]!;
      const dx = f[i + 1]! - c;
      const dy = f[i + SMALL_W]! - c;
      s += dx * dx + dy * dy;
    }
  }
  return s / (65536 * (SMALL_W - 1) * (SMALL_H - 1));
}

function toText(f: SmallFrame): string {
  return Buffer.from(f.buffer, f.byteOffset, f.byteLength).toString('base64');
}

function fromText(text: string, dst: SmallFrame): SmallFrame {
  new Uint8Array(dst.buffer, dst.byteOffset, dst.byteLength).set(Buffer.from(text, 'base64'));
  return dst;
}
