/**
 * The take's own camera, from what stands still behind the performer: crosses and folds of the screen, floor marks, the card,
 * edges of the room. Corners (Shi & Tomasi, *Good Features to Track*, CVPR 1994) of the first frame outside the performer are
 * found again in every frame by translational inverse compositional alignment (Baker & Matthews, IJCV 2004) with the light's
 * gain and bias taken out; always against the first frame, so that nothing drifts. A similarity is fitted to them by
 * iteratively reweighted least squares (Tukey's biweight): a moving shadow or a stray paw falls out. A plain screen has
 * nothing to hold on to: said, with what would help. Lengths in pixels of the take; luma display-coded 0..1.
 */
import { notMeasurable } from '../core/measure.js';
import { framesPerSecond } from '../core/rational.js';
import { invert, type Mat3 } from '../geometry/mat3.js';
import type { VideoReader } from '../media/video-reader.js';
import { describeMove } from '../plate/camera-kind.js';
import { enlargeMove, moveFactor, readerLumaSource } from '../plate/reader-luma-source.js';
import type { CameraMove, CameraMoveFrame } from '../plate/types.js';
import type { TakeFrame } from './measures.js';

const HALF = 7, SIDE = 2 * HALF + 1, N = SIDE * SIDE;
const COLUMNS = 16, ROWS = 9, MARGIN = HALF + 3;
/** Least corners, and least share of frames that must hold them. */
const LEAST_CORNERS = 6, LEAST_FRAMES = 0.8;
/** Furthest that a corner is sought from where the last frame's motion puts it, px of the measured picture. */
const REACH = 14;
const LEAST_CORRELATION = 0.75;
/** Weaker corners are what a codec makes of a plain screen: smaller slope squared, summed over the patch's samples. */
const LEAST_STRENGTH = 0.02;
/** A frame whose corners agree less well than this (robust sd, px) is not believed. */
const MOST_SCALE = 0.3;
const TUKEY = 4.685;
/** Least scale of the residuals: what a codec makes of a sharp corner. */
const LEAST_SCALE = 0.08;

type Similarity = readonly [a: number, b: number, tx: number, ty: number];
const STILL: Similarity = [1, 0, 0, 0];
const apply = (s: Similarity, x: number, y: number): [number, number] => [s[0] * x - s[1] * y + s[2], s[1] * x + s[0] * y + s[3]];

interface Corners { readonly x: Float64Array; readonly y: Float64Array; readonly value: Float32Array; readonly gx: Float32Array; readonly gy: Float32Array }

export interface TakeCamera { readonly camera: CameraMove | null; readonly note: string | null }

const PLAIN = 'the take\'s camera could not be measured: nothing behind the performer can be followed; stick a few small crosses on the screen or the floor';

/** Measures the camera of an open take. `frames` are the sampled frames with the performer's box, in take pixels. */
export async function measureTakeCamera(reader: VideoReader, frames: readonly TakeFrame[]): Promise<TakeCamera> {
  const { frameCount, rate } = reader.info;
  if (frameCount < 3) return { camera: null, note: null };
  const factor = moveFactor(reader.info.widthPx);
  const source = readerLumaSource(reader, factor);
  const { widthPx: w, heightPx: h } = source;
  const boxAt = boxes(frames, factor, Math.round(0.02 * w) + 6);
  const boxed = frames.some((f) => f.box !== null);
  let corners: Corners | null = null;
  let last: Similarity = STILL;
  const found: { frame: number; s: Similarity; support: number }[] = [];
  let lost = 0;
  for await (const f of source.frames(0, frameCount)) {
    if (corners === null) {
      corners = cornersOf(f.luma, w, h, boxAt(0));
      if (corners.x.length < LEAST_CORNERS) return { camera: null, note: PLAIN };
      continue;
    }
    const at = follow(corners, f.luma, w, h, last, boxAt(f.index));
    const fit = at.found.length < LEAST_CORNERS ? null : fitSimilarity(corners, at.found, last);
    // Without a box the performer itself may be what is followed: only what agrees over the whole picture is the room.
    const sure = fit !== null && fit.scale <= MOST_SCALE && fit.inliers >= LEAST_CORNERS && fit.inliers >= 0.4 * at.visible && fit.spread >= (boxed ? 0.08 : 0.2) * w && fit.inliers >= (boxed ? 0.4 : 0.6) * at.found.length;
    if (sure) last = fit.s;
    else if (++lost > (1 - LEAST_FRAMES) * (frameCount - 1)) return { camera: null, note: PLAIN };
    found.push({ frame: f.index, s: last, support: sure ? fit.inliers / at.found.length : 0 });
  }
  const matrix = (s: Similarity): Mat3 => [s[0], -s[1], s[2], s[1], s[0], s[3], 0, 0, 1];
  const kind = describeMove(found.map((f) => matrix(f.s)), w, h, framesPerSecond(rate), false);
  const flat = { panDeg: null, tiltDeg: null, rollDeg: null };
  const out: CameraMoveFrame[] = [{ frame: 0, homographyToFirst: [1, 0, 0, 0, 1, 0, 0, 0, 1], ...flat, support: 1 }, ...found.map((f) => ({ frame: f.frame, homographyToFirst: invert(matrix(f.s)), ...flat, support: f.support }))];
  const reason = 'a similarity of what stands behind the performer tells no lens';
  return { camera: enlargeMove({ move: kind.move, focalPx: notMeasurable('px', reason, 'the floor card'), frames: out, shake: kind.shake, reason }, factor), note: null };
}

