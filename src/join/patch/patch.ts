/**
 * Patch: a region of one picture laid onto a region of another, its light matched and its seam hidden in
 * gradients: what the two differ by along the outline is carried over the region as a membrane and taken away (P.
 * Pérez, M. Gangnet, A. Blake, "Poisson image editing", SIGGRAPH 2003; the same smooth interpolant as Z. Farbman et
 * al., "Coordinates for instant image cloning", SIGGRAPH 2009, had here by push-pull over a band about the outline).
 * The place is found from the two outlines and then corrected on what both pictures show along the outline.
 * Display-coded R'G'B'; lengths in pixels.
 */
import { boundsOf } from '../../geometry/bounds.js';
import { IDENTITY3, apply, multiply, tryInvert, type Mat3, type Point2 } from '../../geometry/mat3.js';
import { similarityBetween } from '../../geometry/similarity.js';
import { distanceToSet } from '../../image/distance.js';
import { gaussianPlane } from '../../image/gaussian.js';
import { createPicture, type Picture } from '../../image/picture.js';
import { rasterizeMoved, rasterizePolygon } from '../../image/polygon.js';
import { warpHomography } from '../../image/warp.js';
import { warpMap } from '../../image/warp-map.js';
import { fitLocally } from '../erase/erase-align.js';
import { codedLuma } from '../erase/coded-luma.js';
import { placeOf, type PartPose, type PartShape } from './part-motion.js';
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
  /** Outline of the part itself within the source's region, source px: what lies outside it is not laid on. */
  readonly shape?: readonly Point2[];
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

/** What of the source lies over a box of the target, and where it has a picture. */
interface Laid {
  readonly fill: Picture;
  readonly valid: Float32Array;
  /** Source pixels → the box's. */
  readonly matrix: Mat3;
}

/** The target over the box, and the region's place in it. */
interface Around {
  readonly box: readonly [number, number, number, number];
  /** The target's own pixels. */
  readonly picture: Picture;
  /** 1 inside the region. */
  readonly hidden: Float32Array;
  /** Distance to its outside and to its inside, px. */
  readonly toOutside: Float32Array;
  readonly toInside: Float32Array;
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
  const band = options.bandPx ?? 14;
  const around = aroundRegion(target, targetPolygon, band, options.chromaShift ?? [1, 1]);
  if (around === null) return null;
  const { box, picture, hidden, toOutside } = around;
  const rgb = source.channels === 3 ? source : cropPicture(source, [0, 0, source.width, source.height]);
  const outlined = multiply([1, 0, -box[0], 0, 1, -box[1], 0, 0, 1], similarityBetween(sourcePolygon, targetPolygon));
  const { fill, valid, matrix } =
    options.pose === undefined
      ? layFitted(rgb, around, outlined, band, options.fitBelow ?? 0.99)
      : layPosed(rgb, around, outlined, options.pose);
  const away = options.screen === undefined ? null : awayFromScreen(options.screen, picture, fill, hidden, toOutside);
  if (away !== null)
    for (let i = 0; i < valid.length; i++)
      if (away.stray[i]! <= SCREEN_RIM || (hidden[i] === 0 && away.unlike[i]! <= SCREEN_RIM)) valid[i] = 0;
  matchSeam(picture, fill, hidden, valid, {
    bandPx: band,
    mostGain: options.mostGain ?? 2,
    blurPx: 3,
    mostStep: options.mostStep ?? 0.06,
  });
  const cover = coverOf(around, valid, away?.stray ?? null, options.softPx ?? 4);
  if (options.shape !== undefined) {
    const own = ownCover(options.shape, matrix, picture.width, picture.height);
    for (let i = 0; i < cover.length; i++) cover[i]! *= own[i]!;
  }
  return {
    box,
    coded: mixed(picture, fill, cover),
    cover,
    matrix: multiply([1, 0, box[0], 0, 1, box[1], 0, 0, 1], matrix),
  };
}

/** The box about the region with its band, on whole chroma samples; null where too little of it is in the picture. */
function aroundRegion(
  target: Picture,
  polygon: readonly Point2[],
  band: number,
  chromaShift: readonly [number, number],
): Around | null {
  const [left, top, right, bottom] = boundsOf(polygon);
  const down = (v: number, shift: number): number => Math.floor(v / (1 << shift)) * (1 << shift);
  const up = (v: number, shift: number): number => Math.ceil(v / (1 << shift)) * (1 << shift);
  const [sx, sy] = chromaShift;
  const x0 = Math.max(0, down(left - band - 4, sx));
  const y0 = Math.max(0, down(top - band - 4, sy));
  const x1 = Math.min(target.width, up(right + band + 4, sx));
  const y1 = Math.min(target.height, up(bottom + band + 4, sy));
  if (x1 - x0 < 12 || y1 - y0 < 12) return null;
  const width = x1 - x0;
  const height = y1 - y0;
  const moved = polygon.map(([x, y]) => [x - x0, y - y0] as const);
  const hidden = rasterizePolygon(moved, width, height).map((v) => (v > 0.5 ? 1 : 0));
  if (!hidden.includes(1)) return null;
  const open = Uint8Array.from(hidden, (v) => 1 - v);
  return {
    box: [x0, y0, x1, y1],
    picture: cropPicture(target, [x0, y0, x1, y1]),
    hidden,
    toOutside: distanceToSet(open, width, height),
    toInside: distanceToSet(hidden, width, height),
  };
}

