/** A made patch that sways on a body which moves and turns itself; truth known. */
import { describe, expect, it } from 'vitest';
import { RandomStream } from '../../core/random.js';
import { measureStir } from './stir.js';

const W = 240;
const H = 180;

function texture(u: number, v: number): number {
  return (
    0.5 +
    0.11 * Math.sin(0.55 * u + 0.2 * v) +
    0.11 * Math.sin(0.5 * v - 0.25 * u + 1) +
    0.07 * Math.sin(0.9 * u + 0.8 * v + 2)
  );
}

/** Body drifts and turns; inside the middle rectangle a sway of `amplitude` px at `hz` along `deg` is added. */
function clip(count: number, amplitude: number, hz: number, deg: number, grain: number, seed: number): Float32Array[] {
  const a = (deg * Math.PI) / 180;
  return Array.from({ length: count }, (_, t) => {
    const rng = new RandomStream(seed, t);
    const sway = amplitude * Math.sin((2 * Math.PI * hz * t) / 24);
    const turn = 0.0012 * t;
    const c = Math.cos(turn);
    const s = Math.sin(turn);
    const f = new Float32Array(W * H);
    for (let y = 0; y < H; y++)
      for (let x = 0; x < W; x++) {
        const px = x - 120 - 0.15 * t;
        const py = y - 90 - 0.05 * t;
        let u = c * px + s * py;
        let v = -s * px + c * py;
        const k = Math.max(0, Math.min(1, (45 - Math.abs(u)) / 10)) * Math.max(0, Math.min(1, (35 - Math.abs(v)) / 10));
        u -= k * sway * Math.cos(a);
        v -= k * sway * Math.sin(a);
        f[y * W + x] = texture(u, v) + grain * rng.normal();
      }
    return f;
  });
}

const request = (frames: Float32Array[]): Parameters<typeof measureStir>[0] => ({
  frames,
  widthPx: W,
  heightPx: H,
  rate: { num: 24, den: 1 },
  firstFrame: 0,
  region: [
    [85, 65],
    [155, 65],
    [155, 115],
    [85, 115],
  ],
  bodyHeightPx: 150,
});

describe('stir', () => {
  it('finds direction, amplitude and rate of a sway on a body that drifts and turns', async () => {
    for (const [amplitude, hz, deg] of [
      [1.5, 2, 0],
      [0.8, 3, 60],
    ] as const) {
      const s = await measureStir(request(clip(48, amplitude, hz, deg, 0.01, 3)));
      expect(Math.abs(s.amplitudePx.value! / amplitude - 1)).toBeLessThan(0.08);
      expect(Math.abs(s.rateHz.value! - hz)).toBeLessThan(0.3);
      expect(Math.abs(((s.directionDeg.value! - deg + 270) % 180) - 90)).toBeLessThan(8);
      expect(s.shareOfHeight.value!).toBeCloseTo(s.amplitudePx.value! / 150, 6);
    }
  });

  it("does not take grain or the body's own turning for a stir", async () => {
    const s = await measureStir(request(clip(48, 0, 2, 0, 0.02, 4)));
    expect(s.rateHz.value).toBeNull();
    expect(s.amplitudePx.value!).toBeLessThan(0.15);
  });

  it('says why a short clip gives nothing', async () => {
    const s = await measureStir(request(clip(5, 1, 2, 0, 0, 5)));
    expect(s.amplitudePx.value).toBeNull();
    expect(s.amplitudePx.reason).toMatch(/12/);
  });
});
