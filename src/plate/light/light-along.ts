/**
 * How the light of the whole picture changes from each frame to the next while the camera moves: a fade inside a pan, a
 * flash in a push. Cells of the picture are registered first, so that what slides through the picture is held against
 * itself: shift, change of size and one factor of light are fitted together to the logarithms of the cells' luminance
 * (Gauss-Newton after Lucas & Kanade, IJCAI 1981; a gain solved along with the motion as in Baker & Matthews, IJCV 56,
 * 2004; Tukey's biweight for what goes otherwise). Steps are added up, so an error grows with the root of the frames,
 * and the first and last frame need not show the same place.
 */
import { selectInPlace } from '../../image/statistics.js';
import { bt709Decode } from '../../colour/transfer.js';

/** Cells across the picture; side of a cell, px, from which on every other row and column of it tells its mean. */
const ACROSS = 96,
  LARGE = 12;
/**
 * Linear luminance between which a cell tells: darker ones are noise and the film's black, brighter ones may be
 * clipped.
 */
const DARKEST = 0.004,
  BRIGHTEST = 0.85;
/** Cells by which a picture may shift from one frame to the next, across and down. */
const SEARCH = [6, 3] as const;
const ROUNDS = 5;
/** Tukey's constant for 95 % efficiency under normal noise, in sds; least sd of a cell, stops. */
const TUKEY = 4.685,
  LEAST_SD = 0.01;
/** Fewest cells that tell, and the least share of them that must go along. */
const FEWEST = 150,
  LEAST_SUPPORT = 0.5;
/** Cells that differ by more than this, stops, beside the rest do not show the same place. */
const SAME_PLACE = 0.35;

/** Cell means of luminance as log2, not a number where they do not tell. */
interface Cells {
  readonly across: number;
  readonly down: number;
  readonly stops: Float32Array;
}

const LINEAR = Float32Array.from({ length: 1025 }, (_, i) => bt709Decode(i / 1024));

/** @param luma coded 0..1, whole picture */
function cellsOf(luma: Float32Array, width: number, height: number): Cells {
  const side = Math.max(2, Math.round(width / ACROSS)),
    across = Math.floor(width / side),
    down = Math.floor(height / side),
    stops = new Float32Array(across * down),
    every = side < LARGE ? 1 : 2,
    count = Math.ceil(side / every) ** 2;
  for (let y = 0; y < down; y++)
    for (let x = 0; x < across; x++) {
      let s = 0;
      for (let v = 0; v < side; v += every) {
        const at = (y * side + v) * width + x * side;
        for (let u = 0; u < side; u += every) s += LINEAR[Math.round(1024 * Math.min(1, Math.max(0, luma[at + u]!)))]!;
      }
      const mean = s / count;
      stops[y * across + x] = mean > DARKEST && mean < BRIGHTEST ? Math.log2(mean) : NaN;
    }
  return { across, down, stops };
}

/** Change of light from one frame to the next, stops; and the share of the cells that go along. */
export interface LightStepBetween {
  readonly stops: number;
  readonly support: number;
}

interface Fit {
  dx: number;
  dy: number;
  size: number;
  light: number;
}

/** Null where too little of the picture tells, or too little of it goes along. */
function stepBetween(a: Cells, b: Cells): LightStepBetween | null {
  const start = shifted(a, b);
  if (start === null) return null;
  const fit: Fit = { dx: start[0], dy: start[1], size: 0, light: 0 };
  let sd = Infinity,
    support = 0;
  for (let round = 0; round < ROUNDS; round++) {
    const r = residuals(a, b, fit);
    if (r.length < FEWEST) return null;
    // From the middle of all changes: light that only jumps is told at once.
    if (round === 0) {
      fit.light = median(r.map((q) => q.off));
      for (const q of r) q.off -= fit.light;
    }
    sd = Math.max(LEAST_SD, 1.4826 * median(r.map((q) => Math.abs(q.off))));
    solve(r, TUKEY * sd, fit);
    let near = 0;
    for (const q of r) if (Math.abs(q.off) < SAME_PLACE) near++;
    support = near / r.length;
  }
  return support < LEAST_SUPPORT ? null : { stops: fit.light, support };
}

interface Residual {
  off: number;
  readonly gx: number;
  readonly gy: number;
  readonly gs: number;
}

