/**
 * What an erase leaves, read over the frames of a shot: stains (ground darker or lighter, where something was erased and about it, than other
 * frames of the plate show the same place), a ghost (how much of what was erased still shows), fills that boil from frame to frame, and fills that are smeared.
 * All against what the same readings say of the untouched picture beside it, so that parallax, grain and an encoder count on both sides.
 */
import type { Carrier } from '../join/carrier.js';
import { dilate } from '../image/morphology.js';
import { median } from '../image/statistics.js';
import type { Box } from '../join/ground.js';
import type { RemainsFrame } from './remains-frame.js';
import { between, eachPlace, lightAt, setBehind, type SetBehind } from './remains-set.js';

/** Side of a cell and step from cell to cell, reduced px; pixels of it that must be told. */
const CELL = 8,
  STEP = 4,
  LEAST = 48;
/** Reach about what was erased in which its shadow is looked for, in parts of its own size. */
const REACH = 0.6;
/** Fine pattern (ln of light, rms) that a set must have to tell what lies before it, and to tell a smeared fill. */
const PATTERN = 0.012,
  DETAIL = 0.02;
/** Share of the set's light by which what was erased must differ to tell its ghost. */
const GHOSTED = 0.2;
/** Cells that must tell of a ghost, and how many of them, one over the other in time and place, say the same thing once. */
const GHOST_CELLS = 100,
  ALIKE = 6;

export interface FrameRemains {
  readonly frame: number;
  /** ln of light by which a place of three cells differs from the set, signed; 0 where none does, null where no other frame shows the set. */
  readonly stain: number | null;
  /** Place of the strongest, px of the join. */
  readonly at: Box | null;
}
export interface Remains {
  readonly frames: readonly FrameRemains[];
  /** Stain that two frames in five show at least, signed; null where none tells. */
  readonly stain: number | null;
  /** Share of what was erased that still shows, median over cells, and as much of it as is sure (two standard errors less). */
  readonly ghost: { readonly share: number; readonly sure: number } | null;
  /** Unsteadiness of the fill from one frame looked at to the next, beyond the untouched picture's own: means of cells, ln of light. */
  readonly boil: number | null;
  /** How much of the set's fine pattern the fill shows, beside what the untouched picture shows of it at other times; null where no frame shows the set. */
  readonly detail: number | null;
}

interface Cell {
  readonly x: number;
  readonly y: number;
  readonly mean: number;
  readonly sd: number;
  readonly erased: number;
  readonly near: boolean;
}

/** Frames on which a stain must show, in parts of those that tell: what stands in depth makes one on some of them. */
const SHOWN = 0.4;

/** The picture that the erase left, with the mended plate where the performer or its shadow (`own`) lies. */
export function leftPicture(f: RemainsFrame, own: Uint8Array | null): Float32Array {
  return f.joined.map((v, i) => (f.covered[i] === 1 || own === null || own[i] === 1 ? f.mended[i]! : v));
}

function boundsOf(mask: Uint8Array, w: number): [number, number, number, number] | null {
  let x0 = w,
    y0 = Infinity,
    x1 = -1,
    y1 = -1;
  for (let i = 0; i < mask.length; i++)
    if (mask[i] === 1) {
      const x = i % w,
        y = Math.floor(i / w);
      if (x < x0) x0 = x;
      if (x > x1) x1 = x;
      if (y < y0) y0 = y;
      if (y > y1) y1 = y;
    }
  return x1 < 0 ? null : [x0, y0, x1 + 1, y1 + 1];
}

const grown = (m: Uint8Array, w: number, h: number, r: number): Uint8Array =>
  Uint8Array.from(dilate(Float32Array.from(m), w, h, r), (v) => (v > 0 ? 1 : 0));

/**
 * How two pictures of a box (ln of light; NaN: not told) differ over its cells: by their mean light, since means of logarithms would take a pattern that an encoder
 * smoothed for brighter ground; and the scatter of their pixels.
 */
