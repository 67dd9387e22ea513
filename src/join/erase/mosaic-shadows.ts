/**
 * The shadow of what hides the set, found as a whole in each source of the still picture (source-shadows.ts) over a
 * smaller one.
 */
import { boundsOf } from '../../geometry/bounds.js';
import { maskBox } from '../../image/mask-box.js';
import { multiply, tryInvert, type Mat3 } from '../../geometry/mat3.js';
import type { Shift } from './lay-over.js';
import { shineOn } from './light-plane.js';
import type { MosaicFrame } from './mosaic-frame.js';
import type { FoundShadows } from './pixel-samples.js';
import { laySource, validity, type Placed } from './mosaic-source.js';
import { sourceShadows } from './source-shadows.js';

/** Side of the picture on which shadows are looked for in the sources, px. */
const COARSE_SHADOW = 240;

/** Bounds of a shadow in the pixels of the source frame that shows it. */
export interface ShadowPlace {
  readonly frame: number;
  readonly box: readonly [number, number, number, number];
}

/** Looks for shadows; null where none is found. */
export function shadowsOf(placed: readonly Placed[], frame: MosaicFrame): FoundShadows | null {
  const scale = Math.min(1, COARSE_SHADOW / Math.max(frame.width, frame.height)),
    width = Math.max(16, Math.round(frame.width * scale)),
    height = Math.max(16, Math.round(frame.height * scale)),
    shrink: Mat3 = [scale, 0, 0, 0, scale, 0, 0, 0, 1];
  const laid = placed.map((p) => {
    const matrix = multiply(shrink, p.matrix),
      shift: Shift | null = p.field === null ? null : { field: p.field, scale: p.fieldScale / scale, x0: 0, y0: 0 };
    const rgb = laySource(p.source, matrix, width, height, 'bilinear', shift, true);
    if (p.light !== null) shineOn(rgb, p.light, -1, p.fieldScale / scale);
    return { rgb, seen: validity(p.source, matrix, width, height, shift) };
  });
  const masks = sourceShadows(laid, width, height);
  return masks === null ? null : { masks, width, height, scale };
}

/** Bounds of the found shadows in the sources' own pixels. */
export function placesOf(found: FoundShadows, placed: readonly Placed[]): ShadowPlace[] {
  return placed.flatMap((p, j) => {
    const back = tryInvert(p.matrix);
    const k = 1 / found.scale;
    const shadow = maskBox(found.masks[j]!, found.width, found.height);
    if (back === null || shadow === null) return [];
    const [x0, y0, x1, y1] = shadow;
    return [
      {
        frame: p.source.frame,
        box: boundsOf(
          [
            [x0 * k, y0 * k],
            [x1 * k, y0 * k],
            [x1 * k, y1 * k],
            [x0 * k, y1 * k],
          ],
          back,
        ),
      },
    ];
  });
}
