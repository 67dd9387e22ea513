/**
 * Pictures with a known period, line or lone disc: shifts, labels and what counts as rare; melded copies against the
 * picture without the hole.
 */
import { describe, expect, it } from 'vitest';
import { RandomStream } from '../../core/random.js';
import { coverHole, labelOffsets } from './offset-labels.js';
import { meld } from './patch-meld.js';
import { repetition } from './patch-offsets.js';

const W = 96,
  H = 64,
  N = W * H;

/** A wall over a floor: fine grain on both, a dark skirting between them that falls by one in eight. */
function room(seed: number): Float32Array {
  const random = new RandomStream(seed),
    rgb = new Float32Array(3 * N);
  for (let y = 0; y < H; y++)
    for (let x = 0; x < W; x++) {
      const line = 24 + x / 8,
        base = y < line ? 0.7 : y < line + 5 ? 0.15 : 0.4,
        grain = 0.01 * random.normal();
      for (let c = 0; c < 3; c++) rgb[3 * (y * W + x) + c] = base + grain + 0.02 * c;
    }
  return rgb;
}

/** Centres of patches of 7 × 7 that are wholly known. */
function wholly(known: Uint8Array): Uint8Array {
  return Uint8Array.from(known, (_, i) => {
    const x = i % W,
      y = Math.floor(i / W);
    if (x < 3 || y < 3 || x >= W - 3 || y >= H - 3) return 0;
    for (let v = -3; v <= 3; v++) for (let u = -3; u <= 3; u++) if (known[i + v * W + u] === 0) return 0;
    return 1;
  });
}

const hole = new Uint8Array(N),
  known = new Uint8Array(N).fill(1);
for (let y = 20; y < 46; y++)
  for (let x = 36; x < 60; x++) {
    hole[y * W + x] = 1;
    known[y * W + x] = 0;
  }

