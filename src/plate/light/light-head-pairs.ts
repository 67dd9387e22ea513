/**
 * Differences of log brightness between samples of a head that stand a share of its radius apart. A coat's patch, a
 * beard or a hairline multiplies the light by a constant, which the difference of two samples on the same side of its
 * border does not hold; pairs across a border are left out where the border is seen (B. K. P. Horn, *Determining
 * lightness from an image*, Computer Graphics and Image Processing 3, 1974: shading is smooth, reflectance steps).
 * Where noise rules, samples are first averaged with those neighbours that differ by no more than noise does (J.-S.
 * Lee, *Digital image smoothing and the sigma filter*, CVGIP 24, 1983), so that borders stay.
 */
import type { ShadedSamples } from './light-fit-levels.js';
import type { HeadSample } from './light-head-samples.js';

export interface HeadPairs {
  /** The levels themselves, of the same samples. */
  readonly levels: ShadedSamples;
  /** Samples: normals in the world and log luminance. */
  readonly count: number;
  readonly nx: Float64Array;
  readonly ny: Float64Array;
  readonly nz: Float64Array;
  readonly log: Float64Array;
  /** Pairs of samples, and each pair's variance of the difference: the skin's own pattern and noise. */
  readonly pairs: number;
  readonly from: Int32Array;
  readonly to: Int32Array;
  readonly variance: Float64Array;
  /** Of that variance what is noise. */
  readonly noise: Float64Array;
}

/**
 * How far apart, as shares of the radius: near ones keep clear of borders, far ones see
 * more of the shading (made heads).
 */
const APART = [0.27, 0.54];
/**
 * Spread of the difference by the skin's own pattern, natural log, and what noise counts
 * for: at low levels its logarithm is no normal law.
 */
export const PATTERN = 0.15;
const NOISE_SDS = 2;
/**
 * An ambient is not as even as the model's: what it varies by, natural log, where all light is ambient,
 * taken to be so under this share of the brightest.
 */
const UNEVEN = 0.3;
const DARK = 0.2;
/**
 * A step within two samples that exceeds those beside it by this much, natural log, and by two sds
 * of noise, is a border of the coat, not shading.
 */
const STEP = 0.25;
/** Heads of fewer samples a radius show no border apart from shading. */
const LEAST_RADIUS = 9;
/**
 * Noise above this share of the dark samples' level is averaged down: over so many samples to each side, within
 * so many sds of noise or this share of the level.
 */
const NOISY = 0.1;
const SIDE = 2;
const ALIKE_SDS = 4;
const ALIKE = 0.2;
/** Samples of the rim so many times brighter than the middle's brightest belong to what lies behind. */
const BEYOND = 1.5;

const keyOf = (col: number, row: number): number => row * 4096 + col;

/**
 * @param noise sd of a sample's luminance. @param radius in samples. Null where too
 * little of the head is bright enough.
 */
