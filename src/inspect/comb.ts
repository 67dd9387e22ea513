/**
 * Comb: a picture woven of two moments, odd rows from one and even rows from the other, as interlaced video read as whole frames shows it. Only what
 * moves is torn. Every row less the mean of the rows above and below it, over the same from column to column: natural pictures are
 * about as fine up and down as across, torn ones several times finer up and down. Read in the performer and in the picture beside it,
 * there against the plate's own.
 */
import type { SeenFrame } from './frame.js';

function fineness(luma: Float32Array, W: number, x: number, y: number): readonly [number, number] {
  const i = y * W + x, v = luma[i]!, up = v - (luma[i - W]! + luma[i + W]!) / 2, across = v - (luma[i - 1]! + luma[i + 1]!) / 2;
  // A comb goes on from row to row: the differences of neighbouring rows have opposite signs.
  const below = luma[i + W]! - (v + luma[i + 2 * W]!) / 2, beside = luma[i + 1]! - (v + luma[i + 2]!) / 2;
  return [Math.max(0, -up * below), Math.max(0, -across * beside)];
}

export interface CombReading {
  /** Fine pattern up and down over that across, root of the ratio, in the performer and at its outline. */
  readonly inside: number | null;
  /** The same beside the performer, over the plate's own. */
  readonly outside: number | null;
}

/** What little contrast an encoder leaves in a flat row (squared coded luma) tells nothing. */
const FLOOR = 2e-6;

export function readComb(f: SeenFrame): CombReading {
  const { width: W, height: H } = f.join, b = f.box;
  let inside: number | null = null;
  if (b !== null) {
    let up = 0, across = 0, n = 0;
    for (let y = Math.max(1, b[1]); y < Math.min(H - 2, b[3]); y++) for (let x = Math.max(1, b[0]); x < Math.min(W - 2, b[2]); x++) {
      if (f.matte[y * W + x]! < 0.3) continue;
      const [u, a] = fineness(f.luma, W, x, y);
      up += u; across += a; n++;
    }
    if (n > 400) inside = Math.sqrt((up / n + FLOOR) / (across / n + FLOOR));
  }
  let ju = 0, pu = 0, ja = 0, pa = 0, n = 0;
  for (let y = 2; y < H - 2; y += 3) for (let x = 2; x < W - 2; x += 2) {
    if (f.matte[y * W + x]! > 0.01) continue;
    const j = fineness(f.luma, W, x, y), p = fineness(f.plateLuma, W, x, y);
    ju += j[0]; pu += p[0]; ja += j[1]; pa += p[1]; n++;
  }
  // A file that is finer than its plate both ways is no comb.
  const across = Math.max(1, (ja / n + FLOOR) / (pa / n + FLOOR));
  return { inside, outside: n > 400 ? Math.sqrt((ju / n + FLOOR) / (pu / n + FLOOR) / across) : null };
}
