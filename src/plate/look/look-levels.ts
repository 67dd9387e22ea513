/**
 * Levels of sampled frames, from histograms. Black and white points are the 0.1 and
 * 99.9 percentiles of each coded channel.
 */
import type { Picture } from '../../image/picture.js';

const LEVELS = 1024;

/** Histograms of R', G', B' and luma over coded pictures, 0..1. */
export class LevelCounter {
  private readonly counts = [
    new Float64Array(LEVELS),
    new Float64Array(LEVELS),
    new Float64Array(LEVELS),
    new Float64Array(LEVELS),
  ];

  add(coded: Picture): void {
    const n = coded.width * coded.height;
    const d = coded.data;
    const [cr, cg, cb, cl] = this.counts as [Float64Array, Float64Array, Float64Array, Float64Array];
    const at = (v: number): number => (v <= 0 ? 0 : v >= 1 ? LEVELS - 1 : (v * (LEVELS - 1) + 0.5) | 0);
    for (let i = 0; i < n; i++) {
      const r = d[i]!;
      const g = d[n + i]!;
      const b = d[2 * n + i]!;
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
