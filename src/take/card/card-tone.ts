/** Tone of the printed card where it must be predicted as a whole: under shadows and beside the ball. */
import type { QrCodeGenerateResult } from 'uqr';
import { CODE_SPOT, PATCHES, cardReflectance } from '../../brief/card-layout.js';

/** Light that a code throws back in the mean, paper being 1: what is left of it where it is too small to be read. */
const CODE_MEAN = 0.52;

/**
 * Light that the card throws back at a point (mm), paper being 1: patches by their
 * intended tone, the code as it was read or as grey.
 * @param ink the same of the fiducials
 */
export function printTone(x: number, y: number, ink: number, code: QrCodeGenerateResult | null): number {
  const r = cardReflectance(x, y);
  if (r !== null) return r < 0.5 ? ink : 1;
  const p = PATCHES.find((q) => x >= q.x && x < q.x + q.width && y >= q.y && y < q.y + q.height);
  const size = code?.size ?? 1;
  const i = Math.floor(((x - CODE_SPOT.x) / CODE_SPOT.size) * size);
  const j = Math.floor(((y - CODE_SPOT.y) / CODE_SPOT.size) * size);
  if (i >= 0 && j >= 0 && i < size && j < size) return code === null ? CODE_MEAN : code.data[j]![i]! ? ink : 1;
  return p === undefined ? 1 : 0.2126 * p.linear[0] + 0.7152 * p.linear[1] + 0.0722 * p.linear[2];
}
