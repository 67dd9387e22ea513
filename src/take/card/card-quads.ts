/**
 * Four-sided regions in a small luma picture: connected parts darker than their neighbourhood (fiducials) or
 * brighter than a level (paper). The outline is the convex hull of the part (Andrew's monotone chain, Information
 * Processing Letters 1979); it is brought to four corners by dropping, one after the other, the side whose
 * neighbours meet again at the least gain of area.
 */
import { convexHull } from '../../image/outline.js';
import { polygonArea } from '../../image/polygon.js';

export type Quad = readonly (readonly [number, number])[];

export interface QuadLimits {
  readonly leastArea: number;
  readonly mostArea: number;
  readonly leastSide: number;
  /** Hull against its quadrilateral, and part against its hull: a share below is no four-sided thing. */
  readonly leastFill: number;
  readonly leastSolid: number;
}

/** Quadrilaterals of the parts of `mask` (height × width), largest first, at most `most`; corners clockwise as seen. */
export function quadsOf(
  mask: Uint8Array,
  width: number,
  height: number,
  limits: QuadLimits,
  most: number,
): { quad: Quad; area: number }[] {
  const out: { quad: Quad; area: number }[] = [];
  for (const part of largeParts(mask, width, height, limits).slice(0, most * 3)) {
    const hull = convexHull(part.ends);
    const area = polygonArea(hull);
    if (part.area < limits.leastSolid * area) continue;
    const quad = reduceToQuad(hull);
    if (quad === null) continue;
    const full = polygonArea(quad);
    if (area < limits.leastFill * full) continue;
    out.push({ quad, area: full });
    if (out.length >= most) break;
  }
  return out;
}

/**
 * Connected parts (4 neighbours) within the limits of area and side, largest first, by union-find over runs of a row;
 * `ends` are the corners of each row's first and last pixel, which hold the hull.
 */
function largeParts(
  mask: Uint8Array,
  width: number,
  height: number,
  limits: QuadLimits,
): { area: number; ends: [number, number][] }[] {
  const from: number[] = [];
  const to: number[] = [];
  const row: number[] = [];
  const parent: number[] = [];
  let above = 0;
  let aboveEnd = 0;
  for (let y = 0; y < height; y++) {
    const start = from.length;
    const o = y * width;
    let k = above;
    let x = 0;
    while (x < width) {
      if (mask[o + x] === 0) {
        x++;
        continue;
      }
      const x0 = x;
      while (x < width && mask[o + x] !== 0) x++;
      const run = from.length;
      from.push(x0);
      to.push(x);
      row.push(y);
      parent.push(run);
      while (k < aboveEnd && to[k]! <= x0) k++;
      for (let m = k; m < aboveEnd && from[m]! < x; m++) {
        let a = m;
        let b = run;
        while (parent[a] !== a) a = parent[a] = parent[parent[a]!]!;
        while (parent[b] !== b) b = parent[b] = parent[parent[b]!]!;
        if (a < b) parent[b] = a;
        else parent[a] = b;
      }
    }
    above = start;
    aboveEnd = from.length;
  }
  const n = from.length;
  const area = new Float64Array(n);
  const x0 = new Int32Array(n).fill(width);
  const x1 = new Int32Array(n);
  const y1 = new Int32Array(n);
  for (let i = 0; i < n; i++) {
    // A root is its part's first run: parents always lie before.
    const r = parent[i] === i ? i : (parent[i] = parent[parent[i]!]!);
    area[r]! += to[i]! - from[i]!;
    if (from[i]! < x0[r]!) x0[r] = from[i]!;
    if (to[i]! > x1[r]!) x1[r] = to[i]!;
    y1[r] = row[i]! + 1;
  }
  const parts = new Map<number, { area: number; ends: [number, number][] }>();
  for (let i = 0; i < n; i++)
    if (
      parent[i] === i &&
      area[i]! >= limits.leastArea &&
      area[i]! <= limits.mostArea &&
      x1[i]! - x0[i]! >= limits.leastSide &&
      y1[i]! - row[i]! >= limits.leastSide * 0.5
    )
      parts.set(i, { area: area[i]!, ends: [] });
  if (parts.size === 0) return [];
  for (let i = 0; i < n; i++) {
    const ends = parts.get(parent[i]!)?.ends;
    if (ends !== undefined)
      ends.push([from[i]!, row[i]!], [from[i]!, row[i]! + 1], [to[i]!, row[i]!], [to[i]!, row[i]! + 1]);
  }
  return [...parts.values()].sort((a, b) => b.area - a.area);
}