/** The source laid by a matrix, corrected by what both show along the outline where that makes them more alike. */
function layFitted(rgb: Picture, around: Around, matrix: Mat3, band: number, fitBelow: number): Laid {
  const { picture, hidden, toOutside, toInside } = around;
  const { width, height } = picture;
  const laid = layThroughMatrix(rgb, matrix, width, height);
  // On both sides of the outline the two should show the same; deep inside they should not.
  const ring = laid.valid.map((v, i) =>
    v > 0 && (hidden[i]! > 0 ? toOutside[i]! <= 0.5 * band : toInside[i]! <= band) ? 1 : 0,
  );
  const fit = fitLocally(codedLuma(picture), codedLuma(laid.fill), ring, width, height, { reachPx: 2 });
  const back = tryInvert(fit.matrix);
  if (back === null || !(fit.after < fitBelow * fit.before)) return laid;
  return layThroughMatrix(rgb, multiply(back, matrix), width, height);
}

/** The source laid as the part's place and turn say. */
function layPosed(rgb: Picture, around: Around, outlined: Mat3, posed: NonNullable<PatchOptions['pose']>): Laid {
  const { box, picture } = around;
  const place = (x: number, y: number): readonly [number, number] =>
    placeOf(posed.shape, posed.pose, x + box[0], y + box[1]);
  const matrix = nearestAffine(posed, box[0], box[1]) ?? outlined;
  return { ...layThrough(rgb, place, picture.width, picture.height), matrix };
}

function layThroughMatrix(rgb: Picture, matrix: Mat3, width: number, height: number): Laid {
  const back = tryInvert(matrix) ?? IDENTITY3;
  const valid = new Float32Array(width * height);
  for (let y = 0; y < height; y++)
    for (let x = 0; x < width; x++) {
      const [u, v] = apply(back, x + 0.5, y + 0.5);
      valid[y * width + x] = u > 2 && v > 2 && u < rgb.width - 2 && v < rgb.height - 2 ? 1 : 0;
    }
  return { fill: warpHomography(rgb, matrix, width, height, { filter: 'lanczos3', boundary: 'clamp' }), valid, matrix };
}

/** How much of each pixel comes from the source: rising smoothly from the outline, and from a screen, inwards. */
function coverOf(around: Around, valid: Float32Array, stray: Float32Array | null, soft: number): Float32Array {
  const { hidden, toOutside } = around;
  const cover = new Float32Array(valid.length);
  for (let i = 0; i < valid.length; i++) {
    if (hidden[i]! === 0 || valid[i]! === 0) continue;
    const from = stray === null ? toOutside[i]! : Math.min(toOutside[i]!, stray[i]! - SCREEN_RIM);
    const t = Math.max(0, Math.min(1, (from - 0.5) / Math.max(0.5, soft)));
    cover[i] = t * t * (3 - 2 * t);
  }
  return cover;
}

function mixed(around: Picture, fill: Picture, cover: Float32Array): Picture {
  const coded = createPicture(around.width, around.height, 3);
  const count = cover.length;
  for (let c = 0; c < 3; c++)
    for (let i = 0; i < count; i++) {
      const o = c * count + i;
      coded.data[o] = around.data[o]! + cover[i]! * (fill.data[o]! - around.data[o]!);
    }
  return coded;
}

/** Softness of a part's own outline, px: about a film's edge. */
const EDGE_PX = 1;
/** Cover of the softened outline at which nothing is laid on: it is rough, so it is taken .4 px inward. */
const INWARD = 0.32;

/** How much of each pixel of the box the part itself covers. */
function ownCover(shape: readonly Point2[], matrix: Mat3, w: number, h: number): Float32Array {
  const inside = rasterizeMoved(shape, matrix, w, h);
  return gaussianPlane(inside, w, h, EDGE_PX).map((v) => {
    const t = Math.max(0, (v - INWARD) / (1 - INWARD));
    return t * t * (3 - 2 * t);
  });
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
