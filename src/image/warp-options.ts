/** What the warps share: their options and the checked picture they draw into. */
import { PlatewrightError } from '../core/errors.js';
import type { Boundary } from './boundary.js';
import { createPicture, type Picture } from './picture.js';
import type { WarpFilter } from './warp-sampler.js';

/** How a picture is warped. */
export interface WarpOptions {
  /** Between pixels; default bicubic. */
  readonly filter?: WarpFilter;
  /** Beyond the source's edge; default 'zero' for `warpHomography`, 'clamp' for `warpMap`. */
  readonly boundary?: Boundary;
  /** False switches the footprint off (only for maps known never to make smaller). Default true. */
  readonly footprint?: boolean;
}

/** Most samples along one side of the grid that covers a destination pixel. */
export const MAX_GRID = 8;

/**
 * The picture that a warp draws into: `dst`, or a new one. Throws `PW-IMAGE-SHAPE` where `dst` has another size, `PW-
 * IMAGE-ALIAS` where it is the source.
 */
export function warpTarget(src: Picture, width: number, height: number, dst: Picture | undefined): Picture {
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
