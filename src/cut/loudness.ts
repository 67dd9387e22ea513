/**
 * Programme loudness: ITU-R BS.1770 (K-weighting, gating), EBU Tech 3341 (momentary, short-term, integrated), EBU Tech
 * 3342 (loudness range) and true peak by four-fold oversampling (BS.1770 annex 2). Streaming: blocks of interleaved
 * samples go in, memory grows only by one number each 10 ms.
 *
 * Filter coefficients are derived for the sample rate from the analogue prototype whose 48 kHz bilinear form is the
 * recommendation's table (De Man, "Evaluation of Implementations of the EBU R128 Loudness Measurement", AES 2018); the
 * test holds the derived 48 kHz values against the published table.
 */
import { PlatewrightError } from '../core/errors.js';

/** A filter of second order: feed-forward and feedback coefficients. */
export interface Biquad {
  readonly b: readonly [number, number, number];
  readonly a: readonly [number, number, number];
}

/** The two K-weighting stages at a sample rate: high shelf, then high pass. */
export function kWeighting(sampleRate: number): readonly [Biquad, Biquad] {
  const shelf = ((): Biquad => {
    const k = Math.tan((Math.PI * 1681.974450955533) / sampleRate);
    const q = 0.7071752369554196;
    const vh = 10 ** (3.999843853973347 / 20);
    const vb = vh ** 0.4996667741545416;
    const a0 = 1 + k / q + k * k;
    return {
      b: [(vh + (vb * k) / q + k * k) / a0, (2 * (k * k - vh)) / a0, (vh - (vb * k) / q + k * k) / a0],
      a: [1, (2 * (k * k - 1)) / a0, (1 - k / q + k * k) / a0],
    };
  })();
  const high = ((): Biquad => {
    const k = Math.tan((Math.PI * 38.13547087602444) / sampleRate);
    const q = 0.5003270373238773;
    const a0 = 1 + k / q + k * k;
    return { b: [1, -2, 1], a: [1, (2 * (k * k - 1)) / a0, (1 - k / q + k * k) / a0] };
  })();
  return [shelf, high];
}

/** BS.1770 annex 2 interpolation filter, four phases of twelve taps. */
const TAPS: readonly (readonly number[])[] = [
  [
    0.001708984375, 0.010986328125, -0.0196533203125, 0.033203125, -0.0594482421875, 0.1373291015625, 0.97216796875,
    -0.102294921875, 0.047607421875, -0.026611328125, 0.014892578125, -0.00830078125,
  ],
  [
    -0.0291748046875, 0.029296875, -0.0517578125, 0.089111328125, -0.16650390625, 0.465087890625, 0.77978515625,
    -0.2003173828125, 0.1015625, -0.0582275390625, 0.0330810546875, -0.0189208984375,
  ],
];
/** Phases of the fourfold oversampling filter of ITU-R BS.1770-4, annex 2. */
export const OVERSAMPLING_PHASES: readonly (readonly number[])[] = [
  TAPS[0]!,
  TAPS[1]!,
  [...TAPS[1]!].reverse(),
  [...TAPS[0]!].reverse(),
];

/** Loudness of a sound; null where it is too short or too quiet for the measure. */
export interface LoudnessReport {
  readonly integratedLufs: number | null;
  readonly rangeLu: number | null;
  readonly maxMomentaryLufs: number | null;
  readonly maxShortTermLufs: number | null;
  readonly truePeakDbtp: number | null;
  readonly samplePeakDbfs: number | null;
  readonly seconds: number;
}

/** Channel weights by count, in FFmpeg's order: mono, stereo, 3.0 … 5.1 (L R C LFE Ls Rs). LFE does not count. */
function channelWeights(channels: number): readonly number[] {
  switch (channels) {
    case 1:
      return [1];
    case 2:
      return [1, 1];
    case 3:
      return [1, 1, 1];
    case 4:
      return [1, 1, 1.41, 1.41];
    case 5:
      return [1, 1, 1, 1.41, 1.41];
    case 6:
      return [1, 1, 1, 0, 1.41, 1.41];
    case 8:
      return [1, 1, 1, 0, 1.41, 1.41, 1.41, 1.41];
    default:
      throw new PlatewrightError(
        'PW-LOUDNESS-CHANNELS',
        `loudness is defined for 1 to 6 or 8 channels, but the sound has ${channels}; mix it down first`,
      );
  }
}

const HOP_SECONDS = 0.01;
const db = (power: number): number => -0.691 + 10 * Math.log10(power);

/** Give it interleaved samples (-1..1) in order by `add`, in blocks of any length, then ask for the `report`. */
export class LoudnessMeter {
  private readonly channels: number;
  private readonly weights: readonly number[];
  private readonly stages: readonly [Biquad, Biquad];
  /** Filter memory: channel × stage × 2, direct form II transposed. */
  private readonly state: Float64Array;
  private readonly history: Float64Array[];
  private readonly hop: number;
  private readonly sampleRate: number;
  private inHop = 0;
  private hopPower = 0;
  private readonly hops: number[] = [];
  private peak = 0;
  private truePeak = 0;
  private samples = 0;

  constructor(sampleRate: number, channels: number) {
    this.sampleRate = sampleRate;
    this.channels = channels;
    this.weights = channelWeights(channels);
    this.stages = kWeighting(sampleRate);
    this.state = new Float64Array(channels * 4);
    this.history = Array.from({ length: channels }, () => new Float64Array(24));
    this.hop = Math.round(sampleRate * HOP_SECONDS);
  }

