/**
 * Who stands in a set that stirs. A clean frame shows the set once; leaves hang elsewhere the next moment, so that a
 * pixel is held not against its own place alone but against the best of its neighbourhood, on several empty frames
 * (Elgammal, Harwood & Davis, Non-parametric model for background subtraction, ECCV, 2000; Barnich & Van Droogenbroeck,
 * ViBe, IEEE TIP 20, 2011: colours of the neighbourhood as samples). How well empty frames meet each other so is the
 * set's own stir, and what a frame must exceed. What lies in a cast shadow is none (cast-shade.ts). What is left is one
 * performer: parts are grown from sure ones, small ones apart are leaves. All on small pictures, about 480 pixels wide.
 */
import { boxMean } from '../../image/box.js';
import { readShade } from './cast-shade.js';
import { labelAreas } from './label-areas.js';
import { renderingOf, unrendered } from './match-light.js';
import type { SmallLinear } from './small-linear.js';
import { whoStands } from './who-stands.js';

export interface EmptySet {
  readonly width: number;
  readonly height: number;
  readonly block: number;
  /** Empty frames as square roots of linear light (about as noise and the eye have it), planar. */
  readonly frames: readonly Float32Array[];
  /** Mean linear light of them. */
  readonly mean: Float32Array;
  /** How far empty frames differ from each other at best, about each pixel: mean and sd added up. */
  readonly stir: Float32Array;
  /** What boxes about each pixel look like, a frame, and how far those of empty frames differ from each other. */
  readonly broad: readonly Float32Array[];
  readonly broadStir: Float32Array;
  /** 1 where the set holds still, 0 where it stirs by more than noise. */
  readonly still: Float32Array;
}

/** Small pixels that things may stir by. */
const REACH = 3;
/**
 * Difference (square roots of light) that is noise and coding in any file; a frame exceeds the stir by so many times.
 */
const LEAST = 0.02;
const SURE = 3.2;
/** Box over which the stir is gathered, and over which a frame's differences are averaged. */
const AROUND = 7;
const SMOOTH = 1;
/**
 * Half side of the boxes whose looks are held against the set's where it stirs, and a large difference over the mean
 * one.
 */
const BROAD = 5,
  BROAD_SPREAD = 1.5;
/** An empty frame shows nothing larger than this share of the picture that the others do not. */
const MOST_APART = 0.004;
/** Parts of less than this share of the largest are no performer. */
const PART = 0.06;
/** A shut-in hollow of less than this share of the performer is no gap that shows the set. */
const SPECK = 0.005;
/** Sure small pixels below which nobody is there. */
const LEAST_SURE = 12;

