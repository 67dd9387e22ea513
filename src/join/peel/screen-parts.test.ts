/** The kernels that say which parts of the small picture are screen after all, held to their plain twins. */
import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { RandomStream } from '../../core/random.js';
import { boxOf, boxOfPlain } from './matte-box.js';
import { softEdgeSums, softEdgeSumsPlain } from '../render/soft-edge.js';
import { type ScreenField } from './screen-field.js';
import { dropStrays, dropStraysPlain } from './screen-strays.js';
import { takeInSpecks, takeInSpecksPlain } from './screen-specks.js';
import { mendShadowEdges, mendShadowEdgesPlain } from './shadow-edge.js';
import { takeShadowFlecks, takeShadowFlecksPlain } from './shadow-flecks.js';
import { ownFloats } from './work-space.js';

const few = { numRuns: 20, seed: 5 };
const size = fc.record({
  w: fc.integer({ min: 5, max: 90 }),
  h: fc.integer({ min: 5, max: 60 }),
  seed: fc.integer({ min: 1, max: 1e6 }),
});

/** A green screen with shadows whose edges are soft, dark parts and specks, and a mask of what is near its colour. */
function scene(
  w: number,
  h: number,
  seed: number,
): { data: Float32Array; colour: Float32Array; sure: Uint8Array; excess: Float32Array } {
  const r = new RandomStream(seed),
    n = w * h,
    data = new Float32Array(3 * n),
    colour = new Float32Array(3 * n),
    sure = new Uint8Array(n),
    excess = new Float32Array(n);
  const lit = [0.1, 0.5, 0.12],
    light = new Float32Array(n).fill(1);
  // What is settled lies on either side of a slanting edge, whose own softness the screen's colour does not follow.
  const x0 = w * (0.3 + 0.4 * r.uniform()),
    slant = r.normal() / 2,
    soft = 0.3 + r.uniform();
  const away = (i: number): number => (i % w) - x0 - slant * (Math.floor(i / w) - h / 2);
  for (let i = 0; i < n; i++) light[i] = 0.45 + 0.55 / (1 + Math.exp(-away(i) / soft));
  for (let i = 0; i < n; i++)
    for (let c = 0; c < 3; c++) {
      colour[c * n + i] = lit[c]! * (away(i) > 0 ? 1 : 0.45);
      data[c * n + i] = lit[c]! * light[i]! * (1 + 0.02 * r.normal());
    }
  for (let k = 0; k < 6; k++) {
    const x0 = r.below(w),
      y0 = r.below(h),
      side = 1 + r.below(8),
      tint = r.uniform() < 0.5;
    for (let y = y0; y < Math.min(h, y0 + side); y++)
      for (let x = x0; x < Math.min(w, x0 + side); x++)
        for (let c = 0; c < 3; c++) data[c * n + y * w + x] = tint ? lit[c]! * 0.35 : 0.05 + 0.4 * r.uniform();
  }
  for (let i = 0; i < n; i++) {
    let off = 0,
      power = 0;
    for (let c = 0; c < 3; c++) {
      off += (data[c * n + i]! - colour[c * n + i]!) ** 2;
      power += colour[c * n + i]! ** 2;
    }
    excess[i] = Math.sqrt(off / power) / 0.3;
    sure[i] = excess[i]! < 1 && r.uniform() > 0.02 ? 1 : 0;
  }
  return { data, colour, sure, excess };
}

const same = (a: ArrayLike<number>, b: ArrayLike<number>): void => expect(Array.from(a)).toEqual(Array.from(b));

