/** `warpMap` reads a picture at a position given for each destination pixel (see warp.ts for filters and footprint). */
import { PlatewrightError } from '../core/errors.js';
import { BOUNDARY_MODE } from './boundary.js';
import { KERNEL_FROM_PIXELS, kernels } from './kernels.js';
import { plane, type Picture } from './picture.js';
import type { PyramidLevel } from './pyramid.js';
import { type WarpOptions, warpTarget } from './warp-options.js';
import { FILTER_CODE, kernelTable, makeSampler } from './warp-sampler.js';
import { levelRecords } from './warp-levels.js';

/** Plain twin of {@link warpMap}. Throws `PW-IMAGE-SHAPE` for maps of another size. */
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