/** @param frames empty frames of one set-up, the surest first; those that show somebody beside it are left out */
export function emptySet(frames: readonly SmallLinear[]): EmptySet {
  const first = frames[0]!,
    { width: w, height: h, block } = first,
    n = w * h;
  const roots = frames.map(rootsOf),
    kept = [0];
  for (let k = 1; k < frames.length; k += 1) {
    const d = nearest(roots[k]!, [roots[0]!], w, h, REACH),
      mask = new Uint8Array(n);
    for (let i = 0; i < n; i += 1) mask[i] = d[i]! > 4 * LEAST ? 1 : 0;
    if (labelAreas(opened(mask, w, h), w, h).area.every((a) => a <= MOST_APART * n)) kept.push(k);
  }
  const mean = new Float32Array(3 * n);
  for (const k of kept) for (let i = 0; i < 3 * n; i += 1) mean[i] = mean[i]! + frames[k]!.data[i]! / kept.length;
  const sum = new Float32Array(n),
    square = new Float32Array(n),
    plain = new Float32Array(n);
  let pairs = 0;
  for (const k of kept) {
    if (kept.length < 2) break;
    const others = kept.filter((o) => o !== k).map((o) => roots[o]!),
      d = nearest(roots[k]!, others, w, h, REACH),
      own = nearest(roots[k]!, others, w, h, 0);
    for (let i = 0; i < n; i += 1) {
      sum[i] = sum[i]! + d[i]!;
      square[i] = square[i]! + d[i]! * d[i]!;
      plain[i] = plain[i]! + own[i]!;
    }
    pairs += 1;
  }
  const broad = kept.map((k) => boxes(roots[k]!, w, h)),
    broadStir = new Float32Array(n).fill(LEAST / 2);
  if (kept.length > 1) {
    const mean = new Float32Array(n);
    kept.forEach((_, k) => {
      const d = boxesApart(
        broad[k]!,
        broad.filter((_, o) => o !== k),
        n,
      );
      for (let i = 0; i < n; i += 1) mean[i] = mean[i]! + d[i]! / kept.length;
    });
    const wide = boxMean(mean, w, h, AROUND);
    for (let i = 0; i < n; i += 1) broadStir[i] = Math.max(LEAST / 2, BROAD_SPREAD * wide[i]!);
  }
  const stir = new Float32Array(n).fill(LEAST),
    still = new Float32Array(n).fill(1);
  if (pairs > 0) {
    const m = boxMean(sum, w, h, AROUND),
      s = boxMean(square, w, h, AROUND),
      p = boxMean(plain, w, h, 2);
    for (let i = 0; i < n; i += 1) {
      const a = m[i]! / pairs,
        b = s[i]! / pairs;
      stir[i] = Math.max(LEAST, a + Math.sqrt(Math.max(0, b - a * a)));
      still[i] = Math.min(1, Math.max(0, 2 - p[i]! / pairs / LEAST));
    }
  }
  return { width: w, height: h, block, frames: kept.map((k) => roots[k]!), mean, stir, broad, broadStir, still };
}

/** What a frame says of who stands in the set. */
export interface StandsIn {
  /** 1 where somebody stands who is not in the set. */
  readonly inside: Uint8Array;
  /** How far the clean frame's own colour holds behind the performer: not where things stir or lie in shadow. */
  readonly holds: Float32Array;
  /** 1 where light and colour may be a shadow's on the set. */
  readonly shade: Uint8Array;
}

/** @param small a frame of the set's size */
export function notOfSet(small: SmallLinear, set: EmptySet): StandsIn {
  const { width: w, height: h } = set,
    n = w * h,
    lit = lightened(small, set);
  const roots = rootsOf({ ...small, data: lit }),
    d = setApart(roots, set);
  const reading = readShade(lit, set.mean, set.still, w, h),
    joined = whoStands(d, reading, roots, rootsOf({ ...small, data: set.mean }), w, h);
  const score = boxMean(d, w, h, SMOOTH),
    shade = reading.possible,
    { labels, area } = labelAreas(joined, w, h),
    sure = new Float64Array(area.length);
  for (let i = 0; i < n; i += 1)
    if (joined[i] === 1 && score[i]! > SURE) sure[labels[i]!] = sure[labels[i]!]! + Math.min(4, score[i]! / SURE);
  let most = 0;
  for (let l = 1; l < sure.length; l += 1) most = Math.max(most, sure[l]!);
  const out = new Uint8Array(n),
    holds = set.still.map((v, i) => (shade[i] === 1 && joined[i] === 0 ? 0 : v));
  if (most < LEAST_SURE) return { inside: out, holds, shade };
  for (let i = 0; i < n; i += 1) out[i] = joined[i] === 1 && sure[labels[i]!]! >= PART * most ? 1 : 0;
  // Shut-in hollows whose colours the set happens to have are the performer's, unless they show the set exactly.
  const { labels: holes, area: size } = labelAreas(
      out.map((v) => 1 - v),
      w,
      h,
    ),
    edge = new Uint8Array(size.length),
    exact = new Float64Array(size.length),
    body = out.reduce((sum, v) => sum + v, 0);
  for (let x = 0; x < w; x += 1) edge[holes[x]!] = edge[holes[(h - 1) * w + x]!] = 1;
  for (let y = 0; y < h; y += 1) edge[holes[y * w]!] = edge[holes[y * w + w - 1]!] = 1;
  for (let i = 0; i < n; i += 1)
    if (out[i] === 0 && (shade[i] === 1 || score[i]! < 0.7)) exact[holes[i]!] = exact[holes[i]!]! + 1;
  for (let i = 0; i < n; i += 1) {
    const l = holes[i]!;
    if (out[i] === 0 && edge[l] === 0 && (exact[l]! < 0.5 * size[l]! || size[l]! < SPECK * body)) out[i] = 1;
  }
  return { inside: out, holds, shade };
}

