/**
 * One picture of a region from many frames that were well aligned: its grain is the mean's, what passed in front of a
 * few of them is left out, and around the region what moves with it is known from what does not. Each frame is brought
 * to the first one's light (gain, and a bias that varies slowly over tiles); a pixel is the mean of those values that
 * lie near their median (a trimmed mean: P. Huber, *Robust Statistics*, 1981). Blocks of the surroundings belong to the
 * plane where their residuals are no larger than the region's own and no shift is left in them (Lucas & Kanade, IJCAI
 * 1981), both as medians over the frames. Units: pixels of the key frame, display-coded luma.
 */
import type { Mat3 } from '../../geometry/mat3.js';

/** A box of the key frame's pixels. */
export interface Box {
  readonly x: number;
  readonly y: number;
  readonly width: number;
  readonly height: number;
}

export interface AveragedRegion {
  /** Box height × width. */
  readonly luma: Float32Array;
  /** 1 where the pixel's block moves as the region does. */
  readonly belongs: Uint8Array;
  /** How many frames of equal weight the mean is worth. */
  readonly worth: number;
}

const TILE = 24;
const BLOCK = 4;
/** A block outside may be this much worse than nine tenths of the region's own. */
const SLACK = 1.3;

/** The box of the key frame as a frame shows it: NaN outside that frame. */
export function takeBox(
  luma: Float32Array,
  widthPx: number,
  heightPx: number,
  box: Box,
  homography: Mat3,
): Float32Array {
  const out = new Float32Array(box.width * box.height);
  const [a, b, c, d, e, f, g, h, i] = homography;
  for (let y = 0, o = 0; y < box.height; y++) {
    const v = box.y + y + 0.5;
    for (let x = 0; x < box.width; x++, o++) {
      const u = box.x + x + 0.5;
      const q = 1 / (g * u + h * v + i);
      const px = (a * u + b * v + c) * q - 0.5;
      const py = (d * u + e * v + f) * q - 0.5;
      if (!(q > 0 && px >= 0 && py >= 0 && px <= widthPx - 1.001 && py <= heightPx - 1.001)) {
        out[o] = NaN;
        continue;
      }
      const xi = px | 0;
      const yi = py | 0;
      const fx = px - xi;
      const fy = py - yi;
      const p = yi * widthPx + xi;
      const top = luma[p]! + fx * (luma[p + 1]! - luma[p]!);
      const low = luma[p + widthPx]! + fx * (luma[p + widthPx + 1]! - luma[p + widthPx]!);
      out[o] = top + fy * (low - top);
    }
  }
  return out;
}

/**
 * Brings `values` to the light of `reference` in place: one gain, and the bias of tiles, interpolated.
 * Only pixels of the region speak (`inside`); its light is carried on into the surroundings, so that what
 * is not of it does not pass for a change of light.
 */
export function levelLight(
  values: Float32Array,
  reference: Float32Array,
  box: Box,
  inside: Uint8Array,
  gain: number,
): void {
  const { width: w, height: h } = box;
  const columns = Math.max(1, Math.round(w / TILE));
  const rows = Math.max(1, Math.round(h / TILE));
  const sum = new Float64Array(columns * rows);
  const n = new Float64Array(columns * rows);
  for (let y = 0, o = 0; y < h; y++) {
    const r = Math.floor((y * rows) / h) * columns;
    for (let x = 0; x < w; x++, o++) {
      const v = values[o]!;
      const t = reference[o]!;
      if (v !== v || t !== t || inside[o] === 0) continue;
      const k = r + Math.floor((x * columns) / w);
      sum[k] = sum[k]! + v / gain - t;
      n[k] = n[k]! + 1;
    }
  }
  const bias = spreadOut(sum, n, columns, rows);
  for (let y = 0, o = 0; y < h; y++) {
    const r = Math.max(0, Math.min(rows - 1, ((y + 0.5) * rows) / h - 0.5));
    const r0 = Math.floor(r);
    const r1 = Math.min(rows - 1, r0 + 1);
    const fr = r - r0;
    for (let x = 0; x < w; x++, o++) {
      const c = Math.max(0, Math.min(columns - 1, ((x + 0.5) * columns) / w - 0.5));
      const c0 = Math.floor(c);
      const c1 = Math.min(columns - 1, c0 + 1);
      const fc = c - c0;
      const top = bias[r0 * columns + c0]! * (1 - fc) + bias[r0 * columns + c1]! * fc;
      const low = bias[r1 * columns + c0]! * (1 - fc) + bias[r1 * columns + c1]! * fc;
      values[o] = values[o]! / gain - top - fr * (low - top);
    }
  }
}

