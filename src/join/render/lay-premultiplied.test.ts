/**
 * A picture laid over another against published examples (test/published/porter-duff.json), by kernel and plain twin.
 */
import { readFileSync } from 'node:fs';
import { describe, expect, it } from 'vitest';
import { srgbEncode } from '../../colour/transfer.js';
import type { Picture } from '../../image/picture.js';
import { layPremultiplied } from './lay-premultiplied.js';

const published = JSON.parse(
  readFileSync(new URL('../../../test/published/porter-duff.json', import.meta.url), 'utf8'),
) as {
  tolerance: number;
  worked: { Cs: number[]; as: number; Cb: number[]; co: number[] }[];
  matting: { cases: { F: number[]; B: number[]; a: number; C: number[] }[] };
  halfMix8Bit: { coded_mix_8bit: number; linear_mix_8bit: number };
};

function flat(colour: readonly number[], side: number, alpha?: number): Picture {
  const n = side * side;
  const data = new Float32Array((alpha === undefined ? 3 : 4) * n);
  for (let c = 0; c < 3; c++) data.fill(colour[c]! * (alpha ?? 1), c * n, (c + 1) * n);
  if (alpha !== undefined) data.fill(alpha, 3 * n);
  return { width: side, height: side, channels: alpha === undefined ? 3 : 4, data };
}

describe.each([
  ['plain twin', 3],
  ['kernel', 70],
])('laid over by the %s', (_, side) => {
  /** The colour that comes of `source` with coverage `alpha` over `backdrop`, as told at one pixel. */
  function over(source: readonly number[], alpha: number, backdrop: readonly number[]): number[] {
    const n = side * side,
      out = flat(backdrop, side),
      box = [0, 0, side, side] as const,
      matte = new Float32Array(n);
    const laid = { box, overBox: box, touched: new Uint8Array(n), hidden: null, matte };
    layPremultiplied({ ...laid, out, over: flat(source, side, alpha) });
    expect(matte[1]).toBeCloseTo(alpha, 6);
    return [0, 1, 2].map((c) => out.data[c * n + 1]!);
  }

  it('gives the worked examples of W3C Compositing 1, section 5.1, over an opaque backdrop', () => {
    expect(published.worked).toHaveLength(2);
    for (const w of published.worked)
      over(w.Cs, w.as, w.Cb).forEach((v, c) => expect(Math.abs(v - w.co[c]!)).toBeLessThan(published.tolerance));
  });

  it('solves the matting equation forwards', () => {
    for (const m of published.matting.cases)
      over(m.F, m.a, m.B).forEach((v, c) => expect(Math.abs(v - m.C[c]!)).toBeLessThan(published.tolerance));
  });

  it('mixes white and black half and half in linear light: 188, where coded mixing gives 128', () => {
    const [mixed] = over([1, 1, 1], 0.5, [0, 0, 0]);
    expect(Math.round(255 * srgbEncode(mixed!))).toBe(published.halfMix8Bit.linear_mix_8bit);
    expect(published.halfMix8Bit.linear_mix_8bit).not.toBe(published.halfMix8Bit.coded_mix_8bit);
  });
});
