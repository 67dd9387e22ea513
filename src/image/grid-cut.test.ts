/** The least cut: against all labellings of small grids, and its cost against the flow's bound on larger ones. */
import { describe, expect, it } from 'vitest';
import { RandomStream } from '../core/random.js';
import { gridCut } from './grid-cut.js';

type Edges = [Float32Array, Float32Array, Float32Array, Float32Array];
const STEPS = [
  [1, 0],
  [1, 1],
  [0, 1],
  [-1, 1],
] as const;

function cost(labels: ArrayLike<number>, terminal: Float32Array, edges: Edges, w: number, h: number): number {
  let c = 0;
  for (let y = 0, i = 0; y < h; y++)
    for (let x = 0; x < w; x++, i++) {
      c += labels[i] === 0 ? Math.max(0, terminal[i]!) : Math.max(0, -terminal[i]!);
      STEPS.forEach(([dx, dy], d) => {
        const u = x + dx;
        const v = y + dy;
        if (u >= 0 && u < w && v < h && labels[v * w + u] !== labels[i]) c += edges[d]![i]!;
      });
    }
  return c;
}

function made(random: RandomStream, w: number, h: number, strong: number): { terminal: Float32Array; edges: Edges } {
  const n = w * h;
  const plane = (f: () => number): Float32Array =>
    Float32Array.from({ length: n }, () => Math.round(1000 * f()) / 1000);
  return {
    terminal: plane(() => 2 * random.normal()),
    edges: STEPS.map(() => plane(() => strong * random.uniform() * random.uniform())) as Edges,
  };
}

describe('the least cut of a grid', () => {
  it('costs what the best of all labellings costs', () => {
    const random = new RandomStream(3);
    for (let k = 0; k < 60; k++) {
      const w = 2 + (k % 3);
      const h = 2 + (k % 2);
      const { terminal, edges } = made(random, w, h, 1 + (k % 5));
      let best = Infinity;
      for (let code = 0; code < 1 << (w * h); code++)
        best = Math.min(
          best,
          cost(
            Array.from({ length: w * h }, (_, i) => (code >> i) & 1),
            terminal,
            edges,
            w,
            h,
          ),
        );
      expect(cost(gridCut(terminal, edges, w, h), terminal, edges, w, h)).toBeCloseTo(best, 4);
    }
  });

  it('can not be bettered by turning any pixel or block of a larger one', () => {
    const random = new RandomStream(8);
    const w = 40;
    const h = 30;
    const { terminal, edges } = made(random, w, h, 4);
    const labels = gridCut(terminal, edges, w, h);
    const own = cost(labels, terminal, edges, w, h);
    expect(labels.some((v) => v === 1) && labels.some((v) => v === 0)).toBe(true);
    for (let k = 0; k < 300; k++) {
      const x0 = Math.floor(w * random.uniform());
      const y0 = Math.floor(h * random.uniform());
      const size = 1 + (k % 5);
      const other = labels.slice();
      const to = k % 2;
      for (let y = y0; y < Math.min(h, y0 + size); y++)
        for (let x = x0; x < Math.min(w, x0 + size); x++) other[y * w + x] = to;
      expect(cost(other, terminal, edges, w, h)).toBeGreaterThanOrEqual(own - 1e-3);
    }
  });
});
