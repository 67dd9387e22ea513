/**
 * Bars round the picture: rows and columns that stay at black in every frame looked at. Counted on the luma
 * plane at full size, from a few frames spread over the film, so the answer is to the pixel. A film that changes
 * its format gets the bars that are always there.
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
    // Only the outermost row and column that were ever lit matter: those within them need not be read again.
    const limit = ABOVE_BLACK * depth + black;
    const lit = (v: number): number => (v - black) / depth;
    const row = (r: number): void => {
      let m = 0;
      for (let i = r * w, e = i + w; i < e && m <= limit; i++) if (y[i]! > m) m = y[i]!;
      rows[r] = Math.max(rows[r]!, lit(m));
    };
    for (let r = 0; r < h && rows[r]! <= ABOVE_BLACK; r++) row(r);
    for (let r = h - 1; r >= 0 && rows[r]! <= ABOVE_BLACK; r--) row(r);
    let left = 0;
    let right = w - 1;
    while (left < w && columns[left]! <= ABOVE_BLACK) left++;
    while (right > left && columns[right]! <= ABOVE_BLACK) right--;
    if (left === 0 && right === w - 1) return;
    for (let r = 0; r < h; r++) {
      const at = r * w;
      for (let c = 0; c < left; c++) if (lit(y[at + c]!) > columns[c]!) columns[c] = lit(y[at + c]!);
      for (let c = right + 1; c < w; c++) if (lit(y[at + c]!) > columns[c]!) columns[c] = lit(y[at + c]!);
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
