/**
 * Warps. `warpHomography` draws `src` through a 3×3 matrix from source to destination pixels (row-major); `warpMap`
 * reads `src` at a position given for each destination pixel. Bilinear, bicubic (Keys) or Lanczos-3 between pixels.
 *
 * Footprint: where the source is made smaller, one destination pixel covers an area of the source. Interpolation
 * alone would skip pixels and shimmer, so the covered parallelogram (the Jacobian, taken once every 16 pixels of
 * a row) is sampled on a regular grid fine enough that neighbouring samples lie at most 1.25 source pixels
 * apart, and averaged: an area integral over the destination pixel. From a minification of 4 on, the samples
 * read a level of the halving pyramid, so the cost stays bounded (L. Williams, "Pyramidal parametrics", SIGGRAPH
 * 1983; the supersampling of the residual is ours).
 *
 * Premultiplied pictures are warped channel by channel, which is right because colour is premultiplied. Outside the
 * source: 'zero' (transparent; its edge is antialiased by the kernel itself), 'clamp' or 'mirror'.
 */
import { PlatewrightError } from '../core/errors.js';
import { BOUNDARY_MODE, boundaryIndex, type Boundary } from './boundary.js';
import { KERNEL_FROM_PIXELS, kernels, type KernelDoor, type KernelScope } from './kernels.js';
import { createPicture, plane, type Picture } from './picture.js';
import { buildPyramid, halfSize, type PyramidLevel } from './pyramid.js';
import { cubicWeights, lanczos3Weights } from './sampling.js';

export type WarpFilter = 'nearest' | 'bilinear' | 'bicubic' | 'lanczos3';

export interface WarpOptions {
  /** Between pixels; default bicubic. */
  readonly filter?: WarpFilter;
  /** Beyond the source's edge; default 'zero' for `warpHomography`, 'clamp' for `warpMap`. */
  readonly boundary?: Boundary;
  /** False switches the footprint off (only for maps known never to make smaller). Default true. */
  readonly footprint?: boolean;
}

/** Most samples along one side of the grid that covers a destination pixel. */
const MAX_GRID = 8;
/** From this minification on samples read a coarser level. */
const LEVEL_FROM = 4;
/** The Jacobian is taken once for so many pixels of a row. */
export const FOOTPRINT_STEP = 16;

/** Weight tables: row f of 256 holds the kernel at fraction f / 256. */
function weightTable(filter: WarpFilter): { radius: number; count: number; table: Float32Array } | null {
  if (filter === 'nearest' || filter === 'bilinear') return null;
  const count = filter === 'bicubic' ? 4 : 6;
  const table = new Float32Array(1025 * count);
  const w = new Float64Array(count);
  for (let i = 0; i <= 1024; i++) {
    if (filter === 'bicubic') cubicWeights(i / 1024, w);
    else lanczos3Weights(i / 1024, w);
    table.set(w, i * count);
  }
  return { radius: count / 2, count, table };
}

interface Sampler {
  (level: PyramidLevel, x: number, y: number): number;
}

function makeSampler(filter: WarpFilter, boundary: Boundary): Sampler {
  const at = (level: PyramidLevel, x: number, y: number): number => {
    const i = boundaryIndex(x, level.width, boundary);
    const j = boundaryIndex(y, level.height, boundary);
    return i < 0 || j < 0 ? 0 : level.data[j * level.width + i]!;
  };
  if (filter === 'nearest') return (level, x, y) => at(level, Math.floor(x), Math.floor(y));
  const tables = weightTable(filter);
  if (tables === null) {
    return (level, x, y) => {
      const u = x - 0.5;
      const v = y - 0.5;
      const fx = Math.floor(u);
      const fy = Math.floor(v);
      const ax = u - fx;
      const ay = v - fy;
      const top = at(level, fx, fy) * (1 - ax) + at(level, fx + 1, fy) * ax;
      const bottom = at(level, fx, fy + 1) * (1 - ax) + at(level, fx + 1, fy + 1) * ax;
      return top * (1 - ay) + bottom * ay;
    };
  }
  const { radius, count, table } = tables;
  return (level, x, y) => {
    const u = x - 0.5;
    const v = y - 0.5;
    const fx = Math.floor(u);
    const fy = Math.floor(v);
    const ox = Math.round((u - fx) * 1024) * count;
    const oy = Math.round((v - fy) * 1024) * count;
    let sum = 0;
    for (let j = 0; j < count; j++) {
      let row = 0;
      for (let i = 0; i < count; i++) row += table[ox + i]! * at(level, fx + i - radius + 1, fy + j - radius + 1);
      sum += table[oy + j]! * row;
    }
    return sum;
  };
}

