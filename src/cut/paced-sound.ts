/**
 * Sound that follows a picture which does not go at its own speed: stretched without a change of pitch by waveform
 * similarity overlap-add (Verhelst & Roelands, An overlap-add technique based on waveform similarity (WSOLA) for high
 * quality time-scale modification of speech, ICASSP 1993, section 3). Their time map is a constant factor; here it is
 * any rising curve, so that a mouth that a pace curve slows for half a second stays with its words. Where the picture
 * stands still, or runs backwards, there is silence: a grain said again and again would hum.
 */

/** Samples of a window; half of it from one window to the next. 32 ms at 48 kHz: two periods of a voice of 63 Hz. */
const WINDOW = 1536;
const HOP = WINDOW / 2;
/** How far around its place a window is sought that goes on from the one before, samples: half a period of 63 Hz. */
const SEARCH = 384;
/** Only every so many samples are compared in the first search; it is then refined. */
const COARSE = 8;
/** Below the first speed there is silence, from the second on the sound is whole: the program's own choice. */
const SILENT_BELOW = 0.15,
  WHOLE_FROM = 0.3;

/** Interleaved floats. */
export interface Samples {
  readonly channels: number;
  readonly samples: Float32Array;
}

/**
 * @param source the sound that is read, interleaved; beyond it there is silence
 * @param sourceAt where in the source, in samples, an output sample lies: any curve, needing not be whole numbers
 * @param length samples of the output, a channel
 * @returns interleaved, `length` samples a channel. Where `sourceAt` goes at speed 1 the source itself, shifted by whole
 *   samples
 */
export function pacedSound(source: Samples, sourceAt: (sample: number) => number, length: number): Float32Array {
  const { channels, samples } = source,
    out = new Float32Array(length * channels),
    mono = monoOf(source),
    window = hann();
  let last: number | null = null;
  for (let k = -1; k * HOP < length; k++) {
    const start = k * HOP,
      wanted = Math.round(sourceAt(start + HOP) - HOP),
      from: number = last === null ? wanted : follow(mono, wanted, last + HOP);
    last = from;
    const gain = gainAt(sourceAt, start + HOP);
    if (gain === 0) continue;
    for (let i = 0; i < WINDOW; i++) {
      const o = start + i,
        s = from + i;
      if (o < 0 || o >= length || s < 0 || s >= mono.length) continue;
      const w = gain * window[i]!;
      for (let c = 0; c < channels; c++) out[o * channels + c]! += w * samples[s * channels + c]!;
    }
  }
  return out;
}

/** Periodic Hann window: two that overlap by half add up to one. */
function hann(): Float32Array {
  return Float32Array.from({ length: WINDOW }, (_, i) => 0.5 - 0.5 * Math.cos((2 * Math.PI * i) / WINDOW));
}

function monoOf({ channels, samples }: Samples): Float32Array {
  const n = Math.floor(samples.length / channels),
    mono = new Float32Array(n);
  for (let i = 0; i < n; i++) for (let c = 0; c < channels; c++) mono[i]! += samples[i * channels + c]! / channels;
  return mono;
}

/** Loudness by the map's own speed about an output sample. */
function gainAt(sourceAt: (sample: number) => number, at: number): number {
  const speed = (sourceAt(at + HOP) - sourceAt(at - HOP)) / (2 * HOP);
  return Math.min(1, Math.max(0, (speed - SILENT_BELOW) / (WHOLE_FROM - SILENT_BELOW)));
}

/** Where near `wanted` a window begins that is most like the one at `natural`, which the last window would go on to. */
function follow(mono: Float32Array, wanted: number, natural: number): number {
  if (Math.abs(natural - wanted) <= 1) return natural;
  const best = (from: number, to: number, step: number): number => {
    let place = wanted,
      most = -Infinity;
    for (let at = from; at <= to; at += step) {
      const like = likeness(mono, at, natural);
      // Nearer to where the picture is wins where nothing else tells, as in silence.
      if (like > most + 1e-9 || (like > most - 1e-9 && Math.abs(at - wanted) < Math.abs(place - wanted))) {
        most = Math.max(most, like);
        place = at;
      }
    }
    return place;
  };
  const rough = best(wanted - SEARCH, wanted + SEARCH, COARSE);
  return best(rough - COARSE, rough + COARSE, 1);
}

/** Normalised cross-correlation of two windows (their equation 3's measure, divided by the windows' own energies). */
function likeness(mono: Float32Array, a: number, b: number): number {
  let ab = 0,
    aa = 0,
    bb = 0;
  for (let i = 0; i < WINDOW; i += 2) {
    const x = mono[a + i] ?? 0,
      y = mono[b + i] ?? 0;
    ab += x * y;
    aa += x * x;
    bb += y * y;
  }
  return aa === 0 || bb === 0 ? 0 : ab / Math.sqrt(aa * bb);
}