interface Box { readonly x0: number; readonly y0: number; readonly x1: number; readonly y1: number }

/** The performer's box at any frame: what the sampled frames on both sides cover together, widened; null where none was found. */
function boxes(frames: readonly TakeFrame[], factor: number, widen: number): (frame: number) => Box | null {
  const known = frames.filter((f) => f.box !== null);
  return (frame) => {
    if (known.length === 0) return null;
    const after = known.findIndex((f) => f.frame >= frame);
    const pair = after < 0 ? [known[known.length - 1]!] : after === 0 ? [known[0]!] : [known[after - 1]!, known[after]!];
    const b = pair.map((f) => f.box!);
    return { x0: Math.min(...b.map((q) => q.x0)) / factor - widen, y0: Math.min(...b.map((q) => q.y0)) / factor - widen, x1: Math.max(...b.map((q) => q.x1)) / factor + widen, y1: Math.max(...b.map((q) => q.y1)) / factor + widen };
  };
}

const covers = (b: Box | null, x: number, y: number): boolean => b !== null && x > b.x0 && x < b.x1 && y > b.y0 && y < b.y1;

/** Noise of a picture (Immerkær, *Fast Noise Variance Estimation*, CVIU 1996), by the median so that edges do not count. */
function noiseOf(d: Float32Array, w: number, h: number): number {
  const v: number[] = [];
  for (let y = 1; y < h - 1; y += 4) for (let x = 1; x < w - 1; x += 4) {
    const o = y * w + x;
    v.push(Math.abs(d[o - w - 1]! - 2 * d[o - w]! + d[o - w + 1]! - 2 * d[o - 1]! + 4 * d[o]! - 2 * d[o + 1]! + d[o + w - 1]! - 2 * d[o + w]! + d[o + w + 1]!));
  }
  v.sort((a, b) => a - b);
  return (1.4826 * (v[v.length >> 1] ?? 0)) / 6;
}

