/**
 * Transfer curves as the door needs them: display- or camera-coded value to scene-linear and back.
 *
 * - `bt709` (also 601 and 2020 SDR): ITU-R BT.709-6 item 1.2 with the exact constants alpha = 1.09929682680944,
 *   beta = 0.018053968510807 (BT.2020-2 Table 4), continuous at the joint; the inverse OETF, so scene light.
 * - `srgb`: IEC 61966-2-1.
 * - `pq`: SMPTE ST 2084 / BT.2100 Table 4, display light in cd/m2, scaled so that diffuse white (203 cd/m2, ITU-R BT.2408) is 1.0.
 * - `hlg`: BT.2100 Table 5 inverse OETF, scene light, scaled so that diffuse white (75 % signal, BT.2408) is 1.0.
 * - `gamma22`, `gamma28`: BT.470 System M and B/G pure powers.
 *
 * All are extended as odd functions below zero, and above one by the same formula, so that overshoots survive a round trip.
 */
import type { TransferName } from './types.js';

const ALPHA = 1.09929682680944;
const BETA = 0.018053968510807;

const M1 = 2610 / 16384, M2 = (2523 / 4096) * 128, C1 = 3424 / 4096, C2 = (2413 / 4096) * 32, C3 = (2392 / 4096) * 32;
/** Luminance of HDR reference white, ITU-R BT.2408. */
export const PQ_WHITE_CDM2 = 203;
const HLG_A = 0.17883277, HLG_B = 1 - 4 * HLG_A, HLG_C = 0.5 - HLG_A * Math.log(4 * HLG_A);
/** BT.2408: HDR reference white stands at 75 % of the HLG signal. */
const HLG_WHITE = hlgInverse(0.75);

/** HLG signal (0..1) to scene light 0..1, BT.2100 inverse OETF. */
export function hlgInverse(v: number): number {
  return v <= 0.5 ? (v * v) / 3 : (Math.exp((v - HLG_C) / HLG_A) + HLG_B) / 12;
}

/** Scene light 0..1 to HLG signal, BT.2100 OETF. */
export function hlgForward(e: number): number {
  return e <= 1 / 12 ? Math.sqrt(3 * e) : HLG_A * Math.log(12 * e - HLG_B) + HLG_C;
}

/** PQ signal (0..1) to luminance in cd/m2. */
export function pqInverse(v: number): number {
  const p = Math.pow(Math.max(v, 0), 1 / M2);
  return 10000 * Math.pow(Math.max(p - C1, 0) / (C2 - C3 * p), 1 / M1);
}

/** Luminance in cd/m2 to PQ signal. */
export function pqForward(cdm2: number): number {
  const y = Math.pow(Math.max(cdm2, 0) / 10000, M1);
  return Math.pow((C1 + C2 * y) / (1 + C3 * y), M2);
}

/** Coded value to scene-linear. */
export function toLinearValue(v: number, transfer: TransferName): number {
  if (v < 0) return transfer === 'pq' ? 0 : -toLinearValue(-v, transfer);
  switch (transfer) {
    case 'linear': return v;
    case 'bt709': return v < 4.5 * BETA ? v / 4.5 : Math.pow((v + (ALPHA - 1)) / ALPHA, 1 / 0.45);
    case 'srgb': return v <= 0.04045 ? v / 12.92 : Math.pow((v + 0.055) / 1.055, 2.4);
    case 'pq': return pqInverse(Math.min(v, 1)) / PQ_WHITE_CDM2;
    case 'hlg': return hlgInverse(v) / HLG_WHITE;
    case 'gamma22': return Math.pow(v, 2.2);
    case 'gamma28': return Math.pow(v, 2.8);
  }
}

/** Scene-linear value to coded. */
export function toCodedValue(l: number, transfer: TransferName): number {
  if (l < 0) return transfer === 'pq' ? 0 : -toCodedValue(-l, transfer);
  switch (transfer) {
    case 'linear': return l;
    case 'bt709': return l < BETA ? 4.5 * l : ALPHA * Math.pow(l, 0.45) - (ALPHA - 1);
    case 'srgb': return l <= 0.0031308 ? 12.92 * l : 1.055 * Math.pow(l, 1 / 2.4) - 0.055;
    case 'pq': return pqForward(l * PQ_WHITE_CDM2);
    case 'hlg': return hlgForward(l * HLG_WHITE);
    case 'gamma22': return Math.pow(l, 1 / 2.2);
    case 'gamma28': return Math.pow(l, 1 / 2.8);
  }
}
