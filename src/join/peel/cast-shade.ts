/**
 * Where a frame shows the empty set in a cast shadow rather than somebody who stands in it.
 *
 * A shadow takes a share of the light and keeps the set's chromaticity (Horprasert, Harwood & Davis, ICCV FRAME-RATE,
 * 1999). Outdoors it does not quite: open shade is lit by the sky, so that red falls most and blue least, the shares
 * lying along the line from reddish to bluish daylight (CIE D series, src/colour/temperature.ts: sky of 10 000 to 25
 * 000 K over daylight of 5000 to 6000 has green .38 to .39 of the way from red to blue, blue over red 2.3 to 4.3
 * times). Dark or grey fur passes both, so texture has its say: ground in shadow shows its own texture times the share,
 * fur shows another. That is told by a box's variance, in square roots of light (where noise is about even): what the
 * share of the set's leaves of it, against what two unrelated textures would.
 */
import { boxMean } from '../../image/box.js';

/**
 * A shadow leaves so much of the light on the mean of a box; so little as the first only where the set's own texture
 * shows in it.
 */
const LEAST_SEEN = 0.06,
  LEAST = 0.2,
  MOST = 0.97;
/** Strays so far from the set's chromaticity, beside the way from red to blue. */
const RHO = 0.13;
/**
 * Share of blue over that of red, natural logarithm: at most so without, and with the set's texture in it. Green lies
 * so far from red to blue. The bounds are our own.
 */
const BLUER = Math.log(1.6),
  BLUER_SEEN = Math.log(3.2),
  GREEN_AT = 0.38;
/** Log odds at least, where it is so dark that no texture shows. */
const DARK = 0.5;
/** Odds from which the set's texture is seen. */
export const SEEN = -1.5;
/**
 * Half side of the box whose texture is compared, small pixels; windows so far to each side serve as well, for a
 * shadow's edge.
 */
const AROUND = 3,
  ASIDE = 3;
/**
 * Log odds of somebody rather than a shadow: so much a share of texture that is the set's more than this; at most so
 * much either way; where nothing is told.
 */
const TEXTURE = 6,
  EVEN = 0.4,
  LEAST_ODDS = -3,
  MOST_ODDS = 2,
  UNTOLD = -1.2;
/**
 * What texture that is missing says beside one that is another's, where so much of the light is left: coding takes it
 * from a dark shadow, and from no light one. A smooth pale body before pale ground is told so.
 */
const MISSING = 0.4,
  MISSING_DARK = 0.15,
  MISSING_LIGHT = 0.35;
/**
 * A pixel brighter than a box's shadow has it by so many deviations of the bare set, of so much at least, is not told
 * by that box: an arm before a slatted fence lies in boxes that gaps of sky explain.
 */
const BRIGHTER = 3,
  LEAST_STRAY = 0.008;
/** What variance must exceed the usual difference between frame and set by, to tell anything. */
const ABOVE_NOISE = 4;

/** What says that a pixel shows the set in shadow. */
export interface ShadeReading {
  /** 1 where light and colour may be a shadow's. */
  readonly possible: Uint8Array;
  /** Log odds that it is somebody all the same, by the texture. */
  readonly odds: Float32Array;
}

/**
 * @param lit the frame under the set's light, planar linear RGB @param was the empty set's mean light, alike @param
 * still 1 where the set holds still (its texture is not looked at where it stirs)
 * @returns w × h
 */
export function readShade(
  lit: Float32Array,
  was: Float32Array,
  still: Float32Array,
  w: number,
  h: number,
): ShadeReading {
  const n = w * h,
    possible = new Uint8Array(n),
    odds = texture(lit, was, still, w, h);
  const now = [0, 1, 2].map((p) => boxMean(lit.subarray(p * n, (p + 1) * n), w, h, 1)),
    mean = [0, 1, 2].map((p) => boxMean(was.subarray(p * n, (p + 1) * n), w, h, 2));
  for (let i = 0; i < n; i += 1) {
    const r = now[0]![i]!,
      g = now[1]![i]!,
      b = now[2]![i]!,
      cr = mean[0]![i]!,
      cg = mean[1]![i]!,
      cb = mean[2]![i]!,
      power = cr * cr + cg * cg + cb * cb + 1e-9,
      s = (r * cr + g * cg + b * cb) / power,
      seen = odds[i]! < SEEN;
    if (s < LEAST_SEEN || s > MOST) continue;
    // Bluer than the lit ground by t: taken back along daylight's way before the chromaticity is held against the
    // set's.
    const t = Math.min(
      seen ? BLUER_SEEN : BLUER,
      Math.max(0, Math.log(Math.max(1e-5, b / Math.max(1e-5, cb)) / Math.max(1e-5, r / Math.max(1e-5, cr)))),
    );
    const r1 = r * Math.exp(GREEN_AT * t),
      b1 = b * Math.exp((GREEN_AT - 1) * t),
      k = (r1 * cr + g * cg + b1 * cb) / power;
    if ((r1 - k * cr) ** 2 + (g - k * cg) ** 2 + (b1 - k * cb) ** 2 <= RHO * RHO * k * k * power) {
      possible[i] = 1;
      if (!seen && s < LEAST) odds[i] = Math.max(odds[i]!, DARK);
    }
  }
  return { possible, odds };
}