function cellsOf(a: Float32Array, b: Float32Array, box: Box, w: number, erased: Uint8Array, near: Uint8Array): Cell[] {
  const bw = box[2] - box[0],
    bh = box[3] - box[1],
    out: Cell[] = [],
    la = a.map(Math.exp),
    lb = b.map(Math.exp);
  for (let y = 0; y + CELL <= bh; y += STEP)
    for (let x = 0; x + CELL <= bw; x += STEP) {
      let sa = 0,
        sb = 0,
        s = 0,
        ss = 0,
        n = 0,
        e = 0,
        q = 0;
      for (let j = 0; j < CELL; j++)
        for (let i = 0; i < CELL; i++) {
          const k = (y + j) * bw + x + i,
            v = a[k]! - b[k]!,
            at = (box[1] + y + j) * w + box[0] + x + i;
          if (Number.isNaN(v)) continue;
          sa += la[k]!;
          sb += lb[k]!;
          s += v;
          ss += v * v;
          n++;
          e += erased[at]!;
          q += near[at]!;
        }
      if (n >= LEAST)
        out.push({
          x: box[0] + x,
          y: box[1] + y,
          mean: Math.log(sa / sb),
          sd: Math.sqrt(Math.max(0, ss / n - (s / n) ** 2)),
          erased: e / n,
          near: q > 0,
        });
    }
  return out;
}

/** A box of a picture. */
function boxOf(p: Float32Array, box: Box, w: number): Float32Array {
  const bw = box[2] - box[0],
    out = new Float32Array(bw * (box[3] - box[1]));
  for (let y = box[1]; y < box[3]; y++) out.set(p.subarray(y * w + box[0], y * w + box[2]), (y - box[1]) * bw);
  return out;
}

const spreadOf = (v: readonly number[]): number => v.toSorted((a, b) => a - b)[Math.floor(0.95 * v.length)] ?? 0;

/** `own`: where the performer's own shadow lies on each frame, null where that is not known anywhere. */
export function readRemains(
  frames: readonly RemainsFrame[],
  own: readonly (Uint8Array | null)[],
  carrier: Carrier,
): Remains | null {
  if (frames.length < 4) return null;
  const { width: w, height: h } = frames[0]!;
  const bounds = frames.map((f) => boundsOf(f.erased, w));
  const sizes = bounds.map((b) => (b === null ? 0 : Math.max(b[2] - b[0], b[3] - b[1])));
  const hides = frames.map((f, k) => (bounds[k] === null ? f.erased : grown(f.erased, w, h, 2)));
  const near = frames.map((f, k) =>
    bounds[k] === null ? f.erased : grown(f.erased, w, h, Math.ceil(REACH * sizes[k]!)),
  );
  const left = frames.map((f, k) => leftPicture(f, own[k]!));
  const told: FrameRemains[] = [],
    ghosts: number[] = [],
    details: { in: number; out: number }[] = [],
    boils: number[] = [];
  frames.forEach((f, k) => {
    const b = bounds[k]!;
    if (b === null || sizes[k]! < CELL) return;
    const r = Math.ceil(1.2 * sizes[k]!),
      box: Box = [Math.max(0, b[0] - r), Math.max(0, b[1] - r), Math.min(w, b[2] + r), Math.min(h, b[3] + r)];
    const set = setBehind(frames, hides, near, k, box, carrier);
    const s = set === null ? null : stainOf(f, left[k]!, set, near[k]!, b);
    told.push({ frame: f.frame, stain: s?.stain ?? null, at: s?.at ?? null });
    if (set !== null) {
      ghostCells(f, left[k]!, set, ghosts);
      const d = detailOf(f, left[k]!, set);
      if (d !== null) details.push(d);
    }
    const g = frames[k + 1];
    if (g !== undefined) {
      const q = boilOf(f, g, left[k]!, left[k + 1]!, near[k]!, box, carrier);
      if (q !== null) boils.push(q);
    }
  });
  if (told.length === 0) return null;
  const mid = (v: readonly number[]): number => median(Float64Array.from(v));
  return {
    frames: told,
    stain: lasting(told.flatMap((q) => (q.stain === null ? [] : [q.stain]))),
    ghost: ghosts.length < GHOST_CELLS ? null : sureShare(ghosts, mid(ghosts)),
    boil: boils.length < 2 ? null : mid(boils),
    detail: details.length < 2 ? null : mid(details.map((d) => d.in / d.out)),
  };
}

/** A median's standard error is 1.25 σ / √n, σ from the median deviation (Huber, Robust Statistics, 1981). */
function sureShare(shares: readonly number[], share: number): { readonly share: number; readonly sure: number } {
  const sigma = 1.4826 * median(Float64Array.from(shares, (v) => Math.abs(v - share)));
  return { share, sure: Math.max(0, share - (2 * 1.2533 * sigma) / Math.sqrt(shares.length / ALIKE)) };
}

/** The darkening or brightening that a share of the frames reaches. */
function lasting(stains: readonly number[]): number | null {
  if (stains.length < 4) return null;
  const k = Math.ceil(SHOWN * stains.length),
    dark = Math.min(0, stains.toSorted((a, b) => a - b)[k]!),
    bright = Math.max(0, stains.toSorted((a, b) => b - a)[k]!);
  return -dark > bright ? dark : bright;
}

