/** Regions of one moment that differ from the set and are as tall and narrow as a person. */
import { connectedComponents } from '../../image/components.js';
import { close, open } from '../../image/morphology.js';
import type { Picture } from '../../image/picture.js';
import { apply, invert, type Mat3 } from '../../geometry/mat3.js';

export interface PersonLike {
  readonly foot: readonly [number, number];
  readonly top: readonly [number, number];
  readonly score: number;
}
/** Another moment of the shot: its picture and the map from its pixels to those of the frame looked at. */
export interface Moment {
  readonly picture: Picture;
  readonly toFrame: Mat3;
}

/** Moments that must show a place before the set is told there. */
export const LEAST_SEEN = 5;
/** Coded difference from the set that is no noise; and in robust sds of the frame's own. */
const LEAST_DIFFERENCE = 0.06;
const NOISE_SDS = 6;
const LEAST_HEIGHT = 0.15;
const TALL: readonly [number, number] = [1.5, 5.5];
const LEAST_FILL = 0.3;
const MOST_PEOPLE = 4;

/** Do half of two pictures show the same? */
export function alike(a: Picture, b: Picture): boolean {
  const n = a.width * a.height;
  let same = 0;
  let count = 0;
  for (let i = 0; i < n; i += 5) {
    count++;
    if (Math.abs(a.data[n + i]! - b.data[n + i]!) < LEAST_DIFFERENCE) same++;
  }
  return same > 0.5 * count;
}

/**
 * Middle of the shortest run of a third (three at least) of rising values: people
 * differ from each other, the set comes back the same.
 */
function densest(sorted: Float32Array): number {
  const k = Math.max(3, Math.ceil(sorted.length / 3));
  let at = 0;
  let least = Infinity;
  for (let i = 0; i + k <= sorted.length; i++) {
    const span = sorted[i + k - 1]! - sorted[i]!;
    if (span < least) {
      least = span;
      at = i;
    }
  }
  return sorted[at + (k >> 1)]!;
}

/** @param frame display-coded RGB @param moments of the same size */
export function peopleIn(frame: Picture, moments: readonly Moment[]): PersonLike[] {
  const { width: w, height: h } = frame;
  const n = w * h;
  const set = new Float32Array(3 * n);
  const seen = new Uint8Array(n);
  const values = [new Float32Array(moments.length), new Float32Array(moments.length), new Float32Array(moments.length)];
  const backs = moments.map((m) => invert(m.toFrame));
  for (let y = 0, i = 0; y < h; y++)
    for (let x = 0; x < w; x++, i++) {
      let k = 0;
      for (let j = 0; j < moments.length; j++) {
        const [u, v] = apply(backs[j]!, x + 0.5, y + 0.5);
        const a = u - 0.5;
        const b = v - 0.5;
        if (!(a >= 0 && b >= 0 && a < w - 1 && b < h - 1)) continue;
        const xi = a | 0;
        const yi = b | 0;
        const s = a - xi;
        const t = b - yi;
        const d = moments[j]!.picture.data;
        for (let c = 0; c < 3; c++) {
          const o = c * n + yi * w + xi;
          values[c]![k] = (1 - t) * ((1 - s) * d[o]! + s * d[o + 1]!) + t * ((1 - s) * d[o + w]! + s * d[o + w + 1]!);
        }
        k++;
      }
      if (k < LEAST_SEEN) continue;
      seen[i] = 1;
      for (let c = 0; c < 3; c++) set[c * n + i] = densest(values[c]!.subarray(0, k).sort());
    }
  // The nearest value of the set within a pixel: a map that is half a pixel off shows no edges.
  const difference = new Float32Array(n);
  for (let y = 1; y < h - 1; y++)
    for (let x = 1; x < w - 1; x++) {
      const i = y * w + x;
      if (seen[i] === 0) continue;
      let most = 0;
      for (let c = 0; c < 3; c++) {
        const v = frame.data[c * n + i]!;
        let low = Infinity;
        let high = -Infinity;
        for (let dy = -1; dy <= 1; dy++)
          for (let dx = -1; dx <= 1; dx++) {
            const q = set[c * n + i + dy * w + dx]!;
            if (q < low) low = q;
            if (q > high) high = q;
          }
        most = Math.max(most, low - v, v - high);
      }
      difference[i] = most;
    }
  const sorted = difference.filter((_, i) => seen[i] === 1 && (i & 3) === 0).sort();
  const threshold = Math.max(LEAST_DIFFERENCE, NOISE_SDS * 1.48 * (sorted[sorted.length >> 1] ?? 0));
  const r = Math.max(1, Math.round(0.006 * w));
  const moving = close(
    open(
      difference.map((v) => (v > threshold ? 1 : 0)),
      w,
      h,
      1,
    ),
    w,
    h,
    r,
    2 * r,
  );
  const c = connectedComponents(moving, w, h, 8);
  const out: PersonLike[] = [];
  for (const p of c.components) {
    const bh = p.y1 - p.y0;
    if (bh < LEAST_HEIGHT * h || p.x0 <= 1 || p.x1 >= w - 1 || p.y0 <= 1 || p.y1 >= h - 1) continue;
    const person = shapeOf(c.labels, p.label, w, p);
    if (person !== null) out.push(person);
  }
  return out.sort((a, b) => b.score - a.score).slice(0, MOST_PEOPLE);
}

