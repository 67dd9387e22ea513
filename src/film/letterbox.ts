/**
 * Bars round the picture: rows and columns that stay at black in every frame looked at. Counted on the luma plane at full
 * size, from a few frames spread over the film, so the answer is to the pixel. A film that changes its format gets the
 * bars that are always there.
 */
import type { VideoFrame } from '../media/types.js';

/** Eight-bit code values above black that a bar may reach: compression leaves a little. */
const ABOVE_BLACK = 6;

export class LetterboxFinder {
  private rows: Float64Array | null = null;
  private columns: Float64Array | null = null;

  /** Adds a frame. Frames that are dark all over say nothing and pass by. */
  add(frame: VideoFrame): void {
    const { widthPx: w, heightPx: h } = frame;
    const y = frame.planes[frame.layout === 'rgb' ? 1 : 0]!;
    const linear = y instanceof Float32Array;
    const depth = linear ? 1 / 255 : 2 ** (frame.bitDepth - 8);
    const black = (linear || frame.colour.fullRange || frame.layout === 'rgb' ? 0 : 16) * depth;
    const rows = (this.rows ??= new Float64Array(h));
    const columns = (this.columns ??= new Float64Array(w));
    if (rows.length !== h || columns.length !== w) return;
    for (let r = 0, i = 0; r < h; r++) {
      for (let c = 0; c < w; c++, i++) {
        const v = (y[i]! - black) / depth;
        if (v > rows[r]!) rows[r] = v;
        if (v > columns[c]!) columns[c] = v;
      }
    }
  }

  /** Bars in pixels; undefined where there are none, or where nothing but black was seen. */
  result(): { top: number; bottom: number; left: number; right: number } | undefined {
    if (this.rows === null || this.columns === null) return undefined;
    const ends = (a: Float64Array): [number, number] | null => {
      let s = 0;
      let e = a.length;
      while (s < e && a[s]! <= ABOVE_BLACK) s++;
      while (e > s && a[e - 1]! <= ABOVE_BLACK) e--;
      return s >= e ? null : [s, a.length - e];
    };
    const v = ends(this.rows);
    const h = ends(this.columns);
    if (v === null || h === null) return undefined;
    const [top, bottom] = v;
    const [left, right] = h;
    return top + bottom + left + right < 4 ? undefined : { top, bottom, left, right };
  }

  save(): { rows: number[]; columns: number[] } | null {
    return this.rows === null || this.columns === null ? null : { rows: [...this.rows], columns: [...this.columns] };
  }

  static restore(state: { rows: readonly number[]; columns: readonly number[] } | null): LetterboxFinder {
    const f = new LetterboxFinder();
    if (state !== null) {
      f.rows = Float64Array.from(state.rows);
      f.columns = Float64Array.from(state.columns);
    }
    return f;
  }
}
