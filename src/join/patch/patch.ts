/**
 * Patch: a region of one picture laid onto a region of another, its light matched and its seam hidden in
 * gradients: what the two differ by along the outline is carried over the region as a membrane and taken away (P.
 * Pérez, M. Gangnet, A. Blake, "Poisson image editing", SIGGRAPH 2003; the same smooth interpolant as Z. Farbman et
 * al., "Coordinates for instant image cloning", SIGGRAPH 2009, had here by push-pull over a band about the outline).
 * The place is found from the two outlines and then corrected on what both pictures show along the outline.
 * Display-coded R'G'B'; lengths in pixels.
 */
import { IDENTITY3, apply, multiply, tryInvert, type Mat3, type Point2 } from '../../geometry/mat3.js';
import { distanceToSet } from '../../image/distance.js';
import { createPicture, type Picture } from '../../image/picture.js';
import { rasterizePolygon } from '../../image/polygon.js';
import { warpHomography } from '../../image/warp.js';
import { warpMap } from '../../image/warp-map.js';
import { fitLocally } from '../erase/erase-align.js';
import { codedLuma } from '../erase/coded-luma.js';
import { placeOf, type PartPose, type PartShape } from './part-motion.js';
import { boundsOf } from '../erase/lay-over.js';
import { cropPicture, matchSeam } from '../erase/erase-seam.js';
import { strayScreen, type ScreenTest } from './patch-screen.js';

export interface PatchOptions {
  /** Width over which the patch passes into the target, px inside the outline. Default 4. */
  readonly softPx?: number;
  /** Band outside the outline on which place and light are matched, px. Default 14. */
  readonly bandPx?: number;
  /**
   * The place is corrected where that leaves less than this share of the difference along the outline. Default .99;
   * lower where the two need not show the same there.
   */
  readonly fitBelow?: number;
  /**
   * Most that the source's light is changed as a whole, as a factor, and by the membrane (coded). Defaults 2 and .06.
   */
  readonly mostGain?: number;
  readonly mostStep?: number;
  /**
   * Where each of the target's pixels is found in the source (part-motion.ts), instead of by outlines and light along
   * them.
   */
  readonly pose?: { readonly shape: PartShape; readonly pose: PartPose };
  /** Tells the screen behind both: what of it comes in beside the source's performer is not laid on the target's. */
  readonly screen?: ScreenTest;
  /** Whole chroma samples of the target's file. Default [1, 1]. */
  readonly chromaShift?: readonly [number, number];
}

export interface PatchedBox {
  readonly box: readonly [number, number, number, number];
  /** The target with the patch laid in, over the box. */
  readonly coded: Picture;
  /** How much of each pixel comes from the source, 0..1. */
  readonly cover: Float32Array;
  /** Source pixels → target pixels as used. */
  readonly matrix: Mat3;
}

/**
 * Similarity that brings points onto others best (S. Umeyama, IEEE PAMI 13, 1991, in the plane); lists of different
 * length are matched by their middle and size.
 */
export function similarityBetween(from: readonly Point2[], to: readonly Point2[]): Mat3 {
  const mid = (p: readonly Point2[]): [number, number] => {
    let x = 0,
      y = 0;
    for (const q of p) {
      x += q[0] / p.length;
      y += q[1] / p.length;
    }
    return [x, y];
  };
  const a = mid(from),
    b = mid(to);
  let c = 0,
    s = 0,
    n = 0;
  if (from.length === to.length) {
    for (let i = 0; i < from.length; i++) {
      const x = from[i]![0] - a[0],
        y = from[i]![1] - a[1],
        u = to[i]![0] - b[0],
        v = to[i]![1] - b[1];
      c += x * u + y * v;
      s += x * v - y * u;
      n += x * x + y * y;
    }
  } else {
    const size = (p: readonly Point2[], m: Point2): number =>
      Math.sqrt(p.reduce((k, q) => k + (q[0] - m[0]) ** 2 + (q[1] - m[1]) ** 2, 0) / p.length);
    c = size(to, b);
    s = 0;
    n = size(from, a);
  }
  if (!(n > 0)) return [1, 0, b[0] - a[0], 0, 1, b[1] - a[1], 0, 0, 1];
  c /= n;
  s /= n;
  return [c, -s, b[0] - c * a[0] + s * a[1], s, c, b[1] - s * a[0] - c * a[1], 0, 0, 1];
}

