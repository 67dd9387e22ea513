/**
 * Is the performer cut where the plate has an edge? Along each side of what passes before it, where the performer is
 * seen right beside it, the plate's own picture is read across the cut: pieces of a side are averaged along it, so that
 * a set's texture falls out and a straight edge stays, and where they are steepest is looked for. A cut that lies off
 * shows the edge beside itself, the same way on most pieces. One that lies in the set shows none at all where other
 * frames of the same side show one.
 */
import type { SmallFrame } from '../../join/outline/small-frame.js';
import { linesOf, profilesOf, type EdgeLine, type Outline } from '../../join/passing/outline-lines.js';
import { quantile } from '../reader/frame.js';

/** What one side of a cut says on one frame. */
export interface CutSide {
  readonly side: number;
  /** Px outwards from the cut to the plate's edge that most pieces agree on; null where they agree on none. */
  readonly offPx: number | null;
  /** Share of the pieces that show an edge right at the cut. */
  readonly there: number;
  readonly pieces: number;
  /** Middle of the side where it cuts. */
  readonly at: readonly [number, number];
}

/** Px to either side that are looked at; an edge so near counts as at the cut. */
export const REACH = 9;
const AT_CUT = 1;
/** Lines of a piece, and pieces without which a side says nothing. */
const PIECE = 8,
  LEAST_PIECES = 4;
/** Steps of so many times the picture's own noise are edges (variances). */
const OVER_NOISE = 9;
/** Share of the steepest that still counts as an edge of its own, as steepness squared. */
const ALSO = 0.2;
/** Share of the pieces that must agree on a place, and by how much more than at the cut. */
const AGREED = 0.55,
  MORE = 0.25;

/** @param plate of the frame @param cut true where the performer is seen at a place just outside */
export function readFrontCut(
  plate: SmallFrame,
  outline: Outline,
  cut: (x: number, y: number) => boolean,
  noise: number,
): CutSide[] {
  const lines = linesOf(outline, plate.width, plate.height).filter((l) => cut(l.x + 3 * l.nx, l.y + 3 * l.ny)),
    far = REACH + 1,
    long = 2 * far + 1,
    profiles = profilesOf(plate, lines, far),
    bySide = new Map<number, number[]>();
  lines.forEach((l, i) => {
    const k = sideOf(l, outline);
    (bySide.get(k) ?? bySide.set(k, []).get(k)!).push(i);
  });
  const out: CutSide[] = [];
  for (const [side, list] of bySide) {
    const steep: Float64Array[] = [];
    for (let from = 0; from + PIECE <= list.length; from += PIECE) {
      const one = steepness(list.slice(from, from + PIECE), profiles, long, far, noise / PIECE);
      if (one !== null) steep.push(one);
    }
    if (steep.length < LEAST_PIECES) continue;
    // Neighbouring places vote for each other, so that a lean does not split them; what lies at the cut must not gain
    // by that.
    const votes = new Float64Array(2 * REACH + 1),
      alone = new Float64Array(2 * REACH + 1);
    let there = 0;
    for (const s of steep) {
      const best = Math.max(...s);
      for (let t = -REACH; t <= REACH; t++) {
        alone[t + REACH] = alone[t + REACH]! + s[t + REACH]! / best / steep.length;
        votes[t + REACH] =
          votes[t + REACH]! +
          Math.max(
            s[t + REACH]!,
            0.8 * Math.max(s[Math.max(0, t + REACH - 1)]!, s[Math.min(2 * REACH, t + REACH + 1)]!),
          ) /
            best /
            steep.length;
      }
      let here = 0;
      for (let t = -AT_CUT; t <= AT_CUT; t++) {
        const v = s[t + REACH]!;
        if (v >= s[t + REACH - 1]! && v >= s[t + REACH + 1]!) here = Math.max(here, v);
      }
      if (here > ALSO * best) there++;
    }
    let at = 0,
      most = -1,
      centre = 0;
    for (let t = -REACH + 1; t < REACH; t++) {
      if (votes[t + REACH]! > most) {
        most = votes[t + REACH]!;
        at = t;
      }
      if (Math.abs(t) <= AT_CUT) centre = Math.max(centre, alone[t + REACH]!);
    }
    const agreed = most > AGREED && (Math.abs(at) <= AT_CUT || (most - centre > MORE && there < AGREED * steep.length)),
      mid = lines[list[list.length >> 1]!]!;
    out.push({
      side,
      offPx: agreed ? at + peak(votes, at + REACH) : there >= 0.6 * steep.length ? 0 : null,
      there: there / steep.length,
      pieces: steep.length,
      at: [mid.x, mid.y],
    });
  }
  return out;
}

