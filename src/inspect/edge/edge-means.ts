/** Means about a place of the outline: of the coat inside it, and of the shade on the bare ground beside it. */
import { lightOf, lightOfCode, luminance } from './edge-light.js';
import type { SeenFrame } from '../reader/frame.js';

/** Most alpha of bare ground. */
export const BARE = 0.01;

/** Light that the join leaves of the plate's, over 5 × 5 pixels of bare ground about a place; each is made once. */
export class ShadeMeans {
  private readonly known = new Map<number, number>();

  of(f: SeenFrame, x: number, y: number): number {
    const { width: W, height: H, data } = f.join,
      N = W * H,
      q = y * W + x,
      b = f.plate.data;
    const have = this.known.get(q);
    if (have !== undefined) return have;
    let seen = 0,
      plate = 0;
    for (let yy = Math.max(0, y - 2); yy <= Math.min(H - 1, y + 2); yy++) {
      for (let xx = Math.max(0, x - 2); xx <= Math.min(W - 1, x + 2); xx++) {
        const p = yy * W + xx;
        if (f.matte[p]! >= BARE) continue;
        seen += lightOf(data, N, p);
        plate += lightOf(b, N, p);
      }
    }
    const shade = plate < 1e-4 ? 1 : Math.min(2, seen / plate);
    this.known.set(q, shade);
    return shade;
  }
}

/**
 * Linear luminance of the means of 5 × 5 pixels about core pixels, among those that are core enough; each is made once.
 */
export class CoreMeans {
  private readonly known = new Map<number, number>();

  of(f: SeenFrame, x: number, y: number): number {
    const { width: W, height: H, data } = f.join;
    const N = W * H,
      q = y * W + x;
    const have = this.known.get(q);
    if (have !== undefined) return have;
    let r = 0,
      g = 0,
      b = 0,
      n = 0;
    for (let yy = Math.max(0, y - 2); yy <= Math.min(H - 1, y + 2); yy++) {
      for (let xx = Math.max(0, x - 2); xx <= Math.min(W - 1, x + 2); xx++) {
        const p = yy * W + xx;
        if (f.matte[p]! < 0.98 && p !== q) continue;
        r += data[p]!;
        g += data[N + p]!;
        b += data[2 * N + p]!;
        n++;
      }
    }
    const y709 = luminance(lightOfCode(r / n), lightOfCode(g / n), lightOfCode(b / n));
    this.known.set(q, y709);
    return y709;
  }
}