/**
 * Lays a region of `source` onto a region of `target`. Null where the target's outline lies outside the picture. Inputs
 * are not changed.
 */
export function patchRegion(
  target: Picture,
  source: Picture,
  targetPolygon: readonly Point2[],
  sourcePolygon: readonly Point2[],
  options: PatchOptions = {},
): PatchedBox | null {
  const band = options.bandPx ?? 14,
    soft = options.softPx ?? 4;
  const [sx, sy] = options.chromaShift ?? [1, 1];
  const b = boundsOf(targetPolygon, IDENTITY3);
  const even = (v: number, shift: number, up: boolean): number =>
    (up ? Math.ceil(v / (1 << shift)) : Math.floor(v / (1 << shift))) * (1 << shift);
  const x0 = Math.max(0, even(b[0] - band - 4, sx, false)),
    y0 = Math.max(0, even(b[1] - band - 4, sy, false));
  const x1 = Math.min(target.width, even(b[2] + band + 4, sx, true)),
    y1 = Math.min(target.height, even(b[3] + band + 4, sy, true));
  if (x1 - x0 < 12 || y1 - y0 < 12) return null;
  const w = x1 - x0,
    h = y1 - y0,
    n = w * h;
  const around = cropPicture(target, [x0, y0, x1, y1]);
  const inside = rasterizePolygon(
    targetPolygon.map(([x, y]) => [x - x0, y - y0] as const),
    w,
    h,
  );
  const hidden = new Float32Array(n),
    open = new Uint8Array(n);
  for (let i = 0; i < n; i++) {
    hidden[i] = inside[i]! > 0.5 ? 1 : 0;
    open[i] = inside[i]! > 0.5 ? 0 : 1;
  }
  if (!hidden.some((v) => v > 0)) return null;
  let matrix = multiply([1, 0, -x0, 0, 1, -y0, 0, 0, 1], similarityBetween(sourcePolygon, targetPolygon));
  const rgb = source.channels === 3 ? source : cropPicture(source, [0, 0, source.width, source.height]);
  // Pixel of the box → place in the source, where more than a matrix is known.
  let place: ((x: number, y: number) => readonly [number, number]) | null = null;
  const lay = (m: Mat3): { fill: Picture; valid: Float32Array } => {
    if (place !== null) return layThrough(rgb, place, w, h);
    const back = tryInvert(m) ?? IDENTITY3;
    const valid = new Float32Array(n);
    for (let y = 0; y < h; y++)
      for (let x = 0; x < w; x++) {
        const [u, v] = apply(back, x + 0.5, y + 0.5);
        valid[y * w + x] = u > 2 && v > 2 && u < source.width - 2 && v < source.height - 2 ? 1 : 0;
      }
    return { fill: warpHomography(rgb, m, w, h, { filter: 'lanczos3', boundary: 'clamp' }), valid };
  };
  if (options.pose !== undefined) {
    const { shape, pose } = options.pose;
    place = (x, y) => placeOf(shape, pose, x + x0, y + y0);
    matrix = nearestAffine(options.pose, x0, y0) ?? matrix;
  }
  let laid = lay(matrix);
  // On both sides of the outline the two should show the same; deep inside they should not.
  const toOutside = distanceToSet(open, w, h),
    toInside = distanceToSet(hidden, w, h);
  const ring = new Float32Array(n);
  for (let i = 0; i < n; i++)
    ring[i] = laid.valid[i]! > 0 && (hidden[i]! > 0 ? toOutside[i]! <= 0.5 * band : toInside[i]! <= band) ? 1 : 0;
  if (place === null) {
    const fit = fitLocally(codedLuma(around), codedLuma(laid.fill), ring, w, h, { reachPx: 2 });
    const back = tryInvert(fit.matrix);
    if (back !== null && fit.after < (options.fitBelow ?? 0.99) * fit.before) {
      matrix = multiply(back, matrix);
      laid = lay(matrix);
    }
  }
  const { fill } = laid;
  const away = options.screen === undefined ? null : awayFromScreen(options.screen, around, fill, hidden, toOutside);
  if (away !== null)
    for (let i = 0; i < n; i++)
      if (away.stray[i]! <= SCREEN_RIM || (hidden[i] === 0 && away.unlike[i]! <= SCREEN_RIM)) laid.valid[i] = 0;
  matchSeam(around, fill, hidden, laid.valid, {
    bandPx: band,
    mostGain: options.mostGain ?? 2,
    blurPx: 3,
    mostStep: options.mostStep ?? 0.06,
  });
  const cover = new Float32Array(n);
  for (let i = 0; i < n; i++) {
    if (hidden[i]! === 0 || laid.valid[i]! === 0) continue;
    const from = away === null ? toOutside[i]! : Math.min(toOutside[i]!, away.stray[i]! - SCREEN_RIM);
    const t = Math.max(0, Math.min(1, (from - 0.5) / Math.max(0.5, soft)));
    cover[i] = t * t * (3 - 2 * t);
  }
  const coded = createPicture(w, h, 3);
  for (let c = 0; c < 3; c++)
    for (let i = 0; i < n; i++) {
      const o = c * n + i;
      coded.data[o] = around.data[o]! + cover[i]! * (fill.data[o]! - around.data[o]!);
    }
  return { box: [x0, y0, x1, y1], coded, cover, matrix: multiply([1, 0, x0, 0, 1, y0, 0, 0, 1], matrix) };
}

