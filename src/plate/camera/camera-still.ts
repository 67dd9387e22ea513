/**
 * Does the camera stand where it stood? A camera on its stand leaves the set in place exactly: patches all
 * over the picture are found again within the noise of where they were. Nobody whom a camera follows holds so
 * still, and a slow move leaves no heap of patches at nought. So a set behind hands that fill half the
 * picture is known by the little of it that shows.
 */
import type { Point2 } from '../../geometry/mat3.js';

/**
 * A patch counts as in place within this, px; of those in place half must lie within
 * half of it (a quarter would by chance).
 */
const IN_PLACE = 0.25;
/** Least patches in place, and least share of all: below, chance and grain could do it. */
const LEAST = 12;
const LEAST_SHARE = 0.15;
/** Patches in place lie as far apart as all do, or nearly: a set goes round what stands before it. */
const SPREAD = 0.75;
/** What noise of the matching itself may shift their mean by, px, beside three standard errors. */
const BIAS = 0.02;

/**
 * True where the patches found again say that nothing moved since their key; `matches`
 * were sought where the key has them.
 */
export function standsStill(
  patches: readonly Point2[],
  matches: readonly { readonly patch: number; readonly x: number; readonly y: number }[],
): boolean {
  const px: number[] = [];
  const py: number[] = [];
  const dx: number[] = [];
  const dy: number[] = [];
  let close = 0;
  for (const m of matches) {
    const [x, y] = patches[m.patch]!;
    const d = Math.hypot(m.x - x, m.y - y);
    if (!(d < IN_PLACE)) continue;
    if (d < IN_PLACE / 2) close++;
    px.push(x);
    py.push(y);
    dx.push(m.x - x);
    dy.push(m.y - y);
  }
  const n = px.length;
  if (n < Math.max(LEAST, LEAST_SHARE * patches.length) || close < 0.5 * n) return false;
  if (sdOf(px) < SPREAD * sdOf(patches.map((p) => p[0])) || sdOf(py) < SPREAD * sdOf(patches.map((p) => p[1])))
    return false;
  return [dx, dy].every((d) => Math.abs(meanOf(d)) < BIAS + (3 * sdOf(d)) / Math.sqrt(n));
}

function meanOf(v: readonly number[]): number {
  return v.reduce((s, a) => s + a, 0) / v.length;
}

function sdOf(v: readonly number[]): number {
  const m = meanOf(v);
  return Math.sqrt(v.reduce((s, a) => s + (a - m) ** 2, 0) / v.length);
}