/** Tile means; tiles that hold little lean on those beside them (a diffusion), and those on theirs. */
function spreadOut(sum: Float64Array, n: Float64Array, columns: number, rows: number): Float64Array {
  let all = 0;
  let count = 0;
  for (let k = 0; k < n.length; k++) {
    all += sum[k]!;
    count += n[k]!;
  }
  const out = new Float64Array(n.length).fill(all / Math.max(1, count));
  const hold = (TILE * TILE) / 20;
  for (let it = 0; it < 2 * Math.max(columns, rows); it++)
    for (let r = 0; r < rows; r++)
      for (let c = 0; c < columns; c++) {
        const k = r * columns + c;
        let s = 0;
        let m = 0;
        if (c > 0) {
          s += out[k - 1]!;
          m++;
        }
        if (c + 1 < columns) {
          s += out[k + 1]!;
          m++;
        }
        if (r > 0) {
          s += out[k - columns]!;
          m++;
        }
        if (r + 1 < rows) {
          s += out[k + columns]!;
          m++;
        }
        if (m > 0) out[k] = (sum[k]! + (hold * s) / m) / (n[k]! + hold);
      }
  return out;
}

/**
 * @param stack boxes of the frames in one light, all of the same size
 * @param weights of the frames: the inverse variances of their grain in that light
 * @param inside 1 where a pixel lies in the region as drawn
 */
export function averageRegion(
  stack: readonly Float32Array[],
  weights: readonly number[],
  box: Box,
  inside: Uint8Array,
): AveragedRegion {
  const { width: w, height: h } = box;
  const n = w * h;
  const most = stack.length;
  const luma = new Float32Array(n);
  const spread = new Float32Array(n);
  const column = new Float64Array(most);
  const sorted = new Float64Array(most);
  const spreads: number[] = [];
  for (let o = 0; o < n; o++) {
    let m = 0;
    for (let k = 0; k < most; k++) {
      const v = stack[k]![o]!;
      if (v === v) column[m++] = v;
    }
    luma[o] = m === 0 ? NaN : medianOf(column, m, sorted);
    for (let k = 0; k < m; k++) column[k] = Math.abs(column[k]! - luma[o]!);
    spread[o] = m < 3 ? NaN : medianOf(column, m, sorted);
    if (inside[o] === 1 && spread[o] === spread[o] && o % 7 === 0) spreads.push(spread[o]!);
  }
  const reach = 2.5 * 1.4826 * (spreads.sort((a, b) => a - b)[spreads.length >> 1] ?? 0.02) + 0.004;
  for (let o = 0; o < n; o++) {
    const middle = luma[o]!;
    let s = 0;
    let m = 0;
    for (let k = 0; k < most; k++) {
      const v = stack[k]![o]!;
      if (Math.abs(v - middle) <= reach) {
        s += weights[k]! * v;
        m += weights[k]!;
      }
    }
    if (m > 0) luma[o] = s / m;
  }
  const total = weights.reduce((s, v) => s + v, 0);
  const squares = weights.reduce((s, v) => s + v * v, 0);
  return { luma, belongs: belonging(stack, luma, box, inside), worth: (total * total) / squares };
}

