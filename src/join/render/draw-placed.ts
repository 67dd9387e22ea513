/**
 * Draws the performer onto plate pixels: one resampling from take to plate, through the placement's homography and,
 * where the camera's elevation is mended, the view shift. Making smaller, each plate pixel averages a grid of samples
 * no more than a take pixel apart (area integral, so that fur neither shimmers nor thins); making larger, bicubic (Keys
 * 1981, a = −1/2). Premultiplied RGBA, interleaved on the way in: four channels share one address.
 */
import { KERNEL_FROM_PIXELS, kernels } from '../../image/kernels.js';
import { createPicture, type Picture } from '../../image/picture.js';
import type { Mat3 } from '../../geometry/mat3.js';
import type { FrameRoom } from './frame-room.js';
import type { Sight } from '../body/view-sight.js';
import { drawPlacedPlain } from './draw-placed-plain.js';
import { interleave } from './interleaved.js';
import { CELL, KEYS, layOf, ROUNDER, summed, type ViewShift } from './placed-lay.js';

const sightList = (k: Sight): number[] => [
  k.cosFrom,
  k.sinFrom,
  k.cosTo,
  k.sinTo,
  k.fromPx,
  k.toPx,
  k.middleFrom,
  k.middleTo,
  k.size,
  k.cosTurn,
  k.sinTurn,
];

/**
 * Draws `src` (planar premultiplied RGBA) through each of the placements and returns their mean: more than one where
 * the shutter smears. Parameters as of {@link drawPlacedPlain}. @param room where the picture is to lie
 */
export function drawPlaced(
  src: Picture,
  origin: readonly [number, number],
  toPlate: readonly Mat3[],
  box: readonly [number, number, number, number],
  shift: ViewShift | null,
  averaged = false,
  room?: FrameRoom,
): Picture {
  const w = box[2] - box[0],
    h = box[3] - box[1],
    n = src.width * src.height;
  if (w * h < KERNEL_FROM_PIXELS)
    return meanOf(toPlate.map((m) => drawPlacedPlain(interleave(src), origin, m, box, shift, averaged)));
  const lays = toPlate.map((m) => layOf(m, box, averaged));
  const door = kernels();
  const scope = door.scope();
  try {
    const woven = scope.allocate(16 * n);
    door.run('weave', [scope.input(src.data), woven, n], Math.ceil(n / 1024), 1024);
    const hw = Math.ceil(src.width / CELL),
      hh = Math.ceil(src.height / CELL),
      any = scope.allocate(hw * hh);
    new Uint8Array(door.memory.buffer, any, hw * hh).fill(0);
    door.run('heldCells', [woven, src.width, src.height, 3, any, hw, hh], hh, src.width << 3);
    const held = summed(new Uint8Array(door.memory.buffer, any, hw * hh), hw, hh);
    const heldAt = scope.input(held.sum);
    const f = shift?.field;
    const field = f === undefined ? 0 : scope.input(f.z);
    const outs = lays.map(({ inverse, gx, gy, larger }) => {
      const k = Float64Array.of(
        ...inverse,
        box[0],
        box[1],
        origin[0],
        origin[1],
        shift === null ? 0 : 1,
        ...(shift === null || f === undefined
          ? []
          : [
              shift.foot[0],
              shift.foot[1],
              shift.along[0],
              shift.along[1],
              shift.floor,
              f.x0,
              f.y0,
              f.cell,
              f.width,
              f.height,
              ...sightList(shift.sight),
            ]),
      );
      const out = room?.picture(w, h, 4, true) ?? createPicture(w, h, 4);
      door.run(
        'drawPlaced',
        [
          woven,
          src.width,
          src.height,
          scope.input(k),
          field,
          heldAt,
          held.w,
          held.h,
          scope.output(out.data),
          w,
          h,
          gx,
          gy,
          larger ? 1 : 0,
          averaged ? ROUNDER : KEYS,
        ],
        h,
        w * gx * gy * 4,
        64 * (w + 9),
      );
      return out;
    });
    scope.finish();
    return meanOf(outs);
  } finally {
    scope.close();
  }
}

function meanOf(pictures: readonly Picture[]): Picture {
  const out = pictures[0]!;
  if (pictures.length === 1) return out;
  const d = out.data,
    k = 1 / pictures.length;
  for (const more of pictures.slice(1)) for (let i = 0; i < d.length; i++) d[i] = d[i]! + more.data[i]!;
  for (let i = 0; i < d.length; i++) d[i] = d[i]! * k;
  return out;
}
