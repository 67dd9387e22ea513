/**
 * Where a thing that passes before the set lies in another frame: first the shift of the coarse masks that overlap best
 * where their colours agree, over all shifts; then whole pixels about it; then least squares (erase-align.ts). Believed
 * only where the thing so laid meets the visible pieces far better than the set does, and better than near frames do
 * beside the hidden part (erase-passing.ts).
 */
import { multiply, type Mat3 } from '../../geometry/mat3.js';
import { dilate } from '../../image/morphology.js';
import { plane, type Picture } from '../../image/picture.js';
import { sampleBilinear } from '../../image/sampling.js';
import { fitLocally } from './erase-align.js';
import { codedLuma } from './coded-luma.js';
import { LEAST_PX } from './passing-pieces.js';

/** Width of the coarse picture, and colours within this (sd, coded) are the same. */
const COARSE = 160;
const SAME = 0.06;
/** Overlap asked of the masks, and what may be left of the set's squared difference on the visible pieces. */
const LEAST_OVERLAP = 0.5;
const LEFT = 0.15;

/** A frame over the box, the pieces in it (0 or 1), and where it tells (> .5). */
export interface Sample {
  readonly picture: Picture;
  readonly mask: Float32Array;
  readonly known: Float32Array;
}

interface Rival {
  readonly near: Picture;
  /** > 0 where it is asked. */
  readonly beside: Float32Array;
}

/**
 * Box pixels → where the same point of the thing lies in the other frame as laid over the box; null where it is not
 * found there.
 */
export function placeOf(own: Sample, there: Sample, still: Picture, rival: Rival, w: number, h: number): Mat3 | null {
  const shift = coarseShift(own, there, w, h);
  if (shift === null) return null;
  const n = w * h,
    about = dilate(own.mask, w, h, 3);
  const [tx, ty] = fineShift(own, there, about, shift, w, h);
  const moved: Mat3 = [1, 0, tx, 0, 1, ty, 0, 0, 1];
  const luma = codedLuma(there.picture),
    laid = new Float32Array(n),
    weight = new Float32Array(n);
  for (let y = 0; y < h; y++)
    for (let x = 0; x < w; x++) {
      const u = x + tx,
        v = y + ty,
        i = y * w + x;
      if (u < 0 || v < 0 || u >= w || v >= h) continue;
      laid[i] = luma[v * w + u]!;
      weight[i] = about[i]! > 0 && own.known[i]! > 0.5 && there.known[v * w + u]! > 0.5 ? 1 : 0;
    }
  const fit = fitLocally(codedLuma(own.picture), laid, weight, w, h, { reachPx: 1 });
  const places = fit.after < fit.before ? [multiply(moved, fit.matrix), moved] : [moved];
  let best: Mat3 | null = null,
    least = LEFT;
  for (const m of places) {
    let ours = 0,
      sets = 0,
      oursBeside = 0,
      nears = 0,
      count = 0;
    for (let i = 0; i < n; i++) {
      if (!(own.mask[i]! > 0.5)) continue;
      const x = (i % w) + 0.5,
        y = Math.floor(i / w) + 0.5,
        u = m[0] * x + m[1] * y + m[2],
        v = m[3] * x + m[4] * y + m[5];
      if (u < 1 || v < 1 || u >= w - 1 || v >= h - 1 || !(there.known[Math.floor(v) * w + Math.floor(u)]! > 0.5))
        continue;
      for (let c = 0; c < 3; c++) {
        const a = own.picture.data[c * n + i]!;
        const e = (sampleBilinear(plane(there.picture, c), w, h, u, v) - a) ** 2;
        ours += e;
        sets += (still.data[c * n + i]! - a) ** 2;
        if (rival.beside[i]! > 0) {
          oursBeside += e;
          nears += (rival.near.data[c * n + i]! - a) ** 2;
        }
      }
      count++;
    }
    if (count >= LEAST_PX && oursBeside < nears && ours < least * sets) {
      least = ours / sets;
      best = m;
    }
  }
  return best;
}

