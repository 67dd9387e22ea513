/** Sound stretched along a curve: what is known of it beforehand. */
import { describe, expect, it } from 'vitest';
import { pacedSound } from './paced-sound.js';

const RATE = 48000;
const tone = (hz: number, seconds: number): Float32Array =>
  Float32Array.from({ length: Math.round(seconds * RATE) }, (_, i) => 0.5 * Math.sin((2 * Math.PI * hz * i) / RATE));

/** Frequency of a tone by the time of its rising zeros, Hz. */
function pitch(samples: Float32Array, from: number, to: number): number {
  const zeros: number[] = [];
  for (let i = from; i < to; i++) {
    const a = samples[i - 1]!,
      b = samples[i]!;
    if (a < 0 && b >= 0) zeros.push(i - 1 + a / (a - b));
  }
  return ((zeros.length - 1) * RATE) / (zeros[zeros.length - 1]! - zeros[0]!);
}

const rms = (s: Float32Array, from: number, to: number): number =>
  Math.sqrt(s.subarray(from, to).reduce((sum, v) => sum + v * v, 0) / (to - from));

describe('sound that follows a paced picture', () => {
  it('at its own speed is the source, sample for sample', () => {
    const source = tone(317, 1);
    const out = pacedSound({ channels: 1, samples: source }, (n) => n + 4800, 24000);
    for (let n = 0; n < 24000; n += 7) expect(out[n]).toBeCloseTo(source[n + 4800]!, 5);
  });

  it.each([0.5, 0.75, 1.3, 2])('keeps pitch and loudness of a tone at %f of its speed, both channels', (speed) => {
    const one = tone(220, 4),
      two = tone(220, 4).map((v) => -0.5 * v),
      both = new Float32Array(2 * one.length);
    for (let i = 0; i < one.length; i++) [both[2 * i], both[2 * i + 1]] = [one[i]!, two[i]!];
    const length = Math.floor((3.5 * RATE) / speed) - 4096;
    const out = pacedSound({ channels: 2, samples: both }, (n) => n * speed, length);
    const left = out.filter((_, i) => i % 2 === 0),
      right = out.filter((_, i) => i % 2 === 1);
    // Read by playing a record slower it would be 220 times the speed.
    expect(pitch(left, 4096, length - 4096)).toBeCloseTo(220, 0);
    expect(rms(left, 4096, length - 4096)).toBeCloseTo(0.5 / Math.SQRT2, 1);
    expect(rms(right, 4096, length - 4096) / rms(left, 4096, length - 4096)).toBeCloseTo(0.5, 2);
  });

  it('puts each syllable where the picture shows it, within half a frame at 24', () => {
    // Syllables of 80 ms every quarter of a second; at half speed up to between two of them, then at one and a half
    // times.
    const source = new Float32Array(4 * RATE),
      beats = [0.25, 0.5, 0.75, 1, 1.25, 1.5, 1.75],
      long = 0.08 * RATE;
    for (const t of beats)
      for (let i = 0; i < long; i++)
        source[Math.round(t * RATE - long / 2) + i] = 0.5 * Math.sin(i / 40) * Math.sin((Math.PI * i) / long);
    const map = (n: number): number => (n < 1.25 * RATE ? 0.5 * n : 0.625 * RATE + 1.5 * (n - 1.25 * RATE));
    const out = pacedSound({ channels: 1, samples: source }, map, 2 * RATE);
    for (const t of beats) {
      const shown = (t < 0.625 ? 2 * t : 1.25 + (t - 0.625) / 1.5) * RATE,
        // Half way to its neighbours, or less.
        reach = Math.round(0.08 * RATE);
      let energy = 0,
        moment = 0;
      for (let n = Math.round(shown) - reach; n < shown + reach; n++) {
        energy += (out[n] ?? 0) ** 2;
        moment += n * (out[n] ?? 0) ** 2;
      }
      expect(energy).toBeGreaterThan(20);
      expect(Math.abs(moment / energy - shown) / RATE).toBeLessThan(1 / 48);
    }
    // Between two syllables of the slow part nothing is heard.
    expect(rms(out, Math.round(0.65 * RATE), Math.round(0.85 * RATE))).toBeLessThan(1e-4);
  });

  it('is silent where the picture stands, runs backwards, or the source is at its end', () => {
    const source = { channels: 1, samples: tone(220, 1) };
    expect(
      rms(
        pacedSound(source, () => 12000, 24000),
        0,
        24000,
      ),
    ).toBe(0);
    expect(
      rms(
        pacedSound(source, (n) => 40000 - n, 24000),
        0,
        24000,
      ),
    ).toBe(0);
    expect(
      rms(
        pacedSound(source, (n) => n + 60000, 4800),
        0,
        4800,
      ),
    ).toBe(0);
  });
});
