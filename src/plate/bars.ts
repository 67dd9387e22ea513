/**
 * Black bars round a shot's picture (a wide film in a narrower file, or the other way round). They are
 * no part of what was filmed: they would count as the plate's black, hold still while the camera moves,
 * and must never be painted on. Told from flat black rows and columns at the border that are as many on
 * one side as on the other: a night sky is neither.
 */
export interface Bars {
  readonly top: number;
  readonly bottom: number;
  readonly left: number;
  readonly right: number;
}

/** Coded luma that compression leaves in black, of 1. */
const ABOVE_BLACK = 6 / 255;
/** The two bars of a pair differ by a row or two, where the picture was centred on even lines; our own allowance. */
const UNEVEN_PX = 6;
/** Fewer rows are an encoder's edge. */
const LEAST_PX = 4;
/** More than this share of the picture black from both sides is a dark shot. */
const MOST_SHARE = 0.6;

/** Bars of several frames of one shot: display-coded luma planes of w × h. Null where there are none. */
export function barsOf(planes: readonly Float32Array[], w: number, h: number): Bars | null {
  if (planes.length === 0) return null;
  const dark = (at: (k: number) => number, count: number, luma: Float32Array): boolean => {
    for (let k = 0; k < count; k++) if (luma[at(k)]! > ABOVE_BLACK) return false;
    return true;
  };
  const row = (y: number): boolean => planes.every((p) => dark((x) => y * w + x, w, p));
  const column = (x: number): boolean => planes.every((p) => dark((y) => y * w + x, h, p));
  const run = (is: (k: number) => boolean, length: number, back: boolean): number => {
    let k = 0;
    while (k < length && is(back ? length - 1 - k : k)) k++;
    return k;
  };
  const pair = (is: (k: number) => boolean, length: number): [number, number] => {
    const a = run(is, length, false);
    if (a === 0 || a === length) return [0, 0];
    const b = run(is, length, true);
    return Math.min(a, b) < LEAST_PX || Math.abs(a - b) > UNEVEN_PX || a + b > MOST_SHARE * length ? [0, 0] : [a, b];
  };
  const [top, bottom] = pair(row, h);
  const [left, right] = pair(column, w);
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