/** As the kernel computes it: Math.hypot rounds differently, and a grid size could differ by one. */
function length2(a: number, b: number): number {
  return Math.sqrt(a * a + b * b);
}

function invert3(m: ArrayLike<number>): Float64Array {
  const [a, b, c, d, e, f, g, h, i] = [m[0]!, m[1]!, m[2]!, m[3]!, m[4]!, m[5]!, m[6]!, m[7]!, m[8]!];
  const A = e * i - f * h;
  const B = f * g - d * i;
  const C = d * h - e * g;
  const det = a * A + b * B + c * C;
  if (!(Math.abs(det) > 1e-14) || !Number.isFinite(det)) {
    throw new PlatewrightError(
      'PW-IMAGE-WARP',
      'the warp matrix is singular, so the picture would collapse to a line',
      { kind: 'internal', detail: { matrix: Array.from(m) } },
    );
  }
  return Float64Array.of(
    A / det,
    (c * h - b * i) / det,
    (b * f - c * e) / det,
    B / det,
    (a * i - c * g) / det,
    (c * d - a * f) / det,
    C / det,
    (b * g - a * h) / det,
    (a * e - b * d) / det,
  );
}

/** Plain twin of {@link warpHomography}. */
export function warpHomographyPlain(
  src: Picture,
  sourceToDestination: ArrayLike<number>,
  outWidth: number,
  outHeight: number,
  options: WarpOptions = {},
  dst?: Picture,
): Picture {
  const out = warpTarget(src, outWidth, outHeight, dst);
  const boundary = options.boundary ?? 'zero';
  const sample = makeSampler(options.filter ?? 'bicubic', boundary);
  const m = invert3(sourceToDestination);
  const footprint = options.footprint ?? true;
  for (let c = 0; c < src.channels; c++) {
    const levels = buildPyramid(plane(src, c), src.width, src.height, footprint ? 12 : 1, 2);
    const to = plane(out, c);
    for (let y = 0; y < outHeight; y++) {
      for (let x0 = 0; x0 < outWidth; x0 += FOOTPRINT_STEP) {
        const x1 = Math.min(outWidth, x0 + FOOTPRINT_STEP);
        // Grid and level for this run of pixels.
        const cx = 0.5 * (x0 + x1);
        const cy = y + 0.5;
        const w0 = m[6]! * cx + m[7]! * cy + m[8]!;
        const px = (m[0]! * cx + m[1]! * cy + m[2]!) / w0;
        const py = (m[3]! * cx + m[4]! * cy + m[5]!) / w0;
        const sx = length2((m[0]! - px * m[6]!) / w0, (m[3]! - py * m[6]!) / w0);
        const sy = length2((m[1]! - px * m[7]!) / w0, (m[4]! - py * m[7]!) / w0);
        let level = 0;
        let gx = 1;
        let gy = 1;
        if (footprint && Number.isFinite(sx) && Number.isFinite(sy)) {
          const least = Math.min(sx, sy);
          while (level + 1 < levels.length && least >= LEVEL_FROM * 2 ** level) level++;
          const k = 2 ** -level;
          gx = Math.min(MAX_GRID, Math.max(1, Math.ceil(sx * k - 0.25)));
          gy = Math.min(MAX_GRID, Math.max(1, Math.ceil(sy * k - 0.25)));
        }
        const L = levels[level]!;
        const scale = 2 ** -level;
        for (let x = x0; x < x1; x++) {
          let sum = 0;
          for (let j = 0; j < gy; j++) {
            for (let i = 0; i < gx; i++) {
              const dx = x + (i + 0.5) / gx;
              const dy = y + (j + 0.5) / gy;
              const w = m[6]! * dx + m[7]! * dy + m[8]!;
              if (w * w0 <= 0) continue; // behind the camera
              const u = (m[0]! * dx + m[1]! * dy + m[2]!) / w;
              const v = (m[3]! * dx + m[4]! * dy + m[5]!) / w;
              if (u < -1e6 || u > 1e6 || v < -1e6 || v > 1e6) continue;
              sum += sample(L, u * scale, v * scale);
            }
          }
          to[y * outWidth + x] = sum / (gx * gy);
        }
      }
    }
  }
  return out;
}