/** 1 for the pixels of blocks that move as the region does. */
function belonging(stack: readonly Float32Array[], mean: Float32Array, box: Box, inside: Uint8Array): Uint8Array {
  const { width: w, height: h } = box;
  const columns = Math.ceil(w / BLOCK);
  const rows = Math.ceil(h / BLOCK);
  const noise = new Float32Array(columns * rows);
  const shift = new Float32Array(columns * rows);
  const share = new Float32Array(columns * rows);
  const a = new Float64Array(stack.length);
  const b = new Float64Array(stack.length);
  const sorted = new Float64Array(stack.length);
  for (let r = 0; r < rows; r++)
    for (let c = 0; c < columns; c++) {
      const k = r * columns + c;
      let m = 0;
      let count = 0;
      for (let y = r * BLOCK; y < Math.min(h, r * BLOCK + BLOCK); y++)
        for (let x = c * BLOCK; x < Math.min(w, c * BLOCK + BLOCK); x++) {
          share[k] = share[k]! + inside[y * w + x]!;
          count++;
        }
      share[k] = share[k]! / count;
      for (const s of stack) {
        let n = 0;
        let rr = 0;
        let xx = 0;
        let xy = 0;
        let yy = 0;
        let rx = 0;
        let ry = 0;
        for (let y = Math.max(1, r * BLOCK); y < Math.min(h - 1, r * BLOCK + BLOCK); y++)
          for (let x = Math.max(1, c * BLOCK); x < Math.min(w - 1, c * BLOCK + BLOCK); x++) {
            const o = y * w + x;
            const e = s[o]! - mean[o]!;
            const gx = 0.5 * (mean[o + 1]! - mean[o - 1]!);
            const gy = 0.5 * (mean[o + w]! - mean[o - w]!);
            if (!(e === e && gx === gx && gy === gy)) continue;
            n++;
            rr += e * e;
            xx += gx * gx;
            xy += gx * gy;
            yy += gy * gy;
            rx += gx * e;
            ry += gy * e;
          }
        if (n < 8) continue;
        const ridge = 1e-7 * n;
        const det = (xx + ridge) * (yy + ridge) - xy * xy;
        a[m] = rr / n;
        b[m++] = (rx * rx * (yy + ridge) - 2 * rx * ry * xy + ry * ry * (xx + ridge)) / det;
      }
      noise[k] = m < 3 ? Infinity : medianOf(a, m, sorted);
      shift[k] = m < 3 ? Infinity : medianOf(b, m, sorted);
    }
  const own = (v: Float32Array): number => {
    const s = Array.from(v)
      .filter((q, k) => share[k]! > 0.9 && Number.isFinite(q))
      .sort((p, q) => p - q);
    return s[Math.floor(0.9 * (s.length - 1))] ?? Infinity;
  };
  const noisy = SLACK * own(noise);
  const shifted = SLACK * own(shift);
  const out = new Uint8Array(w * h);
  for (let y = 0; y < h; y++)
    for (let x = 0; x < w; x++) {
      const k = Math.floor(y / BLOCK) * columns + Math.floor(x / BLOCK);
      const o = y * w + x;
      // Of the region itself only what is quite unlike the rest is left out.
      out[o] = inside[o] === 1 ? (noise[k]! < 4 * noisy ? 1 : 0) : noise[k]! <= noisy && shift[k]! <= shifted ? 1 : 0;
    }
  return out;
}

/** Median of the first n values. */
function medianOf(v: Float64Array, n: number, sorted: Float64Array): number {
  for (let i = 0; i < n; i++) {
    const q = v[i]!;
    let k = i - 1;
    while (k >= 0 && sorted[k]! > q) {
      sorted[k + 1] = sorted[k]!;
      k--;
    }
    sorted[k + 1] = q;
  }
  return n % 2 === 1 ? sorted[n >> 1]! : 0.5 * (sorted[n >> 1]! + sorted[(n >> 1) - 1]!);
}