export function headPairs(samples: readonly HeadSample[], noise: number, radius: number): HeadPairs | null {
  const middle = samples
    .filter((q) => !q.rim)
    .map((q) => q.y)
    .sort((a, b) => a - b);
  const top = middle[Math.floor(0.97 * (middle.length - 1))] ?? 0;
  if (middle.length < 20 || !(top > 1e-4)) return null;
  const kept = samples.filter((q) => !q.rim || q.y <= BEYOND * top);
  const n = kept.length;
  const at = new Map<number, number>();
  kept.forEach((q, i) => at.set(keyOf(q.col, q.row), i));
  let y: Float64Array = Float64Array.from(kept, (q) => q.y);
  let sd = noise;
  if (noise > NOISY * middle[Math.floor(0.2 * middle.length)]!) {
    y = averaged(kept, y, at, noise);
    sd = noise / (2 * SIDE + 1);
  }
  const least = Math.max(sd, 1e-4 * top);
  const level = y.map((v) => Math.max(v, least));
  const log = y.map((v) => Math.log(Math.max(v, 0.3 * least)));
  const edge = radius >= LEAST_RADIUS ? borders(kept, log, level, at, sd) : new Uint8Array(n);
  const from: number[] = [];
  const to: number[] = [];
  const variance: number[] = [];
  const noisy: number[] = [];
  for (const share of APART) {
    const d = Math.max(1, Math.round(share * radius));
    const c = Math.max(1, Math.round(0.7 * d));
    for (const [dx, dy] of [
      [d, 0],
      [0, d],
      [c, c],
      [c, -c],
    ] as const) {
      for (let i = 0; i < n; i++) {
        const j = at.get(keyOf(kept[i]!.col + dx, kept[i]!.row + dy));
        if (j === undefined || crosses(kept[i]!, dx, dy, at, edge)) continue;
        const v = sd * sd * (1 / level[i]! ** 2 + 1 / level[j]! ** 2);
        from.push(i);
        to.push(j);
        noisy.push(v);
        const u = (k: number): number => UNEVEN * Math.min(1, (DARK * top) / level[k]!);
        variance.push(PATTERN * PATTERN + NOISE_SDS * NOISE_SDS * v + u(i) ** 2 + u(j) ** 2);
      }
    }
  }
  if (from.length < 40) return null;
  const nx = Float64Array.from(kept, (q) => q.nx);
  const ny = Float64Array.from(kept, (q) => q.ny);
  const nz = Float64Array.from(kept, (q) => q.nz);
  return {
    levels: {
      count: n,
      nx,
      ny,
      nz,
      y: Float64Array.from(kept, (q) => q.y),
      noise,
      scale: Math.max(0.03 * top, 0.12 * (top - middle[Math.floor(0.05 * middle.length)]!), NOISE_SDS * noise),
      top,
    },
    count: n,
    nx,
    ny,
    nz,
    log,
    pairs: from.length,
    from: Int32Array.from(from),
    to: Int32Array.from(to),
    variance: Float64Array.from(variance),
    noise: Float64Array.from(noisy),
  };
}

/** Lee's sigma filter over the sample grid, in linear light; the rim and the middle apart. */
function averaged(
  s: readonly HeadSample[],
  y: Float64Array,
  at: ReadonlyMap<number, number>,
  noise: number,
): Float64Array {
  return Float64Array.from(s, (q, i) => {
    const own = y[i]!;
    const most = Math.max(ALIKE_SDS * noise, ALIKE * own);
    let sum = 0;
    let count = 0;
    for (let dy = -SIDE; dy <= SIDE; dy++)
      for (let dx = -SIDE; dx <= SIDE; dx++) {
        const j = at.get(keyOf(q.col + dx, q.row + dy));
        if (j === undefined || s[j]!.rim !== q.rim || Math.abs(y[j]! - own) > most) continue;
        sum += y[j]!;
        count++;
      }
    return sum / count;
  });
}

/** Samples through which a border of the coat runs: a step that stands out from the steps before and after it. */
function borders(
  s: readonly HeadSample[],
  log: Float64Array,
  level: Float64Array,
  at: ReadonlyMap<number, number>,
  noise: number,
): Uint8Array {
  return Uint8Array.from(s, (q) => {
    for (const [dx, dy] of [
      [1, 0],
      [0, 1],
      [1, 1],
      [1, -1],
    ] as const) {
      const a = at.get(keyOf(q.col - dx, q.row - dy));
      const b = at.get(keyOf(q.col + dx, q.row + dy));
      const before = at.get(keyOf(q.col - 3 * dx, q.row - 3 * dy));
      const after = at.get(keyOf(q.col + 3 * dx, q.row + 3 * dy));
      if (a === undefined || b === undefined || (before === undefined && after === undefined)) continue;
      const beside = Math.max(
        before === undefined ? 0 : Math.abs(log[a]! - log[before]!),
        after === undefined ? 0 : Math.abs(log[after]! - log[b]!),
      );
      if (Math.abs(log[b]! - log[a]!) - beside > STEP + 2 * noise * Math.hypot(1 / level[a]!, 1 / level[b]!)) return 1;
    }
    return 0;
  });
}

/** Whether a border lies on the way from a sample to the one (dx, dy) further. */
function crosses(q: HeadSample, dx: number, dy: number, at: ReadonlyMap<number, number>, edge: Uint8Array): boolean {
  const steps = Math.max(Math.abs(dx), Math.abs(dy));
  for (let k = 0; k <= steps; k++) {
    const j = at.get(keyOf(q.col + Math.round((dx * k) / steps), q.row + Math.round((dy * k) / steps)));
    if (j !== undefined && edge[j] === 1) return true;
  }
  return false;
}
