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
import { BOUNDARY_MODE } from './boundary.js';
import { KERNEL_FROM_PIXELS, kernels } from './kernels.js';
import { plane, type Picture } from './picture.js';
import { buildPyramid } from './pyramid.js';
import { MAX_GRID, type WarpOptions, warpTarget } from './warp-options.js';
import { FILTER_CODE, kernelTable, makeSampler } from './warp-sampler.js';
import { FOOTPRINT_STEP, LEVEL_FROM, length2, levelRecords, levelsNeeded } from './warp-levels.js';

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
