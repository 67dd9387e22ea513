/** Shadows under a blue sky told from dark and grey fur, on a made ground whose texture is known. */
import { describe, expect, it } from 'vitest';
import { RandomStream } from '../../core/random.js';
import { readShade } from './cast-shade.js';

const W = 160,
  H = 120,
  N = W * H,
  GROUND = [0.52, 0.49, 0.42];

/** Ground in clumps, and a frame of it: shares of the light within the box, or a coat of its own with its hairs. */
function scene(
  rough: number,
  shares: readonly number[],
  fur: readonly number[] | null,
  hairs = 0.3,
): { lit: Float32Array; was: Float32Array } {
  const random = new RandomStream(3, 8),
    lit = new Float32Array(3 * N),
    was = new Float32Array(3 * N);
  for (let i = 0; i < N; i++) {
    const x = i % W,
      y = (i - x) / W,
      inside = x >= 50 && x < 110 && y >= 40 && y < 90;
    const ground = 1 + rough * Math.sin(0.9 * x + 2 * Math.sin(0.3 * y)) * Math.sin(0.7 * y),
      coat = 1 + hairs * random.normal();
    for (let p = 0; p < 3; p++) {
      const g = ground * GROUND[p]!,
        v = inside ? (fur === null ? shares[p]! * g : Math.max(0.005, coat * fur[p]!)) : g;
      was[p * N + i] = g;
      lit[p * N + i] = (Math.sqrt(v) + 0.006 * random.normal()) ** 2;
    }
  }
  return { lit, was };
}

function share({ lit, was }: { lit: Float32Array; was: Float32Array }): number {
  const { possible, odds } = readShade(lit, was, new Float32Array(N).fill(1), W, H),
    out = possible.map((v, i) => (v === 1 && odds[i]! < 0 ? 1 : 0));
  let sum = 0;
  for (let y = 48; y < 82; y++) for (let x = 58; x < 102; x++) sum += out[y * W + x]!;
  return sum / (34 * 44);
}

describe('a cast shadow', () => {
  it('is told where the sky lights it: red falls most, blue least', () => {
    expect(share(scene(0.25, [0.12, 0.16, 0.34], null))).toBeGreaterThan(0.95);
    expect(share(scene(0.25, [0.3, 0.3, 0.3], null))).toBeGreaterThan(0.95);
    // Without texture it may be less blue, and not as dark.
    expect(share(scene(0, [0.3, 0.34, 0.42], null))).toBeGreaterThan(0.95);
    expect(share(scene(0, [0.1, 0.14, 0.3], null))).toBeLessThan(0.05);
  });

  it('is no shadow where red is least lost, or green', () => {
    expect(share(scene(0.25, [0.5, 0.35, 0.25], null))).toBeLessThan(0.05);
    expect(share(scene(0.25, [0.3, 0.5, 0.3], null))).toBeLessThan(0.05);
  });

  it("is not seen in fur of the ground's own hue, dark or grey", () => {
    expect(
      share(
        scene(
          0.25,
          [],
          GROUND.map((g) => 0.4 * g),
        ),
      ),
    ).toBeLessThan(0.1);
    expect(share(scene(0.25, [], [0.14, 0.14, 0.14]))).toBeLessThan(0.1);
    expect(share(scene(0.25, [], [0.03, 0.03, 0.03]))).toBeLessThan(0.1);
  });

  it("is not seen in a smooth body of the ground's own hue that hides its texture, light as a thin shadow", () => {
    for (const light of [0.45, 0.6, 0.8]) {
      const body = GROUND.map((g) => light * g);
      expect(share(scene(0.16, [], body, 0))).toBeLessThan(0.1);
      // The same light with the ground's texture in it is a shadow.
      expect(share(scene(0.16, [light, light, light], null))).toBeGreaterThan(0.95);
    }
  });
});
