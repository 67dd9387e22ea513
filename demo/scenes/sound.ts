// The film's sound, made from nothing: wind, the tram and its bell, steps, rain, the punch, and a waltz for a music
// box.

import { writeFileSync } from 'node:fs';

import { EDIT } from './film.js';
import { seeded } from './random.js';

const RATE = 48000;

/** 16-bit PCM WAV of equally long channels, −1..1. */
function writeWav(path: string, channels: readonly Float32Array[]): void {
  const length = channels[0]?.length ?? 0;
  const bytes = Buffer.alloc(44 + length * channels.length * 2);
  bytes.write('RIFF', 0, 'latin1');
  bytes.writeUInt32LE(bytes.length - 8, 4);
  bytes.write('WAVEfmt ', 8, 'latin1');
  bytes.writeUInt32LE(16, 16);
  bytes.writeUInt16LE(1, 20);
  bytes.writeUInt16LE(channels.length, 22);
  bytes.writeUInt32LE(RATE, 24);
  bytes.writeUInt32LE(RATE * channels.length * 2, 28);
  bytes.writeUInt16LE(channels.length * 2, 32);
  bytes.writeUInt16LE(16, 34);
  bytes.write('data', 36, 'latin1');
  bytes.writeUInt32LE(length * channels.length * 2, 40);
  for (let i = 0; i < length; i++) {
    channels.forEach((c, k) =>
      bytes.writeInt16LE(Math.round(Math.max(-1, Math.min(1, c[i] ?? 0)) * 32000), 44 + (i * channels.length + k) * 2),
    );
  }
  writeFileSync(path, bytes);
}

/** Adds a struck tone: partials with their own decay. */
function strike(
  to: Float32Array,
  atS: number,
  hz: number,
  level: number,
  partials: readonly (readonly [number, number, number])[],
): void {
  const from = Math.round(atS * RATE);
  for (const [ratio, gain, decayS] of partials) {
    const n = Math.min(to.length - from, Math.round(decayS * 6 * RATE));
    const w = (2 * Math.PI * hz * ratio) / RATE;
    for (let i = Math.max(0, -from); i < n; i++) {
      const attack = Math.min(1, i / (0.002 * RATE));
      to[from + i] = (to[from + i] ?? 0) + level * gain * attack * Math.exp(-i / (decayS * RATE)) * Math.sin(w * i);
    }
  }
}

const CELESTA = [
  [1, 1, 0.5],
  [2.99, 0.22, 0.22],
  [5.04, 0.08, 0.09],
] as const;
const PLUCK = [
  [1, 1, 0.28],
  [2, 0.4, 0.16],
  [3, 0.16, 0.1],
] as const;
const BELL = [
  [1, 1, 0.55],
  [2.41, 0.55, 0.4],
  [3.9, 0.3, 0.22],
  [5.6, 0.12, 0.12],
] as const;
const CLICK = [
  [1, 1, 0.006],
  [2.7, 0.8, 0.004],
  [5.1, 0.6, 0.003],
] as const;

const hz = (midi: number): number => 440 * 2 ** ((midi - 69) / 12);

// A waltz in F of sixteen bars; 0 = rest. MIDI numbers, three beats a bar.
const MELODY: readonly (readonly number[])[] = [
  [69, 72, 77],
  [76, 0, 74],
  [72, 69, 72],
  [70, 0, 0],
  [67, 70, 74],
  [72, 0, 70],
  [69, 65, 69],
  [67, 0, 0],
  [69, 72, 77],
  [81, 0, 79],
  [77, 74, 70],
  [74, 0, 72],
  [70, 74, 72],
  [69, 0, 67],
  [65, 69, 72],
  [77, 0, 0],
];
const CHORDS: readonly (readonly [number, number, number])[] = [
  [41, 60, 65],
  [36, 60, 64],
  [41, 60, 65],
  [46, 58, 65],
  [43, 58, 62],
  [36, 58, 64],
  [41, 57, 60],
  [36, 58, 64],
  [41, 60, 65],
  [41, 60, 65],
  [46, 58, 65],
  [46, 58, 62],
  [43, 58, 62],
  [36, 58, 64],
  [41, 57, 60],
  [41, 57, 65],
];
const BEAT_S = 0.395;

