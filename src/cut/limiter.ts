/**
 * True-peak limiter: brings a mix to a loudness target without letting the four-fold oversampled peak pass the ceiling.
 * A gain curve with look-ahead: the gain needed at each sample (from the oversampled magnitude), the minimum over the
 * look-ahead, smoothed by a raised-cosine window of the same length, so that the gain is down before the peak comes
 * (Giannoulis, Massberg & Reiss, "Digital Dynamic Range Compressor Design", JAES 2012, look-ahead limiting).
 */
import type { Sound } from '../media/types.js';
import { LoudnessMeter, OVERSAMPLING_PHASES } from './loudness.js';

/** Largest interpolated magnitude around each sample, over all channels. */
function oversampledMagnitude(sound: Sound): Float32Array {
  const { channels, samples } = sound;
  const n = samples.length / channels;
  const out = new Float32Array(n);
  for (let c = 0; c < channels; c++) {
    for (let i = 0; i < n; i++) {
      let m = Math.abs(samples[i * channels + c]!);
      for (const taps of OVERSAMPLING_PHASES) {
        let v = 0;
        // The filter's centre lies between its sixth and seventh tap.
        for (let k = 0; k < 12; k++) {
          const j = i + 6 - k;
          if (j >= 0 && j < n) v += taps[k]! * samples[j * channels + c]!;
        }
        v = Math.abs(v);
        if (v > m) m = v;
      }
      if (m > out[i]!) out[i] = m;
    }
  }
  return out;
}

/** Limits a copy of the sound so that its true peak stays at or below `ceilingDbtp`. */
export function limitTruePeak(sound: Sound, ceilingDbtp: number, lookAheadSeconds = 0.005): Sound {
  // The measured filter ripples by a few hundredths of a decibel after gain changes: aim a little lower.
  const ceiling = 10 ** ((ceilingDbtp - 0.1) / 20);
  const magnitude = oversampledMagnitude(sound);
  const n = magnitude.length;
  const gain = new Float32Array(n).fill(1);
  let any = false;
  for (let i = 0; i < n; i++)
    if (magnitude[i]! > ceiling) {
      gain[i] = ceiling / magnitude[i]!;
      any = true;
    }
  if (!any) return { ...sound, samples: sound.samples.slice() };
  const half = Math.max(8, Math.round(lookAheadSeconds * sound.sampleRate));
  const least = slidingMinimum(gain, half);
  const window = Float64Array.from(
    { length: 2 * half + 1 },
    (_, k) => 0.5 + 0.5 * Math.cos((Math.PI * (k - half)) / (half + 1)),
  );
  const total = window.reduce((a, b) => a + b, 0);
  const samples = sound.samples.slice();
  for (let i = 0; i < n; i++) {
    let g = 1;
    if (least[i]! < 1 || least[Math.max(0, i - half)]! < 1 || least[Math.min(n - 1, i + half)]! < 1) {
      let sum = 0;
      for (let k = -half; k <= half; k++) sum += window[k + half]! * least[i + k < 0 ? 0 : i + k >= n ? n - 1 : i + k]!;
      g = sum / total;
    }
    for (let c = 0; c < sound.channels; c++) samples[i * sound.channels + c]! *= g;
  }
  return { ...sound, samples };
}

/** Minimum over ± radius, by a monotone queue. */
function slidingMinimum(values: Float32Array, radius: number): Float32Array {
  const n = values.length;
  const out = new Float32Array(n);
  const queue = new Int32Array(n);
  let head = 0;
  let tail = 0;
  for (let i = 0; i < n + radius; i++) {
    if (i < n) {
      while (tail > head && values[queue[tail - 1]!]! >= values[i]!) tail--;
      queue[tail++] = i;
    }
    const at = i - radius;
    if (at >= 0) {
      while (queue[head]! < at - radius) head++;
      out[at] = values[queue[head]!]!;
    }
  }
  return out;
}

/** The sound brought to a loudness, with the integrated loudness (LUFS; null: too quiet) before and after. */
export interface NormaliseResult {
  readonly sound: Sound;
  readonly gainDb: number;
  readonly before: number | null;
  readonly after: number | null;
  readonly truePeakDbtp: number | null;
}

function measure(sound: Sound): { i: number | null; tp: number | null } {
  const meter = new LoudnessMeter(sound.sampleRate, sound.channels);
  meter.add(sound.samples);
  const r = meter.report();
  return { i: r.integratedLufs, tp: r.truePeakDbtp };
}

/**
 * Gain to the loudness target, then the limiter; once more where limiting took loudness away. Silence stays silence.
 */
export function normaliseLoudness(sound: Sound, targetLufs: number, ceilingDbtp: number): NormaliseResult {
  const before = measure(sound).i;
  if (before === null) return { sound, gainDb: 0, before: null, after: null, truePeakDbtp: null };
  let gainDb = targetLufs - before;
  let result = sound;
  for (let round = 0; round < 3; round++) {
    const g = 10 ** (gainDb / 20);
    result = limitTruePeak({ ...sound, samples: sound.samples.map((v) => v * g) }, ceilingDbtp);
    const now = measure(result).i;
    if (now === null || Math.abs(now - targetLufs) < 0.05) break;
    gainDb += targetLufs - now;
  }
  const end = measure(result);
  return { sound: result, gainDb, before, after: end.i, truePeakDbtp: end.tp };
}
