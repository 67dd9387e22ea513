/**
 * Where most of the picture went: every patch of a key frame is sought in the new frame by normalised correlation, and the
 * shift that most patches share is returned. The patches lie on an even grid, so a vote counts area, not contrast: somebody
 * large whom the camera follows, and who therefore hardly moves in the picture, does not outvote the set behind. (Voting for
 * a motion: P. V. C. Hough's idea, as in D. H. Ballard, "Generalizing the Hough transform", Pattern Recognition 13, 1981.)
 */
import type { LumaLevel } from './ride-pyramid.js';

/** Least correlation of a patch found. */
const ALIKE = 0.8;
/** A quarter of a patch's points is tried first; below this they decide against a place. */
const FIRST_LOOK = 0.4;
/** Shifts within this of each other are one, px. */
const SAME = 2;
/** Least votes, and least share of the patches. */
const LEAST = 10, LEAST_SHARE = 0.15;

/** The shift (x, y) in pixels of `level` from where they were expected by which most patches moved; null where they do not agree. `side`² values a patch, zero mean; sought within `reach` px about where they are expected. */
export function votedShift(patches: readonly (readonly [number, number])[], value: Float32Array, side: number, level: LumaLevel, reach: number, predicted: (x: number, y: number) => readonly [number, number]): [number, number] | null {
  const { width: w, height: h, data } = level, half = side >> 1, n = side * side;
  const found: [number, number][] = [];
  // Every other point each way, those of every fourth first.
  const us: number[] = [], vs: number[] = [];
  for (const first of [true, false]) for (let v = 0; v < side; v += 2) for (let u = 0; u < side; u += 2) if (((u & 3) === 0 && (v & 3) === 0) === first) { us.push(u); vs.push(v); }
  const m = us.length, few = Math.ceil(side / 4) ** 2;
  const at = new Int32Array(m), t = new Float64Array(m);
  for (let k = 0; k < m; k++) at[k] = (vs[k]! - half) * w + us[k]! - half;
  for (let p = 0; p < patches.length; p++) {
    const there = predicted(patches[p]![0], patches[p]![1]);
    const px = Math.round(there[0] - 0.5), py = Math.round(there[1] - 0.5);
    let tt = 0, tm = 0, tf = 0, ttf = 0;
    for (let k = 0; k < m; k++) { t[k] = value[p * n + vs[k]! * side + us[k]!]!; tm += t[k]! / m; }
    for (let k = 0; k < m; k++) { t[k] = t[k]! - tm; tt += t[k]! * t[k]!; if (k < few) { tf += t[k]!; ttf += t[k]! * t[k]!; } }
    ttf -= (tf * tf) / few;
    if (!(tt > 1e-6)) continue;
    let best = ALIKE, bx = 0, by = 0, any = false;
    const x0 = Math.max(half, px - reach), x1 = Math.min(w - half - 1, px + reach), y0 = Math.max(half, py - reach), y1 = Math.min(h - half - 1, py + reach);
    for (let y = y0; y <= y1; y++) for (let x = x0; x <= x1; x++) {
      const o = y * w + x;
      let s = 0, ss = 0, st = 0;
      for (let k = 0; k < few; k++) { const v = data[o + at[k]!]!; s += v; ss += v * v; st += v * t[k]!; }
      if (st - (s * tf) / few < FIRST_LOOK * Math.sqrt(ttf * Math.max(0, ss - (s * s) / few))) continue;
      for (let k = few; k < m; k++) { const v = data[o + at[k]!]!; s += v; ss += v * v; st += v * t[k]!; }
      const c = st / Math.sqrt(tt * Math.max(1e-9, ss - (s * s) / m));
      if (c > best) { best = c; bx = x - px; by = y - py; any = true; }
    }
    if (any) found.push([bx, by]);
  }
  let most: [number, number][] = [];
  for (const a of found) {
    const like = found.filter((b) => Math.abs(a[0] - b[0]) <= SAME && Math.abs(a[1] - b[1]) <= SAME);
    if (like.length > most.length) most = like;
  }
  if (most.length < Math.max(LEAST, LEAST_SHARE * patches.length)) return null;
  return [most.reduce((s, v) => s + v[0], 0) / most.length, most.reduce((s, v) => s + v[1], 0) / most.length];
}
