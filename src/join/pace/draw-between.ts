/**
 * Draws the picture between two others from motions found on smaller ones: motion is smooth, colour is not, so the
 * fields and their weights (inbetween.ts) are read between the cells of the small picture, and the colours from the
 * full ones, bicubic.
 *
 * Pictures: interleaved RGBA, premultiplied, height × width × 4. Cells are 2^shift pixels wide, cell (0, 0) over pixel
 * (0, 0), as halving leaves them (image/pyramid.ts).
 */
import { kernels } from '../../image/kernels.js';
import type { Interleaved } from '../render/interleaved.js';
import { DOUBT, type Proposal } from './inbetween.js';

/** Proposals nearer to each other than this (full pixels, |Δu| + |Δv|) are one, at their weighted mean. */
const SAME_PX = 1;

/**
 * @param proposals motions at time t, in small pixels, all of one size
 * @param dst filled and returned if given; may lie in the kernels' memory, as the pictures may
 * @param held one byte a cell: 0 where nothing of either picture can come, which is left empty
 */
export function drawBetween(
  a: Interleaved,
  b: Interleaved,
  proposals: readonly Proposal[],
  held: Uint8Array,
  shift: number,
  t: number,
  dst?: Float32Array,
): Interleaved {
  const { width: w, height: h } = a;
  const { width: gw, height: gh } = proposals[0]!;
  const count = proposals.length,
    cells = gw * gh,
    step = 4 * count,
    full = 2 ** shift;
  const grid = new Float32Array(cells * step);
  for (let p = 0; p < count; p++) {
    const { u, v, w0, w1 } = proposals[p]!;
    for (let i = 0, o = 4 * p; i < cells; i++, o += step) {
      grid[o] = u[i]! * full;
      grid[o + 1] = v[i]! * full;
      grid[o + 2] = w0[i]!;
      grid[o + 3] = w1[i]!;
    }
  }
  const out = dst ?? new Float32Array(4 * w * h);
  const door = kernels();
  const scope = door.scope();
  try {
    door.run(
      'between',
      [
        scope.input(a.data),
        scope.input(b.data),
        w,
        h,
        scope.input(grid),
        scope.input(held),
        gw,
        gh,
        shift,
        count,
        t,
        DOUBT,
        SAME_PX,
        scope.output(out),
      ],
      h,
      w * 100,
      16 * count * (gw + 1),
    );
    scope.finish();
  } finally {
    scope.close();
  }
  return { width: w, height: h, data: out };
}
