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

type Box = readonly [number, number, number, number];

/** The kernel's numbers of one placement (kernels/draw-placed.ts). */
function placedNumbers(
  inverse: Mat3,
  origin: readonly [number, number],
  box: Box,
  shift: ViewShift | null,
): Float64Array {
  const plain = [...inverse, box[0], box[1], origin[0], origin[1], shift === null ? 0 : 1];
  if (shift === null) return Float64Array.from(plain);
  const { foot, along, floor, field: f } = shift;
  const view = [...foot, ...along, floor, f.x0, f.y0, f.cell, f.width, f.height, ...sightList(shift.sight)];
  return Float64Array.from([...plain, ...view]);
}

/**
 * Draws `src` (planar premultiplied RGBA) through each of the placements and returns their mean: more than one where
 * the shutter smears. Parameters as of {@link drawPlacedPlain}; `room`: where the picture is to lie.
 */
export function drawPlaced(
  src: Picture,
  origin: readonly [number, number],
  toPlate: readonly Mat3[],
  box: Box,
  shift: ViewShift | null,
  { averaged = false, room }: { readonly averaged?: boolean; readonly room?: FrameRoom | undefined } = {},
): Picture {
  const w = box[2] - box[0],
    h = box[3] - box[1],
    n = src.width * src.height;
  if (w * h < KERNEL_FROM_PIXELS)
    return meanOf(toPlate.map((m) => drawPlacedPlain(interleave(src), origin, m, box, shift, averaged)));
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
    const field = shift === null ? 0 : scope.input(shift.field.z);
    const outs = toPlate.map((m) => {
      const { inverse, gx, gy, larger } = layOf(m, box, averaged);
      const numbers = scope.input(placedNumbers(inverse, origin, box, shift));
      const out = room?.picture(w, h, 4, true) ?? createPicture(w, h, 4);
      const into = scope.output(out.data);
      const grid = [gx, gy, larger ? 1 : 0, averaged ? ROUNDER : KEYS];
      door.run(
        'drawPlaced',
        [woven, src.width, src.height, numbers, field, heldAt, held.w, held.h, into, w, h, ...grid],
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
