/**
 * Shadows that lie on the plate's ground whoever throws them: where the key's direction is known, what stands on the
 * ground throws a patch that is darker than the ground on both its sides by one ratio, looked at square to the key's
 * direction. The ground is scanned along lines that run square to it; on each, windows of several widths are held
 * against the ground on both their sides (matched filtering); windows that lie behind one another along the key's
 * direction make a strip. Which strips are shadows and which are things or another ground is not settled here: their
 * colour and all else that is known settle it (plate-darkness.ts).
 */
import { RAD_PER_DEG } from '../../core/angles.js';
import { groundPoint, project, type Pinhole } from '../../geometry/camera.js';
import type { Vec3 } from '../../geometry/mat3.js';
import { boxMean } from '../../image/box.js';
import type { Picture } from '../../image/picture.js';
import { medianOf } from './plate-shadow.js';

export interface ShadowStrip {
  /** ln of lit over dark, linear light, per channel. */
  readonly depth: readonly [number, number, number];
  /** Robust sd of it over the strip's places, luminance. */
  readonly spread: number;
  /** Lines that it was seen on, and its breadth on the picture, px. */
  readonly places: number;
  readonly widePx: number;
  /** Its middle on the picture, px. */
  readonly at: readonly [number, number];
  readonly litLinear: readonly [number, number, number];
}

/** Px of a picture 640 wide between points of a line, and between lines where they lie farthest apart. */
const STEP = 1,
  LINES = 2;
/** Widths looked for, px at 640 wide; narrower ones are lighter in their middle than they are. */
const WIDTHS = [7, 9, 12, 16, 21, 28, 37, 49, 64, 84];
/** Ln by which it is darker at least, and by which its two sides may differ. */
const LEAST = 0.45,
  SIDES = 0.22;
/** Lines one behind the other on which a strip must be seen, and what it stands out by on each, in noise. */
const LEAST_LINES = 4,
  CLEAR = 3;
/** Narrower ones, square to their sides, px at 640 wide, are lighter than they are. */
const LEAST_WIDE = 4;

interface Found {
  readonly line: number;
  readonly from: number;
  readonly to: number;
  readonly wide: number;
  readonly depth: [number, number, number];
  readonly lit: [number, number, number];
  readonly score: number;
  readonly x: number;
  readonly y: number;
}

/**
 * @param linear scene-linear RGB of the frame that `camera` sees
 * @param azimuthDeg of the key beside the camera's heading
 * @param foot where the performer stands, px; what lies four times as far as that is not looked at
 * @returns the largest first
 */
export function shadowStrips(
  linear: Picture,
  camera: Pinhole,
  azimuthDeg: number,
  foot: readonly [number, number],
): ShadowStrip[] {
  const { width: w, height: h } = linear,
    scale = w / 640,
    a = azimuthDeg * RAD_PER_DEG,
    along = [-Math.sin(a), Math.cos(a)] as const,
    across = [Math.cos(a), Math.sin(a)] as const,
    stand = groundPoint(camera, ...foot);
  if (stand === null) return [];
  const far = 4 * Math.hypot(stand[0], stand[2]),
    corners: Vec3[] = [];
  for (const x of [0, 0.25, 0.5, 0.75, 1])
    for (const y of [0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 1]) {
      const g = groundPoint(camera, x * (w - 1), y * (h - 1));
      if (g !== null && Math.hypot(g[0], g[2]) < far) corners.push(g);
    }
  if (corners.length < 4) return [];
  const sOf = (g: Vec3): number => g[0] * along[0] + g[2] * along[1],
    tOf = (g: Vec3): number => g[0] * across[0] + g[2] * across[1];
  const s0 = Math.min(...corners.map(sOf)),
    s1 = Math.max(...corners.map(sOf)),
    t0 = Math.min(...corners.map(tOf)),
    t1 = Math.max(...corners.map(tOf));
  // So close that neighbours lie LINES px apart at the stand.
  const here = project(camera, stand)!,
    next = project(camera, [stand[0] + 1e-3 * along[0], 0, stand[2] + 1e-3 * along[1]]),
    perMetre = next === null ? 0 : Math.hypot(next.x - here.x, next.y - here.y) / 1e-3;
  if (!(perMetre > 1)) return [];
  const stepS = Math.max((LINES * scale) / perMetre, (s1 - s0) / 400),
    lines: { readonly line: number; readonly ends: Ends }[] = [];
  for (let line = 0; s0 + line * stepS <= s1; line++) {
    const ends = seenPart(camera, along, across, s0 + line * stepS, t0, t1, w, h);
    if (ends !== null) lines.push({ line, ends });
  }
  const ground = groundRows(linear, lines, Math.max(1, Math.round(scale))),
    found: Found[] = [];
  for (const { line, ends } of lines) {
    // Square to the key's direction on the ground is aslant on the picture: what spreads a shadow sees its breadth
    // square to its sides.
    const square = (x: number, y: number): number => {
      const g = groundPoint(camera, x, y),
        on = g === null ? null : project(camera, [g[0] + 1e-3 * along[0], 0, g[2] + 1e-3 * along[1]]);
      if (on === null) return 0;
      const ux = on.x - x,
        uy = on.y - y,
        ex = ends[1][0] - ends[0][0],
        ey = ends[1][1] - ends[0][1];
      return Math.abs(ux * ey - uy * ex) / (Math.hypot(ux, uy) * Math.hypot(ex, ey) || 1);
    };
    for (const f of onLine(ground, ends, line, scale)) {
      const wide = f.wide * square(f.x, f.y);
      if (wide > LEAST_WIDE * scale) found.push({ ...f, wide });
    }
  }
  return linked(found);
}

