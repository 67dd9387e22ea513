/**
 * Grain re-grown over what was added: white noise from a seed and the frame's number, shaped to the plate's measured
 * autocorrelation, mixed to the measured correlation between channels and scaled by the measured sd at each pixel's
 * level (grain depends on density: Newson, Delon & Galerne, "A stochastic film grain model", Computer Graphics Forum
 * 36, 2017, section 2). Display-coded values 0..1, because there it was measured.
 *
 * Shaping: a symmetric separable filter whose own autocorrelation is the measured one, had from the square root of the
 * spectrum (negative parts of the measured spectrum are cut to zero), then normalised to unit output variance.
 */
import { convolveSeparable } from '../../image/convolve.js';
import { RandomStream } from '../../core/random.js';
import { kernels } from '../../image/kernels.js';
import { plane, type Picture } from '../../image/picture.js';
import type { Box } from '../ground/ground.js';
import type { GrainModel } from '../types.js';

/**
 * Filter taps (odd count, centre in the middle, sum of squares 1) whose autocorrelation at lags 0.. is `correlation`.
 */
export function shapingTaps(correlation: readonly number[]): Float32Array {
  // Trailing lags within the noise of the measurement only ring; the run ends where it first falls below 3 %.
  let lags = 1;
  while (lags < correlation.length && Math.abs(correlation[lags]!) >= 0.03) lags++;
  if (lags <= 1) return Float32Array.of(1);
  const r = Math.min(2 * lags, 12);
  const n = 128;
  const taps = new Float64Array(2 * r + 1);
  for (let k = 0; k < n; k++) {
    let s = correlation[0] ?? 1;
    for (let l = 1; l < lags; l++) {
      s += 2 * correlation[l]! * Math.cos((2 * Math.PI * k * l) / n);
    }
    const a = Math.sqrt(Math.max(0, s));
    for (let t = -r; t <= r; t++) taps[t + r] = taps[t + r]! + a * Math.cos((2 * Math.PI * k * t) / n);
  }
  let sum = 0;
  for (const v of taps) sum += v * v;
  const k = 1 / Math.sqrt(sum);
  return Float32Array.from(taps, (v) => v * k);
}

/**
 * sd at 64 even levels 0..1 of one channel; levels beyond the measured ones take the nearest, channels without rows
 * take luma's.
 */
function sigmaCurve(model: GrainModel, channel: 'r' | 'g' | 'b'): Float32Array {
  let rows = model.table.filter((t) => t.channel === channel && t.samples > 0);
  if (rows.length === 0) rows = model.table.filter((t) => t.channel === 'luma' && t.samples > 0);
  rows = [...rows].sort((a, b) => a.level - b.level);
  const out = new Float32Array(64);
  for (let i = 0; i < 64; i++) {
    const level = i / 63;
    if (rows.length === 0) continue;
    let k = 0;
    while (k < rows.length && rows[k]!.level < level) k++;
    if (k === 0) out[i] = rows[0]!.sigma;
    else if (k === rows.length) out[i] = rows[k - 1]!.sigma;
    else {
      const a = rows[k - 1]!,
        b = rows[k]!;
      out[i] = a.sigma + ((b.sigma - a.sigma) * (level - a.level)) / Math.max(1e-6, b.level - a.level);
    }
  }
  return out;
}

/** Lower-triangular mix (Cholesky) that gives three independent noises the correlations r-g, r-b, g-b. */
export function channelMix(
  correlation: readonly [number, number, number],
): readonly [number, number, number, number, number, number] {
  const clamp = (v: number): number => Math.min(0.999, Math.max(-0.999, v));
  const rg = clamp(correlation[0]),
    rb = clamp(correlation[1]),
    gb = clamp(correlation[2]);
  const l22 = Math.sqrt(1 - rg * rg);
  const l32 = clamp((gb - rg * rb) / l22);
  const l33 = Math.sqrt(Math.max(0, 1 - rb * rb - l32 * l32));
  return [1, rg, l22, rb, l32, l33];
}

/** Grows a plate's grain anew. */
export interface Grower {
  /**
   * Adds unit-variance, shaped, channel-mixed noise of a frame over a box, each channel times its own `amount` plane
   * (sd), to `coded` (three planes).
   */
  add(frame: number, box: Box, coded: Float32Array, amount: (channel: 0 | 1 | 2) => Float32Array): void;
  /**
   * The frame's noise: its tiles (one a channel; to be read at once), and where and which way round the frame reads
   * them: (offset + sign · pixel) mod TILE.
   */
  field(frame: number): GrainField;
  /** sd of the coded value at 64 even coded levels. */
  readonly curves: readonly [Float32Array, Float32Array, Float32Array];
}

/**
 * One frame's noise, as {@link Grower.field} tells it: tiles of TILE × TILE with sd 1, offsets in px, signs 1 or −1.
 */
