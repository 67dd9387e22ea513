/** The law of the grain goes through the levels that hold no texture, however many hold some. */
import { describe, expect, it } from 'vitest';
import { RandomStream } from '../../core/random.js';
import { grainEnvelope } from './grain-envelope.js';

/** sd of a film-like grain at a coded level, as the made pictures of the benches have it. */
const sigma = (v: number): number => 0.005 * (0.4 + 2.4 * v * (1 - v));

/** 1.35 · 1.6 times the law is let through (grain.ts): below this a level of pure grain would be lost. */
const LEAST = 1 / (1.35 * 1.6);

describe('law of the grain over brightness', () => {
  it('keeps a pure law well within what is let through beside it', () => {
    const rows = Array.from({ length: 12 }, (_, k) => {
      const level = 0.08 + 0.07 * k;
      return { level, variance: sigma(level) ** 2, count: 100 };
    });
    const law = grainEnvelope(rows);
    for (const r of rows) {
      expect(law(r.level) / r.variance).toBeLessThan(1.2);
      expect(law(r.level) / r.variance).toBeGreaterThan(LEAST);
    }
  });

  it('is not led astray by texture on half of the levels, up to thirty times the variance', () => {
    for (let seed = 1; seed <= 20; seed++) {
      const stream = new RandomStream(seed);
      const rows = Array.from({ length: 12 }, (_, k) => {
        const level = 0.08 + 0.07 * k;
        return {
          level,
          variance: sigma(level) ** 2 * (k % 2 === seed % 2 ? 3 + 27 * stream.uniform() : 1),
          count: 20 + Math.floor(400 * stream.uniform()),
        };
      });
      const law = grainEnvelope(rows);
      // 1.6 times the law is let through (grain.ts): the least texture, 3 times the
      // grain, must not be, pure grain must be.
      for (const r of rows) {
        const over = law(r.level) / sigma(r.level) ** 2;
        expect(over).toBeLessThan(3 / 1.6);
        expect(over).toBeGreaterThan(LEAST);
      }
    }
  });

  it("does not take a night's few lit things for grain: no tone has more than four times the plainest one's", () => {
    const law = grainEnvelope([
      { level: 0.07, variance: 0.0015 ** 2, count: 438 },
      { level: 0.33, variance: 0.0173 ** 2, count: 15 },
      { level: 0.42, variance: 0.0324 ** 2, count: 11 },
      { level: 0.47, variance: 0.0348 ** 2, count: 11 },
    ]);
    expect(Math.sqrt(law(0.07))).toBeGreaterThan(0.0014);
    for (const level of [0.33, 0.42, 0.47]) expect(Math.sqrt(law(level))).toBeLessThan(0.0061);
  });

  it('says infinite where nothing was seen, and holds level beyond what was', () => {
    expect(grainEnvelope([])(0.5)).toBe(Infinity);
    const law = grainEnvelope([
      { level: 0.3, variance: 1e-4, count: 9 },
      { level: 0.5, variance: 2e-4, count: 9 },
    ]);
    expect(law(0.9)).toBe(law(0.5));
    expect(law(0.05)).toBe(law(0.3));
  });
});