/** The strongest corner in each cell of a grid, outside the box, well above what noise makes. */
function cornersOf(d: Float32Array, w: number, h: number, box: Box | null): Corners {
  const sigma = noiseOf(d, w, h);
  const least = Math.max(LEAST_STRENGTH, 500 * sigma * sigma);
  const xs: number[] = [], ys: number[] = [];
  for (let r = 0; r < ROWS; r++) for (let c = 0; c < COLUMNS; c++) {
    let best = least, bx = -1, by = -1;
    const x0 = Math.max(MARGIN, Math.floor((c * w) / COLUMNS)), x1 = Math.min(w - MARGIN, Math.floor(((c + 1) * w) / COLUMNS));
    const y0 = Math.max(MARGIN, Math.floor((r * h) / ROWS)), y1 = Math.min(h - MARGIN, Math.floor(((r + 1) * h) / ROWS));
    for (let y = y0; y < y1; y += 2) for (let x = x0; x < x1; x += 2) {
      if (covers(box, x, y)) continue;
      let xx = 0, xy = 0, yy = 0;
      for (let v = -HALF; v <= HALF; v += 2) for (let u = -HALF; u <= HALF; u += 2) {
        const o = (y + v) * w + x + u;
        const gx = d[o + 1]! - d[o - 1]!, gy = d[o + w]! - d[o - w]!;
        xx += gx * gx;
        xy += gx * gy;
        yy += gy * gy;
      }
      const low = (xx + yy - Math.hypot(xx - yy, 2 * xy)) / 2;
      if (low > best) {
        best = low;
        bx = x;
        by = y;
      }
    }
    if (bx >= 0) {
      xs.push(bx);
      ys.push(by);
    }
  }
  const n = xs.length;
  const value = new Float32Array(n * N), gx = new Float32Array(n * N), gy = new Float32Array(n * N);
  for (let i = 0; i < n; i++) {
    let mean = 0;
    for (let k = 0; k < N; k++) {
      const o = (ys[i]! + Math.floor(k / SIDE) - HALF) * w + xs[i]! + (k % SIDE) - HALF;
      value[i * N + k] = d[o]!;
      mean += d[o]! / N;
      gx[i * N + k] = 0.5 * (d[o + 1]! - d[o - 1]!);
      gy[i * N + k] = 0.5 * (d[o + w]! - d[o - w]!);
    }
    for (let k = 0; k < N; k++) value[i * N + k] = value[i * N + k]! - mean;
  }
  return { x: Float64Array.from(xs), y: Float64Array.from(ys), value, gx, gy };
}

interface Found { readonly i: number; readonly x: number; readonly y: number }

interface Sweep { readonly found: readonly Found[]; readonly visible: number }

/** Corners found in a frame. Where too few are found near the prediction they are sought further off. */
function follow(c: Corners, d: Float32Array, w: number, h: number, last: Similarity, box: Box | null): Sweep {
  const near = sweep(c, d, w, h, last, box, false);
  return near.found.length >= Math.max(LEAST_CORNERS, 0.5 * near.visible) ? near : sweep(c, d, w, h, last, box, true);
}

function sweep(c: Corners, d: Float32Array, w: number, h: number, last: Similarity, box: Box | null, wide: boolean): Sweep {
  const out: Found[] = [];
  let visible = 0;
  for (let i = 0; i < c.x.length; i++) {
    let [x, y] = apply(last, c.x[i]!, c.y[i]!);
    if (covers(box, x, y)) continue;
    visible++;
    if (wide) {
      let best = -1, ux = 0, uy = 0;
      for (let v = -REACH; v <= REACH; v += 2) for (let u = -REACH; u <= REACH; u += 2) {
        const q = correlation(c.value, i, d, w, h, x + u, y + v);
        if (q > best) {
          best = q;
          ux = u;
          uy = v;
        }
      }
      x += ux;
      y += uy;
    }
    const p = refine(c, i, d, w, h, x, y);
    if (p !== null) out.push(p);
  }
  return { found: out, visible };
}

/** Working memory of `read`: filled and used within one call. */
const sample = new Float32Array(N);

/** Reads the patch about (x, y) bilinearly into `sample`, its mean taken out; false where it leaves the picture. */
function read(d: Float32Array, w: number, h: number, x: number, y: number): boolean {
  const xi = Math.floor(x), yi = Math.floor(y), fx = x - xi, fy = y - yi;
  if (xi < HALF || yi < HALF || xi + HALF + 1 >= w || yi + HALF + 1 >= h) return false;
  let mean = 0;
  for (let v = 0, k = 0; v < SIDE; v++) {
    let o = (yi + v - HALF) * w + xi - HALF;
    for (let u = 0; u < SIDE; u++, k++, o++) {
      const q = (d[o]! * (1 - fx) + d[o + 1]! * fx) * (1 - fy) + (d[o + w]! * (1 - fx) + d[o + w + 1]! * fx) * fy;
      sample[k] = q;
      mean += q;
    }
  }
  mean /= N;
  for (let k = 0; k < N; k++) sample[k] = sample[k]! - mean;
  return true;
}