describe('parts that are screen after all, by kernel and plain', () => {
  it('edges of cast shadows are mended alike, and some are', () => {
    let mended = 0;
    fc.assert(
      fc.property(size, ({ w, h, seed }) => {
        const s = scene(w, h, seed),
          small = { width: w, height: h, block: 2, data: s.data };
        const field = (): ScreenField => ({ colour: s.colour.slice(), sure: s.sure.slice(), limit: 0.12, noise: 1e-5 });
        const a = field(),
          b = field(),
          changed = mendShadowEdges(small, a);
        expect(changed).toBe(mendShadowEdgesPlain(small, b));
        mended += changed;
        same(a.sure, b.sure);
        same(a.colour, b.colour);
      }),
      few,
    );
    expect(mended).toBeGreaterThan(0);
  });

  it('strays are dropped alike, and some are', () => {
    let dropped = 0;
    fc.assert(
      fc.property(size, ({ w, h, seed }) => {
        const s = scene(w, h, seed),
          small = { width: w, height: h, block: 2, data: s.data };
        const a = s.sure.slice(),
          b = s.sure.slice(),
          wa = Float32Array.from(a),
          wb = Float32Array.from(b);
        dropStrays(small, a, wa, 0.2, ownFloats);
        dropStraysPlain(small, b, wb, 0.2, ownFloats);
        same(a, b);
        same(wa, wb);
        for (let i = 0; i < a.length; i++) dropped += s.sure[i]! - a[i]!;
      }),
      few,
    );
    expect(dropped).toBeGreaterThan(0);
  });

  it('specks are taken alike, and some are', () => {
    let taken = 0;
    fc.assert(
      fc.property(size, ({ w, h, seed }) => {
        const s = scene(w, h, seed),
          a = s.sure.slice(),
          b = s.sure.slice();
        takeInSpecks(a, s.excess, w, h);
        takeInSpecksPlain(b, s.excess, w, h);
        same(a, b);
        for (let i = 0; i < a.length; i++) taken += a[i]! - s.sure[i]!;
      }),
      few,
    );
    expect(taken).toBeGreaterThan(0);
  });

  it('flecks of shadows are taken alike, and some are', () => {
    let taken = 0;
    fc.assert(
      fc.property(size, ({ w, h, seed }) => {
        // Of more than the usual size, so that a part of a few pixels is small enough.
        const W = w + 100,
          H = h + 60,
          s = scene(W, H, seed),
          small = { width: W, height: H, block: 2, data: s.data };
        const field = (): ScreenField => ({ colour: s.colour.slice(), sure: s.sure.slice(), limit: 0.12, noise: 1e-5 });
        const a = field(),
          b = field(),
          changed = takeShadowFlecks(small, a);
        expect(changed).toBe(takeShadowFlecksPlain(small, b));
        taken += changed;
        same(a.sure, b.sure);
        same(a.colour, b.colour);
      }),
      few,
    );
    expect(taken).toBeGreaterThan(0);
  });

  it('an outline is found equally soft', () => {
    fc.assert(
      fc.property(size, ({ w, h, seed }) => {
        const r = new RandomStream(seed),
          alpha = Float32Array.from({ length: w * h }, () => Math.min(1, Math.max(0, 1.4 * r.uniform() - 0.2)));
        const got = softEdgeSums(alpha, w, h),
          plain = softEdgeSumsPlain(alpha, w, h);
        expect(got.edge).toBe(plain.edge);
        expect(Math.abs(got.soft - plain.soft)).toBeLessThan(1e-4 * (1 + plain.soft));
      }),
      few,
    );
  });

  it('the box of a matte is the same', () => {
    fc.assert(
      fc.property(size, fc.integer({ min: 0, max: 3 }), ({ w, h, seed }, count) => {
        const r = new RandomStream(seed),
          alpha = new Float32Array(w * h),
          within = [r.below(3), r.below(3), w - r.below(2), h - r.below(2)] as const;
        for (let k = 0; k < count; k++) alpha[r.below(w * h)] = 0.5 + 0.5 * r.uniform();
        expect(boxOf(alpha, w, within, 0.002)).toEqual(boxOfPlain(alpha, w, within, 0.002));
      }),
      { ...few, numRuns: 60 },
    );
  });
});