/** A line on the picture from one end to the other, px. */
type Ends = readonly [readonly [number, number], readonly [number, number]];

/** Rows of the picture on which lines lie, softened, per channel; `top` is the first. */
interface GroundRows {
  readonly soft: readonly Float32Array[];
  readonly width: number;
  readonly height: number;
  readonly top: number;
}

function groundRows(
  { data, width, height }: Picture,
  lines: readonly { readonly ends: Ends }[],
  r: number,
): GroundRows {
  let first = height,
    last = 0;
  for (const { ends } of lines)
    for (const [, y] of ends) {
      first = Math.min(first, y);
      last = Math.max(last, y);
    }
  // As far beyond them as softening reaches.
  const top = Math.max(0, Math.min(height - 1, Math.floor(first) - r - 1)),
    bottom = Math.min(height, Math.max(top + 1, Math.ceil(last) + r + 2)),
    soft = [0, 1, 2].map((c) => {
      const from = (c * height + top) * width;
      return boxMean(data.subarray(from, from + (bottom - top) * width), width, bottom - top, r);
    });
  return { soft, width, height: bottom - top, top };
}

/** The part of a ground line that the picture shows. */
function seenPart(
  camera: Pinhole,
  along: readonly [number, number],
  across: readonly [number, number],
  s: number,
  t0: number,
  t1: number,
  w: number,
  h: number,
): Ends | null {
  const at = (k: number): [number, number] | null => {
    const t = t0 + ((t1 - t0) * k) / 200,
      q = project(camera, [s * along[0] + t * across[0], 0, s * along[1] + t * across[1]]);
    return q === null || q.x < 2 || q.y < 2 || q.x > w - 3 || q.y > h - 3 ? null : [q.x, q.y];
  };
  for (let k = 0; k <= 200; k++) {
    const first = at(k);
    if (first === null) continue;
    for (let l = 200; ; l--) {
      const last = at(l);
      if (last !== null) return [first, last];
    }
  }
  return null;
}

