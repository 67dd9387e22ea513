/** The performer's brightness from frame to frame, and the plate's beside it: what flickers in one and not in the other was lit by another light or graded by jumps. */
import { bt709Decode } from '../colour/transfer.js';
import { SAME_LIGHT, type LightChange } from '../plate/light-between.js';
import type { SeenFrame } from './frame.js';

const LINEAR = Float64Array.from({ length: 1025 }, (_, i) => bt709Decode(i / 1024));

/**
 * Mean luminance of the covered core and of the plate, stops; null where too little is covered.
 * @param asked how the recipe changes the performer's light on this frame, because the film's own light changes: taken out
 */
export function readLevel(
  f: SeenFrame,
  asked: LightChange = SAME_LIGHT,
): { readonly inside: number; readonly plate: number } | null {
  let a = 0,
    n = 0,
    b = 0,
    m = 0;
  // What is down in black tells nothing: the change is then taken out no further than by three stops of code.
  const gain = Math.max(1 / 8, asked.gain[1]),
    offset = asked.offset[1];
  const of = (v: number): number => LINEAR[Math.round(1024 * Math.min(1, Math.max(0, v)))]!;
  if (f.box === null) return null;
  const W = f.join.width;
  for (let y = f.box[1]; y < f.box[3]; y++)
    for (let x = f.box[0]; x < f.box[2]; x++) {
      const i = y * W + x;
      if (f.matte[i]! > 0.97) {
        a += of((f.luma[i]! - offset) / gain);
        n++;
      }
    }
  for (let i = 0; i < f.plateLuma.length; i += 13) {
    b += of(f.plateLuma[i]!);
    m++;
  }
  return n < 200 ? null : { inside: Math.log2(Math.max(1e-4, a / n)), plate: Math.log2(Math.max(1e-4, b / m)) };
}

/** rms by which a run of values goes out and back beside its neighbours' mean, as a jitter of its own (whose difference from that mean has one and a half times its variance); and where most. */
export function outAndBack(values: readonly number[]): { readonly rms: number; readonly at: number } {
  let sum = 0,
    most = -1,
    at = 0;
  for (let k = 1; k < values.length - 1; k++) {
    const d = values[k]! - (values[k - 1]! + values[k + 1]!) / 2;
    sum += d * d;
    if (Math.abs(d) > most) {
      most = Math.abs(d);
      at = k;
    }
  }
  return { rms: Math.sqrt(sum / Math.max(1, values.length - 2) / 1.5), at };
}