function waltz(seconds: number, fromS: number): Float32Array {
  const out = new Float32Array(Math.ceil(seconds * RATE));
  MELODY.forEach((bar, b) => {
    const chord = CHORDS[b] ?? CHORDS[0]!;
    strike(out, fromS + b * 3 * BEAT_S, hz(chord[0]), 0.2, PLUCK);
    for (const beat of [1, 2])
      for (const note of [chord[1], chord[2]]) strike(out, fromS + (b * 3 + beat) * BEAT_S, hz(note), 0.07, PLUCK);
    bar.forEach((note, beat) => {
      if (note > 0) strike(out, fromS + (b * 3 + beat) * BEAT_S, hz(note), 0.2, CELESTA);
    });
  });
  return out;
}

/** Noise through a one-pole low pass and a one-pole high pass. */
function noise(count: number, seed: number, lowHz: number, highHz: number): Float32Array {
  const r = seeded(seed);
  const out = new Float32Array(count);
  const a = 1 - Math.exp((-2 * Math.PI * lowHz) / RATE);
  const b = 1 - Math.exp((-2 * Math.PI * highHz) / RATE);
  let low = 0;
  let slow = 0;
  for (let i = 0; i < count; i++) {
    low += a * (2 * r() - 1 - low);
    slow += b * (low - slow);
    out[i] = low - slow;
  }
  return out;
}

/** Gain that swells in, stays and dies away, seconds. */
const swell = (t: number, from: number, to: number, edge: number): number =>
  Math.max(0, Math.min(1, (t - from) / edge, (to - t) / edge));

/** Writes the film's sound track (stereo) and the tune alone (mono). */
export function makeSound(film: string, tune: string, seconds: number): void {
  writeWav(tune, [waltz(MELODY.length * 3 * BEAT_S + 1.6, 0.05)]);
  const count = Math.round(seconds * RATE);
  const at = (id: string): number => (EDIT.find((j) => j.shot.id === id)?.at ?? 0) / 24;
  const len = (id: string): number => (EDIT.find((j) => j.shot.id === id)?.shot.frames ?? 0) / 24;
  const wind = noise(count, 11, 420, 60);
  const windRight = noise(count, 12, 430, 60);
  const rumble = noise(count, 13, 150, 30);
  const rain = noise(count, 14, 7000, 1400);
  const music = waltz(seconds, 0.4);
  const effects = new Float32Array(count);
  for (const t of [at('arrive') + 0.35, at('arrive') + 0.62, at('hill') + 1.1, at('hill') + 1.38])
    strike(effects, t, 1180, 0.2, BELL);
  for (const f of [16.5, 32]) {
    strike(effects, at('punch') + f / 24, 1900, 0.5, CLICK);
    strike(
      effects,
      at('punch') + f / 24 + 0.02,
      3300,
      0.12,
      BELL.map(([a, b]) => [a, b, 0.03] as const),
    );
  }
  for (let k = 0; k < 4; k++)
    strike(
      effects,
      at('pan') + (6.5 + 13 * k) / 24,
      130,
      0.35,
      CLICK.map(([a, b]) => [a, b, 0.018] as const),
    );
  const left = new Float32Array(count);
  const right = new Float32Array(count);
  for (let i = 0; i < count; i++) {
    const t = i / RATE;
    const gust = 0.5 + 0.3 * Math.sin(0.9 * t) + 0.2 * Math.sin(2.3 * t + 1);
    const outside =
      1 -
      0.7 * swell(t, at('punch'), at('punch') + len('punch'), 0.05) -
      0.5 * swell(t, at('window'), at('window') + len('window'), 0.05);
    const tram =
      swell(t, at('arrive') - 0.2, at('arrive') + 1.9, 0.5) +
      0.35 * swell(t, at('hill'), at('hill') + len('hill'), 0.8);
    const drip = swell(t, at('window'), at('window') + len('window'), 0.06);
    const end = Math.min(1, Math.max(0, (seconds - t) / 0.6));
    const common =
      0.55 * (music[i] ?? 0) +
      (effects[i] ?? 0) +
      1.6 * tram * (rumble[i] ?? 0) * (0.8 + 0.2 * Math.sin(2 * Math.PI * 7 * t)) +
      0.22 * drip * (rain[i] ?? 0);
    left[i] = end * 0.8 * (common + 0.75 * gust * outside * (wind[i] ?? 0));
    right[i] = end * 0.8 * (common + 0.75 * gust * outside * (windRight[i] ?? 0));
  }
  writeWav(film, [left, right]);
}
