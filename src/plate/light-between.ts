/**
 * How the light of the whole picture changes from one frame to another (a fade, a flash, a lamp that flickers): a
 * gain and an offset of the coded values for each channel, fitted to the means of blocks, blocks that stray losing
 * their weight as things that move do (iteratively reweighted least squares with Tukey's biweight: Holland &
 * Welsch, Communications in Statistics A6, 1977). A fade made by an editing program is such a line in coded
 * values; light that really changes is one nearly.
 */

/** b ≈ gain · a + offset, coded 0..1, one of each a channel. */
export interface LightChange {
  readonly gain: readonly [number, number, number];
  readonly offset: readonly [number, number, number];
  /** Share of the blocks that go along, 0..1. */
  readonly support: number;
}

/** Block means of three planes, display-coded. */
export interface BlockMeans {
  readonly count: number;
  readonly channels: readonly [Float32Array, Float32Array, Float32Array];
}

/** No change. */
export const SAME_LIGHT: LightChange = { gain: [1, 1, 1], offset: [0, 0, 0], support: 1 };

const ROUNDS = 8;
/** Tukey's constant for 95 % efficiency under normal noise, in sds. */
const TUKEY = 4.685;
/** Block means are never told more finely than this, coded: a quarter of an 8-bit step. */
const LEAST_SD = 0.25 / 255;
/** Blocks nearer to either end of the range than this may be clipped; what goes down to black in a fade is kept. */
const ENDS = 0.01;

/** Means over whole blocks of `size` pixels; what is left over at the right and below counts for nothing. */
export function blockMeans(
  planes: readonly [Float32Array, Float32Array, Float32Array],
  w: number,
  h: number,
  size: number,
): BlockMeans {
  const bw = Math.floor(w / size),
    bh = Math.floor(h / size),
    mean = (p: Float32Array): Float32Array => {
      const out = new Float32Array(bw * bh);
      for (let y = 0; y < bh * size; y++)
        for (let x = 0, o = Math.floor(y / size) * bw; x < bw * size; x++)
          out[o + Math.floor(x / size)]! += p[y * w + x]!;
      for (let i = 0; i < out.length; i++) out[i]! /= size * size;
      return out;
    };
  return { count: bw * bh, channels: [mean(planes[0]), mean(planes[1]), mean(planes[2])] };
}

/**
 * The change of light from `a` to `b`, of equal blocks that show the same places; null where too few can be compared.
 */
export function lightBetween(a: BlockMeans, b: BlockMeans): LightChange | null {
  const gain: number[] = [],
    offset: number[] = [];
  let support = 1;
  for (let c = 0; c < 3; c++) {
    const fit = lineThrough(a.channels[c]!, b.channels[c]!);
    if (fit === null) return null;
    gain.push(fit.gain);
    offset.push(fit.offset);
    support = Math.min(support, fit.support);
  }
  return {
    gain: [gain[0]!, gain[1]!, gain[2]!],
    offset: [offset[0]!, offset[1]!, offset[2]!],
    support,
  };
}

function lineThrough(a: Float32Array, b: Float32Array): { gain: number; offset: number; support: number } | null {
  const at: number[] = [];
  for (let i = 0; i < a.length; i++) if (a[i]! > ENDS && a[i]! < 1 - ENDS && b[i]! < 1 - ENDS) at.push(i);
  if (at.length < 24) return null;
  // From the middle of all changes: a light that only jumps up or down is told at once.
  let gain = 1,
    offset = median(at.map((i) => b[i]! - a[i]!)),
    sd = 0;
  for (let round = 0; round < ROUNDS; round++) {
    const off = at.map((i) => b[i]! - gain * a[i]! - offset);
    sd = Math.max(LEAST_SD, 1.4826 * median(off.map(Math.abs)));
    let s = 0,
      sx = 0,
      sy = 0,
      sxx = 0,
      sxy = 0;
    at.forEach((i, k) => {
      const u = off[k]! / (TUKEY * sd);
      if (Math.abs(u) >= 1) return;
      const w = (1 - u * u) ** 2;
      s += w;
      sx += w * a[i]!;
      sy += w * b[i]!;
      sxx += w * a[i]! * a[i]!;
      sxy += w * a[i]! * b[i]!;
    });
    const det = s * sxx - sx * sx;
    if (!(det > 1e-6 * s * s)) break;
    gain = (s * sxy - sx * sy) / det;
    offset = (sy - gain * sx) / s;
  }
  const near = at.filter((i) => Math.abs(b[i]! - gain * a[i]! - offset) < TUKEY * sd).length;
  return { gain, offset, support: near / at.length };
}

function median(values: readonly number[]): number {
  const s = [...values].sort((p, q) => p - q);
  return s[s.length >> 1] ?? 0;
}

/** Largest change that the light makes of any coded value between the two, 0..1. */
export function changeOf({ gain, offset }: LightChange, low = 0.1, high = 0.9): number {
  let most = 0;
  for (let c = 0; c < 3; c++)
    for (const v of [low, high]) most = Math.max(most, Math.abs((gain[c]! - 1) * v + offset[c]!));
  return most;
}
