/**
 * Grain against the statistics it was asked for; patched frames code for code; relit discs by which side grows bright.
 */
import { describe, expect, it } from 'vitest';
import type { VideoFrame } from '../../media/types.js';
import { toCodedRgb } from '../../media/convert.js';
import { alignBox, cropFrame, patchFrame } from '../render/frame-box.js';
import { channelMix, grower, shapingTaps } from './grain.js';
import { relight } from '../light/relight.js';
import type { GrainModel } from '../types.js';

const model: GrainModel = {
  table: [
    { channel: 'luma', level: 0.1, sigma: 0.02, samples: 50 },
    { channel: 'luma', level: 0.9, sigma: 0.01, samples: 50 },
  ],
  autocorrelation: { x: [1, 0.55, 0.18, 0.05, 0], y: [1, 0.5, 0.15, 0.02, 0] },
  channelCorrelation: [0.6, 0.5, 0.55],
};

function field(
  g: ReturnType<typeof grower>,
  frame: number,
  box: readonly [number, number, number, number],
): Float32Array {
  const n = (box[2] - box[0]) * (box[3] - box[1]);
  const out = new Float32Array(3 * n),
    one = new Float32Array(n).fill(1);
  g.add(frame, box, out, () => one);
  return out;
}

describe('grain', () => {
  it('has the asked-for variance, autocorrelation and correlation between channels', () => {
    const w = 400,
      h = 300,
      n = w * h;
    const f = field(grower(model, 5), 3, [0, 0, w, h]);
    const at = (c: number, dx: number, dy: number, d: number): number => {
      let s = 0,
        k = 0;
      for (let y = 0; y < h - dy; y++)
        for (let x = 0; x < w - dx; x++) {
          s += f[c * n + y * w + x]! * f[d * n + (y + dy) * w + x + dx]!;
          k++;
        }
      return s / k;
    };
    expect(at(0, 0, 0, 0)).toBeCloseTo(1, 1);
    for (const [lag, want] of [
      [1, 0.55],
      [2, 0.18],
      [3, 0.05],
    ] as const)
      expect(Math.abs(at(0, lag, 0, 0) - want)).toBeLessThan(0.05);
    for (const [lag, want] of [
      [1, 0.5],
      [2, 0.15],
    ] as const)
      expect(Math.abs(at(1, 0, lag, 1) - want)).toBeLessThan(0.05);
    expect(Math.abs(at(0, 0, 0, 1) - 0.6)).toBeLessThan(0.04);
    expect(Math.abs(at(1, 0, 0, 2) - 0.55)).toBeLessThan(0.04);
  });
  it('is the same bytes for the same frame, whatever the box, and another draw on another frame', () => {
    const a = field(grower(model, 5), 7, [10, 20, 90, 80]),
      b = field(grower(model, 5), 7, [30, 40, 60, 70]),
      c = field(grower(model, 5), 8, [10, 20, 90, 80]);
    for (let y = 0; y < 30; y++) for (let x = 0; x < 30; x++) expect(b[y * 30 + x]).toBe(a[(y + 20) * 80 + x + 20]);
    let dot = 0;
    for (let i = 0; i < 4800; i++) dot += a[i]! * c[i]!;
    expect(Math.abs(dot / 4800)).toBeLessThan(0.15);
  });
  it('white noise needs one tap; the mix is a Cholesky factor', () => {
    expect([...shapingTaps([1, 0.01, 0])]).toEqual([1]);
    const [, b, c, d, e, f] = channelMix([0.6, 0.5, 0.55]);
    expect(b * b + c * c).toBeCloseTo(1, 9);
    expect(d * d + e * e + f * f).toBeCloseTo(1, 9);
    expect(b * d + c * e).toBeCloseTo(0.55, 9);
  });
});

describe('boxes of a frame', () => {
  const w = 32,
    h = 24;
  const make = (): VideoFrame => ({
    index: 0,
    widthPx: w,
    heightPx: h,
    chromaShift: [1, 1],
    chromaSite: [0, 0.5],
    layout: 'yuv',
    bitDepth: 8,
    hasAlpha: false,
    colour: { matrix: 'bt709', transfer: 'bt709', primaries: 'bt709', fullRange: false, assumed: false },
    planes: [
      Uint8Array.from({ length: w * h }, (_, i) => 16 + ((i * 37) % 219)),
      Uint8Array.from({ length: (w * h) / 4 }, (_, i) => 60 + ((i * 11) % 120)),
      Uint8Array.from({ length: (w * h) / 4 }, (_, i) => 60 + ((i * 7) % 120)),
    ],
  });
  it('cut out what is there', () => {
    const f = make(),
      box = alignBox([5, 3, 20, 17], f);
    expect(box).toEqual([4, 2, 20, 18]);
    const c = cropFrame(f, box);
    expect(c.widthPx).toBe(16);
    expect(c.planes[0]![0]).toBe(f.planes[0]![2 * w + 4]);
    expect(c.planes[1]![0]).toBe(f.planes[1]![1 * 16 + 2]);
  });
  it('laid back, pixels that nothing changed keep their code values', () => {
    const f = make(),
      before = f.planes.map((p) => p.slice());
    const box = alignBox([8, 8, 24, 20], f);
    const coded = toCodedRgb(cropFrame(f, box));
    const n = 16 * 12,
      changed = new Uint8Array(n);
    patchFrame(f, box, coded.data, changed);
    expect(f.planes.map((p) => [...p])).toEqual(before.map((p) => [...p]));
    changed[5 * 16 + 5] = 1;
    for (let c = 0; c < 3; c++) coded.data[c * n + 5 * 16 + 5] = 0.5;
    patchFrame(f, box, coded.data, changed);
    let differ = 0;
    f.planes[0]!.forEach((v, i) => {
      if (v !== before[0]![i]) {
        differ++;
        expect(i).toBe(13 * w + 13);
      }
    });
    expect(differ).toBe(1);
    expect(f.planes[0]![13 * w + 13]).toBe(Math.round(16 + 219 * 0.5));
  });
});

describe('relight', () => {
  const s = 120,
    n = s * s;
  const alpha = new Float32Array(n);
  for (let y = 0; y < s; y++) for (let x = 0; x < s; x++) alpha[y * s + x] = Math.hypot(x - 60, y - 60) < 45 ? 1 : 0;
  const planes = (): [Float32Array, Float32Array, Float32Array] => [
    alpha.map((a) => 0.4 * a),
    alpha.map((a) => 0.4 * a),
    alpha.map((a) => 0.4 * a),
  ];
  it('from one key to the same key changes nothing', () => {
    const p = planes();
    relight(
      p,
      alpha,
      s,
      s,
      { towards: [0.6, -0.5, -0.6244998], fill: [0.3, 0.3, 0.3] },
      { towards: [0.6, -0.5, -0.6244998], fill: [0.3, 0.3, 0.3] },
      1,
    );
    for (let i = 0; i < n; i++) expect(p[0][i]).toBeCloseTo(0.4 * alpha[i]!, 5);
  });
  it('a key moved from left to right brightens the right and darkens the left', () => {
    const p = planes();
    relight(
      p,
      alpha,
      s,
      s,
      { towards: [-0.8, 0, -0.6], fill: [0.3, 0.3, 0.3] },
      { towards: [0.8, 0, -0.6], fill: [0.3, 0.3, 0.3] },
      1,
    );
    expect(p[0][60 * s + 90]! / 0.4).toBeGreaterThan(1.2);
    expect(p[0][60 * s + 30]! / 0.4).toBeLessThan(0.83);
    expect(p[0][60 * s + 60]! / 0.4).toBeCloseTo(1, 1);
  });
});
