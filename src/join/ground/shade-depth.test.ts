/**
 * Posts, strips and marks that agree or contradict each other, given as readings: the light left that comes of them.
 */
import { describe, expect, it } from 'vitest';
import { shadeDepth, type DarkStrip, type MissingLight, type Three } from './shade-depth.js';

const post = (lost: number, keptSd: number): MissingLight => ({
  missing: [lost, lost, lost],
  sd: 0.03,
  ownSd: [0.03, 0.03, 0.03],
  kept: 1,
  keptSd,
  weight: 1,
});
const strip = (r: number, g: number, b: number): DarkStrip => ({
  depth: [r, g, b],
  sd: [0.18, 0.18, 0.18],
  chance: 0.5,
});

describe('all that tells how dark a shadow is', () => {
  it('is what is usual where nothing tells', () => {
    // A sixth to a fifth of the light, bluer than the key.
    const { left } = shadeDepth([], []);
    expect(left[1]).toBeCloseTo(Math.exp(-1.6), 6);
    expect(left[0]).toBeLessThan(left[1]);
    expect(left[2]).toBeGreaterThan(left[1]);
  });

  it('goes by a strip that posts bear out, and not by one that they contradict', () => {
    // A post a tenth thicker than thought, in the shadow's own colours.
    const thin = { ...post(0.8, 0.12), missing: [0.83, 0.79, 0.71] as const },
      alone = shadeDepth([thin], []).left[1],
      borne = shadeDepth([thin], [strip(2.4, 2.05, 1.5)]);
    expect(alone).toBeGreaterThan(0.15);
    expect(Math.abs(Math.log(borne.left[1] / Math.exp(-2.05)))).toBeLessThan(0.12);
    expect(borne.left[2] / borne.left[0]).toBeGreaterThan(1.9);
    expect(borne.agrees).toEqual([true]);
    // Something purple, and a joint that hardly darkens.
    for (const other of [strip(1.2, 2.6, 0.6), strip(0.5, 0.5, 0.5)]) {
      const told = shadeDepth([thin], [other]);
      expect(Math.abs(told.left[1] - alone)).toBeLessThan(0.02);
      expect(told.agrees).toEqual([false]);
    }
  });

  it('takes strips that agree, not the one that stands alone', () => {
    const { left, agrees } = shadeDepth([], [strip(2, 1.7, 1.2), strip(2.1, 1.75, 1.3), strip(1, 0.9, 0.7)]);
    expect(Math.abs(Math.log(left[1]) + 1.7)).toBeLessThan(0.12);
    expect(agrees).toEqual([true, true, false]);
  });

  it('leaves no more light than the middle of a shadow, unless much says otherwise', () => {
    expect(shadeDepth([post(0.5, 0.2)], [], 0.15).left[1]).toBeLessThan(0.22);
  });

  it('goes by a marked shadow, but not by another ground marked as one', () => {
    const marked = (s: Three): DarkStrip => ({ depth: s, sd: [0.12, 0.12, 0.12], chance: 0.8, marked: true });
    // A shadow half as dark as is usual, and one bluer than its fill.
    expect(Math.abs(Math.log(shadeDepth([], [marked([0.75, 0.7, 0.55])]).left[1]) + 0.7)).toBeLessThan(0.1);
    // Grass beside a path: dark, and darkest in blue.
    const grass = shadeDepth([], [marked([1.2, 0.9, 2.6])]);
    expect(grass.agrees).toEqual([false]);
    expect(grass.left[2]).toBeGreaterThan(grass.left[1]);
  });
});
