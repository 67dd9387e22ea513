/**
 * The performer's brightness from frame to frame, and the plate's beside it: what flickers in one and not in the other
 * was lit by another light or graded by jumps.
 */
import { bt709Decode } from '../../colour/transfer.js';
import { selectInPlace } from '../../image/statistics.js';
import { SAME_LIGHT, type LightChange } from '../../plate/light/light-between.js';
import type { LightOverShot } from '../../plate/light/light-over-shot.js';
import type { SeenFrame } from '../reader/frame.js';

const LINEAR = Float64Array.from({ length: 1025 }, (_, i) => bt709Decode(i / 1024));

/** Pixels of the core from which on its brightness is read. */
const LEAST_CORE = 200;
/** Display-coded values from here on may be clipped (own choice: coding and noise lie about the very end). */
const CLIPPED = 0.97;

/**
 * Whether some frame of the shot is lit so much brighter than usual that its whites go to the end of the range: what
 * they were is lost, and only the darker half of the performer can be held against other frames.
 */
export function clipsInFlash(light: LightOverShot | undefined): boolean {
  return light?.frames.some(({ gain, offset }) => gain.some((g, c) => g * CLIPPED + offset[c]! > 1)) ?? false;
}

/**
 * Mean luminance of the covered core and of the plate, stops; null where too little is covered.
 * @param asked how the recipe changes the performer's light on this frame, because the film's own light changes: taken
 * out
 * @param darker the darker half of the core is read alone (the same share on every frame, so that a flicker is read
 * whole); null
 * where more than the other half is clipped
 */
export function readLevel(
  f: SeenFrame,
  asked: LightChange = SAME_LIGHT,
  darker = false,
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
  const { width: W, height: H, data } = f.join;
  const core: number[] = [];
  let clipped = 0;
  for (let y = f.box[1]; y < f.box[3]; y++)
    for (let x = f.box[0]; x < f.box[2]; x++) {
      const i = y * W + x;
      if (f.matte[i]! > 0.97) {
        const light = of((f.luma[i]! - offset) / gain);
        a += light;
        n++;
        if (!darker) continue;
        core.push(light);
        if (Math.max(data[i]!, data[W * H + i]!, data[2 * W * H + i]!) >= CLIPPED) clipped++;
      }
    }
  if (darker) {
    if (n < LEAST_CORE || clipped > n / 2) return null;
    const sorted = Float32Array.from(core);
    selectInPlace(sorted, n >> 1);
    a = 0;
    n >>= 1;
    for (let k = 0; k < n; k++) a += sorted[k]!;
  }
  for (let i = 0; i < f.plateLuma.length; i += 13) {
    b += of(f.plateLuma[i]!);
    m++;
  }
  return !darker && n < LEAST_CORE
    ? null
    : { inside: Math.log2(Math.max(1e-4, a / n)), plate: Math.log2(Math.max(1e-4, b / m)) };
}

/**
 * How much of the performer is seen on a frame: pixels of the fully covered core. What passes before the performer
 * leaves less.
 */
export function coreSeen(f: SeenFrame): number {
  if (f.box === null) return 0;
  const W = f.join.width;
  let n = 0;
  for (let y = f.box[1]; y < f.box[3]; y++)
    for (let x = f.box[0]; x < f.box[2]; x++) if (f.matte[y * W + x]! > 0.97) n++;
  return n;
}

/** Linear light under which the film's black and an encoder's noise are read, not the performer. */
const BLACK = 0.002;

/**
 * Mean luminance of the darker half of the covered core, stops: whites that a flash clips lie in the other. Null where
 * too little is covered, or it is down in black.
 */
export function darkerHalf(f: SeenFrame): number | null {
  if (f.box === null) return null;
  const counts = new Uint32Array(1025),
    W = f.join.width;
  let n = 0;
  for (let y = f.box[1]; y < f.box[3]; y++)
    for (let x = f.box[0]; x < f.box[2]; x++) {
      const i = y * W + x;
      if (f.matte[i]! <= 0.97) continue;
      counts[Math.round(1024 * Math.min(1, Math.max(0, f.luma[i]!)))]!++;
      n++;
    }
  if (n < LEAST_CORE) return null;
  let left = n >> 1,
    sum = 0;
  for (let k = 0; left > 0; k++) {
    const take = Math.min(left, counts[k]!);
    sum += take * LINEAR[k]!;
    left -= take;
  }
  const mean = sum / (n >> 1);
  return mean < BLACK ? null : Math.log2(mean);
}

/**
 * rms by which a run of values goes out and back beside its neighbours' mean, as a jitter of its own (whose difference
 * from that mean has one and a half times its variance); and where most.
 *
 * @param counts whether a value and its two neighbours may be held against each other; all may where it is left out
 * @returns null where none may
 */
export function outAndBack(
  values: readonly number[],
  counts: (k: number) => boolean = () => true,
): { readonly rms: number; readonly at: number } | null {
  let sum = 0,
    used = 0,
    most = -1,
    at = 0;
  for (let k = 1; k < values.length - 1; k++) {
    if (!counts(k)) continue;
    const d = values[k]! - (values[k - 1]! + values[k + 1]!) / 2;
    sum += d * d;
    used++;
    if (Math.abs(d) > most) {
      most = Math.abs(d);
      at = k;
    }
  }
  return used === 0 ? null : { rms: Math.sqrt(sum / used / 1.5), at };
}
