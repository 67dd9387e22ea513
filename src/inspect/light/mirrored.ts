/**
 * What floor, water or glass mirror of the performer, beside what the recipe lays there: how much of it is seen, how far
 * off its place, and how much sharper. Both are changes of the plate where neither picture shows the performer; the one
 * seen is laid on the one asked by least squares, first where it should lie, then a few pixels to each side.
 */
import { gaussianPlane } from '../../image/gaussian.js';
import type { Expected } from '../texture/against-take.js';
import { grow, type SeenFrame } from '../reader/frame.js';

export interface MirroredReading {
  /** Share of the change asked that is seen where it should be; 1 as asked, 0 missing. */
  readonly share: number;
  /** How far off its place it fits best, px, to the right and down; nought unless it fits plainly better there. */
  readonly off: readonly [number, number];
  /** Slopes of what is seen over those asked, sums of squares at the best place; 1 as soft as asked, above sharper. */
  readonly sharper: number;
}

/** Change (coded luma) from which something is asked, and pixels of it that are wanted. */
const ASKED = 0.012,
  WANTED = 150;
/** Grain and an encoder's blocks are smoothed by so much, px. */
const SMOOTH = 1.5;
/** How far it is sought, px, and how much less must be left over there. */
const REACH = 12,
  PLAINLY = 0.6;

/** Room to each side of what a level mirror shows, in parts of the performer's breadth: beside it lies its shadow. */
const ASIDE = 0.1;

/**
 * Null where the recipe asks for too little beside the performer.
 *
 * @param level row of the foot before a level mirror, which shows the performer under it; null before an upright one
 */
export function readMirrored(f: SeenFrame, expected: Expected, level: number | null): MirroredReading | null {
  if (f.box === null) return null;
  const { width: W, height: H } = f.join,
    tall = f.box[3] - f.box[1],
    broad = f.box[2] - f.box[0],
    around = grow(f.box, level === null ? Math.max(tall, broad) : ASIDE * broad, 1.2 * tall, W, H),
    box =
      level === null
        ? around
        : ([around[0], Math.min(H, Math.max(0, Math.floor(level) - 2)), around[2], around[3]] as const),
    w = box[2] - box[0],
    h = box[3] - box[1],
    n = w * h;
  if (w < 8 || h < 8) return null;
  const seen = new Float32Array(n),
    asked = new Float32Array(n),
    free = new Uint8Array(n);
  for (let y = 0; y < h; y++)
    for (let x = 0; x < w; x++) {
      const i = (y + box[1]) * W + x + box[0],
        o = y * w + x;
      if (f.matte[i]! > 0.02 || expected.matte[i]! > 0.02) continue;
      free[o] = 1;
      seen[o] = f.luma[i]! - f.plateLuma[i]!;
      asked[o] = expected.luma[i]! - f.plateLuma[i]!;
    }
  const s = gaussianPlane(seen, w, h, SMOOTH),
    e = gaussianPlane(asked, w, h, SMOOTH);
  // What is left over where `asked` is moved by (dx, dy), over all that either picture changed there.
  const at = (dx: number, dy: number): { left: number; share: number; count: number } => {
    let se = 0,
      ee = 0,
      ss = 0,
      count = 0;
    for (let y = Math.max(0, dy); y < Math.min(h, h + dy); y++)
      for (let x = Math.max(0, dx); x < Math.min(w, w + dx); x++) {
        const o = y * w + x,
          q = (y - dy) * w + x - dx;
        if (free[o] === 0 || free[q] === 0) continue;
        const a = s[o]!,
          b = e[q]!;
        if (Math.abs(b) < ASKED && Math.abs(a) < ASKED) continue;
        if (Math.abs(b) >= ASKED) count++;
        se += a * b;
        ee += b * b;
        ss += a * a;
      }
    return { left: ss === 0 || ee === 0 ? 1 : 1 - (se * se) / (ss * ee), share: ee === 0 ? 0 : se / ee, count };
  };
  const here = at(0, 0);
  if (here.count < WANTED) return null;
  let best = { ...here, off: [0, 0] as [number, number] };
  if (here.left > 0.05)
    for (let step = 4, about: [number, number] = [0, 0]; step >= 1; step /= 2) {
      const reach = step === 4 ? REACH : step;
      const from = about;
      for (let dy = -reach; dy <= reach; dy += step)
        for (let dx = -reach; dx <= reach; dx += step) {
          const to: [number, number] = [from[0] + dx, from[1] + dy],
            found = at(to[0], to[1]);
          if (found.count >= 0.5 * here.count && found.left < best.left && found.share > 0)
            best = { ...found, off: to };
        }
      about = best.off;
    }
  const off = best.left < PLAINLY * here.left ? best.off : ([0, 0] as const);
  return {
    share: here.share,
    off,
    sharper: slopes(s, free, w, h, e, off) / Math.max(1e-9, slopes(e, free, w, h, e, [0, 0])),
  };
}

/** Sum of squared slopes where something is asked, `e` moved by `off`. */
function slopes(
  of: Float32Array,
  free: Uint8Array,
  w: number,
  h: number,
  e: Float32Array,
  off: readonly [number, number],
): number {
  let sum = 0;
  for (let y = Math.max(1, 1 + off[1]); y < Math.min(h - 1, h - 1 + off[1]); y++)
    for (let x = Math.max(1, 1 + off[0]); x < Math.min(w - 1, w - 1 + off[0]); x++) {
      const o = y * w + x;
      if (Math.abs(e[(y - off[1]) * w + x - off[0]]!) < ASKED) continue;
      if (free[o - 1] === 0 || free[o + 1] === 0 || free[o - w] === 0 || free[o + w] === 0) continue;
      sum += (of[o + 1]! - of[o - 1]!) ** 2 + (of[o + w]! - of[o - w]!) ** 2;
    }
  return sum;
}