export interface GrainField {
  readonly tiles: readonly [Float32Array, Float32Array, Float32Array];
  readonly ox: number;
  readonly oy: number;
  readonly sx: number;
  readonly sy: number;
}

/**
 * Side of the noise tile, a power of two: each frame reads it from another place and another way round, so that no
 * pattern stands still.
 */
export const TILE = 512;

/**
 * The noise field belongs to the picture, not to the box: a larger or smaller box cuts the same grain, so that the same
 * recipe gives the same bytes however the work was divided.
 */
export function grower(model: GrainModel, seed: number): Grower {
  const curves: [Float32Array, Float32Array, Float32Array] = [
    sigmaCurve(model, 'r'),
    sigmaCurve(model, 'g'),
    sigmaCurve(model, 'b'),
  ];
  const key = JSON.stringify([model.autocorrelation.x, model.autocorrelation.y, model.channelCorrelation, seed]);
  const field = (frame: number): GrainField => {
    const draw = new RandomStream(seed, frame);
    const ox = draw.below(TILE),
      oy = draw.below(TILE);
    // Looked up when they are wanted: of a take's grain only the curves are.
    return {
      tiles: keptTiles(key, model, seed),
      ox,
      oy,
      sx: draw.below(2) === 0 ? 1 : -1,
      sy: draw.below(2) === 0 ? 1 : -1,
    };
  };
  return {
    curves,
    field,
    add(frame, box, coded, amount) {
      const w = box[2] - box[0],
        h = box[3] - box[1];
      const { tiles, ox, oy, sx, sy } = field(frame);
      for (let k = 0; k < 3; k++) {
        const tile = tiles[k]!,
          to = amount(k as 0 | 1 | 2);
        const base = k * w * h;
        for (let y = 0; y < h; y++) {
          const row = ((oy + sy * (box[1] + y)) & (TILE - 1)) * TILE;
          for (let x = 0; x < w; x++) {
            const o = y * w + x;
            const s = to[o]!;
            if (s > 0) coded[base + o] = coded[base + o]! + s * tile[row + ((ox + sx * (box[0] + x)) & (TILE - 1))]!;
          }
        }
      }
    },
  };
}

/**
 * Tiles by what they hang on: the correlations and the seed, a pure function of which they are. They take some thirty
 * milliseconds, and the sheet wants a picture for every turn of a knob. In the kernels' memory, where every frame reads
 * them; the last few used stay, so what is returned is not to be held on to.
 */
const kept = new Map<string, Picture>();
const MOST_KEPT = 3;

function keptTiles(key: string, model: GrainModel, seed: number): GrainField['tiles'] {
  let picture = kept.get(key);
  kept.delete(key);
  if (picture === undefined) {
    if (kept.size >= MOST_KEPT) {
      const [oldest, gone] = kept.entries().next().value!;
      kept.delete(oldest);
      kernels().freePicture(gone);
    }
    picture = kernels().allocPicture(TILE, TILE, 3, true);
    fillTiles(model, seed, [plane(picture, 0), plane(picture, 1), plane(picture, 2)]);
  }
  kept.set(key, picture);
  return [plane(picture, 0), plane(picture, 1), plane(picture, 2)];
}

function fillTiles(model: GrainModel, seed: number, [a, b, c]: GrainField['tiles']): void {
  const tx = shapingTaps(model.autocorrelation.x),
    ty = shapingTaps(model.autocorrelation.y);
  const [, m21, m22, m31, m32, m33] = channelMix(model.channelCorrelation);
  [a, b, c].forEach((tile, i) => tile.set(shapedTile(seed, i + 1, tx, ty)));
  for (let i = 0; i < a.length; i++) {
    const p = a[i]!,
      q = b[i]!,
      r = c[i]!;
    b[i] = m21 * p + m22 * q;
    c[i] = m31 * p + m32 * q + m33 * r;
  }
}

/** White noise shaped by the taps, wrapped round at the tile's edges. */
function shapedTile(seed: number, lane: number, tx: Float32Array, ty: Float32Array): Float32Array {
  const white = new Float32Array(TILE * TILE);
  const stream = new RandomStream(seed, lane << 20);
  for (let i = 0; i < white.length; i++) white[i] = stream.normal();
  if (tx.length === 1 && ty.length === 1) return white;
  const rx = tx.length >> 1,
    ry = ty.length >> 1;
  const W = TILE + 2 * rx,
    H = TILE + 2 * ry;
  const wide = new Float32Array(W * H);
  for (let y = 0; y < H; y++)
    for (let x = 0; x < W; x++) wide[y * W + x] = white[((y - ry) & (TILE - 1)) * TILE + ((x - rx) & (TILE - 1))]!;
  const shaped = convolveSeparable(wide, W, H, tx, ty, 'clamp');
  for (let y = 0; y < TILE; y++) for (let x = 0; x < TILE; x++) white[y * TILE + x] = shaped[(y + ry) * W + x + rx]!;
  return white;
}
