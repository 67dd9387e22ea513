/**
 * The set as other frames show it: every pixel about what was erased, looked up through the set's motion in those
 * frames of the plate as filmed that are free of the erased thing there, each brought to the frame's own exposure;
 * their median. A thing that moves over the set, and its shadow, is in the minority at any place of it, so the median
 * is the bare set (a temporal median as background model: e.g. Cucchiara et al., PAMI 25, 2003).
 */
import { invert, multiply, rescale, type Mat3 } from '../../geometry/mat3.js';
import type { Carrier } from '../../join/ride/carrier.js';
import { median } from '../../image/statistics.js';
import type { RemainsFrame } from './remains-frame.js';

/** Frames that the set is looked up in at most, and least of them at a place. */
const MOST = 9,
  LEAST = 3;
/**
 * Where the middle half of what they show lies farther apart (ln of light), what stands in depth or stirs decides, and
 * nothing is told.
 */
const AGREE = 0.12;

export interface SetBehind {
  /** x0, y0 inclusive, x1, y1 exclusive, reduced px. */
  readonly box: readonly [number, number, number, number];
  /** ln of light of the set over the box; NaN where too few frames show it. */
  readonly light: Float32Array;
}

/** From pixels of frame `a` to those of `b`, reduced. */
export function between(carrier: Carrier, a: RemainsFrame, b: RemainsFrame): Mat3 {
  return rescale(multiply(carrier.at(b.frame), invert(carrier.at(a.frame))), 1 / a.scale);
}

/** Visits each pixel of a box with its place in another frame, px with centres at .5. */
export function eachPlace(
  m: Mat3,
  box: readonly [number, number, number, number],
  step: number,
  visit: (x: number, y: number, u: number, v: number) => void,
): void {
  for (let y = box[1]; y < box[3]; y += step)
    for (let x = box[0]; x < box[2]; x += step) {
      const X = x + 0.5,
        Y = y + 0.5,
        w = m[6] * X + m[7] * Y + m[8];
      visit(x, y, (m[0] * X + m[1] * Y + m[2]) / w, (m[3] * X + m[4] * Y + m[5]) / w);
    }
}

/** Bilinear; NaN outside the picture. */
export function lightAt(p: Float32Array, w: number, h: number, u: number, v: number): number {
  const x = u - 0.5,
    y = v - 0.5,
    i = Math.floor(x),
    j = Math.floor(y);
  if (!(i >= 0) || !(j >= 0) || i >= w - 1 || j >= h - 1) return NaN;
  const a = x - i,
    b = y - j,
    q = j * w + i;
  return (1 - b) * ((1 - a) * p[q]! + a * p[q + 1]!) + b * ((1 - a) * p[q + w]! + a * p[q + w + 1]!);
}

/**
 * `hides`: 1 where a frame shows what goes; `near`: where its shadow may lie. A plane a frame. Null where no other
 * frame tells.
 */
export function setBehind(
  frames: readonly RemainsFrame[],
  hides: readonly Uint8Array[],
  near: readonly Uint8Array[],
  k: number,
  box: readonly [number, number, number, number],
  carrier: Carrier,
): SetBehind | null {
  const f = frames[k]!,
    { width: w, height: h } = f,
    bw = box[2] - box[0],
    bh = box[3] - box[1];
  const ranked = frames
    .map((g, q) => {
      if (q === k) return { q, shown: -1 };
      let shown = 0;
      eachPlace(between(carrier, f, g), box, 3, (x, y, u, v) => {
        const i = Math.floor(u),
          j = Math.floor(v);
        if (f.erased[y * w + x] === 1 && i >= 0 && j >= 0 && i < w && j < h && hides[q]![j * w + i] === 0) shown++;
      });
      return { q, shown };
    })
    .filter((r) => r.shown >= 0)
    .sort((a, b) => b.shown - a.shown || Math.abs(a.q - k) - Math.abs(b.q - k))
    .slice(0, MOST);
  const samples = new Float32Array(bw * bh * MOST),
    count = new Uint8Array(bw * bh);
  for (const { q } of ranked) {
    const g = frames[q]!,
      m = between(carrier, f, g),
      found = new Float32Array(bw * bh).fill(NaN),
      apart: number[] = [];
    eachPlace(m, box, 1, (x, y, u, v) => {
      const i = Math.floor(u),
        j = Math.floor(v);
      if (!(i >= 0 && j >= 0 && i < w && j < h) || hides[q]![j * w + i] === 1) return;
      const there = lightAt(g.filmed, w, h, u, v);
      found[(y - box[1]) * bw + x - box[0]] = there;
      if (near[k]![y * w + x] === 0 && (x + y) % 5 === 0 && Number.isFinite(there))
        apart.push(f.filmed[y * w + x]! - there);
    });
    if (apart.length < 40) continue;
    const gain = median(apart);
    for (let i = 0; i < found.length; i++)
      if (!Number.isNaN(found[i]!)) samples[i * MOST + count[i]!++] = found[i]! + gain;
  }
  const light = new Float32Array(bw * bh).fill(NaN);
  let told = 0;
  for (let i = 0; i < light.length; i++)
    if (count[i]! >= LEAST) {
      const n = count[i]!,
        at = i * MOST;
      sortFew(samples, at, n);
      // The middle half, of few all.
      const low = Math.floor((n - 1) / 4),
        apart = samples[at + n - 1 - low]! - samples[at + low]!;
      if (apart > AGREE) continue;
      light[i] = n % 2 === 1 ? samples[at + (n >> 1)]! : (samples[at + (n >> 1) - 1]! + samples[at + (n >> 1)]!) / 2;
      told++;
    }
  return told < 40 ? null : { box, light };
}

/** Sorts a few values in place. */
function sortFew(a: Float32Array, from: number, n: number): void {
  for (let i = 1; i < n; i++) {
    const v = a[from + i]!;
    let j = i - 1;
    while (j >= 0 && a[from + j]! > v) {
      a[from + j + 1] = a[from + j]!;
      j--;
    }
    a[from + j + 1] = v;
  }
}
