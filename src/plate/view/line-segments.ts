/**
 * Straight line segments by growing regions of like gradient direction, after R. Grompone von Gioi, J. Jakubowicz,
 * J.-M. Morel & G. Randall, *LSD: a Line Segment Detector*, IPOL 2012 (2 × 2 gradients, 22.5° tolerance, rectangle by
 * weighted inertia, density check). In place of its a-contrario count a segment must be long and thin; its place is the
 * gradient-weighted axis, good to about a tenth of a pixel.
 * Input: luma plane, height × width, any range; output in pixels from the top left, pixel centres at +0.5.
 */
import { gaussianPlane } from '../../image/gaussian.js';

export interface LineSegment {
  readonly a: readonly [number, number];
  readonly b: readonly [number, number];
  readonly lengthPx: number;
  readonly widthPx: number;
  /** Mean gradient over the region, luma a pixel. */
  readonly strength: number;
}

export interface SegmentOptions {
  /** Least length, px. */
  readonly minLengthPx: number;
  /** Only directions within this of the vertical, degrees; default all. */
  readonly nearVerticalDeg?: number;
  /** Blur before gradients, px. Default 0.8. */
  readonly sigmaPx?: number;
}

const TOLERANCE = (22.5 * Math.PI) / 180;

/** Detects segments, longest first. */
export function lineSegments(luma: Float32Array, width: number, height: number, o: SegmentOptions): LineSegment[] {
  const g = gaussianPlane(luma, width, height, o.sigmaPx ?? 0.8);
  const n = width * height;
  const magnitude = new Float32Array(n);
  const direction = new Float32Array(n);
  let top = 0;
  const vertical = o.nearVerticalDeg === undefined ? null : Math.tan(((o.nearVerticalDeg + 12) * Math.PI) / 180);
  for (let y = 0; y < height - 1; y++)
    for (let x = 0; x < width - 1; x++) {
      const i = y * width + x;
      const p = g[i + width + 1]! - g[i]!;
      const q = g[i + 1]! - g[i + width]!;
      const gx = (p + q) / 2;
      const gy = (p - q) / 2;
      // A near-vertical edge has a near-horizontal gradient.
      if (vertical !== null && Math.abs(gy) > vertical * Math.abs(gx)) continue;
      const m = Math.sqrt(gx * gx + gy * gy);
      magnitude[i] = m;
      direction[i] = Math.atan2(gx, -gy);
      if (m > top) top = m;
    }
  // Noise floor: the median magnitude of what is left, twice over; and never below a 1/300 of the range.
  const sample: number[] = [];
  for (let i = 0; i < n; i += 7) if (magnitude[i]! > 0) sample.push(magnitude[i]!);
  sample.sort((a, b) => a - b);
  const floor = Math.max(0.006, 2.2 * (sample[sample.length >> 1] ?? 0));
  // Seeds by falling magnitude, in 256 bins.
  const bins: number[][] = Array.from({ length: 256 }, () => []);
  for (let i = 0; i < n; i++)
    if (magnitude[i]! > floor) bins[Math.min(255, Math.floor((255 * magnitude[i]!) / top))]!.push(i);
  const used = new Uint8Array(n);
  const out: LineSegment[] = [];
  const region: number[] = [];
  for (let b = 255; b >= 0; b--)
    for (const seed of bins[b]!) {
      if (used[seed] === 1) continue;
      region.length = 0;
      region.push(seed);
      used[seed] = 1;
      let sx = Math.cos(direction[seed]!);
      let sy = Math.sin(direction[seed]!);
      let angle = direction[seed]!;
      for (let k = 0; k < region.length; k++) {
        const i = region[k]!;
        const x = i % width;
        const y = (i - x) / width;
        for (let dy = -1; dy <= 1; dy++)
          for (let dx = -1; dx <= 1; dx++) {
            const xx = x + dx;
            const yy = y + dy;
            if (xx < 0 || yy < 0 || xx >= width - 1 || yy >= height - 1) continue;
            const j = yy * width + xx;
            if (used[j] === 1 || magnitude[j]! <= floor) continue;
            let d = Math.abs(direction[j]! - angle);
            if (d > Math.PI) d = 2 * Math.PI - d;
            if (d > TOLERANCE) continue;
            used[j] = 1;
            region.push(j);
            sx += Math.cos(direction[j]!);
            sy += Math.sin(direction[j]!);
            angle = Math.atan2(sy, sx);
          }
      }
      if (region.length < o.minLengthPx) continue;
      const s = fitRegion(region, magnitude, width);
      if (s === null || s.lengthPx < o.minLengthPx || s.widthPx > Math.max(4.5, 0.06 * s.lengthPx)) continue;
      if (
        o.nearVerticalDeg !== undefined &&
        Math.abs(s.b[0] - s.a[0]) > Math.tan((o.nearVerticalDeg * Math.PI) / 180) * Math.abs(s.b[1] - s.a[1])
      )
        continue;
      // At least half of the rectangle's pixels belong to the region (density, LSD section 3.5).
      if (region.length < 0.5 * s.lengthPx * Math.max(1, s.widthPx)) continue;
      out.push(s);
    }
  return out.sort((p, q) => q.lengthPx - p.lengthPx);
}

function fitRegion(region: readonly number[], magnitude: Float32Array, width: number): LineSegment | null {
  let w = 0;
  let cx = 0;
  let cy = 0;
  for (const i of region) {
    const m = magnitude[i]!;
    const x = i % width;
    const y = (i - x) / width;
    w += m;
    cx += m * x;
    cy += m * y;
  }
  cx /= w;
  cy /= w;
  let xx = 0;
  let xy = 0;
  let yy = 0;
  for (const i of region) {
    const m = magnitude[i]!;
    const x = (i % width) - cx;
    const y = (i - (i % width)) / width - cy;
    xx += m * x * x;
    xy += m * x * y;
    yy += m * y * y;
  }
  const angle = 0.5 * Math.atan2(2 * xy, xx - yy);
  const ux = Math.cos(angle);
  const uy = Math.sin(angle);
  let lo = Infinity;
  let hi = -Infinity;
  let spread = 0;
  for (const i of region) {
    const x = (i % width) - cx;
    const y = (i - (i % width)) / width - cy;
    const along = x * ux + y * uy;
    const across = -x * uy + y * ux;
    if (along < lo) lo = along;
    if (along > hi) hi = along;
    spread += magnitude[i]! * across * across;
  }
  if (!(hi > lo)) return null;
  // The 2 × 2 gradient of pixel (x, y) sits at the corner (x + 1, y + 1) of the picture.
  const ox = cx + 1;
  const oy = cy + 1;
  return {
    a: [ox + lo * ux, oy + lo * uy],
    b: [ox + hi * ux, oy + hi * uy],
    lengthPx: hi - lo,
    widthPx: 2 * Math.sqrt((3 * spread) / w),
    strength: w / region.length,
  };
}
