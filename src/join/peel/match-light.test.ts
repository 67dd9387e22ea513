/** A frame's rendering of the empty set's values, told although somebody fills part of it. */
import { describe, expect, it } from 'vitest';
import { bt709Encode } from '../../colour/transfer.js';
import { RandomStream } from '../../core/random.js';
import { rendered, renderingOf, unrendered } from './match-light.js';

const N = 30_000;

/** Values of an empty frame and of a frame that renders them by `f`, a share of which somebody covers. */
function planes(f: (x: number) => number, covered: number): [Float32Array, Float32Array] {
  const random = new RandomStream(5, 3),
    was = new Float32Array(N),
    now = new Float32Array(N);
  for (let i = 0; i < N; i++) {
    was[i] = 0.05 + 0.85 * random.uniform() ** 1.5;
    now[i] = (i < covered * N ? 0.2 + 0.05 * random.normal() : f(was[i]!)) + 0.006 * random.normal();
  }
  return [was, now];
}

describe("a frame's rendering of the set", () => {
  it('is told through exposure, a lifted black and another curve, whoever covers a third of it', () => {
    // IEC 61966-2-1 against BT.709: the same light in the two curves' codes.
    const srgb = (v: number): number => (v <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4);
    for (const f of [
      (x: number) => x,
      (x: number) => 0.8 * x,
      (x: number) => 1.25 * x,
      (x: number) => 0.03 + 0.9 * x,
      (x: number) => bt709Encode(srgb(x)),
    ]) {
      const r = renderingOf(...planes(f, 0.33));
      for (const x of [0.1, 0.3, 0.6, 0.85]) expect(Math.abs(rendered(r, x) - f(x))).toBeLessThan(0.012);
    }
  });

  it('goes back where it came from', () => {
    for (const r of [
      { a: 0.02, b: 0.8, c: 0.2 },
      { a: 0, b: 1.3, c: 0 },
      { a: -0.01, b: 1.2, c: -0.2 },
    ])
      for (const x of [0.1, 0.5, 0.9]) expect(unrendered(r, rendered(r, x))).toBeCloseTo(x, 5);
  });

  it('is a plain gain where too little is seen', () => {
    const few = Float32Array.from({ length: 200 }, (_, i) => 0.2 + 0.001 * i);
    expect(
      renderingOf(
        few,
        few.map((v) => 0.9 * v + 0.001),
      ),
    ).toMatchObject({ a: 0, c: 0 });
  });
});