/** Pixels darker than `share` of the mean of their (2r + 1)² neighbourhood. */
export function darkerThanAround(
  luma: Float32Array,
  width: number,
  height: number,
  radius: number,
  share: number,
  least: number,
): Uint8Array {
  const stride = width + 1;
  const sum = new Float64Array(stride * (height + 1));
  for (let y = 0; y < height; y++) {
    let row = 0;
    for (let x = 0; x < width; x++) {
      row += luma[y * width + x]!;
      sum[(y + 1) * stride + x + 1] = sum[y * stride + x + 1]! + row;
    }
  }
  const out = new Uint8Array(width * height);
  for (let y = 0; y < height; y++) {
    const y0 = Math.max(0, y - radius);
    const y1 = Math.min(height, y + radius + 1);
    for (let x = 0; x < width; x++) {
      const x0 = Math.max(0, x - radius);
      const x1 = Math.min(width, x + radius + 1);
      const mean =
        (sum[y1 * stride + x1]! - sum[y0 * stride + x1]! - sum[y1 * stride + x0]! + sum[y0 * stride + x0]!) /
        ((y1 - y0) * (x1 - x0));
      const v = luma[y * width + x]!;
      if (v < share * mean && mean - v > least) out[y * width + x] = 1;
    }
  }
  return out;
}

/** Drops sides until four are left; null where that can't be done. */
function reduceToQuad(hull: readonly (readonly [number, number])[]): Quad | null {
  let p = hull.map((q) => [q[0], q[1]] as [number, number]);
  if (p.length < 4) return null;
  while (p.length > 4) {
    let best = { gain: Infinity, at: -1, x: 0, y: 0 };
    for (let i = 0; i < p.length; i++) {
      // Side i → i + 1 goes; its neighbours are lengthened to their meeting point.
      const a = p[(i + p.length - 1) % p.length]!;
      const b = p[i]!;
      const c = p[(i + 1) % p.length]!;
      const d = p[(i + 2) % p.length]!;
      const ux = b[0] - a[0];
      const uy = b[1] - a[1];
      const vx = c[0] - d[0];
      const vy = c[1] - d[1];
      const det = ux * vy - uy * vx;
      if (Math.abs(det) < 1e-9) continue;
      const t = ((c[0] - b[0]) * vy - (c[1] - b[1]) * vx) / det;
      const s = ((c[0] - b[0]) * uy - (c[1] - b[1]) * ux) / det;
      // Forward along a → b, and forward along d → c.
      if (t < 0 || s < 0) continue;
      const x = b[0] + t * ux;
      const y = b[1] + t * uy;
      const gain = Math.abs((c[0] - b[0]) * (y - b[1]) - (c[1] - b[1]) * (x - b[0])) / 2;
      if (gain < best.gain) best = { gain, at: i, x, y };
    }
    if (best.at < 0) return null;
    const next = (best.at + 1) % p.length;
    p[best.at] = [best.x, best.y];
    p = p.filter((_, i) => i !== next);
  }
  // Clockwise on a picture whose y runs down: positive shoelace.
  let s = 0;
  for (let i = 0; i < 4; i++) {
    const a = p[i]!;
    const b = p[(i + 1) % 4]!;
    s += a[0] * b[1] - a[1] * b[0];
  }
  return s < 0 ? p.reverse() : p;
}
