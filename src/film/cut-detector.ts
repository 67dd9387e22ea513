/**
 * Finds shot changes in a stream of small frames, one frame in at a time, in bounded memory: hard cuts (hard-cut.ts)
 * and gradual changes (gradual-change.ts) of one history of frames, each decided as soon as enough frames have
 * followed. A fade is a mixture with a flat picture; two that meet in one are one change (shot-events.ts).
 *
 * The detector's state can be saved to plain JSON and restored, so that a scan can be stopped and gone on with.
 */
import { FrameHistory, smallFrameOf, smallFrameText, type FrameHistoryState } from './frame-history.js';
import { CENTRE_MARGIN, gradualCandidates, refineGradual, type GradualCandidate } from './gradual-change.js';
import { SAME_SHOT, decideHardCut } from './hard-cut.js';
import { joinFades, type GradualEvent, type ShotEvent } from './shot-events.js';
import type { SmallFrame } from './small-frame.js';

/** A cut is decided this many frames after it. */
const CUT_WAIT = 7;
const CENTRE_STEP = 2;
/** Longest flat stretch of a flash, frames. */
const LONGEST_FLASH = 10;
/** Longest time in which a shot may go flat and come back without having changed, frames. */
const LONGEST_BLINK = 60;

/**
 * Least frames of a picture before a fade up that are a shot of their own (a title that opens the film): own choice.
 */
const LEAST_SEEN = 6;

/** Plain JSON. */
export interface CutDetectorState {
  readonly history: FrameHistoryState;
  /** Frames looked at so far for hard cuts, and middles looked at for gradual changes. */
  readonly cutDecided: number;
  readonly centre: number;
  readonly candidates: readonly GradualCandidate[];
  readonly events: readonly ShotEvent[];
  /** What was there before a disturbance (a flash, a hand) came back on this frame; −1: none. No cut before. */
  readonly disturbedUntil: number;
  /** Where the picture last faded to flat, and what it showed before (base64 of the small frame). */
  readonly wentFlat: { readonly a: number; readonly frame: string } | null;
}

/** Give it small frames in order by `push`; `finish` answers every event. */
export class CutDetector {
  private readonly history = new FrameHistory();
  private cutDecided = 0;
  private centre = 0;
  private candidates: GradualCandidate[] = [];
  private events: ShotEvent[] = [];
  private disturbedUntil = -1;
  /** Where the picture last faded to flat, and what it showed before. */
  private wentFlat: { a: number; frame: SmallFrame } | null = null;

  get frames(): number {
    return this.history.count;
  }

  /** Takes the next frame. The buffer is copied. */
  push(frame: SmallFrame): void {
    this.history.push(frame);
    this.advance(false);
  }

  /** Ends the stream and returns every event in order of time. */
  finish(): readonly ShotEvent[] {
    this.advance(true);
    return joinFades(this.events);
  }

  private advance(end: boolean): void {
    const { count } = this.history;
    const cutLimit = end ? count - 1 : count - 1 - CUT_WAIT;
    while (this.cutDecided < cutLimit) {
      this.cutDecided++;
      if (this.cutDecided <= this.disturbedUntil) continue;
      const { cut, returned } = decideHardCut(this.history, this.cutDecided, this.lastCut());
      if (returned !== undefined) this.disturbedUntil = returned;
      if (cut !== undefined) this.events.push(cut);
    }
    const centreLimit = end ? count - 3 : count - 1 - CENTRE_MARGIN;
    while (this.centre + CENTRE_STEP <= centreLimit) {
      this.centre += CENTRE_STEP;
      this.candidates.push(...gradualCandidates(this.history, this.centre));
      this.resolve(false);
    }
    if (end) this.resolve(true);
  }

  /** First frame of the shot that the last hard cut began. */
  private lastCut(): number {
    const e = this.events.findLast((x) => x.kind === 'cut');
    return e?.kind === 'cut' ? e.at : 0;
  }

  private readonly cutBetween = (x: number, y: number): boolean =>
    this.events.some((e) => e.kind === 'cut' && e.at > x && e.at <= y);

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
      const g = refineGradual(this.history, best, this.cutBetween);
      this.events = this.events.filter((e) => !(e.kind === 'cut' && e.at > g.a - 2 && e.at <= g.b + 2));
      const before = this.events.findLast((e) => e.kind === 'gradual');
      if (before !== undefined && before.kind === 'gradual' && before.b > g.a + 2) {
        if (before.quality >= g.quality) continue;
        this.events = this.events.filter((e) => e !== before);
      }
      if (!this.sameShotBack(g))
        this.events.push(g.flatStart && this.pictureBefore(g.a) ? { ...g, pictureBefore: true } : g);
    }
  }

  /** Was anything but a flat picture seen before this frame, as far back as is kept, for long enough to be a shot? */
  private pictureBefore(t: number): boolean {
    let seen = 0;
    for (let s = t - 1; s >= 0 && this.history.kept(s) && seen < LEAST_SEEN; s--) if (!this.history.flat(s)) seen++;
    return seen >= LEAST_SEEN;
  }

  /** A flash: flat at once, and what was there before comes back out of it. Its fall looks like a fade in. */
  private flashBack(k: GradualCandidate): boolean {
    const { history } = this;
    if (!history.flat(k.a)) return false;
    let t = k.a - 1;
    while (t > k.a - LONGEST_FLASH && history.kept(t) && history.flat(t)) t--;
    if (!history.kept(t) || history.flat(t)) return false;
    const d = history.dissimilarity(t, k.b, 3);
    return history.compared.evidence > 0.05 && d < SAME_SHOT;
  }

  /** A shot that went flat for a moment (a blink, a glow to white) and came back has not changed. Drops both halves. */
  private sameShotBack(g: GradualEvent): boolean {
    if (g.flatEnd) {
      this.wentFlat = { a: g.a, frame: this.history.frame(g.a).slice() };
      return false;
    }
    if (!g.flatStart || this.wentFlat === null) return false;
    const { a, frame } = this.wentFlat;
    this.wentFlat = null;
    if (g.b - a > LONGEST_BLINK) return false;
    const out = this.events.findLastIndex((e) => e.kind === 'gradual' && e.a === a);
    if (out < 0 || this.cutBetween(a, g.b)) return false;
    const m = this.history.match(frame, g.b, 3);
    if (m.evidence < 0.05 || m.dissimilarity > SAME_SHOT) return false;
    this.events.splice(out, 1);
    return true;
  }

  save(): CutDetectorState {
    const { cutDecided, centre, candidates, events, disturbedUntil, wentFlat } = this;
    return {
      history: this.history.save(),
      cutDecided,
      centre,
      candidates: candidates.map((k) => ({ ...k })),
      events: [...events],
      disturbedUntil,
      wentFlat: wentFlat && { a: wentFlat.a, frame: smallFrameText(wentFlat.frame) },
    };
  }

  static restore(state: CutDetectorState): CutDetector {
    const d = new CutDetector();
    d.history.restore(state.history);
    d.cutDecided = state.cutDecided;
    d.centre = state.centre;
    d.candidates = state.candidates.map((k) => ({ ...k }));
    d.events = [...state.events];
    d.disturbedUntil = state.disturbedUntil;
    if (state.wentFlat !== null) d.wentFlat = { a: state.wentFlat.a, frame: smallFrameOf(state.wentFlat.frame) };
    return d;
  }
}
