/**
 * The curves of src/colour at the media door's own scale: scene light, 1.0 is diffuse white. For the SDR curves
 * nothing changes. HLG's scene light is divided by its value at 75 % of the signal and PQ's display light by
 * 203 cd/m², where ITU-R BT.2408 puts HDR reference white. PQ carries what a display shows; the display's own
 * contrast (BT.2100's HLG OOTF at 1000 cd/m², a power of 1.2, by which BT.2408 passes between the two systems;
 * here channel by channel) is taken off it. So a grey card of 18 % stands at .18 in either: 26 cd/m² and 38 %
 * of the signal in BT.2408's table (from memory).
 */
import { decodeTransfer, encodeTransfer, hlgDecode, hlgSystemGamma } from '../colour/transfer.js';
import type { TransferName } from './types.js';

/** Luminance of HDR reference white, ITU-R BT.2408. */
export const PQ_WHITE_CDM2 = 203;

const PQ_CONTRAST = hlgSystemGamma(1000);

/** Factor from the unit of src/colour's curve to diffuse white = 1. */
function whiteScale(transfer: TransferName): number {
  return transfer === 'pq' ? 10000 / PQ_WHITE_CDM2 : transfer === 'hlg' ? 1 / hlgDecode(0.75) : 1;
}

/** Coded value to scene-linear, diffuse white = 1. */
export function decodeLight(coded: number, transfer: TransferName): number {
  const light = decodeTransfer(transfer, coded) * whiteScale(transfer);
  return transfer === 'pq' ? Math.max(light, 0) ** (1 / PQ_CONTRAST) : light;
}

/** Scene-linear value to coded. */
export function encodeLight(linear: number, transfer: TransferName): number {
  return encodeTransfer(
    transfer,
    (transfer === 'pq' ? Math.max(linear, 0) ** PQ_CONTRAST : linear) / whiteScale(transfer),
  );
}
