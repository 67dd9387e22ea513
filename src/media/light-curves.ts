/**
 * The curves of src/colour at the media door's own scale: 1.0 is diffuse white. For the SDR curves nothing changes. PQ's display
 * light is divided by 203 cd/m² and HLG's scene light by its value at 75 % of the signal, where ITU-R BT.2408 puts HDR
 * reference white. (PQ carries display light; it is taken as scene light here, without a display's OOTF undone.)
 */
import { decodeTransfer, encodeTransfer, hlgDecode } from '../colour/transfer.js';
import type { TransferName } from './types.js';

/** Luminance of HDR reference white, ITU-R BT.2408. */
export const PQ_WHITE_CDM2 = 203;

/** Factor from the unit of src/colour's curve to diffuse white = 1. */
export function whiteScale(transfer: TransferName): number {
  return transfer === 'pq' ? 10000 / PQ_WHITE_CDM2 : transfer === 'hlg' ? 1 / hlgDecode(0.75) : 1;
}

/** Coded value to scene-linear, diffuse white = 1. */
export function decodeLight(coded: number, transfer: TransferName): number {
  return decodeTransfer(transfer, coded) * whiteScale(transfer);
}

/** Scene-linear value to coded. */
export function encodeLight(linear: number, transfer: TransferName): number {
  return encodeTransfer(transfer, linear / whiteScale(transfer));
}
