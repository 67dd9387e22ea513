/**
 * The turn cue: a sound to turn by. Four count-in clicks at the pace of one a second, then a tick each
 * `stepDeg` of yaw, a deep tone at the start and a double one at the end; so that the person who turns (or
 * turns the table) follows the plate's own curve by ear.
 */
import { PlatewrightError } from '../core/errors.js';
import type { Sound } from '../media/types.js';

/** The turn that a cue is made for. */
export interface CueRequest {
  /** Yaw at each plate frame, degrees. */
  readonly yawDeg: readonly number[];
  readonly framesPerSecond: number;
  readonly stepDeg?: number;
  readonly countIn?: number;
  readonly sampleRate?: number;
}

/** One sound of the cue. */
export interface CueTick {
  readonly seconds: number;
  readonly kind: 'count' | 'start' | 'tick' | 'end';
}

/** Times of all ticks, from the beginning of the sound. Throws `PW-CUE-EMPTY` for fewer than two frames. */
export function cueTicks(r: CueRequest): CueTick[] {
  if (r.yawDeg.length < 2)
    throw new PlatewrightError(
      'PW-CUE-EMPTY',
      'a turn cue needs the yaw of at least two frames; measure the turn first',
      { kind: 'usage' },
    );
  const step = r.stepDeg ?? 15;
  const count = r.countIn ?? 4;
  const ticks: CueTick[] = [];
  for (let i = 0; i < count; i++) ticks.push({ seconds: i, kind: 'count' });
  ticks.push({ seconds: count, kind: 'start' });
  let travelled = 0;
  let next = step;
  for (let f = 1; f < r.yawDeg.length; f++) {
    const d = Math.abs(r.yawDeg[f]! - r.yawDeg[f - 1]!);
    while (d > 0 && travelled + d >= next) {
      ticks.push({ seconds: count + (f - 1 + (next - travelled) / d) / r.framesPerSecond, kind: 'tick' });
      next += step;
    }
    travelled += d;
  }
  ticks.push({ seconds: count + (r.yawDeg.length - 1) / r.framesPerSecond, kind: 'end' });
  return ticks;
}

const TONES: Record<CueTick['kind'], readonly { hz: number; delay: number; length: number; gain: number }[]> = {
  count: [{ hz: 660, delay: 0, length: 0.06, gain: 0.4 }],
  start: [{ hz: 330, delay: 0, length: 0.25, gain: 0.6 }],
  tick: [{ hz: 990, delay: 0, length: 0.03, gain: 0.35 }],
  end: [
    { hz: 330, delay: 0, length: 0.12, gain: 0.6 },
    { hz: 247, delay: 0.18, length: 0.3, gain: 0.6 },
  ],
};

/** The cue as sound, mono. Gentle levels and no hard edges: an animal hears it too. */
export function renderCue(r: CueRequest): Sound {
  const sampleRate = r.sampleRate ?? 48000;
  const ticks = cueTicks(r);
  const length = Math.ceil((ticks[ticks.length - 1]!.seconds + 0.8) * sampleRate);
  const samples = new Float32Array(length);
  for (const t of ticks) {
    for (const tone of TONES[t.kind]) {
      const from = Math.round((t.seconds + tone.delay) * sampleRate);
      const n = Math.round(tone.length * sampleRate);
      for (let i = 0; i < n && from + i < length; i++) {
        const attack = Math.min(1, i / (0.004 * sampleRate));
        samples[from + i]! +=
          tone.gain * attack * Math.sin((2 * Math.PI * tone.hz * i) / sampleRate) * Math.exp((-4 * i) / n);
      }
    }
  }
  for (let i = 0; i < length; i++) samples[i] = Math.max(-1, Math.min(1, samples[i]!));
  return { sampleRate, channels: 1, samples };
}
