/**
 * Chatter: an outline that goes out and back from frame to frame. Read twice, since matte and picture can disagree. (1)
 * From the matte: alpha of small cells beyond what its neighbours in time span. (2) From the picture: how far each
 * stretch of the outline moved from the plate towards the performer beside it (the coverage seen, by least squares in
 * linear light), less the coverage that the matte says; what of that goes out and back is no motion, since the matte
 * moves with the performer. Grain and the coat's own texture are averaged over small cells that go with the performer,
 * each weighed by its contrast. The matte's movement takes part in the first, never in the second: a picture that
 * chatters beside a calm matte shows only there.
 */
import { bt709Decode } from '../../colour/transfer.js';
import { nearestInSet } from '../../image/distance.js';
import { grow, type SeenFrame } from '../reader/frame.js';

/**
 * Mean alpha by which the outline of the matte leaves the range that its neighbours in time span, in cells that go with
 * the performer (`anchor`: its own place now; the neighbours already moved to it). Smooth motion, however quick, gives
 * little, and so do single hairs, which average out in a cell: the true mattes of the practice set read .002 to .010
 * (pixel by pixel .05 to .09), with patches of sd .2 that come and go .005 to .023, of .4 .012 to .047. Null where
 * there is no outline.
 */
export function readChatter(
  before: Float32Array,
  now: Float32Array,
  after: Float32Array,
  box: readonly [number, number, number, number],
  width: number,
  anchor: readonly [number, number],
): number | null {
  const cells = new Map<number, Float64Array>();
  let pixels = 0;
  for (let y = box[1]; y < box[3]; y++) {
    const row = (Math.floor((y - anchor[1]) / CELL) + 4096) * 8192;
    for (let x = box[0]; x < box[2]; x++) {
      const i = y * width + x;
      const a = before[i]!,
        b = now[i]!,
        c = after[i]!;
      const soft = (b > 0.03 && b < 0.97) || Math.abs(a - c) > 0.06 || Math.abs(b - (a + c) / 2) > 0.06;
      if (!soft) continue;
      pixels++;
      const key = row + Math.floor((x - anchor[0]) / CELL) + 4096;
      let s = cells.get(key);
      if (s === undefined) {
        s = new Float64Array(4);
        cells.set(key, s);
      }
      s[0]! += a;
      s[1]! += b;
      s[2]! += c;
      s[3]!++;
    }
  }
  if (pixels < 40) return null;
  let sum = 0,
    count = 0;
  for (const [a, b, c, n] of cells.values() as IterableIterator<Float64Array & [number, number, number, number]>) {
    if (n < 8) continue;
    // Out and back: this frame lies outside what its neighbours span.
    sum += Math.max(0, Math.min(a, c) - b, b - Math.max(a, c));
    count += n;
  }
  return count < 40 ? null : sum / count;
}

/**
 * Side of a cell, px. On the true pictures of the practice set cells of 6, 12 and 18 px read .040 to .062, .029 to .048
 * and .022 to .032; with a third of the outline's cover taken away on every other frame all read .11 to .13, and under
 * patches of 3 px that come and go by a third .08 to .10, .07 to .08 and .06 to .07: 12 px part the two best.
 */
const CELL = 12;
/** Half-covered pixels: this much to that much alpha. */
const LOW = 0.04,
  HIGH = 0.96;
/** Farthest that the covered picture may lie which stands for the performer at the outline, px. */
const REACH = 14;
/** Mean squared contrast (linear, three channels) below which a cell tells nothing: a tenth of mid grey's. */
const LEAST = 0.001;

const LINEAR = Float64Array.from({ length: 1025 }, (_, i) => bt709Decode(i / 1024));

function linear(coded: number): number {
  const v = 1024 * Math.min(1, Math.max(0, coded)),
    k = Math.min(1023, Math.floor(v));
  return LINEAR[k]! + (LINEAR[k + 1]! - LINEAR[k]!) * (v - k);
}

/** One cell of the outline: coverage seen less the matte's, and its contrast (sum of squares, which weighs it). */
export interface OutlineCell {
  readonly off: number;
  readonly weight: number;
  readonly pixels: number;
}
export type OutlineCells = ReadonlyMap<number, OutlineCell>;

/**
 * Cells of one frame's outline by place, counted from `anchor` (the performer's own place); `slip`: by how much (px)
 * the picture's performer stands beside its matte on this frame, so that a slip is not taken for chatter. Null where
 * there is no outline or no core.
 */