/** How far each pixel of a frame (square roots of light) lies from the set, 1 as far as it strays by itself. */
function setApart(roots: Float32Array, set: EmptySet): Float32Array {
  const { width: w, height: h, still } = set,
    own = nearest(roots, set.frames, w, h, 0),
    // Where the set holds still, in the empty frames and in this one, a pixel is held against its own place alone.
    fixed = mostlyBelow(own, LEAST);
  if (fixed && still.every((v) => v === 1)) return own.map((v) => v / LEAST);
  const about = nearest(roots, set.frames, w, h, REACH),
    wide = leastBeside(boxesApart(boxes(roots, w, h), set.broad, w * h), w, h, BROAD + 1);
  return about.map((v, i) => {
    const stirred = Math.max(v / set.stir[i]!, wide[i]! / set.broadStir[i]!);
    return fixed ? (still[i]! * own[i]!) / LEAST + (1 - still[i]!) * stirred : stirred;
  });
}

function rootsOf(small: SmallLinear): Float32Array {
  const out = new Float32Array(small.data.length);
  for (let i = 0; i < out.length; i += 1) out[i] = Math.sqrt(Math.max(0, small.data[i]!));
  return out;
}

/** What a box about each pixel looks like, however its leaves hang: three means and how far its luma strays, planar. */
function boxes(planes: Float32Array, w: number, h: number): Float32Array {
  const n = w * h,
    out = new Float32Array(4 * n),
    light = new Float32Array(n),
    square = new Float32Array(n);
  for (let p = 0; p < 3; p += 1) out.set(boxMean(planes.subarray(p * n, (p + 1) * n), w, h, BROAD), p * n);
  for (let i = 0; i < n; i += 1) {
    light[i] = 0.2126 * planes[i]! + 0.7152 * planes[n + i]! + 0.0722 * planes[2 * n + i]!;
    square[i] = light[i]! * light[i]!;
  }
  const mean = boxMean(light, w, h, BROAD),
    power = boxMean(square, w, h, BROAD);
  for (let i = 0; i < n; i += 1) out[3 * n + i] = Math.sqrt(Math.max(0, power[i]! - mean[i]! ** 2));
  return out;
}

/** Least distance of each pixel's box to those of the frames at its place. */
function boxesApart(a: Float32Array, frames: readonly Float32Array[], n: number): Float32Array {
  const best = new Float32Array(n).fill(9);
  for (const b of frames)
    for (let i = 0; i < n; i += 1) {
      let d = 0;
      for (let p = i; p < 4 * n; p += n) d += (a[p]! - b[p]!) ** 2;
      best[i] = Math.min(best[i]!, Math.sqrt(d));
    }
  return best;
}

/**
 * Least of a pixel's and those `by` pixels to its four sides: a box at the performer's edge sees some of it from
 * outside.
 */
function leastBeside(values: Float32Array, w: number, h: number, by: number): Float32Array {
  return values.map((v, i) => {
    const x = i % w,
      y = (i - x) / w;
    return Math.min(
      v,
      values[i - Math.min(x, by)]!,
      values[i + Math.min(w - 1 - x, by)]!,
      values[i - Math.min(y, by) * w]!,
      values[i + Math.min(h - 1 - y, by) * w]!,
    );
  });
}

