/** A made patch that sways by 1.2 px twice a second: size and rate read, and which frames were looked at. */
import { describe, expect, it } from 'vitest';
import type { LumaSource } from '../ride/ride-source.js';
import { stirOfPlate, stirPlace } from './stir-of-plate.js';

const W = 240;
const H = 180;
const RATE = { num: 24, den: 1 };
const texture = (u: number, v: number): number =>
  0.5 +
  0.11 * Math.sin(0.55 * u + 0.2 * v) +
  0.11 * Math.sin(0.5 * v - 0.25 * u + 1) +
  0.07 * Math.sin(0.9 * u + 0.8 * v + 2);

/**
 * A patch round (120, 90) sways along the rows by 1.2 px, twice a second; `asked` collects the frames that were read.
 */
function source(frameCount: number, asked: number[]): LumaSource {
  const luma = Float32Array.from({ length: W * H }, (_, i) => texture(i % W, Math.floor(i / W)));
  return {
    widthPx: W,
    heightPx: H,
    frameCount,
    async *frames(from, to) {
      for (let t = from; t < Math.min(to, frameCount); t++) {
        asked.push(t);
        const sway = 1.2 * Math.sin((2 * Math.PI * 2 * t) / 24);
        for (let y = 55; y < 126; y++)
          for (let x = 75; x < 166; x++) {
            const k =
              Math.max(0, Math.min(1, (45 - Math.abs(x - 120)) / 10)) *
              Math.max(0, Math.min(1, (35 - Math.abs(y - 90)) / 10));
            luma[y * W + x] = texture(x - k * sway, y);
          }
        yield { index: t, luma };
      }
    },
  };
}
const region: [number, number][] = [
  [85, 65],
  [155, 65],
  [155, 115],
  [85, 115],
];

describe('stir of a plate', () => {
  it('takes the ridden region first, then the head, and nothing where neither is marked', () => {
    const head = { kind: 'head' as const, ellipse: [120, 90, 30, 20, 0] as [number, number, number, number, number] };
    const all = { in: 0, out: 100 };
    expect(stirPlace({ frame: 3, marks: [head, { kind: 'carry', frame: 7, region }] }, all)).toMatchObject({
      frame: 7,
      region,
    });
    expect(stirPlace({ frame: 3, marks: [head] }, all)!.region[0]).toEqual([150, 90]);
    expect(stirPlace({ frame: 3, marks: [] }, all)).toBeNull();
    expect(stirPlace({ frame: 3, marks: [head] }, { in: 10, out: 20 })).toBeNull();
  });
  it('reads at most three seconds, forwards, and backwards from the end, with the same answer', async () => {
    for (const at of [0, 119]) {
      const asked: number[] = [];
      const stir = (await stirOfPlate(
        source(120, asked),
        { frame: at, marks: [{ kind: 'carry', region, ground: [120, 170], top: [120, 50] }] },
        RATE,
        { in: 0, out: 120 },
      ))!;
      expect(new Set(asked).size).toBe(72);
      expect(Math.abs(stir.amplitudePx.value! / 1.2 - 1)).toBeLessThan(0.15);
      expect(Math.abs(stir.rateHz.value! - 2)).toBeLessThan(0.2);
      expect(stir.shareOfHeight.value!).toBeCloseTo(stir.amplitudePx.value! / 120, 6);
    }
  });
});