/** Log odds that a box of the frame is somebody rather than the set in shadow, the least of the boxes beside it. */
function texture(lit: Float32Array, was: Float32Array, still: Float32Array, w: number, h: number): Float32Array {
  const n = w * h,
    a = new Float32Array(n),
    b = new Float32Array(n),
    aa = new Float32Array(n),
    bb = new Float32Array(n),
    ab = new Float32Array(n);
  for (let i = 0; i < n; i += 1) {
    const u = Math.sqrt(Math.max(0, luma(was, i, n))),
      v = Math.sqrt(Math.max(0, luma(lit, i, n)));
    a[i] = u;
    b[i] = v;
    aa[i] = u * u;
    bb[i] = v * v;
    ab[i] = u * v;
  }
  const [ma, mb, maa, mbb, mab] = [a, b, aa, bb, ab].map((p) => boxMean(p, w, h, AROUND)) as [
    Float32Array,
    Float32Array,
    Float32Array,
    Float32Array,
    Float32Array,
  ];
  const left = new Float32Array(n),
    both = new Float32Array(n),
    other = new Float32Array(n),
    share = new Float32Array(n),
    leaves = new Float32Array(n),
    usual = new Float64Array(Math.ceil(n / 7));
  for (let i = 0; i < n; i += 1) {
    const k = mb[i]! / Math.max(1e-4, ma[i]!),
      va = k * k * Math.max(0, maa[i]! - ma[i]! ** 2),
      vb = Math.max(0, mbb[i]! - mb[i]! ** 2),
      cov = k * (mab[i]! - ma[i]! * mb[i]!);
    leaves[i] = k * k;
    share[i] = k;
    both[i] = va + vb;
    left[i] = Math.max(0, both[i]! - 2 * cov);
    // What of the frame's texture no share of the set's explains.
    other[i] = Math.max(0, vb - (cov > 0 ? (cov * cov) / Math.max(1e-9, va) : 0));
    if (i % 7 === 0) usual[i / 7] = left[i]!;
  }
  usual.sort();
  // Most of the picture is the bare set: what is left there is noise, coding and the set's own stir.
  const least = ABOVE_NOISE * (usual[usual.length >> 1] ?? 0) + 1e-7,
    own = new Float32Array(n).fill(UNTOLD),
    out = new Float32Array(n);
  for (let i = 0; i < n; i += 1) {
    if (both[i]! < 2 * least || still[i]! < 0.5) continue;
    const off = EVEN - 1 + left[i]! / both[i]!,
      told = (v: number): number => Math.min(1, Math.max(0, (v / least - 1) / 3));
    own[i] =
      off < 0
        ? Math.max(LEAST_ODDS, TEXTURE * off)
        : UNTOLD +
          (Math.min(MOST_ODDS, TEXTURE * off) - UNTOLD) *
            Math.max(told(other[i]!), missing(leaves[i]!) * told(left[i]!));
  }
  const stray = BRIGHTER * Math.max(LEAST_STRAY, Math.sqrt(least / ABOVE_NOISE)),
    [na, nb] = [boxMean(a, w, h, 1), boxMean(b, w, h, 1)];
  const says = (i: number, j: number): number =>
    own[j]! >= UNTOLD || nb[i]! - share[j]! * na[i]! <= stray ? own[j]! : UNTOLD;
  for (let y = 0, i = 0; y < h; y += 1)
    for (let x = 0; x < w; x += 1, i += 1) {
      let best = says(i, i);
      for (const [dx, dy] of BESIDE) {
        const u = x + dx,
          v = y + dy;
        if (u >= 0 && v >= 0 && u < w && v < h) best = Math.min(best, says(i, v * w + u));
      }
      out[i] = best;
    }
  return out;
}

/** What missing texture says where `leaves` of the light is left, 0..1. */
function missing(leaves: number): number {
  const light = (leaves - MISSING_DARK) / (MISSING_LIGHT - MISSING_DARK);
  return MISSING + (1 - MISSING) * Math.min(1, Math.max(0, light));
}

const BESIDE = [
  [-ASIDE, 0],
  [ASIDE, 0],
  [0, -ASIDE],
  [0, ASIDE],
] as const;

function luma(planes: Float32Array, i: number, n: number): number {
  return 0.2126 * planes[i]! + 0.7152 * planes[n + i]! + 0.0722 * planes[2 * n + i]!;
}
