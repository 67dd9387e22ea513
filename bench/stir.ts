/**
 * Stir against made truth: a patch that sways by a known amount, rate and direction on a body that drifts and
 * turns, with grain; and patches that do not stir.
 */
import { RandomStream } from '../src/core/random.js';
import { measureStir } from '../src/plate/stir/stir.js';
import type { BenchRow } from './rows.js';

const W = 240;
const H = 180;
const FRAMES = 60;

function* clip(seed: number, amplitude: number, hz: number, deg: number, grain: number): Generator<Float32Array> {
  const rng = new RandomStream(seed, 8);
  const u = (a: number, b: number): number => a + (b - a) * rng.uniform();
  const waves = Array.from({ length: 14 }, () => {
    const k = u(0.2, 1);
    const a = u(0, 6.28);
    return [k * Math.cos(a), k * Math.sin(a), u(0, 6.28), u(0.02, 0.06)] as const;
  });
  const drift = [u(-0.2, 0.2), u(-0.1, 0.1), u(-0.0015, 0.0015)] as const;
  const a = (deg * Math.PI) / 180;
  for (let t = 0; t < FRAMES; t++) {
    const noise = new RandomStream(seed, 100 + t);
    const f = new Float32Array(W * H);
    const sway = amplitude * Math.sin((2 * Math.PI * hz * t) / 24);
    const c = Math.cos(drift[2] * t);
    const s = Math.sin(drift[2] * t);
    for (let y = 0; y < H; y++)
      for (let x = 0; x < W; x++) {
        const px = x - 120 - drift[0] * t;
        const py = y - 90 - drift[1] * t;
        let p = c * px + s * py;
        let q = -s * px + c * py;
        const k = Math.max(0, Math.min(1, (45 - Math.abs(p)) / 10)) * Math.max(0, Math.min(1, (35 - Math.abs(q)) / 10));
        p -= k * sway * Math.cos(a);
        q -= k * sway * Math.sin(a);
        let v = 0.5;
        for (const w of waves) v += w[3] * Math.sin(w[0] * p + w[1] * q + w[2]);
        f[y * W + x] = v + grain * noise.normal();
      }
    yield f;
  }
}

export async function run(seed: number, full = false): Promise<BenchRow[]> {
  const rng = new RandomStream(seed, 71);
  const u = (a: number, b: number): number => a + (b - a) * rng.uniform();
  const amplitude: number[] = [];
  const rate: number[] = [];
  const direction: number[] = [];
  let falsely = 0;
  let inside = 0;
  let told = 0;
  const n = full ? 16 : 5;
  const ask = (frames: Iterable<Float32Array>): Parameters<typeof measureStir>[0] => ({
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
    bodyHeightPx: null,
  });
  for (let i = 0; i < n; i++) {
    const truth = { a: u(0.5, 2.5), hz: u(0.8, 4), deg: u(0, 180) };
    const s = await measureStir(ask(clip(seed * 50 + i, truth.a, truth.hz, truth.deg, 0.012)));
    amplitude.push(s.amplitudePx.value === null ? Infinity : 100 * Math.abs(s.amplitudePx.value / truth.a - 1));
    if (s.amplitudePx.value !== null) {
      told++;
      if (Math.abs(s.amplitudePx.value - truth.a) <= 2 * s.amplitudePx.sd!) inside++;
    }
    rate.push(s.rateHz.value === null ? Infinity : Math.abs(s.rateHz.value - truth.hz));
    direction.push(
      s.directionDeg.value === null ? Infinity : Math.abs(((s.directionDeg.value - truth.deg + 270) % 180) - 90),
    );
    const still = await measureStir(ask(clip(seed * 50 + i, 0, 1, 0, 0.02)));
    if (still.rateHz.value !== null || still.directionDeg.value !== null) falsely++;
  }
  const worst = (v: readonly number[]): number => Math.max(...v);
  const median = (v: readonly number[]): number => [...v].sort((p, q) => p - q)[v.length >> 1]!;
  return [
    {
      name: `stir: amplitude error, median of ${n} (no bar is set: own limits)`,
      ours: median(amplitude),
      bar: 10,
      goal: 5,
      unit: '%',
    },
    { name: 'stir: amplitude error, worst', ours: worst(amplitude), bar: 20, goal: 10, unit: '%' },
    {
      name: `stir: amplitudes within 2 stated sd, of ${told}`,
      ours: (100 * inside) / Math.max(1, told),
      bar: 90,
      goal: 95,
      unit: '%',
      better: 'high',
    },
    { name: 'stir: rate error, worst', ours: worst(rate), bar: 0.3, goal: 0.15, unit: 'Hz' },
    { name: 'stir: direction error, worst', ours: worst(direction), bar: 10, goal: 5, unit: 'deg' },
    { name: `stir: told where nothing but grain and the body move, of ${n}`, ours: falsely, bar: 0, goal: 0, unit: '' },
  ];
}
