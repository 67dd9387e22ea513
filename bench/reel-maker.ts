/**
 * Makes test reels with known transitions: shots drawn from given sources, joined by hard cuts, dissolves,
 * fades, wipes and punch-ins, disturbed by flashes, drop-outs, whips, shake, strobing, light switches and
 * letterbox changes. All from a seed. Pictures are full-range-free 8-bit Y'CbCr 4:2:0 planes in one buffer
 * (w·h luma, then two quarter planes), coded values.
 */
import { RandomStream } from '../src/core/random.js';
import { disturb, EFFECT_KINDS, lasting, shownAs, type Effect, type EffectKind } from './reel-disturbances.js';
import { planesOf, render, type Planes, type ReelSource, type Segment } from './reel-picture.js';

export type TransitionKind = 'cut' | 'dissolve' | 'fadeBlack' | 'fadeWhite' | 'wipe' | 'punchIn';

export interface Transition {
  readonly kind: TransitionKind;
  /** First frame that shows the new shot at all, and first frame that shows nothing but it. Equal for a cut. */
  readonly from: number;
  readonly to: number;
}

export interface Disturbance {
  readonly kind: string;
  readonly from: number;
  readonly to: number;
}

export interface Reel {
  readonly width: number;
  readonly height: number;
  readonly frames: Uint8Array[];
  readonly transitions: Transition[];
  readonly disturbances: Disturbance[];
}

export interface ReelOptions {
  readonly seed: number;
  readonly width: number;
  readonly height: number;
  readonly transitions: number;
  /** Share of transitions that are gradual, and whether wipes and punch-ins are drawn too. */
  readonly gradualShare?: number;
  readonly hardKinds?: boolean;
  readonly calm?: boolean;
}

/** The longest that a disturbance lasts, frames; a light and bars stay to the shot's end. */
const LONGEST: Readonly<Record<EffectKind, number>> = {
  flash: 4,
  dropOut: 3,
  whip: 12,
  shake: 20,
  strobe: 18,
  light: 400,
  bars: 400,
  glow: 14,
};

/** Builds a reel. Sources must all have frames of `width` × `height`, both even. */
export function makeReel(sources: readonly ReelSource[], options: ReelOptions): Reel {
  const reel = new ReelMaker(sources, options);
  reel.begin();
  for (let t = 0; t < options.transitions; t++) reel.goOn();
  return reel.answer();
}

class ReelMaker {
  private readonly sources: readonly ReelSource[];
  private readonly options: ReelOptions;
  private readonly w: number;
  private readonly h: number;
  private readonly random: RandomStream;
  private readonly frames: Uint8Array[] = [];
  private readonly transitions: Transition[] = [];
  private readonly disturbances: Disturbance[] = [];
  /** Pictures of the shot that plays and of the one that comes. */
  private readonly a: Planes;
  private readonly b: Planes;
  /** The shot that plays, how many of its frames have been shown, and what disturbs it. */
  private segment: Segment;
  private played = 0;
  private effects: readonly Effect[] = [];

  constructor(sources: readonly ReelSource[], options: ReelOptions) {
    this.sources = sources;
    this.options = options;
    this.w = options.width;
    this.h = options.height;
    this.random = new RandomStream(options.seed, 17);
    this.a = planesOf(this.w, this.h);
    this.b = planesOf(this.w, this.h);
    this.segment = this.makeSegment(null, 24 + this.random.below(40));
  }

  begin(): void {
    this.play(18 + this.random.below(40));
  }

  /** One transition and the shot behind it. */
  goOn(): void {
    const kind = this.drawKind();
    const body = 14 + this.random.below(44);
    const next = this.makeSegment(this.segment.source, 24 + this.random.below(60));
    if (kind === 'punchIn') this.punchIn();
    else if (kind === 'cut') {
      this.transitions.push({ kind, from: this.frames.length, to: this.frames.length });
      this.segment = next;
      this.played = 0;
    } else this.goOver(kind, next);
    this.play(body);
  }