/**
 * Draws `src` through a matrix from source to destination pixels into a picture of outWidth × outHeight.
 * `dst` must not be `src`. Throws `PW-IMAGE-WARP` for a singular matrix.
 */
export function warpHomography(
  src: Picture,
  sourceToDestination: ArrayLike<number>,
  outWidth: number,
  outHeight: number,
  options: WarpOptions = {},
  dst?: Picture,
): Picture {
  if (outWidth * outHeight < KERNEL_FROM_PIXELS)
    return warpHomographyPlain(src, sourceToDestination, outWidth, outHeight, options, dst);
  const out = warpTarget(src, outWidth, outHeight, dst);
  const m = invert3(sourceToDestination);
  const filter = options.filter ?? 'bicubic';
  const footprint = options.footprint ?? true;
  const door = kernels();
  const scope = door.scope();
  try {
    const base = scope.input(src.data);
    const levels = footprint ? levelsNeeded(m, src, outWidth, outHeight) : 1;
    const records = levelRecords(door, scope, src, base, levels);
    const args = [
      records.pointer,
      records.count,
      src.channels,
      scope.input(m),
      scope.output(out.data),
      outWidth,
      outHeight,
      FILTER_CODE[filter],
      BOUNDARY_MODE[options.boundary ?? 'zero'],
      footprint ? 1 : 0,
      kernelTable(scope, filter),
    ];
    door.run('warpHomography', args, outHeight, 4 * outWidth * src.channels, 256);
    scope.finish();
  } finally {
    scope.close();
  }
  return out;
}

const FILTER_CODE: Record<WarpFilter, number> = { nearest: 0, bilinear: 1, bicubic: 2, lanczos3: 3 };

/** The weight table as the kernel reads it: rows of 4 or 8 floats. */
function kernelTable(scope: KernelScope, filter: WarpFilter): number {
  const tables = weightTable(filter);
  if (tables === null) return 0;
  if (tables.count === 4) return scope.input(tables.table);
  const wide = new Float32Array(1025 * 8);
  for (let i = 0; i <= 1024; i++) wide.set(tables.table.subarray(6 * i, 6 * i + 6), 8 * i);
  return scope.input(wide);
}

/** How many pyramid levels the coarsest footprint of this map can ask for (the kernel picks among them). */
function levelsNeeded(m: Float64Array, src: Picture, outWidth: number, outHeight: number): number {
  let most = 1;
  for (let y = 0.5; y < outHeight; y += 1) {
    for (let x0 = 0; x0 < outWidth; x0 += FOOTPRINT_STEP) {
      const cx = 0.5 * (x0 + Math.min(outWidth, x0 + FOOTPRINT_STEP));
      const w = m[6]! * cx + m[7]! * y + m[8]!;
      const px = (m[0]! * cx + m[1]! * y + m[2]!) / w;
      const py = (m[3]! * cx + m[4]! * y + m[5]!) / w;
      const least = Math.min(
        length2((m[0]! - px * m[6]!) / w, (m[3]! - py * m[6]!) / w),
        length2((m[1]! - px * m[7]!) / w, (m[4]! - py * m[7]!) / w),
      );
      if (least >= LEVEL_FROM && Number.isFinite(least))
        most = Math.max(most, 2 + Math.floor(Math.log2(least / LEVEL_FROM)));
    }
    // An affine map has one footprint.
    if (m[6] === 0 && m[7] === 0) break;
  }
  let available = 1;
  for (let w = src.width, h = src.height; available < 12; available++) {
    w = halfSize(w);
    h = halfSize(h);
    if (Math.min(w, h) < 2) break;
  }
  return Math.min(most, available);
}