  /** Adds interleaved samples, -1..1 (beyond is legal and measured). */
  add(interleaved: Float32Array): void {
    const { channels, state, stages, weights } = this;
    const [s1, s2] = stages;
    const [b10, b11, b12] = s1.b;
    const [, a11, a12] = s1.a;
    const [b20, b21, b22] = s2.b;
    const [, a21, a22] = s2.a;
    const frames = Math.floor(interleaved.length / channels);
    for (let n = 0; n < frames; n++) {
      let power = 0;
      for (let c = 0; c < channels; c++) {
        const x = interleaved[n * channels + c]!;
        const ax = x < 0 ? -x : x;
        if (ax > this.peak) this.peak = ax;
        const o = c * 4;
        const y = b10 * x + state[o]!;
        state[o] = b11 * x - a11 * y + state[o + 1]!;
        state[o + 1] = b12 * x - a12 * y;
        const z = b20 * y + state[o + 2]!;
        state[o + 2] = b21 * y - a21 * z + state[o + 3]!;
        state[o + 3] = b22 * y - a22 * z;
        power += weights[c]! * z * z;
        // True peak: the last twelve samples twice in a row, so that a window is always contiguous.
        const h = this.history[c]!;
        const at = this.samples % 12;
        h[at] = x;
        h[at + 12] = x;
        // An interpolated value can pass the peak so far only near a sample above 0.4 of
        // it: the filter's gain is below 2.5.
        if (ax > this.truePeak * 0.4 || !this.quietAround(h)) {
          for (const taps of OVERSAMPLING_PHASES) {
            let v = 0;
            for (let k = 0; k < 12; k++) v += taps[k]! * h[at + 12 - k]!;
            if (v < 0) v = -v;
            if (v > this.truePeak) this.truePeak = v;
          }
        }
      }
      this.samples++;
      this.hopPower += power;
      if (++this.inHop === this.hop) {
        this.hops.push(this.hopPower);
        this.hopPower = 0;
        this.inHop = 0;
      }
    }
  }

  /** True where no recent sample is large enough for an interpolated value to exceed the peak so far. */
  private quietAround(h: Float64Array): boolean {
    const limit = this.truePeak * 0.4;
    for (let k = 0; k < 12; k++) if (Math.abs(h[k]!) > limit) return false;
    return true;
  }

  /** Powers of all windows of `seconds`, one each 10 ms. */
  private windows(seconds: number): Float64Array {
    const n = Math.round(seconds / HOP_SECONDS);
    const count = this.hops.length - n + 1;
    if (count <= 0) return new Float64Array(0);
    const out = new Float64Array(count);
    let sum = 0;
    for (let i = 0; i < this.hops.length; i++) {
      sum += this.hops[i]!;
      if (i >= n) sum -= this.hops[i - n]!;
      if (i >= n - 1) out[i - n + 1] = Math.max(0, sum) / (n * this.hop);
    }
    return out;
  }

  report(): LoudnessReport {
    const momentary = this.windows(0.4);
    const shortTerm = this.windows(3);
    const top = (w: Float64Array): number | null => {
      let m = 0;
      for (const p of w) if (p > m) m = p;
      return m > 0 ? db(m) : null;
    };
    return {
      integratedLufs: this.integrated(momentary),
      rangeLu: this.range(shortTerm),
      maxMomentaryLufs: top(momentary),
      maxShortTermLufs: top(shortTerm),
      truePeakDbtp: this.truePeak > 0 ? 20 * Math.log10(Math.max(this.truePeak, this.peak)) : null,
      samplePeakDbfs: this.peak > 0 ? 20 * Math.log10(this.peak) : null,
      seconds: this.samples / this.sampleRate,
    };
  }

  /**
   * BS.1770 gating: 400 ms blocks each 100 ms, absolute gate -70, relative gate 10 LU below the mean of what passed.
   */
  private integrated(momentary: Float64Array): number | null {
    const mean = (gate: number): { mean: number; n: number } => {
      let sum = 0;
      let n = 0;
      for (let i = 0; i < momentary.length; i += 10)
        if (momentary[i]! > gate) {
          sum += momentary[i]!;
          n++;
        }
      return { mean: n > 0 ? sum / n : 0, n };
    };
    const absolute = 10 ** ((-70 + 0.691) / 10);
    const first = mean(absolute);
    if (first.n === 0) return null;
    return db(mean(Math.max(absolute, first.mean * 0.1)).mean);
  }

  /** Tech 3342: 3 s windows, gates -70 LUFS and 20 LU below, 95th minus 10th percentile. */
  private range(shortTerm: Float64Array): number | null {
    const absolute = 10 ** ((-70 + 0.691) / 10);
    let sum = 0;
    let n = 0;
    for (let i = 0; i < shortTerm.length; i += 10)
      if (shortTerm[i]! >= absolute) {
        sum += shortTerm[i]!;
        n++;
      }
    if (n === 0) return null;
    const gate = Math.max(absolute, (sum / n) * 0.01);
    const kept: number[] = [];
    for (let i = 0; i < shortTerm.length; i += 10) if (shortTerm[i]! >= gate) kept.push(db(shortTerm[i]!));
    kept.sort((a, b) => a - b);
    const at = (p: number): number => kept[Math.round(((kept.length - 1) * p) / 100)]!;
    return at(95) - at(10);
  }
}