function stainOf(
  f: RemainsFrame,
  left: Float32Array,
  set: SetBehind,
  near: Uint8Array,
  bounds: Box,
): { readonly stain: number; readonly at: Box | null } | null {
  const { box, light } = set,
    w = f.width,
    cells = cellsOf(boxOf(left, box, w), light, box, w, f.erased, near),
    beside = cells.filter((c) => !c.near),
    about = cells.filter((c) => c.near);
  if (about.length < 3) return null;
  const few = beside.length < 20,
    level = few ? 0 : median(Float64Array.from(beside, (c) => c.mean)),
    usual = few ? 0.02 : spreadOf(beside.map((c) => Math.abs(c.mean - level))),
    grain = median(Float64Array.from(few ? about : beside, (c) => c.sd));
  const odd = cells.filter((c) => Math.abs(c.mean - level) > 0.02 + 1.5 * usual);
  const counted = pieces(odd)
    .filter((p) => liesBeside(p, bounds) && showsGround(p, beside, left, set, w))
    .flat()
    .filter(
      (c) =>
        c.erased > 0.5 || (c.near && Math.sqrt(Math.max(0, c.sd ** 2 - grain ** 2)) < 0.5 * Math.abs(c.mean - level)),
    );
  let stain = 0,
    at: Box | null = null;
  for (const sign of [-1, 1]) {
    const l = counted.filter((c) => (c.mean - level) * sign > 0).sort((a, b) => Math.abs(b.mean) - Math.abs(a.mean));
    if (l.length >= 3 && Math.abs(l[2]!.mean - level) > Math.abs(stain)) {
      stain = l[2]!.mean - level;
      const c = l[0]!,
        s = f.scale;
      at = [c.x * s, c.y * s, (c.x + CELL) * s, (c.y + CELL) * s];
    }
  }
  return { stain, at };
}

/** Cells that hang together. */
function pieces(cells: readonly Cell[]): Cell[][] {
  const open = new Map(cells.map((c) => [c.y * 8192 + c.x, c])),
    out: Cell[][] = [];
  for (const first of cells) {
    if (!open.delete(first.y * 8192 + first.x)) continue;
    const piece = [first];
    for (let k = 0; k < piece.length; k++)
      for (const dy of [-STEP, 0, STEP])
        for (const dx of [-STEP, 0, STEP]) {
          const key = (piece[k]!.y + dy) * 8192 + piece[k]!.x + dx,
            next = open.get(key);
          if (next !== undefined) {
            open.delete(key);
            piece.push(next);
          }
        }
    out.push(piece);
  }
  return out;
}

/** Of what lies beyond the fill nothing is above the middle of what was erased: a shadow lies on the ground at its foot, and what passes in front, or stands in depth, reaches up. */
function liesBeside(piece: readonly Cell[], [x0, y0, x1, y1]: Box): boolean {
  return (
    piece.every((c) => c.erased > 0.5 || c.y + CELL > (y0 + y1) / 2) &&
    piece.some((c) => c.x + CELL + STEP >= x0 && c.x <= x1 + STEP && c.y + CELL + STEP >= y0 && c.y <= y1 + STEP)
  );
}

/** In shade the ground keeps its own pattern; a thing in front of it has none of it. Where the ground has no pattern to speak of the two are not told apart, and it is not blamed. */
function showsGround(
  piece: readonly Cell[],
  beside: readonly Cell[],
  left: Float32Array,
  set: SetBehind,
  w: number,
): boolean {
  const lying = piece.filter((c) => c.erased <= 0.5);
  if (lying.length === 0) return true;
  const there = patternSlope(beside, left, set, w),
    here = patternSlope(lying, left, set, w);
  return there !== null && here !== null && there > 0.3 && here > 0.4 * there;
}

function patternSlope(cells: readonly Cell[], left: Float32Array, { box, light }: SetBehind, w: number): number | null {
  const bw = box[2] - box[0];
  let sum = 0,
    square = 0,
    n = 0;
  for (const c of cells)
    for (let y = c.y + 1; y < c.y + CELL - 1; y++)
      for (let x = c.x + 1; x < c.x + CELL - 1; x++) {
        const i = (y - box[1]) * bw + x - box[0],
          q = y * w + x,
          fine = light[i]! - (light[i - 1]! + light[i + 1]! + light[i - bw]! + light[i + bw]!) / 4;
        if (Number.isNaN(fine)) continue;
        sum += fine * (left[q]! - (left[q - 1]! + left[q + 1]! + left[q - w]! + left[q + w]!) / 4);
        square += fine * fine;
        n++;
      }
  return n < 60 || square / n < PATTERN ** 2 ? null : sum / square;
}

