/** A made screen with a shadow of another tint, part of which is not known yet. */
import { describe, expect, it } from 'vitest';
import { RandomStream } from '../../core/random.js';
import { takeShadowTint } from './shadow-tint.js';

const N = 4000;
const LIT = {
  colour: [0.05, 0.35, 0.09] as const,
  limit: 0.1,
  darkLimit: 0.35,
  brightLimit: 0.1,
  clips: false,
  rows: null,
};

/** Lit screen, known shadow, unknown shadow, coat: a thousand pixels of each, each channel with noise of a share. */
function made(known: readonly number[], unknown: readonly number[], coat: readonly number[], noise: number) {
  const random = new RandomStream(4, 1);
  const data = new Float32Array(3 * N);
  const sure = new Uint8Array(N);
  [LIT.colour, known, unknown, coat].forEach((colour, part) => {
    for (let i = part * 1000; i < (part + 1) * 1000; i += 1) {
      for (let p = 0; p < 3; p += 1) data[p * N + i] = colour[p]! * (1 + noise * random.normal());
      sure[i] = part < 2 ? 1 : 0;
    }
  });
  return { data, sure, weight: Float32Array.from(sure) };
}

function taken(m: ReturnType<typeof made>): readonly number[] {
  takeShadowTint({ width: 80, height: N / 80, block: 4, data: m.data }, LIT, m.sure, m.weight, 1 / 16, 0.05);
  expect(Array.from(m.weight)).toEqual(Array.from(m.sure));
  return [0, 1, 2, 3].map((part) => m.sure.subarray(part * 1000, (part + 1) * 1000).reduce((t, v) => t + v, 0) / 1000);
}

// A quarter of the light, with more red than the lit screen: some .06 off its chromaticity.
const SHADE = LIT.colour.map((v, p) => 0.25 * v + (p === 0 ? 0.005 : 0));
const DEEPER = SHADE.map((v) => 0.5 * v);
const BROWN = [0.035, 0.05, 0.02];

describe('tint of the shadow', () => {
  it('takes the rest of the shadow in, darker or not, and no coat', () => {
    const [lit, shade, deeper, coat] = taken(made(SHADE, DEEPER, BROWN, 0.01));
    expect([lit, shade]).toEqual([1, 1]);
    expect(deeper).toBeGreaterThan(0.98);
    expect(coat).toBe(0);
  });

  it('takes nothing in where the dark screen has no one tint', () => {
    const m = made(SHADE, DEEPER, BROWN, 0.01);
    // Every other known pixel of the shadow is a greener or a redder one.
    for (let i = 1000; i < 2000; i += 1) m.data[i] = m.data[i]! * (i % 2 === 0 ? 2.2 : 0.1);
    expect(taken(m)).toEqual([1, 1, 0, 0]);
  });

  it('takes the shadow of a warmer fill in, which turns the cloth’s colour more than its own light does', () => {
    // Four fifths more red and two thirds of the blue: .14 off, 1.4 limits of a lit pixel.
    const warm = [0.25 * 0.05 * 1.8, 0.25 * 0.35, 0.25 * 0.09 * 0.65];
    const [, , deeper, coat] = taken(
      made(
        warm,
        warm.map((v) => 0.5 * v),
        BROWN,
        0.01,
      ),
    );
    expect(deeper).toBeGreaterThan(0.98);
    expect(coat).toBe(0);
  });

  it('takes nothing in where the dark screen is as far off towards grey, as a shaded coat is', () => {
    // The screen's light with a tenth of grey in it: .14 off as well.
    const grey = LIT.colour.map((v) => 0.25 * (0.9 * v + 0.035));
    const half = grey.map((v) => 0.5 * v);
    expect(taken(made(grey, half, BROWN, 0.01))).toEqual([1, 1, 0, 0]);
  });

  it('takes nothing in where the dark screen lies farther from the lit one than a fill turns it', () => {
    expect(taken(made(BROWN, BROWN, BROWN, 0.01))).toEqual([1, 1, 0, 0]);
  });

  it('takes nothing in of what is as bright as the screen or next to black', () => {
    const m = made(SHADE, DEEPER, BROWN, 0.01);
    for (let i = 2000; i < 3000; i += 1)
      for (let p = 0; p < 3; p += 1) m.data[p * N + i] = m.data[p * N + i]! * (i % 2 === 0 ? 0.3 : 4);
    expect(taken(m)[2]).toBe(0);
  });

  it('takes in a pocket that is darker than the read shadow and of another tint, and no thin line of it', () => {
    // A fifth as strong as the read shadow, .12 off its tint: not within the plain limit.
    const pocket = SHADE.map((v, p) => 0.4 * v + (p === 2 ? 0.0045 : 0));
    const rows = made(SHADE, pocket, BROWN, 0.01);
    // 80 pixels a row: 1000 of them are twelve rows and a half.
    expect(taken(rows)[2]).toBeGreaterThan(0.9);
    const line = made(SHADE, BROWN, BROWN, 0.01);
    for (let i = 2400; i < 2480; i += 1) for (let p = 0; p < 3; p += 1) line.data[p * N + i] = pocket[p]!;
    expect(taken(line)[2]).toBe(0);
  });
});
