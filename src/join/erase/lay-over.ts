/**
 * Lays a picture over another's pixels: by a matrix, and by what a plane leaves over where that was found
 * (local-field.ts).
 */
import { boundsOf } from '../../geometry/bounds.js';
import { multiply, tryInvert, type Mat3 } from '../../geometry/mat3.js';
import { createPicture, plane, type Picture } from '../../image/picture.js';
import { warpHomography } from '../../image/warp.js';
import { warpMap } from '../../image/warp-map.js';
import type { PartBox } from '../render/frame-part.js';
import { fieldRow, type LocalField } from './field-cells.js';

/** A field found at another scale and origin: the displacement at (x, y) px is field((x + x0) · scale) / scale. */
export interface Shift {
  readonly field: LocalField;
  readonly scale: number;
  readonly x0: number;
  readonly y0: number;
}

export type LayFilter = 'bilinear' | 'bicubic' | 'lanczos3';

/** A filter reads so far beyond a place, px (and colour is brought to full size from some further). */
const READS_PX = 5;

/**
 * Part of a source of w × h pixels that laying it over width × height pixels reads. Null where the matrix is singular.
 */
export function partRead(
  w: number,
  h: number,
  matrix: Mat3,
  width: number,
  height: number,
  shift: Shift | null = null,
): PartBox | null {
  const back = tryInvert(matrix);
  if (back === null) return null;
  const far = shift === null ? 0 : Math.ceil(reachOf(shift));
  const b = boundsOf(
    [
      [-far, -far],
      [width + far, -far],
      [width + far, height + far],
      [-far, height + far],
    ],
    back,
  );
  const box: PartBox = [
    Math.max(0, Math.floor(b[0]) - READS_PX),
    Math.max(0, Math.floor(b[1]) - READS_PX),
    Math.min(w, Math.ceil(b[2]) + READS_PX),
    Math.min(h, Math.ceil(b[3]) + READS_PX),
  ];
  return box[2] - box[0] > 8 && box[3] - box[1] > 8 ? box : [0, 0, w, h];
}

/**
 * `warpHomography` of only that part of the source which the result reads, without footprint: the mosaic is made so
 * that no map here makes smaller by more than its own oversampling, where the content ends below the result's band.
 */
export function layOver(
  src: Picture,
  matrix: Mat3,
  width: number,
  height: number,
  filter: LayFilter,
  boundary: 'clamp' | 'zero' = 'clamp',
  shift: Shift | null = null,
): Picture {
  const box = partRead(src.width, src.height, matrix, width, height, shift);
  if (box === null) return createPicture(width, height, src.channels);
  if (shift === null && wholeShift(matrix)) return shifted(src, matrix[2], matrix[5], width, height, boundary);
  const [x0, y0, x1, y1] = box;
  if ((x1 - x0) * (y1 - y0) > 0.8 * src.width * src.height)
    return layPart(src, 0, 0, matrix, width, height, filter, boundary, shift);
  const part = createPicture(x1 - x0, y1 - y0, src.channels);
  for (let c = 0; c < src.channels; c++) {
    const a = plane(src, c),
      to = plane(part, c);
    for (let y = y0; y < y1; y++) to.set(a.subarray(y * src.width + x0, y * src.width + x1), (y - y0) * part.width);
  }
  return layPart(part, x0, y0, matrix, width, height, filter, boundary, shift);
}

/**
 * {@link layOver} of a part cut out already: its corner is pixel x0, y0 of what `matrix` speaks of. `footprint`: it is
 * made smaller by more than that.
 */
export function layPart(
  part: Picture,
  x0: number,
  y0: number,
  matrix: Mat3,
  width: number,
  height: number,
  filter: LayFilter,
  boundary: 'clamp' | 'zero' = 'clamp',
  shift: Shift | null = null,
  footprint = false,
): Picture {
  const whole = multiply(matrix, [1, 0, x0, 0, 1, y0, 0, 0, 1]);
  const inverse = tryInvert(whole);
  if (inverse === null) return createPicture(width, height, part.channels);
  if (shift === null && wholeShift(whole)) return shifted(part, whole[2], whole[5], width, height, boundary);
  if (shift === null) return warpHomography(part, whole, width, height, { filter, boundary, footprint });
  const mapX = new Float32Array(width * height),
    mapY = new Float32Array(width * height),
    du = new Float32Array(width),
    dv = new Float32Array(width);
  for (let y = 0; y < height; y++) {
    fieldRow(shift.field, shift.x0, shift.scale, (y + 0.5 + shift.y0) * shift.scale, du, dv);
    for (let x = 0, o = y * width; x < width; x++, o++) {
      const u = x + 0.5 + du[x]! / shift.scale,
        v = y + 0.5 + dv[x]! / shift.scale;
      const w = 1 / (inverse[6] * u + inverse[7] * v + inverse[8]);
      mapX[o] = (inverse[0] * u + inverse[1] * v + inverse[2]) * w;
      mapY[o] = (inverse[3] * u + inverse[4] * v + inverse[5]) * w;
    }
  }
  return warpMap(part, mapX, mapY, width, height, { filter, boundary });
}

/** A shift by whole pixels: every filter here then reads one pixel alone. */
function wholeShift(m: Mat3): boolean {
  return (
    m[0] === 1 &&
    m[1] === 0 &&
    m[3] === 0 &&
    m[4] === 1 &&
    m[6] === 0 &&
    m[7] === 0 &&
    m[8] === 1 &&
    Number.isInteger(m[2]) &&
    Number.isInteger(m[5])
  );
}

function shifted(
  src: Picture,
  dx: number,
  dy: number,
  width: number,
  height: number,
  boundary: 'clamp' | 'zero',
): Picture {
  const out = createPicture(width, height, src.channels);
  const x0 = Math.min(width, Math.max(0, dx)),
    x1 = Math.max(x0, Math.min(width, dx + src.width));
  for (let c = 0; c < src.channels; c++) {
    const from = plane(src, c),
      to = plane(out, c);
    for (let y = 0; y < height; y++) {
      const v = y - dy,
        row = Math.min(src.height - 1, Math.max(0, v)) * src.width;
      if (boundary === 'zero' && v !== row / src.width) continue;
      if (x1 > x0) to.set(from.subarray(row + x0 - dx, row + x1 - dx), y * width + x0);
      if (boundary === 'zero') continue;
      to.fill(from[row]!, y * width, y * width + x0);
      to.fill(from[row + src.width - 1]!, y * width + x1, (y + 1) * width);
    }
  }
  return out;
}

function reachOf(s: Shift): number {
  let most = 0;
  for (let i = 0; i < s.field.u.length; i++) most = Math.max(most, Math.abs(s.field.u[i]!), Math.abs(s.field.v[i]!));
  return most / s.scale;
}
