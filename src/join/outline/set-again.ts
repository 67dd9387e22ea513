/**
 * How well a frame's pixels are found again at their place of the set on other frames of the take. Each other frame is
 * laid over this one by the camera's move, then moved by what the dense motion of the set about the performer leaves
 * (parallax), and its light evened out; what is held against it is a square of three by three small pixels, the best
 * of nine places a pixel apart. The difference is taken over noise and the set's own steps there, so that a set that
 * lies a little off does not look covered. Rules of our own.
 */
import { apply, type Mat3 } from '../../geometry/mat3.js';
import { robustHomography } from '../../geometry/robust-homography.js';
import { boxMean } from '../../image/box.js';
import { distanceToSet } from '../../image/distance.js';
import { FlowPicture, motionAt } from '../../image/flow.js';
import { sampleBilinear } from '../../image/sampling.js';
import type { SmallBox, SmallFrame } from './small-frame.js';

/** Small pixels from a line within which nothing is surely set, on the other frame and on this one. */
const CLEAR_THERE = 5,
  CLEAR_HERE = 4;
/** Farthest that the set lies off the camera's move, small pixels: what moves more is no parallax. */
const PARALLAX = 4;
/** Windows (radius) over which what is known of the set about is carried inwards: its motion, its light. */
const MOTION_REACH = [10, 30],
  LIGHT_REACH = [20, 60];
/** Share of a window that must be known for it to speak alone. */
const KNOWN = 0.15;
/** Luma's usual difference where motion is right; a difference in light greater than MOST_LIGHT is no light's. */
const MATCHED = 0.05,
  MOST_LIGHT = 0.1;
/** Noise of one plane, and the square of the small pixels that the set may lie off at last. */
const NOISE = 0.012,
  OFF = 0.15;
/** Small pixels between places that vote for the camera's move, from the picture's edge, and from the performer. */
const STEP = 9,
  EDGE = 5,
  ASIDE = 5;

/** Dense motion on `from`: what is at x there is at x + u on `to`. */
function motion(from: Float32Array, to: Float32Array, w: number, h: number): { u: Float32Array; v: Float32Array } {
  const a = new FlowPicture(from, w, h),
    b = new FlowPicture(to, w, h);
  try {
    return motionAt(a, b, 0, { finest: 1 });
  } finally {
    a.close();
    b.close();
  }
}

/**
 * The camera's move from a frame to its neighbour: where each place of the set is seen there, small pixels. Null where
 * too little of the set agrees.
 *
 * @param mask 1 performer, of `from`
 */
export function cameraMove(from: SmallFrame, to: SmallFrame, mask: Uint8Array): Mat3 | null {
  const { width: w, height: h } = from,
    n = w * h,
    { u, v } = motion(from.data.slice(0, n), to.data.slice(0, n), w, h),
    away = distanceToSet(mask, w, h),
    a: [number, number][] = [],
    b: [number, number][] = [];
  for (let y = EDGE; y < h - EDGE; y += STEP)
    for (let x = EDGE; x < w - EDGE; x += STEP) {
      const i = y * w + x;
      if (away[i]! < ASIDE) continue;
      a.push([x + 0.5, y + 0.5]);
      b.push([x + 0.5 + u[i]!, y + 0.5 + v[i]!]);
    }
  return robustHomography(a, b, { seed: 1, maxSigmaPx: 1 })?.homography ?? null;
}

/** Means of what is known, from the narrowest window that knows enough; 0 where none does. */
function spread(
  values: Float32Array,
  weight: Float32Array,
  w: number,
  h: number,
  reach: readonly number[],
): Float32Array {
  const out = new Float32Array(values.length),
    left = new Float32Array(values.length).fill(1),
    weighed = values.map((v, i) => v * weight[i]!),
    twice = (p: Float32Array, r: number): Float32Array => boxMean(boxMean(p, w, h, r), w, h, r);
  for (const r of reach) {
    const sum = twice(weighed, r),
      known = twice(weight, r);
    for (let i = 0; i < out.length; i++) {
      if (known[i]! <= 1e-6) continue;
      const part = left[i]! * Math.min(1, known[i]! / KNOWN);
      out[i] = out[i]! + (part * sum[i]!) / known[i]!;
      left[i] = left[i]! - part;
    }
  }
  return out;
}

/** Another frame laid over a part of this one. */
interface Laid {
  /** Planar as `SmallFrame.data`, of the part's size. */
  readonly data: Float32Array;
  /** 0 not in that picture, 1 at or near its performer, 2 clear of it. */
  readonly seen: Uint8Array;
}

function laid(
  there: SmallFrame,
  away: Float32Array,
  move: Mat3,
  [x0, y0, x1, y1]: SmallBox,
  by: { readonly u: Float32Array; readonly v: Float32Array } | null,
): Laid {
  const { width: sw, height: sh } = there,
    w = x1 - x0,
    n = w * (y1 - y0),
    data = new Float32Array(3 * n),
    seen = new Uint8Array(n),
    planes = [0, 1, 2].map((p) => there.data.subarray(p * sw * sh, (p + 1) * sw * sh));
  for (let i = 0; i < n; i++) {
    const [x, y] = apply(
      move,
      (i % w) + x0 + 0.5 + (by === null ? 0 : by.u[i]!),
      Math.floor(i / w) + y0 + 0.5 + (by === null ? 0 : by.v[i]!),
    );
    if (!(x >= 1 && y >= 1 && x <= sw - 1 && y <= sh - 1)) continue;
    for (let p = 0; p < 3; p++) data[p * n + i] = sampleBilinear(planes[p]!, sw, sh, x, y);
    seen[i] = sampleBilinear(away, sw, sh, x, y) > CLEAR_THERE ? 2 : 1;
  }
  return { data, seen };
}

