/**
 * Where most of the picture went: every patch of a key frame is sought in the new frame by normalised correlation (J.
 * P. Lewis, "Fast Normalized Cross-Correlation", 1995), coarse to fine, and the shift that most patches share is
 * returned. The patches lie on an even grid, so a vote counts area, not contrast: somebody large whom the camera
 * follows, and who therefore hardly moves in the picture, does not outvote the set behind. (Voting for a motion: P. V.
 * C. Hough's idea, as in D. H. Ballard, "Generalizing the Hough transform", Pattern Recognition 13, 1981.)
 */
import type { LumaLevel, LumaPyramid } from '../ride/ride-pyramid.js';

/** Least correlation of a patch found. */
const ALIKE = 0.8;
/** Shifts within this of each other are one, px of the finer of the two levels. */
const SAME = 1;
/** Least votes, and least share of the patches. */
const LEAST = 10;
const LEAST_SHARE = 0.15;
/** Half side of a patch, px of either level. */
const HALF = 4;
const SIDE = 2 * HALF + 1;
const N = SIDE * SIDE;
/**
 * The coarse level is the first this narrow: there a patch holds as much of the picture
 * as its cell of the grid, and no grain.
 */
const COARSE_WIDTH = 320;
/** What the finer level is searched by about the coarse find, px: twice its rounding. */
const FINE_REACH = 2;

/**
 * A level's patches: their middles in px of the picture, SIDE² values each of zero mean, and the sums of their squares.
 */
interface BallotLevel {
  readonly level: number;
  readonly middle: readonly (readonly [number, number])[];
  readonly value: Float32Array;
  readonly energy: Float64Array;
}

/** What a vote needs of a key frame. */
export interface Ballot {
  readonly count: number;
  readonly fine: BallotLevel;
  readonly coarse: BallotLevel;
}

/** The patches about `places` (px of the picture) cut out of a key frame's pyramid. */
export function ballotOf(pyramid: LumaPyramid, places: readonly (readonly [number, number])[]): Ballot {
  let coarse = 0;
  while (coarse < pyramid.length - 1 && pyramid[coarse]!.width > COARSE_WIDTH) coarse++;
  return {
    count: places.length,
    fine: patchesAt(pyramid, Math.max(0, coarse - 1), places),
    coarse: patchesAt(pyramid, coarse, places),
  };
}

function patchesAt(pyramid: LumaPyramid, level: number, places: readonly (readonly [number, number])[]): BallotLevel {
  const { width: w, height: h, data } = pyramid[level]!;
  const scale = 1 << level;
  const value = new Float32Array(places.length * N);
  const energy = new Float64Array(places.length);
  const middle = places.map(([px, py], p): [number, number] => {
    const x = Math.round(px / scale - 0.5);
    const y = Math.round(py / scale - 0.5);
    if (x >= HALF && y >= HALF && x < w - HALF && y < h - HALF) {
      let mean = 0;
      let k = p * N;
      for (let v = -HALF; v <= HALF; v++)
        for (let u = -HALF; u <= HALF; u++) {
          const q = data[(y + v) * w + x + u]!;
          value[k++] = q;
          mean += q / N;
        }
      for (k = p * N; k < (p + 1) * N; k++) {
        const q = value[k]! - mean;
        value[k] = q;
        energy[p] = energy[p]! + q * q;
      }
    }
    return [(x + 0.5) * scale, (y + 0.5) * scale];
  });
  return { level, middle, value, energy };
}

/**
 * The shift (x, y) in pixels of the picture, from where they were expected, by which most patches moved; null where
 * they do not agree. Sought within `reach` px of the picture.
 */