describe('shifts by which a picture repeats itself', () => {
  it("are found: a pattern's period", () => {
    const rgb = new Float32Array(3 * N),
      random = new RandomStream(3),
      tile = Float32Array.from({ length: 16 * 12 * 3 }, () => random.uniform());
    for (let y = 0; y < H; y++)
      for (let x = 0; x < W; x++)
        for (let c = 0; c < 3; c++) rgb[3 * (y * W + x) + c] = tile[3 * ((y % 12) * 16 + (x % 16)) + c]!;
    const found = repetition(rgb, wholly(new Uint8Array(N).fill(1)), W, H, 8, new RandomStream(1)).offsets;
    expect(found.length).toBeGreaterThan(3);
    for (const { dx, dy } of found.slice(0, 4)) expect([Math.abs(dx) % 16, Math.abs(dy) % 12]).toEqual([0, 0]);
  });

  it('carry a slanting line through a hole', () => {
    const truth = room(5),
      rgb = truth.map((v, i) => (hole[Math.floor(i / 3)] !== 0 ? 0.5 : v));
    const offsets = coverHole(repetition(rgb, wholly(known), W, H, 60, new RandomStream(1)).offsets, hole, known, W, H),
      label = labelOffsets({ rgb, hole, known, width: W, height: H }, offsets);
    let wrong = 0,
      count = 0;
    for (let i = 0; i < N; i++) {
      if (hole[i] === 0) {
        expect(label[i]).toBe(-1);
        continue;
      }
      const { dx, dy } = offsets[label[i]!]!,
        from = i + dy * W + dx;
      expect(known[from]).toBe(1);
      count++;
      if (Math.abs(truth[3 * from]! - truth[3 * i]!) > 0.1) wrong++;
    }
    // The line takes 120 of the 624 pixels; a copy that is off by one row along it gets a fifth of these wrong.
    expect(wrong / count).toBeLessThan(0.06);
  });

  it('know what stands in it once: a disc among a pattern is rare, the pattern is not', () => {
    const rgb = new Float32Array(3 * N),
      random = new RandomStream(3),
      tile = Float32Array.from({ length: 16 * 12 * 3 }, () => 0.4 + 0.2 * random.uniform());
    const disc = (x: number, y: number): boolean => Math.hypot(x - 20, y - 32) < 6;
    for (let y = 0; y < H; y++)
      for (let x = 0; x < W; x++)
        for (let c = 0; c < 3; c++)
          rgb[3 * (y * W + x) + c] = disc(x, y) ? 0.95 - 0.02 * (y - 26) : tile[3 * ((y % 12) * 16 + (x % 16)) + c]!;
    const { rare } = repetition(rgb, wholly(known), W, H, 60, new RandomStream(1));
    let inside = 0,
      outside = 0,
      a = 0,
      b = 0;
    for (let y = 4; y < H - 4; y++)
      for (let x = 4; x < W - 4; x++) {
        if (disc(x, y)) {
          inside += rare[y * W + x]!;
          a++;
        } else if (Math.hypot(x - 20, y - 32) > 12 && (x < 30 || x > 66)) {
          outside += rare[y * W + x]!;
          b++;
        }
      }
    expect(inside / a).toBeGreaterThan(0.05);
    expect(outside / b).toBeLessThan(0.005);
    // Where a seam costs nothing either way, the copy comes from what is not dear.
    const flat = new Float32Array(3 * N).fill(0.5),
      dear = new Float32Array(N);
    for (let y = 0; y < H; y++) for (let x = 60; x < W; x++) dear[y * W + x] = 1;
    const shifts = [
      { dx: 30, dy: 0 },
      { dx: -30, dy: 0 },
    ];
    const label = labelOffsets({ rgb: flat, hole, known, width: W, height: H, dear }, shifts);
    for (let i = 0; i < N; i++) if (hole[i] !== 0) expect(label[i]).toBe(1);
  });

  it('are joined by others where none of them leads out of the hole', () => {
    const offsets = coverHole([{ dx: 5, dy: 0 }], hole, known, W, H);
    for (let i = 0; i < N; i++)
      if (hole[i] !== 0) expect(offsets.some(({ dx, dy }) => known[i + dy * W + dx] === 1)).toBe(true);
  });
});

describe('copies joined by their differences', () => {
  it('meet the border: a step of brightness between copies and picture goes, the detail stays', () => {
    const truth = new Float32Array(3 * N),
      random = new RandomStream(9);
    for (let i = 0; i < N; i++) {
      const g = 0.3 + 0.3 * ((i % W) / W) + 0.02 * random.normal();
      for (let c = 0; c < 3; c++) truth[3 * i + c] = g;
    }
    const rgb = truth.slice(),
      right = new Float32Array(3 * N),
      down = new Float32Array(3 * N),
      all = new Float32Array(N).fill(1);
    for (let i = 0; i < N; i++)
      for (let c = 0; c < 3; c++) {
        if (hole[i] !== 0) rgb[3 * i + c] = truth[3 * i + c]! + 0.1;
        if (i % W < W - 1) right[3 * i + c] = truth[3 * (i + 1) + c]! - truth[3 * i + c]!;
        if (i < N - W) down[3 * i + c] = truth[3 * (i + W) + c]! - truth[3 * i + c]!;
      }
    meld(rgb, hole, known, { right, down, rightWeight: all, downWeight: all }, W, H);
    let sum = 0,
      rim = 0,
      count = 0,
      rims = 0;
    for (let y = 20; y < 46; y++)
      for (let x = 36; x < 60; x++) {
        const e = (rgb[3 * (y * W + x)]! - truth[3 * (y * W + x)]!) ** 2;
        sum += e;
        count++;
        if (x === 36 || x === 59 || y === 20 || y === 45) {
          rim += e;
          rims++;
        }
      }
    expect(Math.sqrt(rim / rims)).toBeLessThan(0.015);
    // The middle leans to the voted colours: that is what holds it from drifting.
    expect(Math.sqrt(sum / count)).toBeLessThan(0.06);
  });
});