/** What the set about the performer moves by beside the camera's move, carried inwards. */
function parallax(is: SmallFrame, depth: Float32Array, over: Laid): { u: Float32Array; v: Float32Array } {
  const { width: w, height: h } = is,
    n = w * h,
    luma = is.data.slice(0, n),
    { u, v } = motion(luma, over.data.slice(0, n), w, h),
    weight = new Float32Array(n);
  for (let i = 0; i < n; i++) {
    if (depth[i]! > -CLEAR_HERE || Math.hypot(u[i]!, v[i]!) > PARALLAX) continue;
    const x = Math.round((i % w) + u[i]!),
      y = Math.round(Math.floor(i / w) + v[i]!),
      j = y * w + x;
    if (x < 0 || y < 0 || x >= w || y >= h || over.seen[j] !== 2) continue;
    weight[i] = Math.exp(-((luma[i]! - over.data[j]!) ** 2) / (2 * MATCHED ** 2)) + 1e-3;
  }
  return { u: spread(u, weight, w, h, MOTION_REACH), v: spread(v, weight, w, h, MOTION_REACH) };
}

/** The other frame given this one's light, by the set about the performer (in place). */
function relight(is: SmallFrame, depth: Float32Array, over: Laid): void {
  const { width: w, height: h } = is,
    n = w * h;
  for (let p = 0; p < 3; p++) {
    const rest = new Float32Array(n),
      weight = new Float32Array(n);
    for (let i = 0; i < n; i++) {
      if (over.seen[i] !== 2 || depth[i]! > -CLEAR_HERE) continue;
      rest[i] = is.data[p * n + i]! - over.data[p * n + i]!;
      weight[i] = Math.abs(rest[i]!) < MOST_LIGHT ? 1 : 0.02;
    }
    const light = spread(rest, weight, w, h, LIGHT_REACH);
    for (let i = 0; i < n; i++) over.data[p * n + i] = over.data[p * n + i]! + light[i]!;
  }
}

/** Squared difference of the planes, mean over 3 × 3, least of nine places. */
function leastDifference(a: Float32Array, b: Float32Array, w: number, h: number): Float32Array {
  const n = w * h,
    best = new Float32Array(n).fill(1e9),
    d = new Float32Array(n);
  for (let dy = -1; dy <= 1; dy++)
    for (let dx = -1; dx <= 1; dx++) {
      for (let y = 0, i = 0; y < h; y++) {
        const row = Math.min(h - 1, Math.max(0, y + dy)) * w;
        for (let x = 0; x < w; x++, i++) {
          const j = row + Math.min(w - 1, Math.max(0, x + dx));
          d[i] = (a[i]! - b[j]!) ** 2 + (a[n + i]! - b[n + j]!) ** 2 + (a[2 * n + i]! - b[2 * n + j]!) ** 2;
        }
      }
      const mean = boxMean(d, w, h, 1);
      for (let i = 0; i < n; i++) best[i] = Math.min(best[i]!, mean[i]!);
    }
  return best;
}

/** Squared steps to the right and downwards over all planes, mean over 5 × 5. */
function steps(data: Float32Array, w: number, h: number): Float32Array {
  const n = w * h,
    out = new Float32Array(n);
  for (let y = 0, i = 0; y < h; y++)
    for (let x = 0; x < w; x++, i++) {
      const right = x < w - 1 ? i + 1 : i,
        below = y < h - 1 ? i + w : i;
      let sum = 0;
      for (let o = 0; o < 3 * n; o += n)
        sum += (data[o + right]! - data[o + i]!) ** 2 + (data[o + below]! - data[o + i]!) ** 2;
      out[i] = sum;
    }
  return boxMean(out, w, h, 2);
}

export interface SetAgain {
  /** Natural log of the difference over what noise and a set a little off would make. */
  readonly rest: Float32Array;
  /** 0 not in the other picture, 1 at or near its performer, 2 clear of it. */
  readonly seen: Uint8Array;
}

/**
 * @param is the part `box` of this frame
 * @param depth signed distance inside this frame's line, of the part
 * @param there the other frame, `away` the distance of its pixels to its performer
 * @param move from this frame to the other, small pixels of the whole pictures
 */
export function setAgain(
  is: SmallFrame,
  box: SmallBox,
  depth: Float32Array,
  there: SmallFrame,
  away: Float32Array,
  move: Mat3,
): SetAgain {
  const { width: w, height: h } = is,
    first = laid(there, away, move, box, null),
    over = laid(there, away, move, box, parallax(is, depth, first));
  relight(is, depth, over);
  const least = leastDifference(is.data, over.data, w, h),
    texture = steps(over.data, w, h);
  return {
    rest: least.map((d, i) => 0.5 * Math.log((d + 1e-6) / (3 * NOISE ** 2 + OFF * texture[i]!))),
    seen: over.seen,
  };
}
