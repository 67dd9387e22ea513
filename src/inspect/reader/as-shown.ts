/**
 * Codes of light (OpenEXR) and of HDR curves brought to BT.709's, by which the inspection reads and the join of such a
 * plate is written (`toDelivery`, cut/assemble.ts, does so for deliveries). Primaries stay as they are.
 */
import type { Picture } from '../../image/picture.js';
import { shownAsCoded } from '../../media/colour-tags.js';
import { encode, linearise } from '../../media/curve-table.js';
import type { TransferName } from '../../media/types.js';

/** The picture's colours in place; curves that a display of standard range shows as they are keep their codes. */
export function asShown(picture: Picture, transfer: TransferName): Picture {
  if (shownAsCoded(transfer)) return picture;
  const colours = picture.data.subarray(0, 3 * picture.width * picture.height);
  linearise(colours, colours, transfer);
  encode(colours, colours, 'bt709');
  return picture;
}
