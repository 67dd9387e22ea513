/**
 * Two key lights on one head: where a second directional light explains the shading better by far than one can, both are told
 * and the stronger is the key. What one light alone makes of two is their sum, 15° and more off. The shading's kinks, where each light ends, tell them
 * apart (Y. Zhang & Y.-H. Yang, *Multiple Illuminant Direction Detection with Application to Image Synthesis*, IEEE PAMI 23, 2001);
 * here by search over pairs of directions with a robust fit (light-fit-keys.ts) rather than by finding the kinks themselves.
 * Lights far behind the head are no second key: they show as a rim.
 */
import { fitKeys, type Direction, type KeysFit, type ShadedSamples } from './light-fit-keys.js';

export interface TwoKeys {
  readonly key: Direction;
  readonly second: Direction;
  /** Ambient and its slope up, strength of key and second. */
  readonly ambient: readonly [number, number];
  readonly keyStrength: number;
  readonly secondStrength: number;
}

/** What a second light must take off the cost of a sample (at most about 1), and its least share of the first: chosen on made heads, of which one lamp passes both on few; an uneven sky reads as a second light of .2 to .25 (two faces in sun). */
const GAIN = 0.08, SHARE = 0.3;
/** Cosine between two lights that are still two: 40°. */
const NEARER = 0.77;
/** A second light shines on what is seen: its cosine with the sight line at least this; the first may stand 15° further round. */
const BEHIND = -0.25, BEHIND_FIRST = -0.5;
const LOWEST = -0.4;

interface Pair extends KeysFit { readonly l1: Direction; readonly l2: Direction | null }

const dot = (a: Direction, b: Direction): number => a[0] * b[0] + a[1] * b[1] + a[2] * b[2];
const unit = (x: number, y: number, z: number): Direction => { const n = Math.hypot(x, y, z); return [x / n, y / n, z / n]; };

/** Points of a Fibonacci sphere, but for those far below. */
function directions(n: number): Direction[] {
  const out: Direction[] = [];
  for (let i = 0; i < n; i++) {
    const y = 1 - (2 * (i + 0.5)) / n, r = Math.sqrt(1 - y * y), a = i * 2.399963229728653;
    if (y >= -0.35) out.push([r * Math.cos(a), y, r * Math.sin(a)]);
  }
  return out;
}

/** Two keys, or null where one light does. `eye`: from the head to the camera. */
export function twoKeys(s: ShadedSamples, eye: Direction): TwoKeys | null {
  const ones = firstLights(s), one = ones[0]!;
  let best: Pair | null = null;
  const grid = directions(150).filter((d) => dot(d, eye) >= BEHIND);
  for (const f of ones) {
    if (dot(f.l1, eye) < BEHIND_FIRST) continue;
    const tried: Pair[] = grid.filter((d) => dot(d, f.l1) <= NEARER).map((l2) => ({ l1: f.l1, l2, ...fitKeys(s, f.l1, l2, 4, [f.w[0]!, f.w[1]!, f.w[2]!, 0.2 * f.w[2]!]) }));
    for (const t of tried.sort((a, b) => a.cost - b.cost).slice(0, 2)) {
      const r = refine(s, t, eye);
      if (best === null || r.cost < best.cost) best = r;
    }
  }
  if (best === null || one.cost - best.cost < GAIN * s.count) return null;
  const [a, b, k1, k2] = best.w as unknown as [number, number, number, number];
  if (Math.min(k1, k2) < SHARE * Math.max(k1, k2)) return null;
  const swap = k2 > k1;
  return { key: swap ? best.l2! : best.l1, second: swap ? best.l1 : best.l2!, ambient: [a, b], keyStrength: Math.max(k1, k2), secondStrength: Math.min(k1, k2) };
}

/** The three best single lights that are not neighbours, best first. */
function firstLights(s: ShadedSamples): Pair[] {
  const tried: Pair[] = directions(420).map((l1) => ({ l1, l2: null, ...fitKeys(s, l1, null, 6, null) }));
  const out: Pair[] = [];
  for (const t of tried.sort((a, b) => a.cost - b.cost)) {
    if (out.length === 3) break;
    if (out.every((o) => dot(o.l1, t.l1) < 0.95)) out.push(t);
  }
  return out.map((f) => refine(s, f, null)).sort((a, b) => a.cost - b.cost);
}

/** Pattern search of one or both directions with halving steps, from 6° to less than half of one. With `eye`, two lights stay in front and apart. */
function refine(s: ShadedSamples, from: Pair, eye: Direction | null): Pair {
  let now: Pair = { ...from, ...fitKeys(s, from.l1, from.l2, 10, from.w) };
  const better = (which: 0 | 1, step: number): boolean => {
    const d = which === 0 ? now.l1 : now.l2!, other = which === 0 ? now.l2 : now.l1;
    const o: Direction = Math.abs(d[1]) < 0.9 ? [0, 1, 0] : [1, 0, 0];
    const t = unit(d[1] * o[2] - d[2] * o[1], d[2] * o[0] - d[0] * o[2], d[0] * o[1] - d[1] * o[0]);
    const v: Direction = [d[1] * t[2] - d[2] * t[1], d[2] * t[0] - d[0] * t[2], d[0] * t[1] - d[1] * t[0]];
    for (const [p, q] of [[step, 0], [-step, 0], [0, step], [0, -step]] as const) {
      const l = unit(d[0] + p * t[0] + q * v[0], d[1] + p * t[1] + q * v[1], d[2] + p * t[2] + q * v[2]);
      if (l[1] < LOWEST || (eye !== null && (dot(l, eye) < (which === 0 ? BEHIND_FIRST : BEHIND) || (other !== null && dot(l, other) > NEARER)))) continue;
      const l1 = which === 0 ? l : now.l1, l2 = which === 0 ? now.l2 : l;
      const r = fitKeys(s, l1, l2, 5, now.w);
      if (r.cost < now.cost - 1e-9) { now = { l1, l2, ...r }; return true; }
    }
    return false;
  };
  for (let step = 0.105; step > 0.006; step /= 2) {
    for (let guard = 0; guard < 12; guard++) {
      const first = better(0, step), second = now.l2 !== null && better(1, step);
      if (!first && !second) break;
    }
  }
  return now;
}
