/**
 * The meter against ITU-R BS.1770's table and the cases of EBU Tech 3341 and 3342 (test/published/loudness.json),
 * their signals made here; the limiter on made peaks.
 */
import { readFileSync } from 'node:fs';
import { describe, expect, it } from 'vitest';
import { limitTruePeak, normaliseLoudness } from './limiter.js';
import { kWeighting, LoudnessMeter } from './loudness.js';

interface Published {
  kWeighting48k: { shelf: { b: number[]; a: number[] }; highPass: { b: number[]; a: number[] } };
  tech3341: {
    cases: {
      case: number;
      segments_dB_s: [number, number][];
      expected: { M?: number; S?: number; I?: number; tol_LU: number };
    }[];
  };
  truePeak: {
    cases: { case: number; freq: string; amplitude_FFS: number; phase_deg: number; expected_dBTP: number }[];
  };
  range: { cases: { tones_dBFS_20s_each: number[]; LRA: number }[] };
}
const published = JSON.parse(
  readFileSync(new URL('../../test/published/loudness.json', import.meta.url), 'utf8'),
) as Published;
const RATE = 48000;

/** Stereo 1 kHz tone segments: level in dB of per-channel peak, seconds. */
function tones(segments: readonly (readonly [number, number])[], rate = RATE): Float32Array {
  const parts: Float32Array[] = [];
  let t = 0;
  for (const [level, seconds] of segments) {
    const n = Math.round(seconds * rate);
    const a = Number.isFinite(level) ? 10 ** (level / 20) : 0;
    const p = new Float32Array(n * 2);
    for (let i = 0; i < n; i++, t++) p[2 * i] = p[2 * i + 1] = a * Math.sin((2 * Math.PI * 1000 * t) / rate);
    parts.push(p);
  }
  const all = new Float32Array(parts.reduce((s, p) => s + p.length, 0));
  let o = 0;
  for (const p of parts) {
    all.set(p, o);
    o += p.length;
  }
  return all;
}
function measure(samples: Float32Array, channels = 2, rate = RATE) {
  const m = new LoudnessMeter(rate, channels);
  // In uneven blocks, as a decoder hands them out.
  for (let i = 0; i < samples.length; i += 4801 * channels)
    m.add(samples.subarray(i, Math.min(samples.length, i + 4801 * channels)));
  return m.report();
}

describe('K-weighting', () => {
  it("derives the recommendation's 48 kHz table", () => {
    const [shelf, high] = kWeighting(48000);
    shelf.b.forEach((v, i) => expect(v).toBeCloseTo(published.kWeighting48k.shelf.b[i]!, 6));
    shelf.a.forEach((v, i) => expect(v).toBeCloseTo(published.kWeighting48k.shelf.a[i]!, 6));
    high.a.forEach((v, i) => expect(v).toBeCloseTo(published.kWeighting48k.highPass.a[i]!, 6));
  });
  it('reads -3.01 for a full-scale 997 Hz sine in one channel, at 48 and 44.1 kHz (BS.1770)', () => {
    for (const rate of [48000, 44100]) {
      const s = new Float32Array(rate * 10);
      for (let i = 0; i < rate * 5; i++) s[2 * i] = Math.sin((2 * Math.PI * 997 * i) / rate);
      expect(measure(s, 2, rate).integratedLufs).toBeCloseTo(-3.01, 1);
    }
  });
});

