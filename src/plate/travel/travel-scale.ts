/**
 * The scale of a travelling camera's way: free poses are right but for one factor, which the ground under the horizon
 * tells. Also which pieces of a key lie on that ground.
 */
import { meetsGround, type Ground, type Lens, type TravelKey } from './travel-ground.js';
import type { FreePoint } from './travel-points.js';

/** Two readings of the scale are one within this (ln). */
const ALIKE = 0.05;

/**
 * The scale that brings free poses to camera heights: for each point under the horizon the ratio of the inverse depth
 * it was found at to the one the ground would have there. On the ground all ratios are one; a wall's spread from row to
 * row. The fullest neighbourhood is taken (mean shift with a flat kernel on ln; Fukunaga & Hostetler, IEEE IT 21,
 * 1975); `rival` is the fullest one apart from it.
 */
export function groundScale(
  key: TravelKey,
  depths: ReadonlyMap<number, FreePoint>,
  ground: Ground,
  lens: Lens,
): { scale: number; sd: number; count: number; rival: number; ground: Set<number> } {
  const all: { ln: number; sd: number }[] = [];
  for (const [patch, p] of depths) {
    const there = onGround(key, patch, ground, lens);
    const sd = p.sd / p.rho;
    if (there !== null && p.rho > 0 && sd < 0.2) all.push({ ln: Math.log(p.rho / there), sd });
  }
  all.sort((a, b) => a.ln - b.ln);
  const near = (c: number): typeof all => all.filter((p) => Math.abs(p.ln - c) < ALIKE);
  let centre = 0;
  let count = 0;
  for (const p of all) {
    const k = near(p.ln).length;
    if (k > count) {
      count = k;
      centre = p.ln;
    }
  }
  for (let i = 0; i < 10; i++) {
    const list = near(centre);
    let s = 0;
    let sw = 0;
    for (const p of list) {
      const w = 1 / (p.sd * p.sd + 1e-4);
      s += w * p.ln;
      sw += w;
    }
    if (sw > 0) centre = s / sw;
  }
  const mine = near(centre);
  let rival = 0;
  for (const p of all) if (Math.abs(p.ln - centre) > 3 * ALIKE) rival = Math.max(rival, near(p.ln).length);
  const scale = Math.exp(centre);
  const spread = Math.sqrt(mine.reduce((s, p) => s + (p.ln - centre) ** 2, 0) / Math.max(1, mine.length - 1));
  return {
    scale,
    sd: spread / Math.sqrt(Math.max(1, mine.length)),
    count: mine.length,
    rival,
    ground: thoseOnGround(key, depths, ground, lens, scale),
  };
}

/** Inverse depth of the ground where a piece of a key shows; null above the horizon. */
export function onGround(key: TravelKey, patch: number, plane: Ground, lens: Lens): number | null {
  const { focal, cx, cy } = lens;
  const at = key.patches.patches[patch]!;
  return meetsGround(at, plane, lens)
    ? ((plane.n[0] * (at[0] - cx) + plane.n[1] * (at[1] - cy)) / focal + plane.n[2]) / plane.d
    : null;
}

/**
 * Pieces whose depth is the ground's, within what their own doubt allows.
 *
 * @param scale of the depths, as from `groundScale`
 */
export function thoseOnGround(
  key: TravelKey,
  depths: ReadonlyMap<number, FreePoint>,
  plane: Ground,
  lens: Lens,
  scale = 1,
): Set<number> {
  const out = new Set<number>();
  for (const [patch, p] of depths) {
    const there = onGround(key, patch, plane, lens);
    if (there === null || !(p.rho > 0)) continue;
    if (Math.abs(Math.log(p.rho / scale / there)) < Math.max(ALIKE, Math.min(2 * ALIKE, 2.5 * (p.sd / p.rho))))
      out.add(patch);
  }
  return out;
}
