/**
 * Grain told from the coat by time: a coat goes with the performer from frame to frame, grain is another on each. Small blocks of the performer are
 * found again on the frame before (whole pixels about the way it is planned to go; least absolute difference), blocks of the set likewise about the
 * plate's own way, and the high-pass of the difference is read as texture.ts reads a single picture's. A coat that stirs, turns or lies between pixels only
 * adds, so the quietest blocks are compared, and too little is told, never too much.
 */
import { grow, type SeenFrame } from './frame.js';
import { BLOCK, blockSigma, likeRatio, type Blocks } from './texture.js';

/** Search about the planned way, px, and side of a block in full pixels. */
const SEARCH = 2, SIDE = 2 * BLOCK;
/** Quantile of the blocks inside that is read. */
const QUIET = 0.05;
/** Blocks inside and outside, at least and about at most. */
const LEAST_IN = 40, LEAST_OUT = 100, MOST = 900;

/** sd of the difference of a block from the frame before at its best match, as of one frame (half the variance); null where it goes out of the picture. */
function difference(f: SeenFrame, b: SeenFrame, x: number, y: number, way: readonly [number, number], held: ((i: number) => boolean)): { readonly sigma: number; readonly level: number } | null {
  const { width: W, height: H } = f.join, cx = Math.round(way[0]), cy = Math.round(way[1]);
  let best = Infinity, at = 0, level = 0;
  for (let dy = cy - SEARCH; dy <= cy + SEARCH; dy++) for (let dx = cx - SEARCH; dx <= cx + SEARCH; dx++) {
    const x0 = x - dx, y0 = y - dy;
    if (x0 < 0 || y0 < 0 || x0 + SIDE > W || y0 + SIDE > H) continue;
    let sum = 0;
    for (let j = 0; j < SIDE && sum < best; j++) for (let i = 0, p = (y + j) * W + x, q = (y0 + j) * W + x0; i < SIDE; i++, p++, q++) sum += Math.abs(f.luma[p]! - b.luma[q]!);
    if (sum < best) { best = sum; at = y0 * W + x0; }
  }
  if (best === Infinity || !held(at) || !held(at + (SIDE - 1) * (W + 1))) return null;
  const half = new Float32Array(BLOCK * BLOCK);
  for (let j = 0; j < BLOCK; j++) for (let i = 0; i < BLOCK; i++) {
    let s = 0;
    for (let v = 0; v < 2; v++) for (let u = 0; u < 2; u++) { const p = (y + 2 * j + v) * W + x + 2 * i + u, q = at + (2 * j + v) * W + 2 * i + u; s += f.luma[p]! - b.luma[q]!; level += f.luma[p]!; }
    half[j * BLOCK + i] = s / 4;
  }
  return { sigma: blockSigma(half, BLOCK, 0, 0) / Math.SQRT2, level: level / (SIDE * SIDE) };
}

/**
 * Grain inside over grain outside by the difference from the frame before, and that outside (sd of coded luma in the halved picture); null where too
 * little of either can be followed. `way`: px that the performer, `set`: that the plate goes on by.
 */
export function readGrainInTime(f: SeenFrame, b: SeenFrame, way: readonly [number, number], set: readonly [number, number]): { readonly ratio: number; readonly outside: number } | null {
  if (f.box === null || b.box === null) return null;
  const { width: W, height: H } = f.join, box = f.box, around = grow(box, 1.5 * (box[3] - box[1]), 0.7 * (box[3] - box[1]), W, H);
  const gather = (over: readonly [number, number, number, number], move: readonly [number, number], fits: (m: Float32Array, i: number) => boolean): Blocks => {
    const out: Blocks = { sigma: [], level: [] }, step = Math.max(4, Math.ceil(Math.sqrt(((over[2] - over[0]) * (over[3] - over[1])) / MOST)));
    for (let y = over[1]; y + SIDE <= over[3]; y += step) for (let x = over[0]; x + SIDE <= over[2]; x += step) {
      const i = y * W + x, far = i + (SIDE - 1) * (W + 1);
      if (!fits(f.matte, i) || !fits(f.matte, far) || !fits(f.matte, i + SIDE - 1) || !fits(f.matte, i + (SIDE - 1) * W) || !fits(f.matte, i + (SIDE >> 1) * (W + 1))) continue;
      const d = difference(f, b, x, y, move, (q) => fits(b.matte, q));
      if (d !== null) { out.sigma.push(d.sigma); out.level.push(d.level); }
    }
    return out;
  };
  const inside = gather(box, way, (m, i) => m[i]! > 0.97);
  if (inside.sigma.length < LEAST_IN) return null;
  const outside = gather(around, set, (m, i) => m[i]! < 0.01);
  if (outside.sigma.length < LEAST_OUT) return null;
  const ratio = likeRatio(inside, outside, QUIET, null);
  return ratio === null ? null : { ratio, outside: outside.sigma.sort((p, q) => p - q)[Math.floor(0.08 * outside.sigma.length)]! };
}
