/**
 * Bars round the picture: rows and columns that stay at black in every frame looked at, but for writing burnt into
 * them. Counted on the luma plane at full size, from a few frames spread over the film, so the answer is to the
 * pixel. A film that changes its format gets the bars that are always there.
 */
import type { VideoFrame } from '../media/types.js';
import { barEnds, readEnds } from './bar-ends.js';

/** Eight-bit code values above black that a bar may reach: compression leaves a little. */
const ABOVE_BLACK = 6;

/** Give it frames of one size by `add`; `result` is in pixels of theirs, undefined where no bars are. */
export class LetterboxFinder {
  /** Share of each row and column that was lit on the frame that lit most of it, 0..1. */
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
    const limit = ABOVE_BLACK * depth + black;
    readEnds(rows, (r) => litShare(y, limit, { from: r * w, step: 1, count: w }));
    readEnds(columns, (c) => litShare(y, limit, { from: c, step: w, count: h }));
  }

  /** Bars in pixels; undefined where there are none, or where nothing but black was seen. */
  result(): { top: number; bottom: number; left: number; right: number } | undefined {
    if (this.rows === null || this.columns === null) return undefined;
    const [top, bottom] = barEnds(this.rows);
    const [left, right] = barEnds(this.columns);
    if (top === this.rows.length || left === this.columns.length) return undefined;
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

/** Share of a line of pixels that lies above the limit. */
function litShare(
  y: ArrayLike<number>,
  limit: number,
  line: { readonly from: number; readonly step: number; readonly count: number },
): number {
  let lit = 0;
  for (let k = 0, i = line.from; k < line.count; k++, i += line.step) if (y[i]! > limit) lit++;
  return lit / line.count;
}
