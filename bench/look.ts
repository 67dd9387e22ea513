/**
 * Grain, sharpness and motion blur against made truth. `npx tsx bench/look.ts [seeds]`, seeds as 1,2,3.
 * Bars: grain sigma within 5 %, half radius within 0.2 px, MTF50 within 5 %, blur length within 10 %.
 */
import { GrainMeter } from '../src/plate/look/grain.js';
import { motionBlurOf } from '../src/plate/look/motion-blur.js';
import { findEdges } from '../src/plate/look/slanted-edges.js';
import { sharpnessOf } from '../src/plate/look/sharpness.js';
import type { BenchRow } from './rows.js';
import { grained, grainLaw, scene, squares } from './made-look.js';

export interface LookRow {
  readonly what: string;
  readonly bar: number;
  readonly errors: number[];
}

function benchLook(seeds: readonly number[]): LookRow[] {
  const rows: LookRow[] = [
    { what: 'grain sigma, still (share)', bar: 0.05, errors: [] },
    { what: 'grain sigma, panning (share)', bar: 0.05, errors: [] },
    { what: 'grain half radius, still (px)', bar: 0.2, errors: [] },
    { what: 'grain half radius, panning (px)', bar: 0.2, errors: [] },
    { what: 'MTF50 (share)', bar: 0.05, errors: [] },
    { what: 'blur length (share)', bar: 0.1, errors: [] },
    { what: 'blur direction (deg)', bar: 5, errors: [] },
  ];
  for (const seed of seeds) {
    for (const spread of [0, 0.6, 1, 1.6]) {
      for (const pan of [0, 1]) {
        const m = new GrainMeter();
        const w = 480;
        const h = 320;
        const vx = pan * (2.3 + (seed % 3));
        const vy = pan * 0.4;
        // Six pairs, as many as measureLook looks at.
        for (let k = 0; k < 6; k++)
          m.add(
            grained(scene(seed, w, h, 0, 0), w, h, 0.016, spread, 0.5, seed, 2 * k),
            grained(scene(seed, w, h, vx, vy), w, h, 0.016, spread, 0.5, seed, 2 * k + 1),
            [vx, vy],
          );
        const g = m.result([0, 1]).grain;
        for (const r of g.table)
          if (r.channel === 'g' && r.samples > 20 * 256) rows[pan]!.errors.push(r.sigma / grainLaw(r.level, 0.016) - 1);
        // Noise blurred by a Gaussian of sd s: autocorrelation exp(−d²/4s²), half at 2 s √ln 2.
        rows[2 + pan]!.errors.push((g.correlationPx.value ?? NaN) - 2 * spread * Math.sqrt(Math.LN2));
      }
    }
    for (const s of [0.6, 0.8, 1.2, 1.8]) {
      const e = findEdges(squares(seed, 720, 450, s, 0, 0, 0.004), 720, 450);
      const v = sharpnessOf(e, [0, 0]).mtf50.value;
      rows[4]!.errors.push(v === null ? NaN : v / (Math.sqrt(Math.LN2 / 2) / (Math.PI * s)) - 1);
    }
    for (const length of [4, 7, 12]) {
      const deg = (seed * 47 + length * 13) % 180;
      const e = findEdges(squares(seed, 720, 450, 0.7, length, deg, 0.004), 720, 450);
      const b = motionBlurOf({
        edges: e,
        frames: [0, 0],
        motionPx: [2 * length * Math.cos((deg * Math.PI) / 180), 2 * length * Math.sin((deg * Math.PI) / 180)],
      });
      rows[5]!.errors.push(b.lengthPx.value === null ? NaN : b.lengthPx.value / length - 1);
      const d = b.directionDeg.value === null ? NaN : ((((b.directionDeg.value - deg + 90) % 180) + 180) % 180) - 90;
      rows[6]!.errors.push(d);
    }
  }
  return rows;
}

const UNITS: Record<string, { unit: string; times: number; goal: number | null }> = {
  share: { unit: '%', times: 100, goal: 0.5 },
  px: { unit: 'px', times: 1, goal: 0.5 },
  deg: { unit: 'deg', times: 1, goal: 0.5 },
};

/** Median and 90th percentile of the absolute error of every kind; what was not measured counts as infinitely wrong. */
export async function run(seed: number, full = false): Promise<BenchRow[]> {
  const rows = benchLook(full ? [seed, seed + 1, seed + 2, seed + 3] : [seed, seed + 1]);
  return rows.flatMap((r) => {
    const kind = /\((\w+)\)$/.exec(r.what)?.[1] ?? 'share';
    const u = UNITS[/MTF50|blur length/.test(r.what) ? 'share' : kind]!;
    const sorted = r.errors.map((e) => (Number.isFinite(e) ? Math.abs(e) : Infinity)).sort((a, b) => a - b);
    const at = (p: number): number => u.times * sorted[Math.min(sorted.length - 1, Math.floor(p * sorted.length))]!;
    const bar = u.times * r.bar;
    return [
      { name: `look: ${r.what}, median of ${sorted.length}`, ours: at(0.5), bar, goal: null, unit: u.unit },
      { name: `look: ${r.what}, 90th percentile`, ours: at(0.9), bar, goal: null, unit: u.unit },
    ];
  });
}

if (process.argv[1]?.endsWith('look.ts') || process.argv[1]?.endsWith('look.js')) {
  const seeds = (process.argv[2] ?? '11,12,13').split(',').map(Number);
  for (const r of benchLook(seeds)) {
    const ok = r.errors
      .filter((e) => Number.isFinite(e))
      .map(Math.abs)
      .sort((p, q) => p - q);
    const at = (p: number): string => (ok[Math.min(ok.length - 1, Math.floor(p * ok.length))] ?? NaN).toFixed(3);
    console.log(
      `${r.what.padEnd(34)} median ${at(0.5)}  p90 ${at(0.9)}  worst ${at(1)}  ` +
        `within bar ${ok.filter((e) => e <= r.bar).length}/${r.errors.length}  (bar ${r.bar})`,
    );
  }
}
