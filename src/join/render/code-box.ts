/**
 * A composed box from light to display-coded values, only about the pixels that changed: the rest stays the plate's own
 * and is never read, except by the chroma samples that a changed pixel shares with its neighbours. By the kernel
 * kernels/lay-coded.ts.
 */
import type { FrameRoom } from './frame-room.js';
import { KERNEL_FROM_PIXELS, kernels } from '../../image/kernels.js';
import { createPicture, type Picture } from '../../image/picture.js';
import { linearToCoded } from '../../media/convert.js';
import { encodeTable } from '../../media/curve-table.js';
import type { TransferName } from '../../media/types.js';

/**
 * Rows about a changed pixel that are coded too: more than chroma of any subsampling reaches. Across it is 8 pixels.
 */
const REACH = 8;

/** Display-coded values of `linear` (three planes) wherever a pixel within reach is `changed`; elsewhere anything. */
export function codeChanged(linear: Picture, changed: Uint8Array, transfer: TransferName, room?: FrameRoom): Picture {
  const { width: w, height: h } = linear;
  if (w * h < KERNEL_FROM_PIXELS || transfer === 'linear') return linearToCoded(linear, transfer);
  const out = room?.picture(w, h, 3, true) ?? createPicture(w, h, 3);
  const table = encodeTable(transfer);
  const door = kernels(),
    scope = door.scope();
  try {
    door.run(
      'codeChanged',
      [
        scope.input(linear.data),
        scope.output(out.data, room === undefined),
        scope.input(changed),
        w,
        h,
        scope.input(table.knots),
        table.steps,
        table.count,
        table.odd ? 1 : 0,
        REACH,
      ],
      h,
      w * 6,
      w + 64,
    );
    scope.finish();
  } finally {
    scope.close();
  }
  return out;
}