export function votedShift(
  ballot: Ballot,
  frame: LumaPyramid,
  reach: number,
  predicted: (x: number, y: number) => readonly [number, number],
): [number, number] | null {
  const { fine, coarse } = ballot;
  const ratio = 1 << (coarse.level - fine.level);
  const ofFine = windowsOf(frame[fine.level]!);
  const ofCoarse = windowsOf(frame[coarse.level]!);
  const expected = (l: BallotLevel, p: number): [number, number] => {
    const [x, y] = predicted(l.middle[p]![0], l.middle[p]![1]);
    const scale = 1 << l.level;
    return [x / scale - 0.5, y / scale - 0.5];
  };
  const found: [number, number][] = [];
  for (let p = 0; p < ballot.count; p++) {
    const [cx, cy] = expected(coarse, p);
    const rough = bestPlace(
      coarse,
      p,
      frame[coarse.level]!,
      ofCoarse,
      cx,
      cy,
      Math.ceil(reach / (1 << coarse.level)),
      0.75 * ALIKE,
    );
    if (rough === null) continue;
    const [x, y] = expected(fine, p);
    const dx = ratio * (rough[0] - cx);
    const dy = ratio * (rough[1] - cy);
    const at = bestPlace(fine, p, frame[fine.level]!, ofFine, x + dx, y + dy, FINE_REACH, ALIKE);
    if (at !== null) found.push([at[0] - x, at[1] - y]);
  }
  let most: [number, number][] = [];
  for (const a of found) {
    const like = found.filter((b) => Math.abs(a[0] - b[0]) <= SAME && Math.abs(a[1] - b[1]) <= SAME);
    if (like.length > most.length) most = like;
  }
  if (most.length < Math.max(LEAST, LEAST_SHARE * ballot.count)) return null;
  const back = 1 << fine.level;
  return [
    (back * most.reduce((s, v) => s + v[0], 0)) / most.length,
    (back * most.reduce((s, v) => s + v[1], 0)) / most.length,
  ];
}

/** Sum of squares about the mean of the window about each pixel of a level, by running sums. */
function windowsOf({ width: w, height: h, data }: LumaLevel): Float32Array {
  const out = new Float32Array(w * h);
  const s = new Float64Array(w);
  const q = new Float64Array(w);
  for (let y = 0; y < h; y++) {
    for (let x = 0; x < w; x++) {
      const a = data[y * w + x]!;
      const b = y >= SIDE ? data[(y - SIDE) * w + x]! : 0;
      s[x] = s[x]! + a - b;
      q[x] = q[x]! + a * a - b * b;
    }
    if (y < SIDE - 1) continue;
    let ss = 0;
    let qq = 0;
    for (let x = 0; x < w; x++) {
      ss += s[x]! - (x >= SIDE ? s[x - SIDE]! : 0);
      qq += q[x]! - (x >= SIDE ? q[x - SIDE]! : 0);
      if (x >= SIDE - 1) out[(y - HALF) * w + x - HALF] = Math.max(1e-9, qq - (ss * ss) / N);
    }
  }
  return out;
}

/** The place about (ex, ey) where patch `p` correlates best, px of the level; null where it is nowhere so alike. */
function bestPlace(
  l: BallotLevel,
  p: number,
  level: LumaLevel,
  spread: Float32Array,
  ex: number,
  ey: number,
  reach: number,
  alike: number,
): [number, number] | null {
  const { width: w, height: h, data } = level;
  const px = Math.round(ex);
  const py = Math.round(ey);
  const energy = l.energy[p]!;
  const t0 = p * N;
  const value = l.value;
  if (!(energy > 1e-6)) return null;
  let best = alike * alike * energy;
  let bx = 0;
  let by = 0;
  let any = false;
  const x0 = Math.max(HALF, px - reach);
  const x1 = Math.min(w - HALF - 1, px + reach);
  const y0 = Math.max(HALF, py - reach);
  const y1 = Math.min(h - HALF - 1, py + reach);
  for (let y = y0; y <= y1; y++)
    for (let x = x0; x <= x1; x++) {
      let c = 0;
      let k = t0;
      for (let v = -HALF; v <= HALF; v++) {
        const o = (y + v) * w + x - HALF;
        c +=
          data[o]! * value[k]! +
          data[o + 1]! * value[k + 1]! +
          data[o + 2]! * value[k + 2]! +
          data[o + 3]! * value[k + 3]! +
          data[o + 4]! * value[k + 4]! +
          data[o + 5]! * value[k + 5]! +
          data[o + 6]! * value[k + 6]! +
          data[o + 7]! * value[k + 7]! +
          data[o + 8]! * value[k + 8]!;
        k += SIDE;
      }
      if (c <= 0) continue;
      // Squares compared: c / sqrt(energy · spread) against the best so far.
      const r = (c * c) / spread[y * w + x]!;
      if (r > best) {
        best = r;
        bx = x;
        by = y;
        any = true;
      }
    }
  return any ? [bx, by] : null;
}