export function outlineCells(
  f: SeenFrame,
  anchor: readonly [number, number],
  slip: readonly [number, number],
): OutlineCells | null {
  if (f.box === null) return null;
  const { width: W, height: H, data: j } = f.join;
  const N = W * H,
    b = f.plate.data;
  const [x0, y0, x1, y1] = grow(f.box, 4, 4, W, H);
  const w = x1 - x0,
    h = y1 - y0;
  const core = new Uint8Array(w * h);
  let count = 0;
  for (let y = 0; y < h; y++)
    for (let x = 0; x < w; x++)
      if (f.matte[(y0 + y) * W + x0 + x]! >= 0.985) {
        core[y * w + x] = 1;
        count++;
      }
  if (count < 100) return null;
  const { nearest, distance } = nearestInSet(core, w, h);
  const sums = new Map<number, { num: number; den: number; pixels: number }>();
  const means = new Map<number, readonly [number, number, number]>();
  const inside = (q: number): readonly [number, number, number] => {
    const known = means.get(q);
    if (known !== undefined) return known;
    const qx = q % w,
      qy = Math.floor(q / w),
      out: [number, number, number] = [0, 0, 0];
    let n = 0;
    for (let yy = Math.max(0, qy - 2); yy <= Math.min(h - 1, qy + 2); yy++)
      for (let xx = Math.max(0, qx - 2); xx <= Math.min(w - 1, qx + 2); xx++) {
        if (core[yy * w + xx] === 0) continue;
        const p = (y0 + yy) * W + x0 + xx;
        for (let c = 0; c < 3; c++) out[c] = out[c]! + linear(j[c * N + p]!);
        n++;
      }
    for (let c = 0; c < 3; c++) out[c] = out[c]! / n;
    means.set(q, out);
    return out;
  };
  for (let y = 0; y < h; y++) {
    for (let x = 0; x < w; x++) {
      const p = (y0 + y) * W + x0 + x,
        here = f.matte[p]!,
        i = y * w + x;
      if (here < LOW || here > HIGH || distance[i]! > REACH) continue;
      const gx = x > 0 && x < w - 1 ? (f.matte[p + 1]! - f.matte[p - 1]!) / 2 : 0,
        gy = y > 0 && y < h - 1 ? (f.matte[p + W]! - f.matte[p - W]!) / 2 : 0;
      const a = here - slip[0] * gx - slip[1] * gy,
        F = inside(nearest[i]!);
      let num = 0,
        den = 0;
      for (let c = 0; c < 3; c++) {
        const back = linear(b[c * N + p]!),
          d = F[c]! - back;
        num += (linear(j[c * N + p]!) - back - a * d) * d;
        den += d * d;
      }
      const key =
        Math.floor((x0 + x + 0.5 - anchor[0]) / CELL + 4096) * 8192 +
        Math.floor((y0 + y + 0.5 - anchor[1]) / CELL + 4096);
      const s = sums.get(key);
      if (s === undefined) sums.set(key, { num, den, pixels: 1 });
      else {
        s.num += num;
        s.den += den;
        s.pixels++;
      }
    }
  }
  const out = new Map<number, OutlineCell>();
  for (const [key, s] of sums)
    if (s.pixels >= 8 && s.den > LEAST * s.pixels)
      out.set(key, { off: s.num / s.den, weight: s.den, pixels: s.pixels });
  return out;
}

/**
 * Mean coverage by which the outline seen goes out and back against the matte, weighed by contrast; null where fewer
 * than eight cells are seen in all three frames. `whole`: of the outline taken together, in which what cells do apart
 * (grain, hairs) averages out, and what all do at once, a matte that breathes, stays. `at`: the key of the cell that
 * moves most.
 */
export function readSeenChatter(
  before: OutlineCells,
  now: OutlineCells,
  after: OutlineCells,
): { readonly cells: number; readonly whole: number; readonly at: number } | null {
  let sum = 0,
    weight = 0,
    cells = 0,
    pa = 0,
    pb = 0,
    pc = 0,
    at = 0,
    most = -1;
  const back = (a: number, b: number, c: number): number =>
    Math.min(1, Math.max(0, Math.min(a, c) - b, b - Math.max(a, c)));
  for (const [key, b] of now) {
    const a = before.get(key),
      c = after.get(key);
    if (a === undefined || c === undefined) continue;
    const k = Math.min(a.weight, b.weight, c.weight);
    const moved = k * back(a.off, b.off, c.off);
    sum += moved;
    if (moved > most) {
      most = moved;
      at = key;
    }
    pa += k * a.off;
    pb += k * b.off;
    pc += k * c.off;
    weight += k;
    cells++;
  }
  return cells < 8 ? null : { cells: sum / weight, whole: back(pa / weight, pb / weight, pc / weight), at };
}

/** A cell's place in the picture, by its key and the performer's own place. */
export function boxOfCell(key: number, anchor: readonly [number, number]): [number, number, number, number] {
  const x = Math.round((Math.floor(key / 8192) - 4096) * CELL + anchor[0]),
    y = Math.round(((key % 8192) - 4096) * CELL + anchor[1]);
  return [Math.max(0, x), Math.max(0, y), Math.max(1, x + CELL), Math.max(1, y + CELL)];
}
