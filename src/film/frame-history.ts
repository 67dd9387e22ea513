/**
 * The last few seconds of a stream of small frames, with what the shot detectors ask of them: the frame, its low vector
 * (computed when first asked for), its fine detail, and how much of it cannot be found again in another kept frame.
 * Bounded memory; saved to plain JSON and restored.
 */
import { BlockMatcher, emptyMatch, type Match } from './block-match.js';
import { LOW_LENGTH, lowContrast, lowVector } from './low-vector.js';
import { SMALL_H, SMALL_LENGTH, SMALL_W, type SmallFrame } from './small-frame.js';

/** Frames kept. The longest run tested, its margins, and the wait before a verdict all fit in. */
const KEPT = 192;
/** Below this contrast (code values) a picture is flat: black, white, or one colour. */
const FLAT = 2.5;

/** Plain JSON. `frames` are base64 of the kept small frames. */
export interface FrameHistoryState {
  readonly count: number;
  readonly firstKept: number;
  readonly frames: readonly string[];
  readonly changes: readonly number[];
  readonly rigids: readonly number[];
  readonly motions: readonly number[];
  readonly shifts: readonly number[];
}

/** Frames by number `t`, of which the latest are kept: ask `kept(t)` before an older one. */
export class FrameHistory {
  /** Of the last comparison asked for (`dissimilarity`, `match`). */
  readonly compared: Match = emptyMatch();
  /** Frames pushed so far. */
  count = 0;
  private readonly matcher = new BlockMatcher();
  private readonly ring: SmallFrame[] = [];
  private readonly low: Float32Array[] = [];
  private readonly lowKnown = new Uint8Array(KEPT);
  private readonly lowScratch = new Float32Array(LOW_LENGTH);
  private readonly change = new Float64Array(KEPT);
  private readonly rigid = new Float64Array(KEPT);
  private readonly moved = new Float64Array(KEPT);
  private readonly shift = new Float64Array(KEPT);
  private readonly detail = new Float64Array(KEPT);

  constructor() {
    for (let i = 0; i < KEPT; i++) {
      this.ring.push(new Uint16Array(SMALL_LENGTH));
      this.low.push(new Float32Array(LOW_LENGTH));
    }
  }

  /** Takes the next frame and compares it with the one before. The buffer is copied. */
  push(frame: SmallFrame): void {
    const t = this.count;
    const slot = t % KEPT;
    this.ring[slot]!.set(frame);
    this.lowKnown[slot] = 0;
    this.detail[slot] = detailEnergy(frame);
    this.count++;
    if (t > 0) {
      this.dissimilarity(t - 1, t, 2);
      this.change[slot] = this.compared.dissimilarity;
      this.rigid[slot] = this.compared.rigidDissimilarity;
      this.moved[slot] = this.compared.motion;
      this.shift[slot] = Math.hypot(this.compared.dx, this.compared.dy);
    } else {
      this.change[slot] = this.rigid[slot] = this.moved[slot] = this.shift[slot] = 0;
    }
  }

  kept(t: number): boolean {
    return t >= 0 && t >= this.count - KEPT && t < this.count;
  }

  frame(t: number): SmallFrame {
    return this.ring[t % KEPT]!;
  }

  /** See low-vector.ts. Bound, so that it can be handed on. */
  readonly lowOf = (t: number): Float32Array => {
    const slot = t % KEPT;
    if (this.lowKnown[slot] === 0) {
      lowVector(this.ring[slot]!, this.low[slot]!, this.lowScratch);
      this.lowKnown[slot] = 1;
    }
    return this.low[slot]!;
  };

  flat(t: number): boolean {
    return lowContrast(this.lowOf(t)) < FLAT;
  }

  detailAt(t: number): number {
    return this.detail[t % KEPT]!;
  }

  /** Change from the frame before, 0..1; 0 where not kept. */
  changeAt(t: number): number {
    return this.kept(t) && t > 0 ? this.change[t % KEPT]! : 0;
  }

  /** The same with one motion for the whole picture. */
  rigidAt(t: number): number {
    return this.rigid[t % KEPT]!;
  }

  /** Mean motion from the frame before, cells. */
  motionAt(t: number): number {
    return this.moved[t % KEPT]!;
  }

  /** Dissimilarity (0..1) of two kept frames, from the one that holds more to be found. */
  dissimilarity(p: number, q: number, reach: number): number {
    const a = this.frame(p);
    const b = this.frame(q);
    const m = this.matcher.match(a, b, reach, this.compared);
    if (m.evidence < 0.12) {
      const forward = m.evidence;
      const d = m.dissimilarity;
      const back = this.matcher.match(b, a, reach, this.compared);
      if (back.evidence <= forward) {
        back.dissimilarity = d;
        if (back.evidence < 0.02 && forward < 0.02) back.dissimilarity = 0;
      }
    }
    return this.compared.dissimilarity;
  }

  /** Looks for an earlier picture (kept by the caller) in a kept frame. */
  match(earlier: SmallFrame, t: number, reach: number): Match {
    return this.matcher.match(earlier, this.frame(t), reach, this.compared);
  }

  save(): FrameHistoryState {
    const firstKept = Math.max(0, this.count - KEPT);
    const frames: string[] = [];
    const changes: number[] = [];
    const rigids: number[] = [];
    const motions: number[] = [];
    const shifts: number[] = [];
    for (let t = firstKept; t < this.count; t++) {
      frames.push(smallFrameText(this.frame(t)));
      changes.push(this.change[t % KEPT]!);
      rigids.push(this.rigid[t % KEPT]!);
      motions.push(this.moved[t % KEPT]!);
      shifts.push(this.shift[t % KEPT]!);
    }
    return { count: this.count, firstKept, frames, changes, rigids, motions, shifts };
  }

  restore(state: FrameHistoryState): void {
    this.count = state.count;
    this.lowKnown.fill(0);
    state.frames.forEach((text, i) => {
      const slot = (state.firstKept + i) % KEPT;
      this.ring[slot]!.set(smallFrameOf(text));
      this.change[slot] = state.changes[i]!;
      this.rigid[slot] = state.rigids[i]!;
      this.moved[slot] = state.motions[i]!;
      this.shift[slot] = state.shifts[i]!;
      this.detail[slot] = detailEnergy(this.ring[slot]!);
    });
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

/** A small frame as base64 and back. */
export function smallFrameText(f: SmallFrame): string {
  return Buffer.from(f.buffer, f.byteOffset, f.byteLength).toString('base64');
}

/** A small frame from its Base64 text. */
export function smallFrameOf(text: string): SmallFrame {
  const frame = new Uint16Array(SMALL_LENGTH);
  new Uint8Array(frame.buffer).set(Buffer.from(text, 'base64'));
  return frame;
}
