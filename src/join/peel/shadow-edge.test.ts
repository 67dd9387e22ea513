/**
 * A made screen with a hard dark shadow that takes more of the red than of the green, and a dark leg: the edge is
 * screen, the leg's is not.
 */
import { describe, expect, it } from 'vitest';
import { mendShadowEdges } from './shadow-edge.js';
import type { ScreenField } from './screen-field.js';

const W = 60,
  H = 30,
  N = W * H;
const LIT = [0.06, 0.4, 0.09],
  SHADOWED = [0.01, 0.06, 0.018],
  LEG = [0.015, 0.014, 0.013];

/**
 * Left of x = 24 lit, right of it shadowed, mixed between 22 and 26; with `leg` a dark body four pixels wide on the
 * border of light and shadow instead.
 */
function made(leg: boolean): { readonly data: Float32Array; readonly field: ScreenField } {
  const data = new Float32Array(3 * N),
    colour = new Float32Array(3 * N),
    sure = new Uint8Array(N);
  for (let i = 0; i < N; i++) {
    const x = i % W,
      t = Math.min(1, Math.max(0, (26 - x) / 4));
    // The smooth colour of a model in cells: it blends over eight pixels.
    const smooth = Math.min(1, Math.max(0, (28 - x) / 8));
    const body = leg && x >= 22 && x <= 26;
    const cover = body ? (x === 22 || x === 26 ? 0.5 : 1) : 0;
    for (let c = 0; c < 3; c++) {
      const screen = SHADOWED[c]! + (leg ? (x < 24 ? 1 : 0) : t) * (LIT[c]! - SHADOWED[c]!);
      data[c * N + i] = cover * LEG[c]! + (1 - cover) * screen;
      colour[c * N + i] = leg ? (x < 24 ? LIT[c]! : SHADOWED[c]!) : SHADOWED[c]! + smooth * (LIT[c]! - SHADOWED[c]!);
    }
    sure[i] = leg ? (body ? 0 : 1) : x < 22 || x > 27 ? 1 : 0;
    if (!leg && (x < 21 || x > 28)) for (let c = 0; c < 3; c++) colour[c * N + i] = data[c * N + i]!;
  }
  return { data, field: { colour, sure, limit: 0.05, noise: 1e-6 } };
}

describe('shadow edges on the screen', () => {
  it('are screen, in the colour that is seen', () => {
    const { data, field } = made(false);
    // All that was unsettled: columns 22 to 27.
    expect(mendShadowEdges({ width: W, height: H, block: 2, data }, field)).toBe(6 * H);
    for (let i = 0; i < N; i++) {
      expect(field.sure[i]).toBe(1);
      for (let c = 0; c < 3; c++)
        expect(Math.abs(field.colour[c * N + i]! - data[c * N + i]!)).toBeLessThan(0.2 * Math.hypot(...LIT));
    }
    const x = 24,
      i = 15 * W + x;
    expect(field.colour[N + i]).toBeCloseTo(data[N + i]!, 6);
  });

  it('leave a dark leg between light and shadow alone', () => {
    const { data, field } = made(true);
    const before = field.sure.slice(),
      colour = field.colour.slice();
    expect(mendShadowEdges({ width: W, height: H, block: 2, data }, field)).toBe(0);
    expect(field.sure).toEqual(before);
    expect(field.colour).toEqual(colour);
  });

  it('are screen where they hang on a body and chroma runs over them, and the body is none', () => {
    const { data, field } = made(false);
    const body = (i: number): boolean => i % W >= 18 && i % W <= 32 && i < 9 * W;
    const off: number[] = [];
    for (let i = 0; i < N; i++) {
      // Four pixels of it: what is as broad as a body's square is none.
      if (i % W === 22 || i % W === 27) field.sure[i] = 1;
      if (field.sure[i] === 0) {
        off.push(i);
        // Up to row 20 red runs over by 3 % of the lit screen's light: more than the first look's limit allows.
        if (i < 20 * W) data[i] = data[i]! + 0.012;
      }
      if (!body(i)) continue;
      for (let c = 0; c < 3; c++) data[c * N + i] = LEG[c]!;
      field.sure[i] = 0;
    }
    mendShadowEdges({ width: W, height: H, block: 2, data }, field);
    for (const i of off) expect(field.sure[i]).toBe(body(i) ? 0 : 1);
    for (let i = 0; i < N; i++) if (body(i)) expect(field.sure[i]).toBe(0);
  });
});
