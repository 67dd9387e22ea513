/** Samples of one pixel over which a shadow passes: levels as a turning camera's frames show them, coded luma. */
import { describe, expect, it } from 'vitest';
import { withoutShadow } from './mosaic-samples.js';

/** The samples that stay. */
function staying(samples: readonly number[], certain: boolean): number[] {
  const value = Float64Array.from(samples);
  const kept = withoutShadow(
    Float64Array.from(samples.toSorted((a, b) => a - b)),
    value,
    new Float64Array(samples.length).fill(0.2),
    Int32Array.from(samples, (_, j) => j),
    Int32Array.from(samples, (_, j) => j),
    samples.length,
    certain,
  );
  return [...value.subarray(0, kept)];
}

describe('a pixel that a shadow passes', () => {
  const passing = [0.45, 0.3, 0.15, 0.14, 0.14, 0.15, 0.14, 0.29, 0.44];

  it('keeps no sample of its core where the shadow is known to pass, though its soft edge lies between', () => {
    expect(Math.min(...staying(passing, true))).toBeGreaterThan(0.25);
  });

  it('is told by a single lit sample only where the shadow is known to pass', () => {
    const one = [0.12, 0.13, 0.12, 0.13, 0.12, 0.13, 0.12, 0.31];
    expect(staying(one, true)).toEqual([0.31]);
    expect(staying(one, false)).toEqual(one);
  });

  it('is told no more readily than elsewhere where texture lies a little askew', () => {
    const askew = [0.28, 0.38, 0.31, 0.29, 0.34, 0.28, 0.35, 0.32];
    expect(staying(askew, false)).toEqual(askew);
    expect(staying(askew, true)).toEqual(askew);
  });
});