  answer(): Reel {
    const { w: width, h: height, frames, transitions, disturbances } = this;
    return { width, height, frames, transitions, disturbances };
  }

  private drawKind(): TransitionKind {
    const { random, options } = this;
    let kind: TransitionKind = 'cut';
    if (random.uniform() < (options.gradualShare ?? 0.25))
      kind = random.uniform() < 0.6 ? 'dissolve' : random.uniform() < 0.6 ? 'fadeBlack' : 'fadeWhite';
    if (options.hardKinds && random.uniform() < 0.2) kind = random.uniform() < 0.5 ? 'wipe' : 'punchIn';
    return kind;
  }

  /** A source other than the last one, but for once in fifty. */
  private pick(last: ReelSource | null): ReelSource {
    for (;;) {
      const s = this.sources[this.random.below(this.sources.length)]!;
      if (s !== last || this.random.uniform() < 0.02) return s;
    }
  }

  private makeSegment(last: ReelSource | null, length: number): Segment {
    const { random } = this;
    const source = this.pick(last);
    return {
      source,
      start: random.below(Math.max(1, source.frames.length - length)),
      length,
      look: {
        zoom: random.uniform() < 0.5 ? 1 : 1 + 0.5 * random.uniform(),
        flip: random.uniform() < 0.5,
        gain: 0.8 + 0.3 * random.uniform(),
        lift: random.uniform() * 6,
        tintU: (random.uniform() - 0.5) * 10,
        tintV: (random.uniform() - 0.5) * 10,
      },
    };
  }

  /** What disturbs a shot's frames from..to: one thing in under half of the shots that are long enough. */
  private drawEffects(from: number, to: number): Effect[] {
    const { random } = this;
    if (this.options.calm || to - from < 14 || random.uniform() > 0.45) return [];
    const kind = EFFECT_KINDS[random.below(EFFECT_KINDS.length)]!;
    const stays = kind === 'light' || kind === 'bars';
    const longest = Math.max(1, Math.ceil(LONGEST[kind] * (0.3 + 0.7 * random.uniform())));
    const length = Math.min(to - from - 10, longest);
    const at = from + 5 + random.below(Math.max(1, to - from - 10 - (stays ? 0 : length)));
    return [
      { kind, from: at, to: stays ? to : at + length, a: random.uniform(), b: random.uniform(), c: random.uniform() },
    ];
  }

  /** Plays on in the shot at hand. */
  private play(count: number): void {
    const start = this.played;
    this.effects = this.drawEffects(start, start + count);
    for (const e of this.effects)
      this.disturbances.push({
        kind: e.kind,
        from: this.frames.length + e.from - start,
        to: this.frames.length + Math.min(e.to, start + count) - start,
      });
    for (let k = 0; k < count; k++, this.played++) {
      this.draw(this.segment, this.played, this.effects, this.a);
      this.push(this.a, null, 0, 0);
    }
  }

  /** Frame k of a shot as its effects show it. */
  private draw(segment: Segment, k: number, effects: readonly Effect[], into: Planes): void {
    const { w, h, random } = this;
    render(segment, k, w, h, shownAs(effects, k, random), into);
    disturb(effects, k, into, { w, h }, random);
  }

  /** The same set-up, seen closer. */
  private punchIn(): void {
    const { segment, random } = this;
    this.transitions.push({ kind: 'punchIn', from: this.frames.length, to: this.frames.length });
    this.segment = {
      ...segment,
      look: { ...segment.look, zoom: segment.look.zoom * (1.35 + 0.5 * random.uniform()) },
    };
  }

