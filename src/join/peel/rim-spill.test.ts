/** A made disc whose rim reads as partly screen: what is read of it, and what becomes of its soft edge. */
import { describe, expect, it } from 'vitest';
import type { FrameAnalysis } from './frame-analysis.js';
import { raiseRims, rimReading } from './rim-spill.js';

const W = 96, H = 72, N = W * H, R = 24;

/** A disc of radius R whose solid part reads `rim` within ten pixels of its edge and 1 further in; its edge is two pixels soft. */
function disc(rim: number): { analysis: FrameAnalysis; alpha: Float32Array; truth: Float32Array } {
  const fromScreen = new Float32Array(N), fromPerformer = new Float32Array(N), matte = new Float32Array(N), truth = new Float32Array(N);
  for (let y = 0, i = 0; y < H; y++) for (let x = 0; x < W; x++, i++) {
    const inside = R - Math.hypot(x - W / 2, y - H / 2);
    truth[i] = Math.min(1, Math.max(0, inside / 2));
    fromScreen[i] = Math.max(0, inside);
    fromPerformer[i] = Math.max(0, -inside);
    matte[i] = truth[i]! * (inside < 10 ? rim : 1);
  }
  const analysis = { small: { width: W, height: H, block: 1 }, fromScreen, fromPerformer, matte, occupied: true } as unknown as FrameAnalysis;
  return { analysis, alpha: matte.slice(), truth };
}
const edge = (d: { truth: Float32Array }): number[] => [...d.truth.keys()].filter((i) => d.truth[i]! > 0.05 && d.truth[i]! < 0.95);

describe('rims that read too thin', () => {
  it('are read inside the outline, and the soft edge beyond is brought up by it', () => {
    const d = disc(0.8), before = edge(d).map((i) => d.truth[i]! - d.alpha[i]!);
    raiseRims(d.alpha, W, H, d.analysis);
    const after = edge(d).map((i) => d.truth[i]! - d.alpha[i]!);
    const rms = (v: number[]): number => Math.sqrt(v.reduce((s, x) => s + x * x, 0) / v.length);
    // What lies within the colours' own variation stays: .8 is divided as .84.
    expect(rms(before)).toBeGreaterThan(0.1);
    expect(rms(after)).toBeLessThan(0.3 * rms(before));
    expect(Math.max(...d.alpha)).toBeLessThanOrEqual(1);
    expect(Math.max(...[...d.alpha.keys()].filter((i) => d.truth[i] === 0).map((i) => d.alpha[i]!))).toBe(0);
  });

  it('that read as they should, or nearly, change nothing', () => {
    for (const rim of [1, 0.97, 1.1]) {
      const d = disc(rim), was = d.alpha.slice();
      raiseRims(d.alpha, W, H, d.analysis);
      for (const i of edge(d)) expect(d.alpha[i]).toBe(was[i]);
    }
  });

  it('are not read off gaps and hair, nor where nobody stands', () => {
    const d = disc(0.5);
    expect(rimReading({ ...d.analysis, matte: d.analysis.matte.map((v) => Math.min(0.5, v)) })).toBeNull();
    const none = { ...d.analysis, occupied: false }, was = d.alpha.slice();
    raiseRims(d.alpha, W, H, none);
    expect(d.alpha).toEqual(was);
  });

  it('keep the highest cover of each block up with it', () => {
    const d = disc(0.8), highest = d.alpha.slice();
    raiseRims(d.alpha, W, H, d.analysis, highest);
    for (const i of edge(d)) expect(highest[i]).toBeCloseTo(d.alpha[i]!, 6);
  });
});
