/** Bricks and gravel with a hole: the fill against the picture without it, beside a smooth fill. */
import { describe, expect, it } from 'vitest';
import { psnrDb } from '../../image/compare.js';
import { pushPull } from '../../image/push-pull.js';
import { RandomStream } from '../../core/random.js';
import { synthesisePatches } from './patch-synthesis.js';

const W = 112,
  H = 96;

/** A paved wall: courses of bricks with seams, in three channels. */
function bricks(): Float32Array[] {
  const out = [0, 1, 2].map(() => new Float32Array(W * H));
  for (let y = 0; y < H; y++)
    for (let x = 0; x < W; x++) {
      const course = Math.floor(y / 12),
        seam = y % 12 < 2 || (x + (course % 2) * 12) % 24 < 2;
      for (let c = 0; c < 3; c++) out[c]![y * W + x] = seam ? 0.75 : [0.5, 0.3, 0.22][c]!;
    }
  return out;
}

function box(x0: number, y0: number, x1: number, y1: number): Uint8Array {
  const out = new Uint8Array(W * H);
  for (let y = y0; y < y1; y++) for (let x = x0; x < x1; x++) out[y * W + x] = 1;
  return out;
}

describe('patch synthesis', () => {
  const truth = bricks(),
    hole = box(40, 30, 72, 66);
  const known = Uint8Array.from(hole, (v) => 1 - v);
  const holed = truth.map((p) => p.map((v, i) => (hole[i] === 0 ? v : 0)));

  it("goes on with a pattern where a smooth fill can't", () => {
    const got = synthesisePatches(holed, hole, known, W, H, { seed: 3 });
    const smooth = pushPull(holed, Float32Array.from(known), W, H);
    const ours = psnrDb(got[0]!, truth[0]!, hole),
      plain = psnrDb(smooth[0]!, truth[0]!, hole);
    expect(plain).toBeLessThan(22);
    expect(ours).toBeGreaterThan(plain + 6);
  });

  it('leaves all other pixels as they are and gives the same twice', () => {
    const a = synthesisePatches(holed, hole, known, W, H, { seed: 3 }),
      b = synthesisePatches(holed, hole, known, W, H, { seed: 3 });
    for (let c = 0; c < 3; c++) {
      expect(a[c]).toEqual(b[c]);
      expect(a[c]!.every((v, i) => hole[i] !== 0 || v === holed[c]![i])).toBe(true);
    }
  });

  it('fills smoothly where there is nothing to copy from', () => {
    // Known is one column at the edge: no whole patch.
    const strip = new Uint8Array(W * H),
      rest = new Uint8Array(W * H);
    for (let i = 0; i < W * H; i++) {
      strip[i] = i % W < 2 ? 1 : 0;
      rest[i] = 1 - strip[i]!;
    }
    const got = synthesisePatches(
      [0, 1, 2].map(() => new Float32Array(W * H).fill(0.4)),
      rest,
      strip,
      W,
      H,
    );
    expect(got[1]!.every((v) => Math.abs(v - 0.4) < 1e-4)).toBe(true);
  });

  it('takes nothing from where it may not', () => {
    const marked = truth.map((p) => p.slice());
    const forbidden = box(0, 0, W, 24);
    for (let i = 0; i < W * H; i++)
      if (forbidden[i] !== 0) {
        marked[0]![i] = 1;
        marked[1]![i] = 0;
        marked[2]![i] = 1;
      }
    const allowed = Uint8Array.from(forbidden, (v) => 1 - v);
    const got = synthesisePatches(marked, hole, known, W, H, { seed: 5, sources: allowed });
    let magenta = 0;
    for (let i = 0; i < W * H; i++) if (hole[i] !== 0 && got[0]![i]! > 0.85 && got[1]![i]! < 0.2) magenta++;
    expect(magenta).toBe(0);
  });

  it('is not thrown off by noise', () => {
    const random = new RandomStream(9);
    const noisy = holed.map((p) => p.map((v) => v + 0.01 * random.normal()));
    const got = synthesisePatches(noisy, hole, known, W, H, { seed: 3 });
    expect(psnrDb(got[1]!, truth[1]!, hole)).toBeGreaterThan(22);
  });

  it('keeps rough ground rough beside a smooth piece of the same brightness', () => {
    // Gravel with a path through it: voting alone settles on the path, whose patches miss any gravel least.
    const random = new RandomStream(4, 1),
      n = W * H,
      gravel = new Float32Array(n);
    for (let i = 0; i < n; i++) gravel[i] = i % W > 88 ? 0.5 : 0.5 + 0.25 * (2 * random.uniform() - 1);
    const gap = box(24, 28, 64, 70),
      rest = Uint8Array.from(gap, (v) => 1 - v),
      planes = [0, 1, 2].map(() => gravel.map((v, i) => (gap[i] === 0 ? v : 0)));
    const got = synthesisePatches(planes, gap, rest, W, H, { seed: 2 })[1]!;
    const detail = (p: Float32Array): number => {
      let sum = 0,
        k = 0;
      for (let i = 1; i < n; i++)
        if (gap[i] !== 0 && gap[i - 1] !== 0) {
          sum += Math.abs(p[i]! - p[i - 1]!);
          k++;
        }
      return sum / k;
    };
    expect(detail(got) / detail(gravel)).toBeGreaterThan(0.6);
  });
});