function correlation(value: Float32Array, i: number, d: Float32Array, w: number, h: number, x: number, y: number): number {
  if (!read(d, w, h, x, y)) return -1;
  let ss = 0, tt = 0, st = 0;
  for (let k = 0; k < N; k++) {
    const s = sample[k]!, t = value[i * N + k]!;
    ss += s * s;
    tt += t * t;
    st += s * t;
  }
  return st / Math.sqrt(ss * tt + 1e-12);
}

function refine(c: Corners, i: number, d: Float32Array, w: number, h: number, x: number, y: number): Found | null {
  const at = i * N, x0 = x, y0 = y;
  let xx = 0, xy = 0, yy = 0, tt = 0;
  for (let k = at; k < at + N; k++) {
    xx += c.gx[k]! ** 2;
    xy += c.gx[k]! * c.gy[k]!;
    yy += c.gy[k]! ** 2;
    tt += c.value[k]! ** 2;
  }
  const det = xx * yy - xy * xy;
  for (let it = 0; it < 12; it++) {
    if (!read(d, w, h, x, y)) return null;
    let st = 0;
    for (let k = 0; k < N; k++) st += sample[k]! * c.value[at + k]!;
    const gain = st / tt;
    if (!(gain > 0.2)) return null;
    let ex = 0, ey = 0;
    for (let k = 0; k < N; k++) {
      const e = sample[k]! / gain - c.value[at + k]!;
      ex += e * c.gx[at + k]!;
      ey += e * c.gy[at + k]!;
    }
    const dx = (yy * ex - xy * ey) / det, dy = (xx * ey - xy * ex) / det;
    x -= dx;
    y -= dy;
    if (Math.hypot(x - x0, y - y0) > 6) return null;
    if (Math.hypot(dx, dy) < 0.003) break;
  }
  return correlation(c.value, i, d, w, h, x, y) < LEAST_CORRELATION ? null : { i, x, y };
}

/** Similarity from the first frame to this one, started at the median displacement against the last frame's. */
function fitSimilarity(c: Corners, at: readonly Found[], last: Similarity): { s: Similarity; inliers: number; spread: number; scale: number } {
  const median = (v: number[]): number => v.sort((a, b) => a - b)[v.length >> 1]!;
  const off = at.map((p) => { const [x, y] = apply(last, c.x[p.i]!, c.y[p.i]!); return [p.x - x, p.y - y] as const; });
  let s: Similarity = [last[0], last[1], last[2] + median(off.map((o) => o[0])), last[3] + median(off.map((o) => o[1]))];
  let weights: number[] = [];
  let scale = 0;
  for (let it = 0; it < 15; it++) {
    const r = at.map((p) => { const [x, y] = apply(s, c.x[p.i]!, c.y[p.i]!); return Math.hypot(p.x - x, p.y - y); });
    scale = Math.max(LEAST_SCALE, median([...r]) / 1.1774);
    weights = r.map((e) => { const u = e / (TUKEY * scale); return u >= 1 ? 0 : (1 - u * u) ** 2; });
    let sw = 0, mx = 0, my = 0, nx = 0, ny = 0;
    at.forEach((p, k) => { const q = weights[k]!; sw += q; mx += q * c.x[p.i]!; my += q * c.y[p.i]!; nx += q * p.x; ny += q * p.y; });
    mx /= sw; my /= sw; nx /= sw; ny /= sw;
    let dot = 0, cross = 0, norm = 0;
    at.forEach((p, k) => {
      const u = c.x[p.i]! - mx, v = c.y[p.i]! - my, a = p.x - nx, b = p.y - ny, q = weights[k]!;
      dot += q * (u * a + v * b);
      cross += q * (u * b - v * a);
      norm += q * (u * u + v * v);
    });
    const a = dot / norm, b = cross / norm;
    s = [a, b, nx - a * mx + b * my, ny - b * mx - a * my];
  }
  const inside = at.filter((_, k) => weights[k]! > 0.1);
  const cx = inside.reduce((t, p) => t + c.x[p.i]!, 0) / inside.length, cy = inside.reduce((t, p) => t + c.y[p.i]!, 0) / inside.length;
  const spread = Math.sqrt(inside.reduce((t, p) => t + (c.x[p.i]! - cx) ** 2 + (c.y[p.i]! - cy) ** 2, 0) / Math.max(1, inside.length));
  return { s, inliers: inside.length, spread, scale };
}
