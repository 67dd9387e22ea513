/**
 * One level of the pyramid of a picture with a hole, and which of its pixels are middles of patches that are to be
 * found or may be copied (see patch-synthesis.ts).
 */

/** Half a patch's side without its middle, px. */
export const RADIUS = 3;
/** A patch's side, px. */
export const SIDE = 2 * RADIUS + 1;

/** Planes are h × w; the picture changes while its hole is filled. */
export interface Level {
  readonly w: number;
  readonly h: number;
  /** interleaved RGB */
  readonly rgb: Float32Array;
  /** of the finest level, a pair a pixel (patch-roughness.ts) */
  readonly rough: Float32Array;
  readonly hole: Uint8Array;
  /** known and allowed as a source */
  readonly known: Uint8Array;
  /** has a value to be compared with */
  readonly valued: Uint8Array;
  /** 1 about lines that were drawn (line-spans.ts); of the finest level, absent where none were */
  readonly besideLines?: Uint8Array;
}

/** For each pixel of a level the middle of the patch that it is copied from; −1 where none is. */
export interface Field {
  readonly w: number;
  readonly h: number;
  readonly at: Int32Array;
}

export interface PatchCentres {
  /** Middles of patches that touch the hole, in raster order. */
  readonly targets: Int32Array;
  /** Middles of patches wholly known, in raster order, and 1 at each. */
  readonly sources: Int32Array;
  readonly isSource: Uint8Array;
}

/** The middles on a level, by sums over rectangles (F. C. Crow, "Summed-area tables", SIGGRAPH 1984). */
export function patchCentres({ w, h, hole, known }: Level): PatchCentres {
  const isSource = new Uint8Array(w * h);
  const sources: number[] = [],
    targets: number[] = [];
  const bad = new Int32Array((w + 1) * (h + 1)),
    holes = new Int32Array((w + 1) * (h + 1));
  for (let y = 0; y < h; y++)
    for (let x = 0; x < w; x++) {
      const i = y * w + x,
        o = (y + 1) * (w + 1) + x + 1;
      bad[o] = bad[o - 1]! + bad[o - w - 1]! - bad[o - w - 2]! + (known[i] === 0 ? 1 : 0);
      holes[o] = holes[o - 1]! + holes[o - w - 1]! - holes[o - w - 2]! + hole[i]!;
    }
  const sum = (t: Int32Array, x0: number, y0: number, x1: number, y1: number): number =>
    t[y1 * (w + 1) + x1]! - t[y0 * (w + 1) + x1]! - t[y1 * (w + 1) + x0]! + t[y0 * (w + 1) + x0]!;
  for (let y = 0; y < h; y++)
    for (let x = 0; x < w; x++) {
      const x0 = Math.max(0, x - RADIUS),
        y0 = Math.max(0, y - RADIUS),
        x1 = Math.min(w, x + RADIUS + 1),
        y1 = Math.min(h, y + RADIUS + 1);
      if (x1 - x0 === SIDE && y1 - y0 === SIDE && sum(bad, x0, y0, x1, y1) === 0) {
        isSource[y * w + x] = 1;
        sources.push(y * w + x);
      }
      if (sum(holes, x0, y0, x1, y1) > 0) targets.push(y * w + x);
    }
  return { targets: Int32Array.from(targets), sources: Int32Array.from(sources), isSource };
}