/** Short sides of an outline with many corners are told apart by their direction, in eighths of a turn. */
function sideOf(l: EdgeLine, outline: Outline): number {
  return outline.length <= 6 ? l.edge : 1000 + (Math.round((8 * Math.atan2(l.ny, l.nx)) / (2 * Math.PI)) & 7);
}

/** Squared steepness across a piece at −REACH..REACH; null where no step stands out from the noise. */
function steepness(
  piece: readonly number[],
  profiles: Float32Array,
  long: number,
  far: number,
  noise: number,
): Float64Array | null {
  const mean = new Float64Array(long * 3),
    out = new Float64Array(2 * REACH + 1);
  for (const i of piece)
    for (let k = 0; k < long * 3; k++) mean[k] = mean[k]! + profiles[i * long * 3 + k]! / piece.length;
  let best = 0;
  for (let t = -REACH; t <= REACH; t++) {
    const a = (t + far - 1) * 3,
      b = (t + far + 1) * 3,
      d = (mean[b]! - mean[a]!) ** 2 + (mean[b + 1]! - mean[a + 1]!) ** 2 + (mean[b + 2]! - mean[a + 2]!) ** 2;
    out[t + REACH] = d;
    best = Math.max(best, d);
  }
  return best > OVER_NOISE * 2 * noise ? out : null;
}

function peak(v: Float64Array, i: number): number {
  if (i <= 0 || i >= v.length - 1) return 0;
  const bend = v[i - 1]! - 2 * v[i]! + v[i + 1]!;
  return bend < 0 ? Math.max(-0.5, Math.min(0.5, (0.5 * (v[i - 1]! - v[i + 1]!)) / bend)) : 0;
}

export interface CutReading {
  readonly frame: number;
  /** Which of the things that pass, by its place in the recipe's list. */
  readonly thing: number;
  readonly sides: readonly CutSide[];
}
export interface WrongCut {
  readonly frame: number;
  /** As in {@link CutReading}. */
  readonly thing: number;
  readonly offPx: number;
  readonly at: readonly [number, number];
  /** An edge lies beside the cut; else none lies near it at all. */
  readonly beside: boolean;
}

/**
 * Pieces at the cut on a frame, and on the shot's better frames, by which a side that has an edge elsewhere has none
 * here. Own choice.
 */
const NONE_HERE = 0.3,
  ELSEWHERE = 0.65;

/**
 * Over a whole shot: how far each thing's cut lies off on each frame, at its worst side, px (0 right on an edge).
 * Frames that say nothing are absent.
 */
export function wrongCuts(readings: readonly CutReading[]): WrongCut[] {
  const usual = new Map<string, number>(),
    all = new Map<string, number[]>();
  for (const r of readings)
    for (const s of r.sides) {
      const k = `${r.thing}:${s.side}`;
      (all.get(k) ?? all.set(k, []).get(k)!).push(s.there);
    }
  for (const [k, list] of all) usual.set(k, quantile(list, 0.75));
  const out: WrongCut[] = [];
  for (const r of readings) {
    let worst: WrongCut | null = null;
    for (const s of r.sides) {
      const gone = s.offPx === null && s.there < NONE_HERE && usual.get(`${r.thing}:${s.side}`)! > ELSEWHERE,
        off = s.offPx !== null ? Math.abs(s.offPx) : gone ? REACH : null;
      if (off !== null && (worst === null || off > worst.offPx))
        worst = { frame: r.frame, thing: r.thing, offPx: off, at: s.at, beside: s.offPx !== null };
    }
    if (worst !== null) out.push(worst);
  }
  return out;
}

/**
 * Variance of the picture's own noise: second differences along rows, of whose sizes the lower quarter counts, as
 * texture makes the others (normal noise: .3186 sd at the quarter).
 */
export function noiseOf(plate: SmallFrame): number {
  const { width: w, height: h, data } = plate,
    list: number[] = [];
  for (let y = 4; y < h - 4; y += 5)
    for (let x = 4; x < w - 4; x += 5) {
      const i = y * w + x;
      list.push(Math.abs(data[i - 1]! - 2 * data[i]! + data[i + 1]!));
    }
  return list.length === 0 ? 0 : Math.max(1e-6, (quantile(list, 0.25) / 0.3186) ** 2 / 6);
}
