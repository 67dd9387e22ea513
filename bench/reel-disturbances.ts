/**
 * What disturbs the shots of a made reel (bench/reel-maker.ts) without being a transition: flashes, glows, drop-outs,
 * whips, shake, strobing, light switches and letterbox changes. All numbers are the makers' own choice.
 */
import type { RandomStream } from '../src/core/random.js';
import type { Planes } from './reel-picture.js';

export const EFFECT_KINDS = ['flash', 'dropOut', 'whip', 'shake', 'strobe', 'light', 'bars', 'glow'] as const;
export type EffectKind = (typeof EFFECT_KINDS)[number];

/** From a shot's frame to another, exclusive; a, b, c (0..1) draw how it is. */
export interface Effect {
  readonly kind: EffectKind;
  readonly from: number;
  readonly to: number;
  readonly a: number;
  readonly b: number;
  readonly c: number;
}

/** Shift in shares of the picture, horizontal blur in shares of its width, enlargement. */
export interface View {
  shiftX: number;
  shiftY: number;
  blurX: number;
  zoom: number;
}

/** What holds to a shot's end must also last through a dissolve out of it. */
export function lasting(effects: readonly Effect[]): Effect[] {
  return effects
    .filter((e) => e.kind === 'light' || e.kind === 'bars' || e.kind === 'whip')
    .map((e) => (e.kind === 'whip' ? e : { ...e, to: Infinity }));
}

/** How the camera shows frame k: whipped away, shaken. */
export function shownAs(effects: readonly Effect[], k: number, random: RandomStream): View {
  const view: View = { shiftX: 0, shiftY: 0, blurX: 0, zoom: 1 };
  for (const e of effects) {
    if (e.kind === 'whip' && k >= e.from) {
      const p = Math.min(1, (k - e.from) / (e.to - e.from));
      const amount = (0.7 + 0.9 * e.a) * (e.b < 0.5 ? -1 : 1);
      const s = p * p * (3 - 2 * p);
      const before = Math.max(0, (k - 1 - e.from) / (e.to - e.from));
      view.shiftX += s * amount;
      if (p < 1) view.blurX = (s - before * before * (3 - 2 * before)) * amount * 0.6;
    }
    if (e.kind === 'shake' && k >= e.from && k < e.to) {
      view.shiftX += (random.uniform() - 0.5) * (0.05 + 0.15 * e.a);
      view.shiftY += (random.uniform() - 0.5) * (0.05 + 0.15 * e.a);
      view.zoom = 1.1;
    }
  }
  return view;
}

/** Changes the planes (w × h luma) of frame k in place. */
export function disturb(effects: readonly Effect[], k: number, p: Planes, size: Size, random: RandomStream): void {
  for (const e of effects) if (k >= e.from && k < e.to) DISTURB[e.kind]?.(p, e, k, size, random);
}

interface Size {
  readonly w: number;
  readonly h: number;
}

const DISTURB: Partial<
  Readonly<Record<EffectKind, (p: Planes, e: Effect, k: number, size: Size, random: RandomStream) => void>>
> = {
  flash: (p, e, k, size) => brighten(p, e, 1 - (k - e.from) / (e.to - e.from + 1), size),
  glow: (p, e, k, size) => brighten(p, e, Math.sin((Math.PI * (k - e.from + 0.5)) / (e.to - e.from)), size),
  dropOut: (p, e, _k, _size, random) => {
    if (e.a < 0.6) {
      p.y.fill(16);
      p.u.fill(128);
      p.v.fill(128);
    } else for (let i = 0; i < p.y.length; i++) p.y[i] = 60 + 120 * random.uniform();
  },
  strobe: (p, e, k) => {
    if (((k - e.from) >> (e.a < 0.5 ? 0 : 1)) % 2 !== 0) return;
    for (let i = 0; i < p.y.length; i++) p.y[i] = 16 + (p.y[i]! - 16) * (e.b < 0.5 ? 0.25 + 0.3 * e.c : 1.5 + e.c);
  },
  light: (p, e, _k, { w, h }) => {
    const gain = e.b < 0.5 ? 0.35 + 0.4 * e.c : 1.3 + 0.7 * e.c;
    for (let y = 0; y < h; y++)
      for (let x = 0; x < w; x++) p.y[y * w + x] = 16 + (p.y[y * w + x]! - 16) * (gain + (e.a - 0.5) * 0.5 * (x / w));
    for (let i = 0; i < p.u.length; i++) p.v[i] = p.v[i]! + (e.a - 0.5) * 14;
  },
  bars: (p, e, _k, { w, h }) => {
    const bar = Math.round(h * (0.08 + 0.06 * e.a)) & ~1;
    for (let y = 0; y < h; y++) if (y < bar || y >= h - bar) p.y.fill(16, y * w, (y + 1) * w);
    for (let y = 0; y < h / 2; y++)
      if (y < bar / 2 || y >= (h - bar) / 2) {
        p.u.fill(128, (y * w) / 2, ((y + 1) * w) / 2);
        p.v.fill(128, (y * w) / 2, ((y + 1) * w) / 2);
      }
  },
};

/** Towards white, by `share` of the effect's strength: all of the picture in a flash, round a place in a glow. */
function brighten(p: Planes, e: Effect, share: number, { w, h }: Size): void {
  const amount = share * (0.5 + 0.5 * e.a);
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