/** The performer's last pixels before its screen are mixed with it, px. */
const SCREEN_RIM = 2;

/**
 * Px to the source's screen that is not to be laid, and to where one picture shows the screen and the other its
 * performer: there the light of the two can't be compared. Null where the screens lie alike.
 */
function awayFromScreen(
  test: ScreenTest,
  around: Picture,
  fill: Picture,
  hidden: Float32Array,
  toOutside: Float32Array,
): { stray: Float32Array; unlike: Float32Array } | null {
  const { width: w, height: h } = fill,
    inside = Uint8Array.from(hidden),
    rim = Uint8Array.from(toOutside, (d, i) => (inside[i] === 1 && d <= SCREEN_RIM ? 1 : 0));
  const from = test(fill),
    to = test(around),
    stray = strayScreen(inside, rim, from, to, w),
    unlike = Uint8Array.from(from, (v, i) => (v === to[i] ? 0 : 1));
  return unlike.includes(1) ? { stray: distanceToSet(stray, w, h), unlike: distanceToSet(unlike, w, h) } : null;
}

/** The source as its places say, and where it has any. */
function layThrough(
  rgb: Picture,
  place: (x: number, y: number) => readonly [number, number],
  w: number,
  h: number,
): { fill: Picture; valid: Float32Array } {
  const mx = new Float32Array(w * h),
    my = new Float32Array(w * h),
    valid = new Float32Array(w * h);
  for (let y = 0, i = 0; y < h; y++)
    for (let x = 0; x < w; x++, i++) {
      const [u, v] = place(x + 0.5, y + 0.5);
      mx[i] = u;
      my[i] = v;
      valid[i] = u > 2 && v > 2 && u < rgb.width - 2 && v < rgb.height - 2 ? 1 : 0;
    }
  return { fill: warpMap(rgb, mx, my, w, h, { filter: 'lanczos3', boundary: 'clamp' }), valid };
}

/** Source pixels → the box's, without the turn. */
function nearestAffine(
  { shape: s, pose: p }: { readonly shape: PartShape; readonly pose: PartPose },
  x0: number,
  y0: number,
): Mat3 | null {
  const a = 1 + p[1]! / s.r,
    b = p[2]! / s.r,
    c = p[5]! / s.r,
    d = 1 + p[6]! / s.r;
  return tryInvert([
    a,
    b,
    s.cx + p[0]! - a * (s.cx - x0) - b * (s.cy - y0),
    c,
    d,
    s.cy + p[4]! - c * (s.cx - x0) - d * (s.cy - y0),
    0,
    0,
    1,
  ]);
}
