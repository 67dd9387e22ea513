/**
 * What the plate's own shadows say: how much of the light is left inside them, per channel. Along a shadow mark (foot
 * to tip on the ground) pixels are taken across the axis; at each place the dark ones at the axis are set against the
 * bright ones beside it, so that the ground's own texture cancels. Dark and bright are parted at Otsu's threshold
 * (Otsu, IEEE Trans. SMC 9, 1979) of log luminance.
 */
import { three } from '../../core/tuples.js';
import type { Picture } from '../../image/picture.js';
import { softened } from './own-shadow.js';

export interface ShadeMeasure {
  /** Linear light left in the shadow as a share of the lit ground, per channel. */
  readonly transmission: readonly [number, number, number];
  /** Robust sd of log2 of it over the places sampled, luminance, in stops. */
  readonly sdStops: number;
  readonly places: number;
  /** Breadth of the shadow in the direction looked along, px. */
  readonly runPx: number;
  /** Linear light of the lit ground beside the shadow, per channel. */
  readonly litLinear: readonly [number, number, number];
  /** Ground of one brightness was seen on both its sides: else it may be another ground that begins there. */
  readonly closed: boolean;
}

/** Places that tell, at least. */
const PLACES = 5;
/** Log2 of light by which ground on the two sides of a shadow may differ (own choice). */
const SIDES = 0.6;

const luma = (r: number, g: number, b: number): number => 0.2126 * r + 0.7152 * g + 0.0722 * b;

/** Median of a list; NaN of none. */
export function medianOf(values: number[]): number {
  const s = [...values].sort((a, b) => a - b);
  const m = s.length >> 1;
  return s.length === 0 ? NaN : s.length % 2 === 1 ? s[m]! : (s[m - 1]! + s[m]!) / 2;
}

/** Threshold that parts a list best in two (largest variance between), and how far apart the two means lie. */
export function otsu(values: readonly number[]): { threshold: number; gap: number } {
  const s = Float64Array.from(values).sort();
  const n = s.length;
  let total = 0;
  for (const v of s) total += v;
  let low = 0,
    best = -1,
    threshold = s[n >> 1] ?? 0,
    gap = 0;
  for (let i = 0; i < n - 1; i++) {
    low += s[i]!;
    const n1 = i + 1,
      n2 = n - n1;
    const m1 = low / n1,
      m2 = (total - low) / n2;
    const between = n1 * n2 * (m2 - m1) * (m2 - m1);
    if (between > best) {
      best = between;
      threshold = (s[i]! + s[i + 1]!) / 2;
      gap = m2 - m1;
    }
  }
  return { threshold, gap };
}

/** What one look across a shadow tells. */
interface PlaceAcross {
  readonly ratio: readonly [number, number, number];
  readonly lit: readonly [number, number, number];
  readonly stops: number;
  readonly runPx: number;
  readonly closed: boolean;
}

/**
 * @param linear scene-linear RGB of the marked frame
 * @param across direction on the picture in which the ground runs across the shadow, unit length, and half the width to
 * look at, px
 * Returns null where no shadow darker than a sixth of a stop is found along the mark.
 */
export function measurePlateShadow(
  linear: Picture,
  foot: readonly [number, number],
  tip: readonly [number, number],
  across: readonly [number, number],
  halfWidthPx: number,
): ShadeMeasure | null {
  const all: PlaceAcross[] = [];
  for (let k = 0; k < 24; k++) {
    const s = 0.3 + (0.6 * k) / 23,
      at = [foot[0] + (tip[0] - foot[0]) * s, foot[1] + (tip[1] - foot[1]) * s] as const,
      place = lookAcross(linear, at, across, halfWidthPx);
    if (place !== null) all.push(place);
  }
  // Where grass meets a path one side is as dark as the border's other side is bright.
  const between = all.filter((p) => p.closed),
    closed = between.length >= PLACES,
    places = closed ? between : all;
  if (places.length < PLACES) return null;
  const clamp = (v: number): number => Math.min(1, Math.max(0.01, v));
  const mid = medianOf(places.map((p) => p.stops));
  if (mid > -0.17) return null;
  const over = (of: (p: PlaceAcross) => number): number => medianOf(places.map(of));
  return {
    transmission: three((c) => clamp(over((p) => p.ratio[c]))),
    sdStops: (1.4826 * over((p) => Math.abs(p.stops - mid))) / Math.sqrt(places.length / 3),
    places: places.length,
    runPx: over((p) => p.runPx),
    litLinear: three((c) => over((p) => p.lit[c])),
    closed,
  };
}

