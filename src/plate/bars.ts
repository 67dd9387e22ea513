/** Black bars at a shot's border: how wide, on which sides, from rows and columns of its frames. */
import { UNEVEN_PX, barEnds, readEnds } from '../film/bar-ends.js';

/**
 * Black bars round a shot's picture (a wide film in a narrower file, or the other way round). They are
 * no part of what was filmed: they would count as the plate's black, hold still while the camera moves,
 * and must never be painted on. Told from flat black rows and columns at the border that are as many on
 * one side as on the other, but for writing burnt into them: a night sky is neither.
 */
export interface Bars {
  /** Black rows and columns, pixels. */
  readonly top: number;
  readonly bottom: number;
  readonly left: number;
  readonly right: number;
}

/** Coded luma that compression leaves in black, of 1. */
const ABOVE_BLACK = 6 / 255;
/** Fewer rows are an encoder's edge. */
const LEAST_PX = 4;
/** More than this share of the picture black from both sides is a dark shot. */
const MOST_SHARE = 0.6;

/** Bars of several frames of one shot: display-coded luma planes of w × h. Null where there are none. */
export function barsOf(planes: readonly Float32Array[], w: number, h: number): Bars | null {
  if (planes.length === 0) return null;
  const lit = (at: (k: number, line: number) => number, count: number, lines: number): Float64Array => {
    const most = new Float64Array(lines);
    for (const p of planes)
      readEnds(most, (line) => {
        let n = 0;
        for (let k = 0; k < count; k++) if (p[at(k, line)]! > ABOVE_BLACK) n++;
        return n / count;
      });
    return most;
  };
  const pair = (share: Float64Array): [number, number] => {
    const [a, b] = barEnds(share);
    return Math.min(a, b) < LEAST_PX || Math.abs(a - b) > UNEVEN_PX || a + b > MOST_SHARE * share.length
      ? [0, 0]
      : [a, b];
  };
  const [top, bottom] = pair(lit((x, y) => y * w + x, w, h));
  const [left, right] = pair(lit((y, x) => y * w + x, h, w));
  return top + left === 0 ? null : { top, bottom, left, right };
}

/** The picture within the bars, of a plane of w × h. */
export function withinBars(plane: Float32Array, w: number, h: number, b: Bars, dst?: Float32Array): Float32Array {
  const cw = w - b.left - b.right;
  const ch = h - b.top - b.bottom;
  const out = dst ?? new Float32Array(cw * ch);
  for (let y = 0; y < ch; y++) out.set(plane.subarray((y + b.top) * w + b.left, (y + b.top) * w + b.left + cw), y * cw);
  return out;
}
