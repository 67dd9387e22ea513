/**
 * An outline drawn by hand set on the picture's own edges: each side that shows an edge is moved across itself, and
 * turned where it is long enough, by where lines across it are steepest near the hand's own (a matte would be drawn to
 * stronger lines of the set farther off); corners lie where neighbouring sides meet. A side without an edge stays as it
 * was drawn.
 */
import type { SmallFrame } from '../outline/small-frame.js';
import { ownColours, steepestOf } from './edge-evidence.js';
import { linesOf, type Outline } from './outline-lines.js';

/** Pixels that a hand may be off, and rounds. */
const REACH = 3,
  ROUNDS = 4;
/** Doubt of a hand's side, px at its middle and at its ends. */
const HAND_PX = 1.5;
/** A place on a side is told to about so many px, three neighbours counting as one. */
const PLACE_PX = 0.5;

/** @param outline in the picture's pixels @returns as many corners, each moved by no more than REACH px */
export function refineOutline(frame: SmallFrame, outline: Outline): [number, number][] {
  let now = outline.map((p): [number, number] => [p[0], p[1]]);
  for (let round = 0; round < ROUNDS; round++) {
    const lines = linesOf(now, frame.width, frame.height),
      own = ownColours(frame, lines),
      { place, weight } = steepestOf(frame, lines, own, 2);
    const moved = now.map((p, i) => {
      const q = now[(i + 1) % now.length]!,
        long = Math.hypot(q[0] - p[0], q[1] - p[1]),
        mine = lines.map((l, k) => ({ l, k })).filter(({ l, k }) => l.edge === i && weight[k]! > 0);
      const { offset, tilt } = lineThrough(
        mine.map(({ l, k }) => ({
          s: ((l.x - p[0]) * (q[0] - p[0]) + (l.y - p[1]) * (q[1] - p[1])) / Math.max(1e-9, long * long) - 0.5,
          d: place[k]!,
          g: weight[k]!,
        })),
      );
      const n = mine[0]?.l,
        nx = n?.nx ?? 0,
        ny = n?.ny ?? 0;
      return {
        a: [p[0] + nx * (offset - tilt / 2), p[1] + ny * (offset - tilt / 2)] as const,
        b: [q[0] + nx * (offset + tilt / 2), q[1] + ny * (offset + tilt / 2)] as const,
      };
    });
    now = now.map((p, i) => {
      const before = moved[(i + now.length - 1) % now.length]!,
        after = moved[i]!,
        met = meet(before.a, before.b, after.a, after.b),
        mid: [number, number] = [(before.b[0] + after.a[0]) / 2, (before.b[1] + after.a[1]) / 2];
      const to = met !== null && Math.hypot(met[0] - p[0], met[1] - p[1]) < REACH ? met : mid,
        far = Math.hypot(to[0] - outline[i]![0], to[1] - outline[i]![1]);
      return far > REACH ? p : to;
    });
  }
  return now;
}

/**
 * Offset in the middle and difference between the ends of the straight line through displacements, robustly, with the
 * hand's own as an observation.
 */
function lineThrough(seen: readonly { readonly s: number; readonly d: number; readonly g: number }[]): {
  offset: number;
  tilt: number;
} {
  let offset = 0,
    tilt = 0,
    scale = 1.5;
  if (seen.length < 3) return { offset, tilt };
  for (let round = 0; round < 6; round++) {
    let aa = 1 / HAND_PX ** 2,
      ab = 0,
      bb = 1 / (2 * HAND_PX) ** 2,
      ay = 0,
      by = 0;
    for (const q of seen) {
      const e = round === 0 ? 0 : q.d - offset - tilt * q.s,
        cut = 4 * scale;
      if (Math.abs(e) >= cut) continue;
      const g = (q.g * (1 - (e / cut) ** 2) ** 2) / (3 * Math.max(PLACE_PX, scale) ** 2);
      aa += g;
      ab += g * q.s;
      bb += g * q.s * q.s;
      ay += g * q.d;
      by += g * q.d * q.s;
    }
    const det = aa * bb - ab * ab;
    offset = (ay * bb - by * ab) / det;
    tilt = (by * aa - ay * ab) / det;
    const rest = seen.map((q) => Math.abs(q.d - offset - tilt * q.s)).sort((a, b) => a - b);
    scale = Math.max(0.25, 1.4826 * rest[rest.length >> 1]!);
  }
  return { offset, tilt };
}

/** Where two straight lines meet; null where they run nearly alike. */
function meet(
  a: readonly [number, number],
  b: readonly [number, number],
  c: readonly [number, number],
  d: readonly [number, number],
): [number, number] | null {
  const ux = b[0] - a[0],
    uy = b[1] - a[1],
    vx = d[0] - c[0],
    vy = d[1] - c[1],
    det = ux * vy - uy * vx;
  if (Math.abs(det) < 0.2 * Math.hypot(ux, uy) * Math.hypot(vx, vy)) return null;
  const t = ((c[0] - a[0]) * vy - (c[1] - a[1]) * vx) / det;
  return [a[0] + t * ux, a[1] + t * uy];
}

/**
 * Sides drawn along the picture's border are no edges of the thing: it goes on beyond, and so does the outline, so that
 * a camera that turns shows no end of it.
 */
export function beyondBorder(outline: Outline, w: number, h: number): [number, number][] {
  const near = Math.max(2.5, 0.004 * w),
    far = 0.6 * Math.max(w, h),
    n = outline.length;
  const cut = outline.map((p, i) => {
    const q = outline[(i + 1) % n]!;
    if (p[0] < near && q[0] < near) return [-1, 0] as const;
    if (p[0] > w - near && q[0] > w - near) return [1, 0] as const;
    if (p[1] < near && q[1] < near) return [0, -1] as const;
    return p[1] > h - near && q[1] > h - near ? ([0, 1] as const) : null;
  });
  return outline.map((p, i) => {
    const a = cut[(i + n - 1) % n]!,
      b = cut[i]!;
    if (a === null && b === null) return [p[0], p[1]];
    if (a !== null && b !== null) return [p[0] + far * Math.sign(a[0] + b[0]), p[1] + far * Math.sign(a[1] + b[1])];
    // On along the side that the border cuts, as far as that leads outwards.
    const out = (a ?? b)!,
      from = a === null ? outline[(i + n - 1) % n]! : outline[(i + 1) % n]!,
      dx = p[0] - from[0],
      dy = p[1] - from[1],
      long = Math.hypot(dx, dy),
      outwards = (dx * out[0] + dy * out[1]) / Math.max(1e-9, long);
    return outwards < 0.2
      ? [p[0] + far * out[0], p[1] + far * out[1]]
      : [p[0] + (dx / long) * (far / outwards), p[1] + (dy / long) * (far / outwards)];
  });
}