/** Whether the median is less than `limit`. */
function mostlyBelow(values: Float32Array, limit: number): boolean {
  let count = 0;
  for (let i = 0; i < values.length; i += 1) if (values[i]! < limit) count += 1;
  return count > values.length >> 1;
}

/** Least distance of each pixel to those of the frames within `reach`. */
function nearest(a: Float32Array, frames: readonly Float32Array[], w: number, h: number, reach: number): Float32Array {
  const n = w * h,
    best = new Float32Array(n).fill(9);
  for (const b of frames)
    for (let dy = -reach; dy <= reach; dy += 1)
      for (let dx = -reach; dx <= reach; dx += 1) {
        const y0 = Math.max(0, -dy),
          y1 = Math.min(h, h - dy),
          x0 = Math.max(0, -dx),
          x1 = Math.min(w, w - dx),
          shift = dy * w + dx;
        for (let y = y0; y < y1; y += 1)
          for (let i = y * w + x0, end = y * w + x1; i < end; i += 1) {
            const r = a[i]! - b[i + shift]!,
              g = a[n + i]! - b[n + i + shift]!,
              l = a[2 * n + i]! - b[2 * n + i + shift]!,
              d = r * r + g * g + l * l;
            if (d < best[i]!) best[i] = d;
          }
      }
  for (let i = 0; i < n; i += 1) best[i] = Math.sqrt(best[i]!);
  return best;
}

/**
 * The frame under the set's light, linear, planar: each channel taken back through what the camera made of the set in
 * this frame (match-light.ts, square roots of light).
 */
function lightened(small: SmallLinear, set: EmptySet): Float32Array {
  const { width: w, height: h } = small,
    n = w * h,
    out = new Float32Array(3 * n),
    root = (planes: Float32Array, p: number): Float32Array =>
      boxMean(planes.subarray(p * n, (p + 1) * n), w, h, 4).map((v) => Math.sqrt(Math.max(0, v)));
  for (let p = 0; p < 3; p += 1) {
    const curve = renderingOf(root(set.mean, p), root(small.data, p));
    for (let i = p * n; i < (p + 1) * n; i += 1)
      out[i] = unrendered(curve, Math.sqrt(Math.max(0, small.data[i]!))) ** 2;
  }
  return out;
}

function eroded(mask: Uint8Array, w: number, h: number): Uint8Array {
  const out = new Uint8Array(w * h);
  for (let y = 0, i = 0; y < h; y += 1)
    for (let x = 0; x < w; x += 1, i += 1)
      out[i] =
        mask[i] === 1 &&
        (x === 0 || mask[i - 1] === 1) &&
        (x === w - 1 || mask[i + 1] === 1) &&
        (y === 0 || mask[i - w] === 1) &&
        (y === h - 1 || mask[i + w] === 1)
          ? 1
          : 0;
  return out;
}

function dilated(mask: Uint8Array, w: number, h: number): Uint8Array {
  const out = new Uint8Array(w * h);
  for (let y = 0, i = 0; y < h; y += 1)
    for (let x = 0; x < w; x += 1, i += 1)
      out[i] =
        mask[i] === 1 ||
        (x > 0 && mask[i - 1] === 1) ||
        (x < w - 1 && mask[i + 1] === 1) ||
        (y > 0 && mask[i - w] === 1) ||
        (y < h - 1 && mask[i + w] === 1)
          ? 1
          : 0;
  return out;
}

/** By reconstruction: what has a core keeps its thin parts two pixels far. */
function opened(mask: Uint8Array, w: number, h: number): Uint8Array {
  let grown = eroded(mask, w, h);
  for (let k = 0; k < 4; k += 1) {
    grown = dilated(grown, w, h);
    for (let i = 0; i < grown.length; i += 1) grown[i] = grown[i]! & mask[i]!;
  }
  return grown;
}
