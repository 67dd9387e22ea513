/**
 * How the light of the whole picture changes from one frame to another (a fade, a flash, a lamp that flickers): a
 * gain and an offset of the coded values for each channel, fitted to the means of blocks, blocks that stray losing
 * their weight as things that move do (iteratively reweighted least squares with Tukey's biweight: Holland &
 * Welsch, Communications in Statistics A6, 1977). A fade made by an editing program is such a line in coded
 * values; light that really changes is one nearly.
 */
import { selectInPlace } from '../../image/statistics.js';
import type { VideoFrame } from '../../media/types.js';
import { decodingOf, expansion, quantisation } from '../../media/ycbcr.js';

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
  const grid = { across: Math.floor(w / size), down: Math.floor(h / size), wide: size, tall: size },
    mean = (p: Float32Array): Float32Array => planeMeans(p, w, grid);
  return { count: grid.across * grid.down, channels: [mean(planes[0]), mean(planes[1]), mean(planes[2])] };
}

/** Blocks across and down, and how wide and tall each is, px; a fraction goes to the block before or after. */
interface BlockGrid {
  readonly across: number;
  readonly down: number;
  readonly wide: number;
  readonly tall: number;
}

/** Means over the blocks of a plane `w` wide. */
function planeMeans(
  p: Uint8Array | Uint16Array | Float32Array,
  w: number,
  { across, down, wide, tall }: BlockGrid,
): Float32Array {
  const out = new Float32Array(across * down),
    row = new Float64Array(across);
  for (let by = 0; by < down; by++) {
    const top = Math.floor(by * tall),
      bottom = Math.floor((by + 1) * tall);
    row.fill(0);
    for (let y = top; y < bottom; y++)
      for (let bx = 0; bx < across; bx++) {
        let s = 0;
        for (let i = y * w + Math.floor(bx * wide), end = y * w + Math.floor((bx + 1) * wide); i < end; i++) s += p[i]!;
        row[bx]! += s;
      }
    for (let bx = 0; bx < across; bx++)
      out[by * across + bx] = row[bx]! / ((bottom - top) * (Math.floor((bx + 1) * wide) - Math.floor(bx * wide)));
  }
  return out;
}

/**
 * The same of a frame's own planes in display-coded R'G'B', which is linear in them: no picture is made of it. Chroma
 * that is coded coarser counts for the block it mostly lies in. @param size at least 4 px
 */
export function blockMeansOf(frame: VideoFrame, size: number): BlockMeans {
  const { widthPx: w, heightPx: h, layout, chromaShift, bitDepth, colour } = frame,
    across = Math.floor(w / size),
    down = Math.floor(h / size),
    count = across * down,
    whole = { across, down, wide: size, tall: size };
  if (layout !== 'yuv') {
    const { scale, offset } = expansion(bitDepth, colour),
      mean = (k: number): Float32Array => planeMeans(frame.planes[k]!, w, whole).map((v) => v * scale + offset);
    if (layout === 'rgb') return { count, channels: [mean(0), mean(1), mean(2)] };
    const grey = mean(0);
    return { count, channels: [grey, grey, grey] };
  }
  const [sx, sy] = chromaShift,
    coarse = { across, down, wide: size / (1 << sx), tall: size / (1 << sy) },
    cw = (w + (1 << sx) - 1) >> sx,
    q = quantisation(bitDepth, colour.fullRange),
    d = decodingOf(colour.matrix),
    luma = planeMeans(frame.planes[0]!, w, whole).map((v) => (v - q.lumaOffset) / q.lumaScale),
    [cb, cr] = [1, 2].map((k) =>
      planeMeans(frame.planes[k]!, cw, coarse).map((v) => (v - q.chromaOffset) / q.chromaScale),
    ) as [Float32Array, Float32Array];
  return {
    count,
    channels: [
      luma.map((v, i) => v + d.crToR * cr[i]!),
      luma.map((v, i) => v + d.cbToG * cb[i]! + d.crToG * cr[i]!),
      luma.map((v, i) => v + d.cbToB * cb[i]!),
    ],
  };
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
  const xs = new Float64Array(a.length),
    ys = new Float64Array(a.length);
  let n = 0;
  for (let i = 0; i < a.length; i++)
    if (a[i]! > ENDS && a[i]! < 1 - ENDS && b[i]! < 1 - ENDS) {
      xs[n] = a[i]!;
      ys[n++] = b[i]!;
    }
  if (n < 24) return null;
  const off = new Float64Array(n),
    sorted = new Float64Array(n),
    middle = (): number => selectInPlace(sorted, n >> 1);
  // From the middle of all changes: a light that only jumps up or down is told at once.
  for (let k = 0; k < n; k++) sorted[k] = ys[k]! - xs[k]!;
  let gain = 1,
    offset = middle(),
    sd = 0;
  for (let round = 0; round < ROUNDS; round++) {
    for (let k = 0; k < n; k++) {
      off[k] = ys[k]! - gain * xs[k]! - offset;
      sorted[k] = Math.abs(off[k]!);
    }
    sd = Math.max(LEAST_SD, 1.4826 * middle());
    let s = 0,
      sx = 0,
      sy = 0,
      sxx = 0,
      sxy = 0;
    for (let k = 0; k < n; k++) {
      const u = off[k]! / (TUKEY * sd);
      if (Math.abs(u) >= 1) continue;
      const w = (1 - u * u) ** 2,
        x = xs[k]!,
        y = ys[k]!;
      s += w;
      sx += w * x;
      sy += w * y;
      sxx += w * x * x;
      sxy += w * x * y;
    }
    const det = s * sxx - sx * sx;
    if (!(det > 1e-6 * s * s)) break;
    gain = (s * sxy - sx * sy) / det;
    offset = (sy - gain * sx) / s;
  }
  let near = 0;
  for (let k = 0; k < n; k++) if (Math.abs(ys[k]! - gain * xs[k]! - offset) < TUKEY * sd) near++;
  return { gain, offset, support: near / n };
}

/** Largest change that the light makes of any coded value between the two, 0..1. */
export function changeOf({ gain, offset }: LightChange, low = 0.1, high = 0.9): number {
  let most = 0;
  for (let c = 0; c < 3; c++)
    for (const v of [low, high]) most = Math.max(most, Math.abs((gain[c]! - 1) * v + offset[c]!));
  return most;
}
