/**
 * Shifts that carry the lines which run into a hole on through it. The shifts by which a picture repeats itself
 * (patch-offsets.ts) are those of its largest areas; a post that leaves the picture is too little of it to be among
 * them, and then ends in a stump or goes on with a bend. Where an edge meets the hole its direction is read from the
 * structure tensor (J. Bigün, G. Granlund, "Optimal orientation detection of linear symmetry", ICCV 1987); of the
 * shifts back along it, long enough for all of its way through the hole, the one is offered whose copy is most like
 * what stands about the edge.
 */
import type { Offset } from './patch-offsets.js';

/** The tensor and the likeness are taken over so many pixels to each side of an edge's point. */
export const ABOUT = 3;
/** An edge: root mean square of its gradient (coded, all channels) and how much of it has one direction. */
const STEEP = 0.03;
const ONE_WAY = 0.8;
/** A shift may be so much longer than the edge's way through the hole, as a share of it. */
const LONGER = 1;
/** So many shifts of one direction, within 22.5°. */
const EACH_WAY = 3;
/**
 * A line carried on differs from itself by less than this share of its contrast: half a pixel's rounding takes up to a
 * third of it.
 */
export const LIKE = 0.5;

/**
 * The shifts of the lines that most border pixels speak for, at most `most`.
 *
 * @param rgb height × width × 3 interleaved, coded
 * @param known 1 where it may be copied from
 */
export function lineShifts(
  rgb: Float32Array,
  hole: Uint8Array,
  known: Uint8Array,
  w: number,
  h: number,
  most: number,
): Offset[] {
  const votes = new Map<number, { readonly shift: Offset; said: number }>();
  for (let y = 1; y < h - 1; y++)
    for (let x = 1; x < w - 1; x++) {
      const i = y * w + x;
      if (known[i] === 0 || hole[i] !== 0 || !(hole[i - 1]! + hole[i + 1]! + hole[i - w]! + hole[i + w]! > 0)) continue;
      const edge = edgeAt(rgb, known, w, h, x, y);
      if (edge === null) continue;
      for (const side of [1, -1] as const) {
        const ux = side * edge.x,
          uy = side * edge.y,
          way = wayThrough(hole, w, h, x, y, ux, uy);
        if (way < 2) continue;
        let best: Offset | null = null,
          least = LIKE;
        for (let m = way + 2; m <= (1 + LONGER) * way + 4; m++) {
          const shift = { dx: Math.round(-ux * m), dy: Math.round(-uy * m) },
            d = unlike(rgb, known, w, h, x, y, shift);
          if (d < least) {
            least = d;
            best = shift;
          }
        }
        if (best === null) continue;
        const key = best.dy * 4 * w + best.dx,
          before = votes.get(key);
        if (before === undefined) votes.set(key, { shift: best, said: edge.steep });
        else before.said += edge.steep;
      }
    }
  // A few of each direction, so that a long horizon does not take the posts' places.
  const taken = new Map<number, number>(),
    out: Offset[] = [];
  for (const { shift } of [...votes.values()].sort(
    (a, b) => b.said - a.said || a.shift.dy - b.shift.dy || a.shift.dx - b.shift.dx,
  )) {
    const way = Math.round(Math.atan2(shift.dy, shift.dx) / (Math.PI / 8)),
      n = taken.get(way) ?? 0;
    if (out.length >= most || n >= EACH_WAY) continue;
    taken.set(way, n + 1);
    out.push(shift);
  }
  return out;
}

/** Direction along the edge at a pixel (unit vector) and its steepness; null where none stands out. */
export function edgeAt(
  rgb: Float32Array,
  known: Uint8Array,
  w: number,
  h: number,
  x: number,
  y: number,
): { x: number; y: number; steep: number } | null {
  let xx = 0,
    xy = 0,
    yy = 0,
    n = 0;
  for (let v = Math.max(0, y - ABOUT); v < Math.min(h - 1, y + ABOUT); v++)
    for (let u = Math.max(0, x - ABOUT); u < Math.min(w - 1, x + ABOUT); u++) {
      const i = v * w + u;
      if (known[i] === 0 || known[i + 1] === 0 || known[i + w] === 0 || known[i + w + 1] === 0) continue;
      for (let c = 0; c < 3; c++) {
        const a = rgb[3 * i + c]!,
          b = rgb[3 * (i + 1) + c]!,
          d = rgb[3 * (i + w) + c]!,
          e = rgb[3 * (i + w + 1) + c]!,
          gx = (b - a + e - d) / 2,
          gy = (d - a + e - b) / 2;
        xx += gx * gx;
        xy += gx * gy;
        yy += gy * gy;
      }
      n++;
    }
  if (n < ABOUT * ABOUT) return null;
  const half = (xx + yy) / 2,
    root = Math.hypot((xx - yy) / 2, xy),
    steep = Math.sqrt((xx + yy) / n);
  if (steep < STEEP || root < ONE_WAY * half) return null;
  const across = 0.5 * Math.atan2(2 * xy, xx - yy);
  return { x: -Math.sin(across), y: Math.cos(across), steep };
}

/** Pixels from a border pixel to the far end of the hole along a direction; 0 where it does not lead into the hole. */
export function wayThrough(
  hole: Uint8Array,
  w: number,
  h: number,
  x: number,
  y: number,
  ux: number,
  uy: number,
): number {
  let last = 0;
  for (let m = 1; ; m++) {
    const u = Math.round(x + ux * m),
      v = Math.round(y + uy * m);
    if (u < 0 || v < 0 || u >= w || v >= h) return last;
    if (hole[v * w + u] !== 0) last = m;
    else if (m > last + 2) return last;
  }
}

/**
 * Mean colour distance of what is known about a pixel from what a shift would copy there, as a share of its own spread
 * of colours, but for a step between their means, which is levelled when the patches meet; infinite where too little is
 * known.
 */
export function unlike(
  rgb: Float32Array,
  known: Uint8Array,
  w: number,
  h: number,
  x: number,
  y: number,
  { dx, dy }: Offset,
): number {
  const apart: number[] = [],
    own: number[] = [],
    mean = [0, 0, 0],
    ownMean = [0, 0, 0];
  for (let v = Math.max(0, y - ABOUT); v <= Math.min(h - 1, y + ABOUT); v++)
    for (let u = Math.max(0, x - ABOUT); u <= Math.min(w - 1, x + ABOUT); u++) {
      const i = v * w + u,
        p = u + dx,
        q = v + dy,
        j = q * w + p;
      if (known[i] === 0) continue;
      if (p < 0 || q < 0 || p >= w || q >= h || known[j] === 0) return Infinity;
      for (let c = 0; c < 3; c++) {
        const v0 = rgb[3 * i + c]!,
          d = v0 - rgb[3 * j + c]!;
        apart.push(d);
        own.push(v0);
        mean[c] = mean[c]! + d;
        ownMean[c] = ownMean[c]! + v0;
      }
    }
  const n = apart.length / 3;
  if (n < ABOUT * ABOUT) return Infinity;
  const spread = (values: readonly number[], sums: readonly number[]): number => {
    let sum = 0;
    for (let k = 0; k < n; k++) sum += Math.hypot(...[0, 1, 2].map((c) => values[3 * k + c]! - sums[c]! / n));
    return sum;
  };
  return spread(apart, mean) / Math.max(1e-6, spread(own, ownMean));
}