function onLine({ soft, width, height, top }: GroundRows, [p, q]: Ends, line: number, scale: number): Found[] {
  const long = Math.hypot(q[0] - p[0], q[1] - p[1]),
    step = STEP * scale,
    m = Math.floor(long / step);
  if (m < 30) return [];
  const dx = (q[0] - p[0]) / m,
    dy = (q[1] - p[1]) / m,
    at = new Int32Array(m);
  for (let k = 0; k < m; k++) {
    const x = Math.min(width - 1, Math.max(0, (p[0] + dx * k) | 0)),
      y = Math.min(height - 1, Math.max(0, ((p[1] + dy * k) | 0) - top));
    at[k] = y * width + x;
  }
  // Logs are taken where lines run alone, and of red and blue only where green finds something.
  const summed = (c: number, squares?: Float64Array): Float64Array => {
    const of = soft[c]!,
      sum = new Float64Array(m + 1);
    for (let k = 0; k < m; k++) {
      const v = Math.fround(Math.log(0.001 + Math.max(0, of[at[k]!]!)));
      sum[k + 1] = sum[k]! + v;
      if (squares !== undefined) squares[k + 1] = squares[k]! + v * v;
    }
    return sum;
  };
  const squares = new Float64Array(m + 1),
    green = summed(1, squares);
  let three: readonly Float64Array[] | null = null;
  const sums = (): readonly Float64Array[] => (three ??= [summed(0), green, summed(2)]);
  const mean = (c: number, a: number, b: number): number => {
      const of = sums()[c]!;
      return (of[b]! - of[a]!) / (b - a);
    },
    spread = (a: number, b: number): number =>
      Math.sqrt(Math.max(0, (squares[b]! - squares[a]!) / (b - a) - ((green[b]! - green[a]!) / (b - a)) ** 2));
  const all: Found[] = [];
  for (const wide of WIDTHS) {
    const core = Math.max(3, Math.round(0.6 * wide)),
      gap = Math.max(2, Math.round(0.2 * wide + 2)),
      side = Math.max(5, Math.round(0.35 * wide)),
      half = core >> 1;
    for (let k = half + gap + side; k + half + gap + side < m; k += Math.max(1, wide >> 3)) {
      const a = k - half,
        b = k - half + core,
        l1 = a - gap,
        l0 = l1 - side,
        r0 = b + gap,
        r1 = r0 + side,
        left = (green[l1]! - green[l0]!) / side,
        right = (green[r1]! - green[r0]!) / side,
        dark = (green[b]! - green[a]!) / core;
      const stands = Math.min(left, right) - dark;
      if (stands < LEAST || Math.abs(left - right) > SIDES) continue;
      const score = stands / (0.06 + Math.max(spread(a, b), spread(l0, l1), spread(r0, r1)));
      if (!(score > CLEAR)) continue;
      if ([0, 2].some((c) => Math.abs(mean(c, l0, l1) - mean(c, r0, r1)) > 1.3 * SIDES)) continue;
      const lit = [0, 1, 2].map((c) => (mean(c, l0, l1) + mean(c, r0, r1)) / 2) as [number, number, number];
      all.push({
        line,
        from: a,
        to: b,
        wide: wide * scale,
        depth: lit.map((v, c) => v - mean(c, a, b)) as [number, number, number],
        lit,
        score,
        x: p[0] + dx * k,
        y: p[1] + dy * k,
      });
    }
  }
  // The best of those that lie over one another.
  all.sort((u, v) => v.score - u.score);
  const kept: Found[] = [];
  for (const f of all) if (kept.every((g) => g.to < f.from || g.from > f.to)) kept.push(f);
  return kept;
}

/** Strips of what lies one behind the other. */
function linked(found: readonly Found[]): ShadowStrip[] {
  const strips: Found[][] = [];
  for (const f of found) {
    let best: Found[] | null = null;
    for (const s of strips) {
      const g = s.at(-1)!;
      if (f.line - g.line > 2 || f.line === g.line) continue;
      const near = Math.hypot(f.x - g.x, f.y - g.y) < 0.6 * (f.wide + g.wide) + 4,
        alike = [0, 1, 2].every((c) => Math.abs(f.depth[c]! - g.depth[c]!) < 0.3);
      if (near && alike && (best === null || s.length > best.length)) best = s;
    }
    if (best === null) strips.push([f]);
    else best.push(f);
  }
  return strips
    .filter((s) => s.length >= LEAST_LINES)
    .map((s): ShadowStrip => {
      const depth = [0, 1, 2].map((c) => medianOf(s.map((f) => f.depth[c]!))) as [number, number, number],
        mid = s[s.length >> 1]!;
      return {
        depth,
        spread: 1.4826 * medianOf(s.map((f) => Math.abs(f.depth[1] - depth[1]))),
        places: s.length,
        widePx: medianOf(s.map((f) => f.wide)),
        at: [mid.x, mid.y],
        litLinear: [0, 1, 2].map((c) => Math.exp(medianOf(s.map((f) => f.lit[c]!)))) as [number, number, number],
      };
    })
    .sort((u, v) => v.places * v.widePx - u.places * u.widePx);
}
