/**
 * Sharpness of the performer against the plate: how much of the detail is fine. Two bands of the picture an octave
 * apart (differences of Gaussians; Burt & Adelson, The Laplacian Pyramid, IEEE Trans. Communications 31, 1983) are
 * compared where there is most contrast; their ratio hardly goes with what is shown, since textures' spectra fall alike
 * (Field, J. Opt. Soc. Am. A 4, 1987), and much with the lens, a blur or a sharpening. It goes with the picture's
 * content a little all the same, so what the plate leads to expect of the performer lies half way from the usual to the
 * plate's own (regression towards the mean). It is softer only as far as its own coarser detail leads to expect more as
 * well: a smooth body has little fine detail by nature and as little of the next coarser over that, while a blur takes
 * from the finest first.
 */
import { nearestInSet } from '../../image/distance.js';
import { gaussianPlane } from '../../image/gaussian.js';
import { selectInPlace } from '../../image/statistics.js';
import { grow, type SeenFrame } from '../reader/frame.js';

/** Gaussians between which the two bands lie, and the third that tells contrast, px. */
const FINE = 0.7,
  MIDDLE = 1.4,
  WIDE = 2.8;
/** Share of the pixels with most contrast that count. */
const MOST = 0.3;
/**
 * Usual logarithm of the two bands' energies, and how far a plate's own counts: over 39 true joins (twenty traced,
 * three made bodies, sixteen parts of real clips) performers read −.72 ± .27 and plates −.69 ± .37 with a correlation
 * of .66; what is left about the expected is ± .20.
 */
const USUAL = -0.72,
  COUNTS = 0.5;

/**
 * The same with the performer's own middle over wide band beside it: 106 true joins (30 exam scenes, twice each but for
 * bodies, 30 made bodies, 16 parts of real clips) lie ± .30 about it (by the plate alone ± .35), scenes left out by
 * turns ± .31.
 */
const OWN_USUAL = -0.01,
  OWN_COUNTS = 0.33,
  PLATE_COUNTS = 0.38;

/**
 * Beside a plate as crisp as pixels allow (a picture never seen through a lens: fine detail as strong as middling) the
 * usual tells nothing of how crisp a coat may be: fur of the practice set, traced without a lens, reads .71 to 1.00
 * beside plates of −.14 to .46, and sharpened 1.08 to 1.50. So from plates of CRISP[0] to CRISP[1] on what is allowed
 * rises from ALLOWED beyond the expected to MOST_FUR.
 */
const CRISP = [-0.5, -0.2] as const,
  ALLOWED = 0.4,
  MOST_FUR = 1.25;
/** Pixels that a region needs. */
const LEAST = 400;

/**
 * How deep (px) in the performer counts, where enough lies so deep: at the outline a blurred coat still has the
 * outline's own edge.
 */
export const DEEP = 3;

/** How deep (px) the pixel of this index lies in the performer; 0 outside it. */
export type DepthAt = (i: number) => number;

/**
 * How deep each pixel lies in the performer (px from what is not wholly covered), by the picture's pixel; 0 outside it
 * and outside the box.
 */
export function coreOf(matte: Float32Array, width: number, box: readonly [number, number, number, number]): DepthAt {
  const [x0, y0, x1, y1] = box,
    w = x1 - x0,
    h = y1 - y0,
    open = new Uint8Array(w * h);
  for (let y = 0; y < h; y++)
    for (let x = 0; x < w; x++) open[y * w + x] = matte[(y0 + y) * width + x0 + x]! > 0.9 ? 0 : 1;
  const { distance } = nearestInSet(open, w, h);
  return (i) => {
    const x = (i % width) - x0,
      y = Math.floor(i / width) - y0;
    return x < 0 || y < 0 || x >= w || y >= h ? 0 : distance[y * w + x]!;
  };
}

/** Energies (squared coded luma) of the fine and the middle band and of the one below, where there is most contrast. */
export interface Bands {
  readonly fine: number;
  readonly middle: number;
  readonly wide: number;
}

/** Null where there is too little picture or contrast. */
export function bandsOf(
  luma: Float32Array,
  width: number,
  box: readonly [number, number, number, number],
  inside: (i: number) => boolean,
): Bands | null {
  const [x0, y0, x1, y1] = box,
    w = x1 - x0,
    h = y1 - y0;
  if (w < 12 || h < 12) return null;
  const part = new Float32Array(w * h),
    pick = new Uint32Array(w * h);
  let n = 0;
  for (let y = 0; y < h; y++)
    for (let x = 0; x < w; x++) {
      const i = (y0 + y) * width + x0 + x;
      part[y * w + x] = luma[i]!;
      if (inside(i)) pick[n++] = y * w + x;
    }
  if (n < LEAST) return null;
  const a = gaussianPlane(part, w, h, FINE),
    b = gaussianPlane(part, w, h, MIDDLE),
    c = gaussianPlane(part, w, h, WIDE);
  const square = new Float32Array(w * h);
  for (let i = 0; i < square.length; i++) square[i] = (b[i]! - c[i]!) ** 2;
  const contrast = gaussianPlane(square, w, h, 3, 3, c),
    order = new Float32Array(n);
  for (let k = 0; k < n; k++) order[k] = contrast[pick[k]!]!;
  const strong = selectInPlace(order, Math.floor((1 - MOST) * (n - 1)));
  let fine = 0,
    middle = 0,
    wide = 0,
    count = 0;
  for (let k = 0; k < n; k++) {
    const i = pick[k]!;
    if (contrast[i]! < strong) continue;
    fine += (part[i]! - a[i]!) ** 2;
    middle += (a[i]! - b[i]!) ** 2;
    wide += square[i]!;
    count++;
  }
  // Half a code value of an 8-bit picture in the middle band: less is no detail.
  return middle > 4e-6 * count && fine > 1e-8 * count
    ? { fine: fine / count, middle: middle / count, wide: wide / count }
    : null;
}

/**
 * How much softer the performer is than the plate leads to expect: 1 as soft, above softer, below sharper (root of the
 * ratio of the shares of fine detail; sharper, in parts of what is allowed there); null where one of them shows too
 * little. `deep`: `coreOf` the frame's matte, where that is known.
 */
export function readFineness(f: SeenFrame, deep?: DepthAt): number | null {
  if (f.box === null) return null;
  const { width: W, height: H } = f.join,
    b = f.box;
  const core = deep ?? coreOf(f.matte, W, b);
  const inside = bandsOf(f.luma, W, b, (i) => core(i) >= DEEP) ?? bandsOf(f.luma, W, b, (i) => core(i) > 0);
  const outside = bandsOf(f.plateLuma, W, grow(b, b[3] - b[1], 0.5 * (b[3] - b[1]), W, H), (i) => f.matte[i]! < 0.02);
  if (inside === null || outside === null) return null;
  const own = Math.log(inside.fine / inside.middle),
    around = Math.log(outside.fine / outside.middle);
  const expected = USUAL + COUNTS * (around - USUAL),
    byOwn = OWN_USUAL + OWN_COUNTS * Math.log(inside.middle / inside.wide) + PLATE_COUNTS * around;
  if (own <= expected) return Math.exp(Math.max(0, Math.min(expected, byOwn) - own) / 2);
  const crisp = Math.min(1, Math.max(0, (around - CRISP[0]) / (CRISP[1] - CRISP[0]))),
    allowed = ALLOWED + crisp * (MOST_FUR - expected - ALLOWED);
  return Math.exp(((expected - own) * ALLOWED) / allowed / 2);
}