/** What a row of a region holds: how many pixels, their mean place, and from where to where. */
interface Row {
  readonly count: number;
  readonly mean: number;
  readonly left: number;
  readonly right: number;
}

interface Bounds {
  readonly x0: number;
  readonly y0: number;
  readonly x1: number;
  readonly y1: number;
}

/** Foot and top of a region that is as tall and narrow as a person; a shadow that runs out aside is left out. */
function shapeOf(labels: ArrayLike<number>, label: number, w: number, p: Bounds): PersonLike | null {
  const trunkSides = sidesOfTrunk(labels, label, w, p);
  if (trunkSides === null) return null;
  const [left, right] = trunkSides;
  const wide = right - left;
  const from = Math.max(p.x0, Math.round(left - 0.35 * wide));
  const to = Math.min(p.x1, Math.round(right + 0.35 * wide));
  const rows: Row[] = [];
  for (let y = p.y0; y < p.y1; y++) rows.push(rowOf(labels, label, y * w, from, to));
  const area = rows.reduce((s, q) => s + q.count, 0);
  const widest = rows.reduce((s, q) => Math.max(s, q.right - q.left), 0);
  const least = Math.max(1, 0.12 * wide);
  const top = rows.findIndex((q) => q.count >= least);
  let foot = rows.length - 1;
  while (foot > 0 && rows[foot]!.count < least) foot--;
  const tall = foot + 1 - top;
  if (top < 0 || !(tall / Math.max(1, widest) >= TALL[0] && tall / Math.max(1, widest) <= TALL[1])) return null;
  const fill = area / (tall * widest);
  if (fill < LEAST_FILL) return null;
  // A head (or a hat) is no wider than what is under it.
  const head = meanWidth(rows, top, tall, 0.01, 0.1);
  const trunk = meanWidth(rows, top, tall, 0.2, 0.5);
  if (!(trunk > 0) || head > 1.1 * trunk) return null;
  const slice = Math.max(1, Math.round(0.08 * tall));
  const footX = meanPlace(rows.slice(foot + 1 - slice, foot + 1));
  const topX = meanPlace(rows.slice(top, top + slice));
  // Somebody who leans more than 12° is no upright.
  if (Math.abs(footX - topX) > 0.21 * tall) return null;
  return {
    foot: [footX, p.y0 + foot + 1],
    top: [topX, p.y0 + top],
    score: Math.min(1, fill) * Math.max(0.3, Math.min(1, 1.5 * (1 - head / trunk) + 0.4)),
  };
}

function rowOf(labels: ArrayLike<number>, label: number, offset: number, from: number, to: number): Row {
  let count = 0;
  let sum = 0;
  let left = -1;
  let right = -1;
  for (let x = from; x < to; x++)
    if (labels[offset + x] === label) {
      count++;
      sum += x + 0.5;
      if (left < 0) left = x;
      right = x + 1;
    }
  return { count, mean: sum / Math.max(1, count), left, right };
}

/** Where the middle rows lie, from left to right; null where there are too few. */
function sidesOfTrunk(labels: ArrayLike<number>, label: number, w: number, p: Bounds): [number, number] | null {
  const tall = p.y1 - p.y0;
  const rows: Row[] = [];
  for (let y = p.y0 + Math.round(0.2 * tall); y < p.y0 + 0.6 * tall; y++) {
    const q = rowOf(labels, label, y * w, p.x0, p.x1);
    if (q.count > 0) rows.push(q);
  }
  if (rows.length < 4) return null;
  const middle = (v: number[]): number => v.sort((a, b) => a - b)[v.length >> 1]!;
  return [middle(rows.map((q) => q.left)), middle(rows.map((q) => q.right))];
}

/** Mean width of the rows from one share of the height to another, below `top`. */
function meanWidth(rows: readonly Row[], top: number, tall: number, from: number, to: number): number {
  const first = top + Math.floor(from * tall);
  const widths = rows.slice(first, Math.max(first + 1, top + Math.ceil(to * tall))).map((q) => q.right - q.left);
  return widths.reduce((s, v) => s + v, 0) / widths.length;
}

function meanPlace(rows: readonly Row[]): number {
  let sum = 0;
  let count = 0;
  for (const q of rows) {
    sum += q.mean * q.count;
    count += q.count;
  }
  return sum / Math.max(1, count);
}
