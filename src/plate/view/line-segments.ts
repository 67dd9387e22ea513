/**
 * Straight line segments by growing regions of like gradient direction, after R. Grompone von Gioi, J. Jakubowicz,
 * J.-M. Morel & G. Randall, *LSD: a Line Segment Detector*, IPOL 2012 (2 × 2 gradients, 22.5° tolerance, rectangle by
 * weighted inertia, density check). In place of its a-contrario count a segment must be long and thin; its place is the
 * gradient-weighted axis, good to about a tenth of a pixel.
 * Input: luma plane, height × width, any range; output in pixels from the top left, pixel centres at +0.5.
 */
import { gaussianPlane } from '../../image/gaussian.js';

/** Ends and middle line of a straight edge, px. */
export interface LineSegment {
  readonly a: readonly [number, number];
  readonly b: readonly [number, number];
  readonly lengthPx: number;
  readonly widthPx: number;
}

/** Which segments are wanted. */
export interface SegmentOptions {
  /** Least length, px. */
  readonly minLengthPx: number;
  /** Only directions within this of the vertical, degrees; default all. */
  readonly nearVerticalDeg?: number;
  /** Blur before gradients, px. Default 0.8. */
  readonly sigmaPx?: number;
}

/** How far a pixel's direction may be off its region's, radians. */
const TOLERANCE = (22.5 * Math.PI) / 180;

/** Least share of its rectangle that a region fills. */
const LEAST_DENSITY = 0.5;
/** Weakest gradient that counts, luma a pixel, whatever the noise: about 1/170 of a range of 1. */
const LEAST_GRADIENT = 0.006;

/** 2 × 2 gradients; width × height, the last row and column 0. */
interface Gradients {
  readonly magnitude: Float32Array;
  /** Of the edge, radians: across the gradient. */
  readonly direction: Float32Array;
  readonly largest: number;
}

/** Detects segments, longest first. */
export function lineSegments(luma: Float32Array, width: number, height: number, o: SegmentOptions): LineSegment[] {
  const blurred = gaussianPlane(luma, width, height, o.sigmaPx ?? 0.8);
  const gradients = gradientsOf(blurred, width, height, o.nearVerticalDeg);
  const floor = noiseFloor(gradients.magnitude);
  const used = new Uint8Array(width * height);
  const region: number[] = [];
  const out: LineSegment[] = [];
  for (const seed of seedsOf(gradients, floor)) {
    if (used[seed] === 1) continue;
    growRegion(seed, gradients, floor, width, height, used, region);
    if (region.length < o.minLengthPx) continue;
    const s = fitRegion(region, gradients.magnitude, width);
    if (s !== null && isSegment(s, region.length, o)) out.push(s);
  }
  return out.sort((p, q) => q.lengthPx - p.lengthPx);
}

/** @param nearVerticalDeg gradients of other edges are left at 0 */
function gradientsOf(g: Float32Array, width: number, height: number, nearVerticalDeg?: number): Gradients {
  const magnitude = new Float32Array(width * height);
  const direction = new Float32Array(width * height);
  let largest = 0;
  // Twelve degrees more than is asked: a pixel's own direction is noisy.
  const vertical = nearVerticalDeg === undefined ? null : Math.tan(((nearVerticalDeg + 12) * Math.PI) / 180);
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
      if (m > largest) largest = m;
    }
  return { magnitude, direction, largest };
}

/** Somewhat over twice the median of what is left. */
function noiseFloor(magnitude: Float32Array): number {
  const sample: number[] = [];
  for (let i = 0; i < magnitude.length; i += 7) if (magnitude[i]! > 0) sample.push(magnitude[i]!);
  sample.sort((a, b) => a - b);
  return Math.max(LEAST_GRADIENT, 2.2 * (sample[sample.length >> 1] ?? 0));
}

/** Pixels over the floor by falling magnitude, in 256 bins. */
function seedsOf({ magnitude, largest }: Gradients, floor: number): number[] {
  const bins: number[][] = Array.from({ length: 256 }, () => []);
  for (let i = 0; i < magnitude.length; i++)
    if (magnitude[i]! > floor) bins[Math.min(255, Math.floor((255 * magnitude[i]!) / largest))]!.push(i);
  return bins.reverse().flat();
}

/** Grows a region from its seed over neighbours of like direction, into `region`; marks them as used. */
function growRegion(
  seed: number,
  { magnitude, direction }: Gradients,
  floor: number,
  width: number,
  height: number,
  used: Uint8Array,
  region: number[],
): void {
  region.length = 0;
  region.push(seed);
  used[seed] = 1;
  let angle = direction[seed]!;
  let sx = Math.cos(angle);
  let sy = Math.sin(angle);
  for (let k = 0; k < region.length; k++) {
    const i = region[k]!;
    const x = i % width;
    const y = (i - x) / width;
    for (let m = 0; m < 9; m++) {
      const xx = x + (m % 3) - 1;
      const yy = y + Math.floor(m / 3) - 1;
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
}

/** Whether a region is long, thin, dense and, where asked, upright enough. */
function isSegment(s: LineSegment, pixels: number, o: SegmentOptions): boolean {
  if (s.lengthPx < o.minLengthPx || s.widthPx > Math.max(4.5, 0.06 * s.lengthPx)) return false;
  const slope = o.nearVerticalDeg === undefined ? Infinity : Math.tan((o.nearVerticalDeg * Math.PI) / 180);
  if (Math.abs(s.b[0] - s.a[0]) > slope * Math.abs(s.b[1] - s.a[1])) return false;
  // At least half of the rectangle's pixels belong to the region (density, LSD section 3.5).
  return pixels >= LEAST_DENSITY * s.lengthPx * Math.max(1, s.widthPx);
}

/** The gradient-weighted axis of a region; null where it has no length. */
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
  };
}
