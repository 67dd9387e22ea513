/** A performer that walks is not blamed for its own steps. */
import { describe, expect, it } from 'vitest';
import { blank, told } from './made-readings.js';

describe('a performer that bobs as it walks', () => {
  const bob = [1, 2, 3, 4, 5].map((frame) => ({ frame, x: 0, y: frame % 2 === 0 ? 1.5 : -1.5 }));
  const where = (off: number) => [1, 3, 5].map((frame) => ({ frame, x: off, y: 0 }));
  const steady = bob.map((p) => ({ ...p, plain: [p.x, p.y] as const }));
  it('is not blamed where its picture lies where the recipe puts it and the ride is smooth', () => {
    expect(told({ ...blank(), jitter: steady, against: where(0.05) }, 'slip').passes).toBe(true);
  });
  it('is blamed where nothing proves its place, or the ride itself jumps', () => {
    expect(told({ ...blank(), jitter: steady }, 'slip').passes).toBe(false);
    expect(told({ ...blank(), jitter: steady, against: where(0.4) }, 'slip').passes).toBe(false);
    const jumps = bob.map((p) => ({ ...p, plain: [p.x, 3 * p.y] as const }));
    expect(told({ ...blank(), jitter: jumps, against: where(0.05) }, 'slip').passes).toBe(false);
  });
});

describe("the planned foot beside the plate's ground", () => {
  const frames = Array.from({ length: 16 }, (_, n) => n);
  const of = (x: (n: number) => number, told = (_n: number): boolean => true) =>
    onFrames(frames.filter(told), x, frames.map(told));
  const onFrames = (on: readonly number[], x: (n: number) => number, followed: boolean[]) =>
    told({ ...blank(), slipPlan: on.map((frame) => ({ frame, x: x(frame), y: 0 })), followed }, 'slip');
  it('is named where it shakes by .6 px, also round a slow slide and where every fourth frame is hidden', () => {
    for (const m of [
      of((n) => 0.85 * Math.sin(1.9 * n)),
      of((n) => 0.1 * n + 0.85 * Math.sin(1.9 * n)),
      of(
        (n) => 0.85 * Math.sin(1.9 * n),
        (n) => n % 4 > 0,
      ),
    ]) {
      expect(m.passes).toBe(false);
      expect(m.advice).toContain('to and fro');
      expect(m.needed).toBe('at most 0.5 px rms');
    }
  });
  it('may slide by two pixels over the shot, not by eight', () => {
    expect(of((n) => (2 * n) / 15).passes).toBe(true);
    const slides = of((n) => (8 * n) / 15);
    expect(slides.passes).toBe(false);
    expect(slides.advice).toContain('slides over');
  });
  it('says nothing where the ground is told on less than three frames of five', () => {
    expect(
      of(
        (n) => 0.85 * Math.sin(1.9 * n),
        (n) => n % 2 === 0,
      ).value,
    ).toBeNull();
  });
});

describe('a picture beside its own matte', () => {
  const shifts = (x: (n: number) => number) =>
    [0, 1, 2, 3, 4, 5, 6, 7].map((frame) => ({ frame, x: x(frame), y: 0, core: 1000 }));
  const of = (x: (n: number) => number) => told({ ...blank(), shift: shifts(x) }, 'slip');
  it('is named where it goes to and fro by half a pixel', () => {
    const m = of((n) => 0.6 * Math.sin(1.9 * n));
    expect(m.passes).toBe(false);
    expect(m.needed).toBe('at most 0.3 px rms');
    expect(m.advice).toContain('beside its own matte');
  });
  it('is not by frames on which a strip of it is left beside what passes', () => {
    const strip = shifts((n) => (n === 3 ? 2 : 0)).map((p) => ({ ...p, core: p.frame === 3 ? 300 : 1000 }));
    expect(told({ ...blank(), shift: strip }, 'slip').passes).toBe(true);
    expect(told({ ...blank(), shift: strip.map((p) => ({ ...p, core: 1000 })) }, 'slip').passes).toBe(false);
  });
  it('is by half a pixel only where it is proven to lie where the recipe puts it', () => {
    const of = (rms: number, against: number) =>
      told(
        {
          ...blank(),
          shift: shifts((n) => rms * Math.SQRT2 * Math.sin(1.9 * n)),
          against: [0, 3, 6].map((frame) => ({ frame, x: against, y: 0 })),
        },
        'slip',
      ).passes;
    expect(of(0.4, 0.02)).toBe(true);
    expect(of(0.4, 0.4)).toBe(false);
    expect(of(0.7, 0.02)).toBe(false);
  });
  it('may wander by a third of a pixel as a performer that turns is shaded, not by a whole one, nor shake as it wanders', () => {
    const over = (x: (n: number) => number) =>
      told(
        {
          ...blank(),
          shift: Array.from({ length: 24 }, (_, frame) => ({ frame, x: x(frame), y: 0, core: 1000 })),
        },
        'slip',
      ).passes;
    // A traced true picture of a dog that turns: .33 px rms about its median, from .55 to −.4 px.
    expect(over((n) => 0.45 * Math.cos(n / 8))).toBe(true);
    expect(over((n) => Math.cos(n / 8))).toBe(false);
    expect(over((n) => 0.45 * Math.cos(n / 8) + 0.6 * Math.sin(1.9 * n))).toBe(false);
    expect(over((n) => 0.8 * Math.sin(0.628 * n))).toBe(false);
  });
  it('is not for noise, nor for an edge that its shading moves one way', () => {
    expect(of((n) => 0.15 * Math.sin(1.9 * n)).passes).toBe(true);
    expect(of((n) => 1 + 0.1 * Math.sin(1.9 * n)).passes).toBe(true);
  });
});
