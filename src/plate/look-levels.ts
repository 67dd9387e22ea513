/**
 * Levels and palette of sampled frames. Black and white points: the 0.1 and 99.9 percentiles of each coded channel. Palette:
 * k-means in CIE L*a*b* (Lloyd, "Least squares quantization in PCM", IEEE Trans. Inf. Theory 1982) with seeded k-means++
 * starts (Arthur & Vassilvitskii, SODA 2007), on pixels drawn on a fixed grid.
 */
import { RandomStream } from '../core/random.js';
import { labToLinear, linearToLab } from '../colour/lab.js';
import type { Picture } from '../image/picture.js';

const LEVELS = 1024;

/** Histograms of R', G', B' and luma over coded pictures, 0..1. */
export class LevelCounter {
  private readonly counts = [new Float64Array(LEVELS), new Float64Array(LEVELS), new Float64Array(LEVELS), new Float64Array(LEVELS)];

  add(coded: Picture): void {
    const n = coded.width * coded.height;
    const d = coded.data;
    const [cr, cg, cb, cl] = this.counts as [Float64Array, Float64Array, Float64Array, Float64Array];
    const at = (v: number): number => (v <= 0 ? 0 : v >= 1 ? LEVELS - 1 : (v * (LEVELS - 1) + 0.5) | 0);
    for (let i = 0; i < n; i++) {
      const r = d[i]!, g = d[n + i]!, b = d[2 * n + i]!;
      cr[at(r)]!++;
      cg[at(g)]!++;
      cb[at(b)]!++;
      cl[at(0.2126 * r + 0.7152 * g + 0.0722 * b)]!++;
    }
  }

  /** Coded value below which the share `p` lies. Channel 3 is luma. */
  percentile(channel: 0 | 1 | 2 | 3, p: number): number {
    const c = this.counts[channel]!;
    let total = 0;
    for (let i = 0; i < LEVELS; i++) total += c[i]!;
    let s = 0;
    for (let i = 0; i < LEVELS; i++) {
      s += c[i]!;
      if (s >= p * total) return i / (LEVELS - 1);
    }
    return 1;
  }
}

export interface PaletteColour {
  readonly coded: readonly [number, number, number];
  readonly share: number;
}

/** Up to `count` colours of linear RGB samples (interleaved), largest share first; colours closer than 4 ΔE*ab are merged. */
export function palette(linear: Float32Array, encode: (v: number) => number, count = 6, seed = 1): PaletteColour[] {
  const n = linear.length / 3;
  if (n === 0) return [];
  const lab = new Float32Array(n * 3);
  for (let i = 0; i < n; i++) {
    const [L, a, b] = linearToLab(linear[3 * i]!, linear[3 * i + 1]!, linear[3 * i + 2]!);
    lab[3 * i] = L;
    lab[3 * i + 1] = a;
    lab[3 * i + 2] = b;
  }
  const rng = new RandomStream(seed, 5);
  const centres: number[][] = [];
  const near = new Float64Array(n).fill(Infinity);
  let next = rng.below(n);
  for (let k = 0; k < count; k++) {
    const c = [lab[3 * next]!, lab[3 * next + 1]!, lab[3 * next + 2]!];
    centres.push(c);
    let total = 0;
    for (let i = 0; i < n; i++) {
      const d = (lab[3 * i]! - c[0]!) ** 2 + (lab[3 * i + 1]! - c[1]!) ** 2 + (lab[3 * i + 2]! - c[2]!) ** 2;
      if (d < near[i]!) near[i] = d;
      total += near[i]!;
    }
    if (total < 1e-6) break;
    let r = rng.uniform() * total;
    next = 0;
    while (next < n - 1 && (r -= near[next]!) > 0) next++;
  }
  const k = centres.length;
  let sums = new Float64Array(k * 4);
  for (let round = 0; round < 12; round++) {
    sums = new Float64Array(k * 4);
    for (let i = 0; i < n; i++) {
      let best = 0, bd = Infinity;
      for (let c = 0; c < k; c++) {
        const m = centres[c]!;
        const d = (lab[3 * i]! - m[0]!) ** 2 + (lab[3 * i + 1]! - m[1]!) ** 2 + (lab[3 * i + 2]! - m[2]!) ** 2;
        if (d < bd) {
          bd = d;
          best = c;
        }
      }
      sums[4 * best]! += lab[3 * i]!;
      sums[4 * best + 1]! += lab[3 * i + 1]!;
      sums[4 * best + 2]! += lab[3 * i + 2]!;
      sums[4 * best + 3]!++;
    }
    for (let c = 0; c < k; c++) if (sums[4 * c + 3]! > 0) for (let j = 0; j < 3; j++) centres[c]![j] = sums[4 * c + j]! / sums[4 * c + 3]!;
  }
  const found = centres.map((lab3, c) => ({ lab3, weight: sums[4 * c + 3]! })).filter((c) => c.weight > 0).sort((p, q) => q.weight - p.weight);
  const kept: typeof found = [];
  for (const c of found) {
    const twin = kept.find((q) => Math.hypot(q.lab3[0]! - c.lab3[0]!, q.lab3[1]! - c.lab3[1]!, q.lab3[2]! - c.lab3[2]!) < 4);
    if (twin) twin.weight += c.weight;
    else kept.push(c);
  }
  return kept.sort((p, q) => q.weight - p.weight).map((c) => {
    const rgb = labToLinear(c.lab3[0]!, c.lab3[1]!, c.lab3[2]!);
    const coded = rgb.map((v) => Math.max(0, Math.min(1, encode(Math.max(0, v))))) as [number, number, number];
    return { coded, share: c.weight / n };
  });
}