/** The shift of the coarse masks that overlap best where their colours agree, in pixels of the box. */
function coarseShift(own: Sample, there: Sample, w: number, h: number): readonly [number, number] | null {
  const k = Math.max(1, Math.ceil(w / COARSE)),
    cw = Math.floor(w / k),
    ch = Math.floor(h / k);
  const a = coarse(own, k, cw, ch, w, h),
    b = coarse(there, k, cw, ch, w, h);
  const about = dilate(
    a.mask.map((v) => (v > 0.5 ? 1 : 0)),
    cw,
    ch,
    2,
  );
  const at: number[] = [];
  for (let i = 0; i < about.length; i++) if (about[i]! > 0 && a.known[i]! > 0.9) at.push(i);
  let all = 0;
  for (const i of at) all += a.mask[i]!;
  let best: readonly [number, number] | null = null,
    most = LEAST_OVERLAP;
  const rx = Math.floor(cw / 2),
    ry = Math.max(2, Math.floor(ch / 10));
  for (let ty = -ry; ty <= ry; ty++)
    for (let tx = -rx; tx <= rx; tx++) {
      let both = 0,
        either = 0,
        mine = 0;
      for (const i of at) {
        const x = (i % cw) + tx,
          y = Math.floor(i / cw) + ty;
        if (x < 0 || y < 0 || x >= cw || y >= ch) continue;
        const j = y * cw + x;
        if (!(b.known[j]! > 0.9)) continue;
        const p = a.mask[i]!,
          q = b.mask[j]!;
        mine += p;
        either += Math.max(p, q);
        if (p > 0 && q > 0) {
          let d = 0;
          for (let c = 0; c < 3; c++) d += (a.rgb[c]![i]! - b.rgb[c]![j]!) ** 2;
          both += Math.min(p, q) * Math.exp(-d / (2 * SAME * SAME));
        }
      }
      // Along a thing like a post nothing tells how far: the least shift is taken.
      const score = mine < 0.4 * all || either <= 0 ? 0 : both / either - 0.002 * (Math.abs(tx) / 4 + Math.abs(ty));
      if (score > most) {
        most = score;
        best = [tx * k, ty * k];
      }
    }
  return best;
}

function coarse(
  s: Sample,
  k: number,
  cw: number,
  ch: number,
  w: number,
  h: number,
): { mask: Float32Array; known: Float32Array; rgb: Float32Array[] } {
  const n = w * h,
    out = {
      mask: new Float32Array(cw * ch),
      known: new Float32Array(cw * ch),
      rgb: [0, 1, 2].map(() => new Float32Array(cw * ch)),
    };
  for (let y = 0; y < ch * k; y++)
    for (let x = 0; x < cw * k; x++) {
      const i = y * w + x,
        o = Math.floor(y / k) * cw + Math.floor(x / k);
      out.known[o] = out.known[o]! + s.known[i]! / (k * k);
      if (!(s.mask[i]! > 0.5)) continue;
      out.mask[o] = out.mask[o]! + 1;
      for (let c = 0; c < 3; c++) out.rgb[c]![o] = out.rgb[c]![o]! + s.picture.data[c * n + i]!;
    }
  for (let o = 0; o < out.mask.length; o++) {
    const m = out.mask[o]!;
    if (m === 0) continue;
    for (let c = 0; c < 3; c++) out.rgb[c]![o] = out.rgb[c]![o]! / m;
    out.mask[o] = m / (k * k);
  }
  return out;
}

/** The whole-pixel shift about `from` at which both pictures differ least on the thing and its edges. */
function fineShift(
  own: Sample,
  there: Sample,
  about: Float32Array,
  from: readonly [number, number],
  w: number,
  h: number,
): [number, number] {
  const k = Math.max(2, Math.ceil(w / COARSE)) + 1,
    n = w * h,
    at: number[] = [];
  for (let i = 0; i < n; i++)
    if (about[i]! > 0 && own.known[i]! > 0.5 && ((i % w) + Math.floor(i / w)) % 2 === 0) at.push(i);
  let best: [number, number] = [from[0], from[1]],
    least = Infinity;
  for (let dy = -k; dy <= k; dy++)
    for (let dx = -k; dx <= k; dx++) {
      const tx = from[0] + dx,
        ty = from[1] + dy;
      let sum = 0,
        count = 0;
      for (const i of at) {
        const x = (i % w) + tx,
          y = Math.floor(i / w) + ty;
        if (x < 0 || y < 0 || x >= w || y >= h || !(there.known[y * w + x]! > 0.5)) continue;
        const j = y * w + x;
        for (let c = 0; c < 3; c++)
          sum += Math.min(0.15, Math.abs(own.picture.data[c * n + i]! - there.picture.data[c * n + j]!)) ** 2;
        count++;
      }
      const miss = count < LEAST_PX / 2 ? Infinity : (sum / count) * (1 + 0.002 * (dx * dx + dy * dy));
      if (miss < least) {
        least = miss;
        best = [tx, ty];
      }
    }
  return best;
}