/** What is left between a's cells and b's at their places, and its slopes. */
function residuals(a: Cells, b: Cells, { dx, dy, size, light }: Fit): Residual[] {
  const { across: W, down: H } = a,
    cx = (W - 1) / 2,
    cy = (H - 1) / 2,
    out: Residual[] = [];
  for (let y = 1; y < H - 1; y++)
    for (let x = 1; x < W - 1; x++) {
      const was = a.stops[y * W + x]!;
      if (Number.isNaN(was)) continue;
      const u = x + dx + size * (x - cx),
        v = y + dy + size * (y - cy),
        iu = Math.floor(u),
        iv = Math.floor(v);
      if (iu < 0 || iv < 0 || iu >= W - 1 || iv >= H - 1) continue;
      const i = iv * W + iu,
        p00 = b.stops[i]!,
        p10 = b.stops[i + 1]!,
        p01 = b.stops[i + W]!,
        p11 = b.stops[i + W + 1]!,
        tx = u - iu,
        ty = v - iv;
      const is = (1 - ty) * ((1 - tx) * p00 + tx * p10) + ty * ((1 - tx) * p01 + tx * p11);
      if (Number.isNaN(is)) continue;
      const gx = (1 - ty) * (p10 - p00) + ty * (p11 - p01),
        gy = (1 - tx) * (p01 - p00) + tx * (p11 - p10);
      out.push({ off: is - was - light, gx, gy, gs: gx * (x - cx) + gy * (y - cy) });
    }
  return out;
}

/** One weighted Gauss-Newton step of shift, size and light; `fit` is changed in place. */
function solve(r: readonly Residual[], reach: number, fit: Fit): void {
  const m = new Float64Array(20);
  for (const q of r) {
    const u = q.off / reach;
    if (Math.abs(u) >= 1) continue;
    const w = (1 - u * u) ** 2,
      row = [q.gx, q.gy, q.gs, -1, -q.off];
    for (let i = 0; i < 4; i++) for (let j = i; j < 5; j++) m[5 * i + j]! += w * row[i]! * row[j]!;
  }
  for (let i = 1; i < 4; i++) for (let j = 0; j < i; j++) m[5 * i + j] = m[5 * j + i]!;
  for (let i = 0; i < 4; i++) m[5 * i + i]! += 1e-3;
  for (let i = 0; i < 4; i++)
    for (let k = i + 1; k < 4; k++) {
      const f = m[5 * k + i]! / m[5 * i + i]!;
      for (let j = i; j < 5; j++) m[5 * k + j]! -= f * m[5 * i + j]!;
    }
  const x = [0, 0, 0, 0];
  for (let i = 3; i >= 0; i--) {
    let s = m[5 * i + 4]!;
    for (let j = i + 1; j < 4; j++) s -= m[5 * i + j]! * x[j]!;
    x[i] = s / m[5 * i + i]!;
  }
  fit.dx += x[0]!;
  fit.dy += x[1]!;
  fit.size += x[2]!;
  fit.light += x[3]!;
}

/**
 * Whole-cell shift at which the two lie best on each other whatever the light, by the mean distance from the mean
 * change; null where too little tells.
 */
function shifted(a: Cells, b: Cells): readonly [number, number] | null {
  const { across: W, down: H } = a,
    changes = new Float64Array(W * H);
  let best = Infinity,
    at: readonly [number, number] | null = null;
  for (let v = -SEARCH[1]; v <= SEARCH[1]; v++)
    for (let u = -SEARCH[0]; u <= SEARCH[0]; u++) {
      let n = 0,
        sum = 0;
      for (let y = Math.max(0, -v); y < Math.min(H, H - v); y += 2)
        for (let x = Math.max(0, -u); x < Math.min(W, W - u); x += 2) {
          const d = b.stops[(y + v) * W + x + u]! - a.stops[y * W + x]!;
          // What is no number does not tell.
          if (d === d) changes[n++] = d;
        }
      if (n < FEWEST / 4) continue;
      for (let i = 0; i < n; i++) sum += changes[i]!;
      const mean = sum / n;
      let off = 0;
      for (let i = 0; i < n; i++) off += Math.min(1, Math.abs(changes[i]! - mean));
      const e = off / n + 1e-4 * (Math.abs(u) + Math.abs(v));
      if (e < best) {
        best = e;
        at = [u, v];
      }
    }
  return at;
}

function median(v: readonly number[]): number {
  const s = Float64Array.from(v);
  return selectInPlace(s, s.length >> 1);
}

/** Fed every frame's coded luma in order; holds the cells of one. */
export class LightAlong {
  private before: Cells | null = null;
  private sum = 0;

  /**
   * The light of this frame beside the first, stops; null where it can't be told how it changed since the frame before:
   * it is then taken to be as it was.
   */
  add(luma: Float32Array, width: number, height: number): number | null {
    const now = cellsOf(luma, width, height),
      step = this.before === null ? { stops: 0 } : stepBetween(this.before, now);
    if (step === null) return null;
    this.before = now;
    this.sum += step.stops;
    return this.sum;
  }
}
