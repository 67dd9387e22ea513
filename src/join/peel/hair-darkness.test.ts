/**
 * A made body whose hairs and shadow on the screen are known: what is told apart, and what the screen's mean becomes by
 * it.
 */
import { describe, expect, it } from 'vitest';
import { RandomStream } from '../../core/random.js';
import { hairDarkness } from './hair-darkness.js';
import { buildScreenModel } from './screen-model.js';
import type { SmallLinear } from './small-linear.js';

const W = 320;
const H = 180;
const N = W * H;
const SCREEN = [0.05, 0.35, 0.09] as const;

interface Made {
  readonly small: SmallLinear;
  /** The performer's share of each pixel. */
  readonly alpha: Float32Array;
  /** Light left of the screen's by the shadow. */
  readonly left: Float32Array;
}

/**
 * A disk of `coat` with `hairs` straight one-pixel hairs, and a soft shadow that starts under it and reaches `reach` px
 * down.
 */
function made(coat: readonly number[], hairs: number, reach: number, noise: number, seed: number): Made {
  const random = new RandomStream(seed, 5);
  const alpha = new Float32Array(N);
  const left = new Float32Array(N).fill(1);
  const [cx, cy, r] = [160, 80, 40];
  for (let k = 0; k < hairs; k += 1) {
    const a = 6.2832 * random.uniform();
    const lean = a + 0.4 * (random.uniform() - 0.5);
    const long = 3 + 3 * random.uniform();
    for (let t = -1; t < long; t += 0.25) {
      const x = cx + r * Math.cos(a) + t * Math.cos(lean);
      const y = cy + r * Math.sin(a) + t * Math.sin(lean);
      const i = Math.floor(y) * W + Math.floor(x);
      alpha[i] = Math.min(1, alpha[i]! + 0.1 * (1 - t / long));
    }
  }
  for (let y = 0, i = 0; y < H; y += 1)
    for (let x = 0; x < W; x += 1, i += 1) {
      const out = Math.hypot(x + 0.5 - cx, y + 0.5 - cy) - r;
      alpha[i] = Math.max(alpha[i]!, Math.min(1, Math.max(0, 0.5 - out)));
      const s = Math.hypot((x - cx) / (0.7 * r), (y - cy - r) / reach);
      left[i] = 1 - 0.5 * Math.min(1, Math.max(0, (1.3 - s) / 0.6));
    }
  const data = new Float32Array(3 * N);
  for (let i = 0; i < N; i += 1)
    for (let p = 0; p < 3; p += 1)
      data[p * N + i] =
        (alpha[i]! * coat[p]! + (1 - alpha[i]!) * SCREEN[p]! * left[i]!) * (1 + noise * random.normal());
  return { small: { width: W, height: H, block: 2, data }, alpha, left };
}

/** Screen as a peel would take it: the screen's chromaticity, whatever its brightness. */
function passes({ small: { data } }: Made): Uint8Array {
  const power = SCREEN.reduce((t, v) => t + v * v, 0);
  return Uint8Array.from({ length: N }, (_, i) => {
    const s = SCREEN.reduce((t, v, p) => t + v * data[p * N + i]!, 0) / power;
    const off = Math.sqrt(SCREEN.reduce((t, v, p) => t + (data[p * N + i]! - s * v) ** 2, 0) / power);
    return s > 0.25 && off < 0.08 * s ? 1 : 0;
  });
}

const BLACK = [0.012, 0.011, 0.01];
const TAN = [0.4, 0.3, 0.18];

function shareTold(m: Made, of: (i: number) => boolean): { told: number; count: number } {
  const sure = passes(m);
  const hairs = hairDarkness(m.small, sure);
  let told = 0;
  let count = 0;
  for (let i = 0; i < N; i += 1) {
    if (sure[i] === 0 || !of(i)) continue;
    count += 1;
    told += hairs[i]!;
  }
  return { told: told / count, count };
}

describe('darkness of hairs', () => {
  it.each([1, 2])('tells a black coat’s hairs, seed %d', (seed) => {
    const m = made(BLACK, 700, 0.01, 0.01, seed);
    const { told, count } = shareTold(m, (i) => m.alpha[i]! > 0.15 && m.alpha[i]! < 0.6);
    expect(count).toBeGreaterThan(200);
    expect(told).toBeGreaterThan(0.75);
  });

  it.each([1, 2])('leaves a pale body its close shadow, whatever the noise, seed %d', (seed) => {
    for (const noise of [0.005, 0.04]) {
      const m = made(TAN, 0, 14, noise, seed);
      const { told, count } = shareTold(m, (i) => m.alpha[i] === 0 && m.left[i]! < 0.8);
      expect(count).toBeGreaterThan(400);
      expect(told).toBeLessThan(0.1);
    }
  });

  it('leaves a black body without hairs most of its close shadow', () => {
    const m = made(BLACK, 0, 14, 0.01, 3);
    expect(shareTold(m, (i) => m.alpha[i] === 0 && m.left[i]! < 0.8).told).toBeLessThan(0.2);
  });

  it('tells nothing where there is no body', () => {
    const m = made(BLACK, 0, 14, 0.02, 1);
    expect(hairDarkness(m.small, new Uint8Array(N).fill(1)).every((v) => v === 0)).toBe(true);
  });

  it('keeps hairs that do not move out of the screen’s mean, and the shadow in it', () => {
    const takes = [1, 2, 3, 4].map((k) => {
      const still = made(BLACK, 700, 14, 0, 7);
      const random = new RandomStream(k, 9);
      return {
        ...still,
        small: { ...still.small, data: still.small.data.map((v) => v * (1 + 0.01 * random.normal())) },
      };
    });
    const { map } = buildScreenModel(
      takes.map((t) => t.small),
      null,
      'green',
    );
    const { alpha, left } = takes[0]!;
    const off = (of: (i: number) => boolean): number => {
      let sum = 0;
      let count = 0;
      for (let i = 0; i < N; i += 1)
        if (of(i)) {
          sum += map![N + i]! / (SCREEN[1] * left[i]!) - 1;
          count += 1;
        }
      return sum / count;
    };
    // Hairs on the lit side: 25 % and more of the light is theirs.
    expect(Math.abs(off((i) => i < 70 * W && alpha[i]! > 0.25 && alpha[i]! < 0.6))).toBeLessThan(0.08);
    expect(Math.abs(off((i) => alpha[i] === 0 && left[i]! < 0.8))).toBeLessThan(0.05);
  });
});
