/**
 * Makes test reels with known transitions: shots drawn from given sources, joined by hard cuts, dissolves,
 * fades, wipes and punch-ins, disturbed by flashes, drop-outs, whips, shake, strobing, light switches and
 * letterbox changes. All from a seed. Pictures are full-range-free 8-bit Y'CbCr 4:2:0 planes in one buffer
 * (w·h luma, then two quarter planes), coded values.
 */
import { RandomStream } from '../src/core/random.js';
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

type Effect = { kind: string; from: number; to: number; a: number; b: number; c: number };

/** Builds a reel. Sources must all have frames of `width` × `height`, both even. */
export function makeReel(sources: readonly ReelSource[], options: ReelOptions): Reel {
  const { width: w, height: h } = options;
  const rng = new RandomStream(options.seed, 17);
  const frames: Uint8Array[] = [];
  const transitions: Transition[] = [];
  const disturbances: Disturbance[] = [];
  const pick = (last: ReelSource | null): ReelSource => {
    for (;;) {
      const s = sources[rng.below(sources.length)]!;
      if (s !== last || rng.uniform() < 0.02) return s;
    }
  };
  const makeSegment = (last: ReelSource | null, length: number): Segment => {
    const source = pick(last);
    return {
      source,
      start: rng.below(Math.max(1, source.frames.length - length)),
      length,
      look: {
        zoom: rng.uniform() < 0.5 ? 1 : 1 + 0.5 * rng.uniform(),
        flip: rng.uniform() < 0.5,
        gain: 0.8 + 0.3 * rng.uniform(),
        lift: rng.uniform() * 6,
        tintU: (rng.uniform() - 0.5) * 10,
        tintV: (rng.uniform() - 0.5) * 10,
      },
    };
  };
  const effectsFor = (from: number, to: number): Effect[] => {
    const list: Effect[] = [];
    if (options.calm || to - from < 14 || rng.uniform() > 0.45) return list;
    const kinds = ['flash', 'dropOut', 'whip', 'shake', 'strobe', 'light', 'bars', 'glow'];
    const kind = kinds[rng.below(kinds.length)]!;
    const longest: Record<string, number> = {
      flash: 4,
      dropOut: 3,
      whip: 12,
      shake: 20,
      strobe: 18,
      light: 400,
      bars: 400,
      glow: 14,
    };
    const len = Math.min(to - from - 10, Math.max(1, Math.ceil(longest[kind]! * (0.3 + 0.7 * rng.uniform()))));
    const at = from + 5 + rng.below(Math.max(1, to - from - 10 - (kind === 'light' || kind === 'bars' ? 0 : len)));
    const end = kind === 'light' || kind === 'bars' ? to : at + len;
    list.push({ kind, from: at, to: end, a: rng.uniform(), b: rng.uniform(), c: rng.uniform() });
    return list;
  };
  const A = planesOf(w, h);
  const B = planesOf(w, h);
  const jitter = { shiftX: 0, shiftY: 0, blurX: 0, zoom: 1 };
  const viewFor = (effects: readonly Effect[], k: number): typeof jitter => {
    jitter.shiftX = 0;
    jitter.shiftY = 0;
    jitter.blurX = 0;
    jitter.zoom = 1;
    for (const e of effects) {
      if (e.kind === 'whip' && k >= e.from) {
        const p = Math.min(1, (k - e.from) / (e.to - e.from));
        const amount = (0.7 + 0.9 * e.a) * (e.b < 0.5 ? -1 : 1);
        const s = p * p * (3 - 2 * p);
        const before = Math.max(0, (k - 1 - e.from) / (e.to - e.from));
        jitter.shiftX += s * amount;
        if (p < 1) jitter.blurX = (s - before * before * (3 - 2 * before)) * amount * 0.6;
      }
      if (e.kind === 'shake' && k >= e.from && k < e.to) {
        jitter.shiftX += (rng.uniform() - 0.5) * (0.05 + 0.15 * e.a);
        jitter.shiftY += (rng.uniform() - 0.5) * (0.05 + 0.15 * e.a);
        jitter.zoom = 1.1;
      }
    }
    return jitter;
  };
  const disturb = (effects: readonly Effect[], k: number, p: Planes): void => {
    for (const e of effects) {
      if (k < e.from || k >= e.to) continue;
      if (e.kind === 'flash' || e.kind === 'glow') {
        const fall =
          e.kind === 'flash'
            ? 1 - (k - e.from) / (e.to - e.from + 1)
            : Math.sin((Math.PI * (k - e.from + 0.5)) / (e.to - e.from));
        const amount = fall * (0.5 + 0.5 * e.a);
        const cx = e.b * w;
        const cy = e.c * h;
        for (let y = 0; y < h; y++)
          for (let x = 0; x < w; x++) {
            const i = y * w + x;
            const r = e.kind === 'flash' ? 1 : Math.exp(-((x - cx) ** 2 + (y - cy) ** 2) / (0.18 * w * w));
            p.y[i] = p.y[i]! + (245 - p.y[i]!) * Math.min(1, amount * r * 1.1);
          }
        for (let i = 0; i < p.u.length; i++) {
          p.u[i] = 128 + (p.u[i]! - 128) * (1 - amount);
          p.v[i] = 128 + (p.v[i]! - 128) * (1 - amount);
        }
      }
      if (e.kind === 'dropOut') {
        if (e.a < 0.6) {
          p.y.fill(16);
          p.u.fill(128);
          p.v.fill(128);
        } else for (let i = 0; i < p.y.length; i++) p.y[i] = 60 + 120 * rng.uniform();
      }
      if (e.kind === 'strobe' && ((k - e.from) >> (e.a < 0.5 ? 0 : 1)) % 2 === 0) {
        for (let i = 0; i < p.y.length; i++) p.y[i] = 16 + (p.y[i]! - 16) * (e.b < 0.5 ? 0.25 + 0.3 * e.c : 1.5 + e.c);
      }
      if (e.kind === 'light') {
        const g = e.b < 0.5 ? 0.35 + 0.4 * e.c : 1.3 + 0.7 * e.c;
        for (let y = 0; y < h; y++)
          for (let x = 0; x < w; x++) p.y[y * w + x] = 16 + (p.y[y * w + x]! - 16) * (g + (e.a - 0.5) * 0.5 * (x / w));
        for (let i = 0; i < p.u.length; i++) p.v[i] = p.v[i]! + (e.a - 0.5) * 14;
      }
      if (e.kind === 'bars') {
        const bar = Math.round(h * (0.08 + 0.06 * e.a)) & ~1;
        for (let y = 0; y < h; y++) if (y < bar || y >= h - bar) p.y.fill(16, y * w, (y + 1) * w);
        for (let y = 0; y < h / 2; y++)
          if (y < bar / 2 || y >= (h - bar) / 2) {
            p.u.fill(128, (y * w) / 2, ((y + 1) * w) / 2);
            p.v.fill(128, (y * w) / 2, ((y + 1) * w) / 2);
          }
      }
    }
  };
  const mix = (a: Planes, b: Planes | null, alpha: number, level: number, dst: Uint8Array): void => {
    const put = (i: number, v: number): void => {
      dst[i] = v <= 0 ? 0 : v >= 255 ? 255 : v + 0.5;
    };
    const n = a.y.length;
    for (let i = 0; i < n; i++) put(i, (1 - alpha) * a.y[i]! + alpha * (b ? b.y[i]! : level));
    for (let i = 0; i < n / 4; i++) {
      put(n + i, (1 - alpha) * a.u[i]! + alpha * (b ? b.u[i]! : 128));
      put(n * 1.25 + i, (1 - alpha) * a.v[i]! + alpha * (b ? b.v[i]! : 128));
    }
  };
  let segment = makeSegment(null, 24 + rng.below(40));
  let played = 0;
  let effects: Effect[] = [];
  const push = (fill: (dst: Uint8Array) => void): void => {
    const f = new Uint8Array(w * h * 1.5);
    fill(f);
    frames.push(f);
  };
  const play = (count: number): void => {
    const start = played;
    effects = effectsFor(start, start + count);
    for (const e of effects)
      disturbances.push({
        kind: e.kind,
        from: frames.length + e.from - start,
        to: frames.length + Math.min(e.to, start + count) - start,
      });
    for (let k = 0; k < count; k++, played++) {
      render(segment, played, w, h, viewFor(effects, played), A);
      disturb(effects, played, A);
      push((dst) => mix(A, null, 0, 0, dst));
    }
    // What lasts to the shot's end (a light, bars, a shifted view) must also last through a dissolve out of it.
  };
  play(18 + rng.below(40));
  for (let t = 0; t < options.transitions; t++) {
    const gradual = rng.uniform() < (options.gradualShare ?? 0.25);
    let kind: TransitionKind = gradual
      ? rng.uniform() < 0.6
        ? 'dissolve'
        : rng.uniform() < 0.6
          ? 'fadeBlack'
          : 'fadeWhite'
      : 'cut';
    if (options.hardKinds && rng.uniform() < 0.2) kind = rng.uniform() < 0.5 ? 'wipe' : 'punchIn';
    const body = 14 + rng.below(44);
    const lasting = effects.filter((e) => e.kind === 'light' || e.kind === 'bars' || e.kind === 'whip');
    const carried = lasting.map((e) => (e.kind === 'whip' ? e : { ...e, to: Infinity }));
    let next = makeSegment(segment.source, 24 + rng.below(60));
    if (kind === 'punchIn') {
      const still = { shiftX: 0, shiftY: 0, blurX: 0, zoom: 1 };
      void still;
      next = {
        ...segment,
        start: segment.start,
        look: { ...segment.look, zoom: segment.look.zoom * (1.35 + 0.5 * rng.uniform()) },
      };
      transitions.push({ kind, from: frames.length, to: frames.length });
      const keep = played;
      segment = next;
      played = keep;
      play(body);
      continue;
    }
    if (kind === 'cut') {
      transitions.push({ kind, from: frames.length, to: frames.length });
    } else {
      const length =
        kind === 'wipe' ? 10 + rng.below(20) : kind === 'dissolve' ? 8 + rng.below(41) : 10 + rng.below(30);
      const from = frames.length;
      const edge = rng.uniform();
      const hold = kind === 'fadeBlack' || kind === 'fadeWhite' ? rng.below(6) : 0;
      const level = kind === 'fadeWhite' ? 235 : 16;
      if (kind === 'dissolve' || kind === 'wipe') {
        for (let k = 0; k < length; k++) {
          render(segment, played + k, w, h, viewFor(carried, played + k), A);
          disturb(carried, played + k, A);
          render(next, k, w, h, viewFor([], k), B);
          const alpha = (k + 1) / (length + 1);
          if (kind === 'dissolve') push((dst) => mix(A, B, alpha, 0, dst));
          else {
            for (let y = 0; y < h; y++)
              for (let x = 0; x < w; x++)
                if ((edge < 0.5 ? x / w : 1 - x / w) < alpha) A.y[y * w + x] = B.y[y * w + x]!;
            for (let y = 0; y < h / 2; y++)
              for (let x = 0; x < w / 2; x++)
                if ((edge < 0.5 ? (2 * x) / w : 1 - (2 * x) / w) < alpha) {
                  A.u[(y * w) / 2 + x] = B.u[(y * w) / 2 + x]!;
                  A.v[(y * w) / 2 + x] = B.v[(y * w) / 2 + x]!;
                }
            push((dst) => mix(A, null, 0, 0, dst));
          }
        }
        segment = next;
        played = length;
      } else {
        const half = Math.max(4, Math.round(length * (0.35 + 0.3 * rng.uniform())));
        const rest = Math.max(4, length - half);
        for (let k = 0; k < half; k++) {
          render(segment, played + k, w, h, viewFor(carried, played + k), A);
          disturb(carried, played + k, A);
          push((dst) => mix(A, null, (k + 1) / half, level, dst));
        }
        for (let k = 0; k < hold; k++) push((dst) => mix(A, null, 1, level, dst));
        for (let k = 0; k < rest; k++) {
          render(next, k, w, h, viewFor([], k), A);
          push((dst) => mix(A, null, 1 - (k + 1) / (rest + 1), level, dst));
        }
        segment = next;
        played = rest;
      }
      transitions.push({ kind, from, to: frames.length });
      effects = [];
      play(body);
      continue;
    }
    segment = next;
    played = 0;
    play(body);
  }
  return { width: w, height: h, frames, transitions, disturbances };
}
