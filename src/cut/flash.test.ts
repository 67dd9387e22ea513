/**
 * Flashes against pairs and timings worked from WCAG 2.x and ITU-R BT.1702-3 (test/published/flash.json): pair by
 * pair, and on made pictures.
 */
import { readFileSync } from 'node:fs';
import { describe, expect, it } from 'vitest';
import { createPicture, plane, type Picture } from '../image/picture.js';
import { FlashDetector, isGeneralTransition, isRedTransition, relativeLuminance } from './flash.js';

type Triple = [number, number, number];
const published = JSON.parse(readFileSync(new URL('../../test/published/flash.json', import.meta.url), 'utf8')) as {
  general: { a: Triple; b: Triple; Ya: number; Yb: number; general_transition: boolean }[];
  red: { a: Triple; b: Triple; duv: number | null; red_transition: boolean | null }[];
  timing: { fps: number; n: number; flashes_per_s?: number; complete_flashes?: number; verdict: string }[];
};
const lin = (v: number): number => {
  const c = v / 255;
  return c <= 0.04045 ? c / 12.92 : ((c + 0.055) / 1.055) ** 2.4;
};
const toLin = (c: Triple): Triple => [lin(c[0]), lin(c[1]), lin(c[2])];

function picture(fill: (x: number, y: number) => Triple): Picture {
  const p = createPicture(128, 72, 3);
  for (let y = 0; y < 72; y++)
    for (let x = 0; x < 128; x++) {
      const c = fill(x, y);
      for (let k = 0; k < 3; k++) plane(p, k)[y * 128 + x] = c[k]! / 255;
    }
  return p;
}
function run(fps: number, frames: number, colour: (f: number) => (x: number, y: number) => Triple) {
  const d = new FlashDetector(fps);
  for (let f = 0; f < frames; f++) d.add(picture(colour(f)));
  return d.report();
}

describe('pairs of the definition (WCAG 2.x, ITU-R BT.1702-3)', () => {
  it('each pair of luminances is or is no general flash, as published', () => {
    for (const p of published.general) {
      const a = relativeLuminance(...toLin(p.a));
      const b = relativeLuminance(...toLin(p.b));
      expect(a).toBeCloseTo(p.Ya, 3);
      expect(isGeneralTransition(a, b)).toBe(p.general_transition);
    }
  });
  it('each pair of colours is or is no red flash, as published; red to black is counted, the safe choice', () => {
    for (const p of published.red) expect(isRedTransition(toLin(p.a), toLin(p.b))).toBe(p.red_transition ?? true);
  });
  it('the detector agrees with each general pair on a whole screen', () => {
    for (const p of published.general) {
      const r = run(24, 24, (f) => () => (f % 2 === 0 ? p.a : p.b));
      expect(r.worst.general.flashes > 3).toBe(p.general_transition);
    }
  });
});

describe('timing', () => {
  for (const t of published.timing) {
    it(`${t.fps} frames a second, change every ${t.n}: ${t.verdict}`, () => {
      const r = run(t.fps, t.fps * 3, (f) => () => (Math.floor(f / t.n) % 2 === 0 ? [0, 0, 0] : [255, 255, 255]));
      expect(r.passes).toBe(t.verdict.startsWith('pass'));
      if (t.complete_flashes !== undefined) expect(r.worst.general.flashes).toBe(t.complete_flashes);
      if (t.flashes_per_s !== undefined) expect(r.worst.general.flashes).toBe(t.flashes_per_s);
    });
  }
  it('three flashes a second pass, and a slow pulse too', () => {
    expect(run(24, 48, (f) => () => (f < 18 && Math.floor(f / 3) % 2 === 1 ? [255, 255, 255] : [0, 0, 0])).passes).toBe(
      true,
    );
    expect(
      run(24, 96, (f) => () => {
        const v = 127 + 120 * Math.sin((2 * Math.PI * f) / 24);
        return [v, v, v];
      }).passes,
    ).toBe(true);
  });
});

describe('area', () => {
  const part = (share: number) =>
    run(24, 24, (f) => (x) => (x < 128 * share && f % 2 === 1 ? [255, 255, 255] : [0, 0, 0]));
  it('a tenth of the screen may flash, half may not', () => {
    expect(part(0.5).passes).toBe(false);
    expect(part(0.1).passes).toBe(true);
  });
  it('a small block that fills a quarter of a 10-degree field is told by the stricter reading', () => {
    const r = run(24, 24, (f) => (x, y) => (x < 30 && y < 18 && f % 2 === 1 ? [255, 255, 255] : [0, 0, 0]));
    expect(r.passes).toBe(true);
    expect(r.passesField).toBe(false);
  });
  it('counts the flashes of a cut to white and back', () => {
    const r = run(24, 24, (f) => () => (f === 8 || f === 9 ? [255, 255, 255] : [20, 20, 20]));
    expect(r.flashes).toHaveLength(1);
    expect(r.flashes[0]).toMatchObject({ kind: 'general', from: 8, to: 10 });
  });
  it('saturated red against blue flashes more than three times a second, black against white never in red', () => {
    const against = (a: Triple, b: Triple) => run(24, 24, (f) => () => (f % 2 === 0 ? a : b));
    const red = against([255, 0, 0], [0, 0, 255]);
    expect(red.worst.red.flashes).toBeGreaterThan(3);
    expect(red.passes).toBe(false);
    const grey = against([0, 0, 0], [255, 255, 255]);
    expect(grey.worst.red.flashes).toBe(0);
    expect(grey.passes).toBe(false);
  });
});