describe('EBU Tech 3341', () => {
  for (const c of published.tech3341.cases) {
    it(`case ${c.case}`, () => {
      const r = measure(tones(c.segments_dB_s));
      if (c.expected.I !== undefined)
        expect(Math.abs(r.integratedLufs! - c.expected.I)).toBeLessThanOrEqual(c.expected.tol_LU);
      if (c.expected.M !== undefined)
        expect(Math.abs(r.maxMomentaryLufs! - c.expected.M)).toBeLessThanOrEqual(c.expected.tol_LU);
      if (c.expected.S !== undefined)
        expect(Math.abs(r.maxShortTermLufs! - c.expected.S)).toBeLessThanOrEqual(c.expected.tol_LU);
    });
  }
  it('case 6: five channels', () => {
    const n = RATE * 20;
    const levels = [-28, -28, -24, -30, -30].map((l) => 10 ** (l / 20));
    const s = new Float32Array(n * 5);
    for (let i = 0; i < n; i++)
      for (let k = 0; k < 5; k++) s[5 * i + k] = levels[k]! * Math.sin((2 * Math.PI * 1000 * i) / RATE);
    expect(Math.abs(measure(s, 5).integratedLufs! + 23)).toBeLessThanOrEqual(0.1);
  });
  it('cases 10 and 13: short-term and momentary windows find what starts anywhere', () => {
    for (let i = 0; i < 20; i += 3) {
      expect(
        Math.abs(
          measure(
            tones([
              [-Infinity, i * 0.15],
              [-23, 3],
              [-Infinity, 1],
            ]),
          ).maxShortTermLufs! + 23,
        ),
      ).toBeLessThanOrEqual(0.1);
      expect(
        Math.abs(
          measure(
            tones([
              [-Infinity, i * 0.02],
              [-23, 0.4],
              [-Infinity, 1],
            ]),
          ).maxMomentaryLufs! + 23,
        ),
      ).toBeLessThanOrEqual(0.1);
    }
  });
  for (const c of published.truePeak.cases) {
    it(`case ${c.case}: true peak between samples`, () => {
      const div = Number(c.freq.split('/')[1]);
      const n = RATE;
      const fade = RATE * 0.01;
      const s = new Float32Array(n * 2);
      for (let i = 0; i < n; i++) {
        const g = Math.min(1, i / fade, (n - 1 - i) / fade);
        s[2 * i] = s[2 * i + 1] =
          g * c.amplitude_FFS * Math.sin((2 * Math.PI * i) / div + (c.phase_deg * Math.PI) / 180);
      }
      const d = measure(s).truePeakDbtp! - c.expected_dBTP;
      expect(d).toBeLessThanOrEqual(0.2);
      expect(d).toBeGreaterThanOrEqual(-0.4);
    });
  }
});

describe('EBU Tech 3342', () => {
  for (const c of published.range.cases) {
    it(`range of ${c.tones_dBFS_20s_each.join(', ')}`, () => {
      expect(
        Math.abs(measure(tones(c.tones_dBFS_20s_each.map((l) => [l, 20] as const))).rangeLu! - c.LRA),
      ).toBeLessThanOrEqual(1);
    });
  }
});

describe('limiter', () => {
  it('meets the target and keeps the ceiling, also between samples', () => {
    const s = tones([[-30, 5]]);
    for (let i = 0; i < 40; i++)
      for (let k = 0; k < 64; k++) {
        const at = (i * 5000 + k) * 2;
        s[at]! += 0.9 * Math.sin((2 * Math.PI * k) / 4 + Math.PI / 4);
        s[at + 1] = s[at]!;
      }
    const r = normaliseLoudness({ sampleRate: RATE, channels: 2, samples: s }, -23, -1);
    expect(r.truePeakDbtp!).toBeLessThanOrEqual(-0.95);
    expect(Math.abs(r.after! + 23)).toBeLessThan(0.2);
  });
  it('leaves quiet sound alone and does not change its input', () => {
    const s = tones([[-30, 1]]);
    const copy = s.slice();
    expect(limitTruePeak({ sampleRate: RATE, channels: 2, samples: s }, -1).samples).toEqual(copy);
    const loud = tones([[0, 1]]);
    limitTruePeak({ sampleRate: RATE, channels: 2, samples: loud }, -6);
    expect(Math.max(...loud.subarray(0, 1000))).toBeGreaterThan(0.9);
  });
  it('silence has no loudness', () => {
    expect(measure(new Float32Array(RATE * 4)).integratedLufs).toBeNull();
    expect(
      normaliseLoudness({ sampleRate: RATE, channels: 2, samples: new Float32Array(9600) }, -23, -1).after,
    ).toBeNull();
  });
});