function levelRecords(
  door: KernelDoor,
  scope: KernelScope,
  src: Picture,
  base: number,
  count: number,
): { pointer: number; count: number } {
  const words = new Int32Array(5 * count);
  let { width, height } = src;
  let at = base;
  for (let l = 0; l < count; l++) {
    words.set([at | 0, width, height, 4 * width * height, 0], 5 * l);
    if (l + 1 === count) break;
    const w = halfSize(width);
    const h = halfSize(height);
    const next = scope.allocate(4 * w * h * src.channels);
    for (let c = 0; c < src.channels; c++)
      door.run(
        'halve',
        [at + 4 * c * width * height, next + 4 * c * w * h, width, height],
        h,
        2 * width,
        4 * width + 128,
      );
    at = next;
    width = w;
    height = h;
  }
  return { pointer: scope.input(words), count };
}

/** Plain twin of {@link warpMap}. */
export function warpMapPlain(
  src: Picture,
  mapX: Float32Array,
  mapY: Float32Array,
  outWidth: number,
  outHeight: number,
  options: WarpOptions = {},
  dst?: Picture,
): Picture {
  const out = warpTarget(src, outWidth, outHeight, dst);
  const n = outWidth * outHeight;
  if (mapX.length !== n || mapY.length !== n) {
    throw new PlatewrightError(
      'PW-IMAGE-SHAPE',
      `the warp map has ${mapX.length} and ${mapY.length} values, but the result ${n} pixels`,
      { kind: 'internal' },
    );
  }
  const sample = makeSampler(options.filter ?? 'bilinear', options.boundary ?? 'clamp');
  for (let c = 0; c < src.channels; c++) {
    const level: PyramidLevel = { width: src.width, height: src.height, data: plane(src, c) };
    const to = plane(out, c);
    for (let i = 0; i < n; i++) {
      const x = mapX[i]!;
      const y = mapY[i]!;
      to[i] = x > -1e6 && x < 1e6 && y > -1e6 && y < 1e6 ? sample(level, x, y) : 0;
    }
  }
  return out;
}

/**
 * Reads `src` at (mapX, mapY) for each destination pixel (continuous source coordinates, pixel
 * centres at +0.5); a value that is not a number gives 0. No footprint: the map must not make
 * smaller. Default bilinear, edge pixel repeated.
 */
export function warpMap(
  src: Picture,
  mapX: Float32Array,
  mapY: Float32Array,
  outWidth: number,
  outHeight: number,
  options: WarpOptions = {},
  dst?: Picture,
): Picture {
  const n = outWidth * outHeight;
  if (n < KERNEL_FROM_PIXELS || mapX.length !== n || mapY.length !== n)
    return warpMapPlain(src, mapX, mapY, outWidth, outHeight, options, dst);
  const out = warpTarget(src, outWidth, outHeight, dst);
  const filter = options.filter ?? 'bilinear';
  const door = kernels();
  const scope = door.scope();
  try {
    const records = levelRecords(door, scope, src, scope.input(src.data), 1);
    door.run(
      'warpMap',
      [
        records.pointer,
        src.channels,
        scope.input(mapX),
        scope.input(mapY),
        scope.output(out.data, true),
        outWidth,
        outHeight,
        FILTER_CODE[filter],
        BOUNDARY_MODE[options.boundary ?? 'clamp'],
        kernelTable(scope, filter),
      ],
      outHeight,
      4 * outWidth * src.channels,
      256,
    );
    scope.finish();
  } finally {
    scope.close();
  }
  return out;
}

function warpTarget(src: Picture, width: number, height: number, dst: Picture | undefined): Picture {
  const out = dst ?? createPicture(width, height, src.channels);
  if (out.width !== width || out.height !== height || out.channels !== src.channels) {
    throw new PlatewrightError(
      'PW-IMAGE-SHAPE',
      `the warp writes ${width}×${height}×${src.channels}, ` +
        `but the destination is ${out.width}×${out.height}×${out.channels}`,
      { kind: 'internal' },
    );
  }
  if (out.data === src.data)
    throw new PlatewrightError('PW-IMAGE-ALIAS', 'a warp can not write over its own source', { kind: 'internal' });
  return out;
}
