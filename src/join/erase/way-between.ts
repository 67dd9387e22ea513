/**
 * Dense motion from one picture to another of which both hide some, and where it is believed: where it brings the two
 * together. Planes height × width of display-coded luma; lengths in pixels.
 */
import { lightBetween, structureOf } from './local-field.js';
import { FlowPicture, motionAt } from '../../image/flow.js';
import { blurPlane, gaussianPlane } from '../../image/gaussian.js';
import { pushPull } from '../../image/push-pull.js';

/** A picture over the frame's own pixels, and 1 where it shows the set. */
export interface Shown {
  readonly luma: Float32Array;
  readonly open: Float32Array;
  /** Kept by `hiddenMotion`: the luma, gone on smoothly where it hides. */
  filled?: Float32Array;
}

/**
 * A way is believed where the two pictures, so brought together, differ by no more (coded, smoothed), or by no more
 * than this share of the local contrast.
 */
const MOST_LEFT = 0.03;
/** Fewer points, known in both pictures, tell no map of one way by another (hidden-motion.ts). */
export const LEAST_POINTS = 300;

export interface Way {
  /** The way of each pixel, px to the right and down; height × width. */
  readonly u: Float32Array;
  readonly v: Float32Array;
  /** 1 where it is believed. */
  readonly known: Uint8Array;
  /** How much the surroundings tell of place, 0..1. */
  readonly tells: Float32Array;
}

/** Dense motion from one picture to another, and where it explains what is seen. */
export function wayBetween(from: Shown, to: Shown, w: number, h: number): Way | null {
  const n = w * h,
    both = new Float32Array(n);
  let count = 0;
  for (let i = 0; i < n; i++)
    if (from.open[i]! > 0.5 && to.open[i]! > 0.5) {
      both[i] = 1;
      count++;
    }
  if (count < LEAST_POINTS) return null;
  // What one of them hides is made smooth in each by itself: texture there would say that nothing moves.
  const light = lightBetween(from.luma, to.luma, both);
  const p = filled(from, w, h),
    q = scaled(filled(to, w, h), 1 / light);
  const a = new FlowPicture(blurPlane(p, w, h, 0.7), w, h),
    b = new FlowPicture(blurPlane(q, w, h, 0.7), w, h);
  let u: Float32Array, v: Float32Array;
  try {
    ({ u, v } = motionAt(a, b, 0, { alpha: 4, outer: 3, sweeps: 6 }));
  } finally {
    a.close();
    b.close();
  }
  const left = new Float32Array(n),
    open = new Uint8Array(n);
  for (let y = 0, i = 0; y < h; y++)
    for (let x = 0; x < w; x++, i++) {
      const px = x + u[i]!,
        py = y + v[i]!;
      if (!(from.open[i]! > 0.5) || !(px >= 0 && py >= 0 && px <= w - 1 && py <= h - 1)) continue;
      const x0 = Math.min(w - 2, Math.floor(px)),
        y0 = Math.min(h - 2, Math.floor(py)),
        fx = px - x0,
        fy = py - y0,
        o = y0 * w + x0;
      if (!(to.open[o]! > 0.5 && to.open[o + 1]! > 0.5 && to.open[o + w]! > 0.5 && to.open[o + w + 1]! > 0.5)) continue;
      left[i] =
        ((q[o]! * (1 - fx) + q[o + 1]! * fx) * (1 - fy) + (q[o + w]! * (1 - fx) + q[o + w + 1]! * fx) * fy - p[i]!) **
        2;
      open[i] = 1;
    }
  const mean = gaussianPlane(left, w, h, 1.5),
    share = gaussianPlane(Float32Array.from(open), w, h, 1.5);
  for (let i = 0; i < n; i++) if (open[i] === 1 && mean[i]! > MOST_LEFT ** 2 * share[i]!) open[i] = 0;
  // Where nothing tells of place the way is that of the surroundings which do.
  const tells = structureOf(p, w, h),
    say = new Float32Array(n);
  for (let i = 0; i < n; i++) if (open[i] === 1) say[i] = Math.max(1e-4, tells[i]! * tells[i]!);
  const [su, sv] = pushPull([u, v], say, w, h);
  return { u: su!, v: sv!, known: open, tells };
}

/** What is shown, gone on smoothly where it hides; kept with the picture, which is compared with many. */
function filled(s: Shown, w: number, h: number): Float32Array {
  if (s.filled !== undefined) return s.filled;
  const say = new Float32Array(w * h);
  for (let i = 0; i < say.length; i++) say[i] = s.open[i]! > 0.5 ? 1 : 0;
  const out = pushPull([s.luma], say, w, h)[0]!;
  for (let i = 0; i < out.length; i++) if (say[i] === 1) out[i] = s.luma[i]!;
  s.filled = out;
  return out;
}

function scaled(p: Float32Array, gain: number): Float32Array {
  const out = new Float32Array(p.length);
  for (let i = 0; i < p.length; i++) out[i] = gain * p[i]!;
  return out;
}
