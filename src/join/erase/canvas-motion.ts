/**
 * Motion between two neighbouring frames laid on one still canvas, as set-movers.ts follows points by it: over what
 * either frame shows, both ways. Canvas pixels.
 */
import type { Mat3 } from '../../geometry/mat3.js';
import { FlowPicture, motionAt, type MotionField } from '../../image/flow.js';

/** A still canvas and where each frame lies on it. */
export interface Canvas {
  readonly w: number;
  readonly h: number;
  /** A frame's pixels to the canvas's. */
  readonly of: (n: number) => Mat3;
}

/**
 * Motion from the one frame to the other and back, over what either shows. Beyond a frame's edge both are made to show
 * the same, so that nothing moves there.
 */
export function between(
  before: Float32Array,
  seenBefore: Uint8Array,
  after: Float32Array,
  seenAfter: Uint8Array,
  { w, h }: Canvas,
): [MotionField, MotionField] {
  let x0 = w,
    y0 = h,
    x1 = 0,
    y1 = 0;
  for (let y = 0; y < h; y++)
    for (let x = 0; x < w; x++) {
      if (seenBefore[y * w + x] === 0 && seenAfter[y * w + x] === 0) continue;
      if (x < x0) x0 = x;
      if (x >= x1) x1 = x + 1;
      if (y < y0) y0 = y;
      y1 = y + 1;
    }
  // Some room about it, and no less than a motion can be found in.
  x0 = Math.max(0, Math.min(x0 - 4, w - 32));
  y0 = Math.max(0, Math.min(y0 - 4, h - 32));
  x1 = Math.min(w, Math.max(x1 + 4, x0 + 32));
  y1 = Math.min(h, Math.max(y1 + 4, y0 + 32));
  const bw = x1 - x0,
    bh = y1 - y0,
    p = new Float32Array(bw * bh),
    q = new Float32Array(bw * bh);
  for (let y = 0; y < bh; y++)
    for (let x = 0; x < bw; x++) {
      const i = (y + y0) * w + x + x0,
        o = y * bw + x;
      p[o] = seenBefore[i] !== 0 ? before[i]! : seenAfter[i] !== 0 ? after[i]! : 0.4;
      q[o] = seenAfter[i] !== 0 ? after[i]! : seenBefore[i] !== 0 ? before[i]! : 0.4;
    }
  const a = new FlowPicture(p, bw, bh),
    b = new FlowPicture(q, bw, bh);
  const wide = (f: MotionField): MotionField => {
    const u = new Float32Array(w * h),
      v = new Float32Array(w * h);
    for (let y = 0; y < bh; y++)
      for (const [to, from] of [
        [u, f.u],
        [v, f.v],
      ] as const)
        to.set(from.subarray(y * bw, (y + 1) * bw), (y + y0) * w + x0);
    return { width: w, height: h, u, v };
  };
  try {
    return [wide(motionAt(a, b, 0, { finest: 1 })), wide(motionAt(b, a, 0, { finest: 1 }))];
  } finally {
    a.close();
    b.close();
  }
}

/** Motions in eighths of a pixel, u and v in turns; what is faster than 15 px a step is cut there. */
export function packed(u: Float32Array, v: Float32Array): Int8Array {
  const out = new Int8Array(2 * u.length);
  for (let i = 0; i < u.length; i++) {
    out[2 * i] = Math.max(-127, Math.min(127, Math.round(8 * u[i]!)));
    out[2 * i + 1] = Math.max(-127, Math.min(127, Math.round(8 * v[i]!)));
  }
  return out;
}
