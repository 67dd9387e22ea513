/** Compositing against the published operator tables and worked examples (test/published/porter-duff.json). */
import { readFileSync } from 'node:fs';
import { describe, expect, it } from 'vitest';
import { srgbEncode } from '../colour/transfer.js';
import { composite, over, premultiply, unpremultiply, type PorterDuff } from './composite.js';
import type { Channels, Picture } from './picture.js';

interface Table {
  source: { colour: number[]; alpha: number };
  backdrop: { colour: number[]; alpha: number };
  results: Record<string, { co: number[]; ao: number }>;
}
const published = JSON.parse(
  readFileSync(new URL('../../test/published/porter-duff.json', import.meta.url), 'utf8'),
) as {
  tolerance: number;
  worked: { Cs: number[]; as: number; Cb: number[]; ab: number; co: number[]; ao?: number }[];
  tables: Table[];
  matting: { cases: { F: number[]; B: number[]; a: number; C: number[] }[] };
  halfMix8Bit: { coded_mix_8bit: number; linear_mix_8bit: number };
};

/** A picture of one premultiplied colour; large enough for the kernel where asked. */
function flat(colour: readonly number[], alpha: number, side: number, channels: Channels = 4): Picture {
  const n = side * side;
  const data = new Float32Array(channels * n);
  for (let c = 0; c < 3; c++) data.fill(colour[c]! * alpha, c * n, (c + 1) * n);
  if (channels === 4) data.fill(alpha, 3 * n);
  return { width: side, height: side, channels, data };
}

describe.each([
  ['plain twin', 3],
  ['kernel', 70],
])('Porter-Duff by the %s', (_, side) => {
  const at = (p: Picture, c: number): number => p.data[c * side * side + 1]!;

  it('gives every operator of W3C Compositing 1, section 9', () => {
    for (const t of published.tables) {
      for (const [operator, want] of Object.entries(t.results)) {
        const out = composite(
          operator as PorterDuff,
          flat(t.source.colour, t.source.alpha, side),
          flat(t.backdrop.colour, t.backdrop.alpha, side),
        );
        for (let c = 0; c < 3; c++) expect(Math.abs(at(out, c) - want.co[c]!)).toBeLessThan(published.tolerance);
        expect(Math.abs(at(out, 3) - want.ao)).toBeLessThan(published.tolerance);
      }
    }
  });

  it('gives the worked examples of section 5.1', () => {
    for (const w of published.worked) {
      const out = composite('over', flat(w.Cs, w.as, side), flat(w.Cb, w.ab, side));
      for (let c = 0; c < 3; c++) expect(Math.abs(at(out, c) - w.co[c]!)).toBeLessThan(1e-6);
      if (w.ao !== undefined) expect(at(out, 3)).toBeCloseTo(w.ao, 6);
    }
  });

  it('solves the matting equation forwards', () => {
    for (const m of published.matting.cases) {
      const out = over(flat(m.F, m.a, side), flat(m.B, 1, side, 3));
      for (let c = 0; c < 3; c++) expect(at(out, c)).toBeCloseTo(m.C[c]!, 6);
    }
  });

  it('mixes white and black half and half in linear light: 188, where coded mixing gives 128', () => {
    const out = over(flat([1, 1, 1], 0.5, side), flat([0, 0, 0], 1, side, 3));
    expect(Math.round(255 * srgbEncode(at(out, 0)))).toBe(published.halfMix8Bit.linear_mix_8bit);
    expect(Math.round(255 * 0.5)).toBe(published.halfMix8Bit.coded_mix_8bit);
    expect(published.halfMix8Bit.linear_mix_8bit).not.toBe(published.halfMix8Bit.coded_mix_8bit);
  });

  it('over is associative, in plus out is the whole, premultiplication goes both ways', () => {
    const a = flat([0.2, 0.6, 0.4], 0.75, side);
    const b = flat([0.9, 0.1, 0.5], 0.4, side);
    const c = flat([0.3, 0.3, 0.8], 0.6, side);
    const left = composite('over', composite('over', a, b), c);
    const right = composite('over', a, composite('over', b, c));
    for (let i = 0; i < left.data.length; i++) expect(left.data[i]!).toBeCloseTo(right.data[i]!, 6);
    const inside = composite('in', a, b);
    const outside = composite('out', a, b);
    for (let i = 0; i < a.data.length; i++) expect(inside.data[i]! + outside.data[i]!).toBeCloseTo(a.data[i]!, 6);
    const back = premultiply(unpremultiply(a));
    for (let i = 0; i < a.data.length; i++) expect(back.data[i]!).toBeCloseTo(a.data[i]!, 6);
  });

  it('refuses pictures of different size and mattes as colour', () => {
    expect(() => composite('over', flat([0, 0, 0], 1, side), flat([0, 0, 0], 1, side + 1))).toThrow(
      /PW-IMAGE-MISMATCH/,
    );
    const matte: Picture = { width: side, height: side, channels: 1, data: new Float32Array(side * side) };
    expect(() => composite('over', matte, matte)).toThrow(/PW-IMAGE-CHANNELS/);
  });
});
