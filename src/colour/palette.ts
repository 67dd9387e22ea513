/**
 * Palette: k-means in CIE L*a*b* (Lloyd, "Least squares quantization in PCM", IEEE Trans. Inf. Theory 1982) with seeded
 * k-means++ starts (Arthur & Vassilvitskii, SODA 2007).
 */
import { RandomStream } from '../core/random.js';
import { labToLinear, linearToLab } from './lab.js';

/** A colour of a picture, display-coded, and the share of the picture that it stands for. */
export interface PaletteColour {
  readonly coded: readonly [number, number, number];
  readonly share: number;
}

/**
 * Up to `count` colours of linear RGB samples (interleaved), largest share first; colours closer than 4 ΔE*ab are
 * merged.
 */
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
      let best = 0;
      let bd = Infinity;
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
    for (let c = 0; c < k; c++)
      if (sums[4 * c + 3]! > 0) for (let j = 0; j < 3; j++) centres[c]![j] = sums[4 * c + j]! / sums[4 * c + 3]!;
  }
  const found = centres
    .map((lab3, c) => ({ lab3, weight: sums[4 * c + 3]! }))
    .filter((c) => c.weight > 0)
    .sort((p, q) => q.weight - p.weight);
  const kept: typeof found = [];
  for (const c of found) {
    const twin = kept.find(
      (q) => Math.hypot(q.lab3[0]! - c.lab3[0]!, q.lab3[1]! - c.lab3[1]!, q.lab3[2]! - c.lab3[2]!) < 4,
    );
    if (twin) twin.weight += c.weight;
    else kept.push(c);
  }
  return kept
    .sort((p, q) => q.weight - p.weight)
    .map((c) => {
      const rgb = labToLinear(c.lab3[0]!, c.lab3[1]!, c.lab3[2]!);
      const coded = rgb.map((v) => Math.max(0, Math.min(1, encode(Math.max(0, v))))) as [number, number, number];
      return { coded, share: c.weight / n };
    });
}
