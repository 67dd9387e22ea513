/**
 * How green a performer before a green screen is by itself. Where red and blue of a colour are given, its green lies a
 * share of their difference from their mean towards red, in square-root light: on photographs of furred animals from
 * -.2 (reddish fur; skin) to +.17 (yellowish fur). Before a green cloth that share is seen through the light that the
 * cloth throws, which only adds green; where the key comes it adds least. So about each paleness (the less over
 * the more of the roots of red and blue) the share under which some of the solid performer's light lies (LOWEST) tells
 * it; what is usual counts for as much as some cells do. Compare cloth-bounce.ts, which asks the same of a blue
 * screen's coats.
 */
import type { FrameAnalysis } from './frame-analysis.js';

/**
 * Share of what is pale and rather red than blue: white under daylight of 5000 to 6500 K .09 to .12 (CIE 15's locus in
 * BT.709), a pale coat with eumelanin's absorbances (exp(-.0062 λ/nm) at 600, 545 and 450 nm, Donner & Jensen, 2006)
 * .20 to .23.
 */
const PALE = 0.14;
/** Paleness that the shares are told at; between them in proportion, and from `WHITE` on `PALE`. */
export const PALENESS = [0.45, 0.6, 0.73, 0.84] as const;
const WHITE = 0.9;

/** Shares at each of PALENESS. */
export type CoatGreen = readonly [number, number, number, number];

/** Where nothing is told: coloured coats (ginger, brown) lie at the mean. */
export const USUAL_GREEN: CoatGreen = [0, 0, 0, 0.1];

/** Share of the light about a paleness that lies under what is told, and how far from it a cell still has a say. */
const LOWEST = 0.15,
  REACH = 0.2;
/** Cells that what is usual counts for. */
const USUAL = 50;
/** Most and least that is told; pale colours are held to what white shows. */
const LEAST = -0.2,
  MOST = [0.12, 0.12, 0.12, PALE] as const;
/** Cells looked at, at most, and those from the screen that are left out, small pixels. */
const LOOKED_AT = 6000,
  INSIDE = 3;
const SOLID = 0.98;
/** Difference of the roots below which a share means nothing. */
const LEAST_APART = 0.02;
const STEPS = { from: -0.5, step: 0.01, count: 121 };

/**
 * @param alpha of the picture that cells of `analysis` are counted on, w pixels wide
 * @param box its part that holds the performer, [x0, y0, x1, y1]
 */
export function coatGreen(
  { performer, grid, cell, small, fromScreen }: FrameAnalysis,
  alpha: Float32Array,
  w: number,
  box: readonly [number, number, number, number],
): CoatGreen {
  const n = grid.width * grid.height,
    px = cell * small.block,
    weight = new Float64Array(PALENESS.length * STEPS.count),
    seen = new Float64Array(PALENESS.length);
  const u0 = Math.max(0, Math.floor(box[0] / px)),
    u1 = Math.min(grid.width, Math.ceil(box[2] / px)),
    v0 = Math.max(0, Math.floor(box[1] / px)),
    v1 = Math.min(grid.height, Math.ceil(box[3] / px)),
    step = Math.max(1, Math.ceil(Math.sqrt(((u1 - u0) * (v1 - v0)) / LOOKED_AT)));
  for (let v = v0; v < v1; v += step)
    for (let u = u0; u < u1; u += step) {
      const x = Math.min(w - 1, Math.floor((u + 0.5) * px)),
        y = Math.min(box[3] - 1, Math.floor((v + 0.5) * px)),
        s =
          Math.min(small.width - 1, Math.floor(x / small.block)) +
          small.width * Math.min(small.height - 1, Math.floor(y / small.block));
      if (fromScreen[s]! < INSIDE || !(alpha[y * w + x]! > SOLID)) continue;
      const i = v * grid.width + u,
        r = Math.sqrt(Math.max(0, performer[i]!)),
        g = Math.sqrt(Math.max(0, performer[n + i]!)),
        b = Math.sqrt(Math.max(0, performer[2 * n + i]!));
      const alike = b / Math.max(1e-6, r);
      if (r - b < LEAST_APART || alike >= WHITE) continue;
      const share = (g - 0.5 * (r + b)) / (r - b),
        at = Math.max(0, Math.min(STEPS.count - 1, Math.round((share - STEPS.from) / STEPS.step)));
      for (let k = 0; k < PALENESS.length; k += 1) {
        const near = 1 - Math.abs(alike - PALENESS[k]!) / REACH;
        if (near <= 0) continue;
        weight[k * STEPS.count + at]! += near * (r * r + b * b);
        seen[k]! += near * step * step;
      }
    }
  const told = PALENESS.map((_, k) => {
    const count = seen[k]!,
      own =
        count === 0
          ? USUAL_GREEN[k]!
          : Math.max(LEAST, Math.min(MOST[k]!, lowestOf(weight.subarray(k * STEPS.count, (k + 1) * STEPS.count))));
    return (own * count + USUAL_GREEN[k]! * USUAL) / (count + USUAL);
  });
  return [told[0]!, told[1]!, told[2]!, told[3]!];
}

/**
 * The share under which LOWEST of the weight lies, read within its step, so that it does not jump from frame to frame.
 */
function lowestOf(weight: Float64Array): number {
  const wanted = LOWEST * weight.reduce((a, b) => a + b, 0);
  let sum = 0;
  for (let k = 0; k < STEPS.count; k += 1) {
    const next = sum + weight[k]!;
    if (next >= wanted && next > sum) return STEPS.from + (k - 0.5 + (wanted - sum) / (next - sum)) * STEPS.step;
    sum = next;
  }
  return STEPS.from;
}

/** The share of a colour of that paleness. */
export function greenAt(told: CoatGreen, alike: number): number {
  let at = told[0];
  for (let k = 0; k < PALENESS.length; k += 1) {
    const from = PALENESS[k]!,
      to = PALENESS[k + 1] ?? WHITE,
      next = told[k + 1] ?? PALE;
    at += (next - told[k]!) * Math.max(0, Math.min(1, (alike - from) / (to - from)));
  }
  return at;
}