/** The dark run nearest the axis at one place of a shadow, against the bright ground beside it; null where none is. */
function lookAcross(
  { data, width: w, height: h }: Picture,
  [cx, cy]: readonly [number, number],
  across: readonly [number, number],
  halfWidthPx: number,
): PlaceAcross | null {
  const n = w * h;
  const logs: number[] = [],
    at: number[] = [],
    off: number[] = [];
  for (let d = -halfWidthPx; d <= halfWidthPx; d += 0.5) {
    const x = Math.floor(cx + across[0] * d),
      y = Math.floor(cy + across[1] * d);
    if (x < 1 || y < 1 || x >= w - 1 || y >= h - 1) continue;
    const i = y * w + x;
    const l = luma(data[i]!, data[n + i]!, data[2 * n + i]!);
    if (l <= 1e-4) continue;
    logs.push(Math.log2(l));
    at.push(i);
    off.push(d);
  }
  if (logs.length < 12) return null;
  const { threshold, gap } = otsu(logs);
  if (gap < 0.25) return null;
  // The shadow is the dark run nearest the axis; the run must be bright on both sides of it, or it is no shadow of an
  // upright.
  let axis = -1;
  for (let j = 0; j < logs.length; j++)
    if (logs[j]! < threshold && (axis < 0 || Math.abs(off[j]!) < Math.abs(off[axis]!))) axis = j;
  if (axis < 0 || Math.abs(off[axis]!) > 0.35 * halfWidthPx) return null;
  let a = axis,
    b = axis;
  while (a > 0 && logs[a - 1]! < threshold) a--;
  while (b < logs.length - 1 && logs[b + 1]! < threshold) b++;
  // A run that goes on beyond what is looked at on both sides has no lit ground beside it.
  if (a === 0 && b === logs.length - 1) return null;
  const soft = Math.max(1, Math.round(0.2 * (b - a + 1)));
  const dark = at.slice(a + soft, b + 1 - soft),
    before = [Math.max(0, a - 2 * soft - 16), Math.max(0, a - soft)] as const,
    behind = [b + 1 + soft, b + 1 + 2 * soft + 16] as const,
    bright = [...at.slice(...before), ...at.slice(...behind)];
  if (dark.length < 3 || bright.length < 6) return null;
  const middle = (c: number, of: readonly number[]): number => medianOf(of.map((i) => data[c * n + i]!)),
    lit = three((c) => middle(c, bright)),
    ratio = three((c) => middle(c, dark) / Math.max(1e-4, lit[c])),
    sides = [medianOf(logs.slice(...before)), medianOf(logs.slice(...behind))] as const;
  return {
    ratio,
    lit,
    stops: Math.log2(Math.max(1e-3, luma(...ratio))),
    runPx: (b - a + 1) / 2,
    // Not a number where the run ends at the end of what is looked at.
    closed: Math.abs(sides[0] - sides[1]) < SIDES,
  };
}

/**
 * Lit ground beside a foot point: median of the bright part of a patch below and beside it, over a picture smoothed as
 * own-shadow.ts will read it, and the sd of ln luminance there (from the middle half, as of a normal); `at`: all pixels
 * of the patch, shadows too.
 */
export function measureLitGround(
  linear: Picture,
  foot: readonly [number, number],
  spanPx: number,
  radius: number,
): { linear: [number, number, number]; spread: number; at: readonly number[] } | null {
  const { width: w, height: h } = linear;
  const n = w * h;
  const { data } = softened(linear, radius);
  const index: number[] = [],
    logs: number[] = [];
  for (let dy = -0.1 * spanPx; dy <= 0.45 * spanPx; dy += 1) {
    for (let dx = -1.2 * spanPx; dx <= 1.2 * spanPx; dx += 2) {
      // The side on which the shadow will fall may hold other shadows too; it does not matter, Otsu takes the bright
      // part.
      const x = Math.floor(foot[0] + dx),
        y = Math.floor(foot[1] + dy);
      if (x < 0 || y < 0 || x >= w || y >= h) continue;
      const i = y * w + x;
      const l = luma(data[i]!, data[n + i]!, data[2 * n + i]!);
      if (l > 1e-4) {
        index.push(i);
        logs.push(Math.log2(l));
      }
    }
  }
  if (index.length < 30) return null;
  const { threshold, gap } = otsu(logs);
  const lit = gap > 0.8 ? index.filter((_, k) => logs[k]! > threshold) : index;
  const sorted = lit.map((i) => Math.log(luma(data[i]!, data[n + i]!, data[2 * n + i]!))).sort((p, q) => p - q);
  return {
    linear: [0, 1, 2].map((c) => medianOf(lit.map((i) => data[c * n + i]!))) as [number, number, number],
    spread: (sorted[Math.floor(0.75 * sorted.length)]! - sorted[Math.floor(0.25 * sorted.length)]!) / 1.349,
    at: index,
  };
}