  /** A gradual transition or a wipe; afterwards the next shot plays on where it then is. */
  private goOver(kind: Exclude<TransitionKind, 'cut' | 'punchIn'>, next: Segment): void {
    const { random } = this;
    const carried = lasting(this.effects);
    const length =
      kind === 'wipe' ? 10 + random.below(20) : kind === 'dissolve' ? 8 + random.below(41) : 10 + random.below(30);
    const from = this.frames.length;
    // Drawn for every kind, so that a seed's reels stay what they are.
    const edge = random.uniform();
    const hold = kind === 'fadeBlack' || kind === 'fadeWhite' ? random.below(6) : 0;
    this.played =
      kind === 'dissolve' || kind === 'wipe'
        ? this.mixOver(kind, next, { carried, length, fromLeft: edge < 0.5 })
        : this.fadeOver(next, { carried, length, hold, level: kind === 'fadeWhite' ? 235 : 16 });
    this.segment = next;
    this.transitions.push({ kind, from, to: this.frames.length });
    this.effects = [];
  }

  /** Both shots at once; returns how many frames of the next one were shown. */
  private mixOver(
    kind: 'dissolve' | 'wipe',
    next: Segment,
    { carried, length, fromLeft }: { carried: readonly Effect[]; length: number; fromLeft: boolean },
  ): number {
    for (let k = 0; k < length; k++) {
      this.draw(this.segment, this.played + k, carried, this.a);
      this.draw(next, k, [], this.b);
      const alpha = (k + 1) / (length + 1);
      if (kind === 'dissolve') this.push(this.a, this.b, alpha, 0);
      else {
        wipe(this.a, this.b, { w: this.w, h: this.h }, (across) => (fromLeft ? across : 1 - across) < alpha);
        this.push(this.a, null, 0, 0);
      }
    }
    return length;
  }

  /** Out to a level of luma, held, and in again; returns how many frames of the next shot were shown. */
  private fadeOver(
    next: Segment,
    { carried, length, hold, level }: { carried: readonly Effect[]; length: number; hold: number; level: number },
  ): number {
    const half = Math.max(4, Math.round(length * (0.35 + 0.3 * this.random.uniform())));
    const rest = Math.max(4, length - half);
    for (let k = 0; k < half; k++) {
      this.draw(this.segment, this.played + k, carried, this.a);
      this.push(this.a, null, (k + 1) / half, level);
    }
    for (let k = 0; k < hold; k++) this.push(this.a, null, 1, level);
    for (let k = 0; k < rest; k++) {
      this.draw(next, k, [], this.a);
      this.push(this.a, null, 1 - (k + 1) / (rest + 1), level);
    }
    return rest;
  }

  /** Adds a frame: `a`, of which the share `alpha` is b's, or an even `level` of luma without colour. */
  private push(a: Planes, b: Planes | null, alpha: number, level: number): void {
    const n = this.w * this.h;
    const dst = new Uint8Array(n * 1.5);
    const put = (i: number, v: number): void => {
      dst[i] = v <= 0 ? 0 : v >= 255 ? 255 : v + 0.5;
    };
    for (let i = 0; i < n; i++) put(i, (1 - alpha) * a.y[i]! + alpha * (b ? b.y[i]! : level));
    for (let i = 0; i < n / 4; i++) {
      put(n + i, (1 - alpha) * a.u[i]! + alpha * (b ? b.u[i]! : 128));
      put(n * 1.25 + i, (1 - alpha) * a.v[i]! + alpha * (b ? b.v[i]! : 128));
    }
    this.frames.push(dst);
  }
}

/** Lays b over a, in place, where the wipe has passed. @param passed of a place across the picture, 0..1 */
function wipe(a: Planes, b: Planes, { w, h }: { w: number; h: number }, passed: (across: number) => boolean): void {
  for (let y = 0; y < h; y++) for (let x = 0; x < w; x++) if (passed(x / w)) a.y[y * w + x] = b.y[y * w + x]!;
  for (let y = 0; y < h / 2; y++)
    for (let x = 0; x < w / 2; x++)
      if (passed((2 * x) / w)) {
        a.u[(y * w) / 2 + x] = b.u[(y * w) / 2 + x]!;
        a.v[(y * w) / 2 + x] = b.v[(y * w) / 2 + x]!;
      }
}