/** What is left of the erased thing, cell by cell: light seen over light filmed, both less the set's. A ghost is a mixture of light; means of cells, since the set's own noise stands in both. */
function ghostCells(f: RemainsFrame, left: Float32Array, set: SetBehind, out: number[]): void {
  const { width: w, height: h } = f;
  for (let y = 0; y + CELL <= h; y += CELL)
    for (let x = 0; x + CELL <= w; x += CELL) {
      let gone = 0,
        still = 0,
        bare = 0,
        n = 0,
        e = 0;
      const { box } = set;
      for (let j = 0; j < CELL; j++)
        for (let i = 0; i < CELL; i++) {
          const q = (y + j) * w + x + i;
          e += f.erased[q]!;
          const v =
            x + i < box[0] || y + j < box[1] || x + i >= box[2] || y + j >= box[3]
              ? NaN
              : set.light[(y + j - box[1]) * (box[2] - box[0]) + x + i - box[0]]!;
          if (Number.isNaN(v)) continue;
          const ground = Math.exp(v);
          gone += Math.exp(f.filmed[q]!) - ground;
          still += Math.exp(left[q]!) - ground;
          bare += ground;
          n++;
        }
      if (e === CELL * CELL && n >= LEAST && Math.abs(gone) > GHOSTED * bare) out.push(still / gone);
    }
}

/** Slope of fine pattern (a cell's pixels less the mean of their four neighbours) on the set's, in the fill and in the untouched picture. */
function detailOf(
  f: RemainsFrame,
  left: Float32Array,
  set: SetBehind,
): { readonly in: number; readonly out: number } | null {
  const { box, light } = set,
    w = f.width,
    bw = box[2] - box[0],
    bh = box[3] - box[1];
  const sums = [
    [0, 0, 0],
    [0, 0, 0],
  ] as [number[], number[]];
  for (let y = 1; y + 1 < bh; y++)
    for (let x = 1; x + 1 < bw; x++) {
      const i = y * bw + x,
        q = (box[1] + y) * w + box[0] + x,
        fine = light[i]! - (light[i - 1]! + light[i + 1]! + light[i - bw]! + light[i + bw]!) / 4;
      if (Number.isNaN(fine)) continue;
      const erased = f.erased[q]! + f.erased[q - 1]! + f.erased[q + 1]! + f.erased[q - w]! + f.erased[q + w]!;
      if (erased !== 0 && erased !== 5) continue;
      const s = sums[erased === 5 ? 0 : 1]!,
        here = left[q]! - (left[q - 1]! + left[q + 1]! + left[q - w]! + left[q + w]!) / 4;
      s[0]! += here * fine;
      s[1]! += fine * fine;
      s[2]!++;
    }
  if (sums[0][2]! < 200 || sums[1][2]! < 200 || sums[0][1]! / sums[0][2]! < DETAIL ** 2 || sums[1][1]! <= 0)
    return null;
  return { in: sums[0][0]! / sums[0][1]!, out: Math.max(0.2, sums[1][0]! / sums[1][1]!) };
}

/** How the fill differs from itself at the next moment looked at, brought there by the set's motion, beside how the untouched picture does. */
function boilOf(
  f: RemainsFrame,
  g: RemainsFrame,
  left: Float32Array,
  then: Float32Array,
  near: Uint8Array,
  box: Box,
  carrier: Carrier,
): number | null {
  const { width: w, height: h } = f,
    bw = box[2] - box[0],
    moved = new Float32Array(bw * (box[3] - box[1])).fill(NaN);
  eachPlace(between(carrier, f, g), box, 1, (x, y, u, v) => {
    const i = Math.floor(u),
      j = Math.floor(v),
      q = y * w + x;
    if (!(i >= 0 && j >= 0 && i < w && j < h) || f.erased[q] !== g.erased[j * w + i]) return;
    moved[(y - box[1]) * bw + x - box[0]] = lightAt(then, w, h, u, v);
  });
  const cells = cellsOf(boxOf(left, box, w), moved, box, w, f.erased, near),
    within = cells.filter((c) => c.erased === 1),
    beside = cells.filter((c) => c.erased === 0);
  if (within.length < 6 || beside.length < 6) return null;
  const level = median(Float64Array.from(beside, (c) => c.mean)),
    size = (l: readonly Cell[]): number => 1.4826 * median(Float64Array.from(l, (c) => Math.abs(c.mean - level)));
  const a = size(within),
    b = size(beside);
  return Math.sqrt(Math.max(0, a * a - b * b));
}
