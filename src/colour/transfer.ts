/**
 * Transfer curves, one function each way, scalar, exact to double precision.
 *
 * | name    | source | coded 0..1 ↔ |
 * |---------|--------|---|
 * | bt709 | ITU-R BT.709-6 OETF (rounded constants 1.099, 0.018); BT.601 and BT.2020 (10-bit)
 * print the same | scene-linear, 1 = reference white |
 * | srgb    | IEC 61966-2-1:1999 | display-linear |
 * | bt1886  | ITU-R BT.1886 with Lb = 0: pure 2.4 power | display-linear |
 * | gamma22, gamma28 | pure powers (BT.470 M and B/G) | display-linear |
 * | pq      | SMPTE ST 2084 / ITU-R BT.2100 | display luminance; here 1 = 10 000 cd/m² |
 * | hlg     | ITU-R BT.2100 (not ARIB's form, which scales the scene to 12) | scene-linear, 1 = peak |
 * | linear  | no curve | |
 *
 * Curves with a linear toe are continued as odd functions below zero and by their own formula above one, so that
 * super-whites and undershoots survive a round trip.
 */
export type TransferName = 'bt709' | 'srgb' | 'bt1886' | 'gamma22' | 'gamma28' | 'pq' | 'hlg' | 'linear';

/** Scene-linear (1 = reference white) → coded, ITU-R BT.709-6 item 1.2. */
export function bt709Encode(linear: number): number {
  if (linear < 0) return -bt709Encode(-linear);
  return linear < 0.018 ? 4.5 * linear : 1.099 * linear ** 0.45 - 0.099;
}

/** Coded → scene-linear (1 = reference white): the inverse of {@link bt709Encode}. */
export function bt709Decode(coded: number): number {
  if (coded < 0) return -bt709Decode(-coded);
  return coded < 0.081 ? coded / 4.5 : ((coded + 0.099) / 1.099) ** (1 / 0.45);
}

/** Display-linear → coded, IEC 61966-2-1. */
export function srgbEncode(linear: number): number {
  if (linear < 0) return -srgbEncode(-linear);
  return linear <= 0.0031308 ? 12.92 * linear : 1.055 * linear ** (1 / 2.4) - 0.055;
}

/** Coded → display-linear, IEC 61966-2-1. */
export function srgbDecode(coded: number): number {
  if (coded < 0) return -srgbDecode(-coded);
  return coded <= 0.04045 ? coded / 12.92 : ((coded + 0.055) / 1.055) ** 2.4;
}

const PQ_M1 = 2610 / 16384;
const PQ_M2 = (2523 / 4096) * 128;
const PQ_C1 = 3424 / 4096;
const PQ_C2 = (2413 / 4096) * 32;
const PQ_C3 = (2392 / 4096) * 32;

/** PQ signal 0..1 → cd/m², 0..10 000 (EOTF). */
export function pqDecodeNits(coded: number): number {
  const p = Math.max(coded, 0) ** (1 / PQ_M2);
  return 10000 * (Math.max(p - PQ_C1, 0) / (PQ_C2 - PQ_C3 * p)) ** (1 / PQ_M1);
}

/** cd/m² → PQ signal (inverse EOTF). */
export function pqEncodeNits(nits: number): number {
  const y = (Math.max(nits, 0) / 10000) ** PQ_M1;
  return ((PQ_C1 + PQ_C2 * y) / (1 + PQ_C3 * y)) ** PQ_M2;
}

const HLG_A = 0.17883277;
const HLG_B = 1 - 4 * HLG_A;
const HLG_C = 0.5 - HLG_A * Math.log(4 * HLG_A);

/** HLG signal → scene light, 1 = peak (inverse OETF). */
export function hlgDecode(coded: number): number {
  if (coded < 0) return -hlgDecode(-coded);
  return coded <= 0.5 ? (coded * coded) / 3 : (Math.exp((coded - HLG_C) / HLG_A) + HLG_B) / 12;
}

/** Scene light, 1 = peak → HLG signal (OETF). */
function hlgEncode(linear: number): number {
  if (linear < 0) return -hlgEncode(-linear);
  return linear <= 1 / 12 ? Math.sqrt(3 * linear) : HLG_A * Math.log(12 * linear - HLG_B) + HLG_C;
}

/** HLG system gamma for a display of `peakNits` (BT.2100 note 5f). */
export function hlgSystemGamma(peakNits: number): number {
  return 1.2 + 0.42 * Math.log10(peakNits / 1000);
}

function oddPower(v: number, p: number): number {
  return v < 0 ? -((-v) ** p) : v ** p;
}

/** Coded 0..1 → linear light (units: see the table above). */
export function decodeTransfer(name: TransferName, coded: number): number {
  switch (name) {
    case 'bt709':
      return bt709Decode(coded);
    case 'srgb':
      return srgbDecode(coded);
    case 'bt1886':
      return oddPower(coded, 2.4);
    case 'gamma22':
      return oddPower(coded, 2.2);
    case 'gamma28':
      return oddPower(coded, 2.8);
    case 'pq':
      return pqDecodeNits(coded) / 10000;
    case 'hlg':
      return hlgDecode(coded);
    case 'linear':
      return coded;
  }
}

/** Linear light → coded 0..1. */
export function encodeTransfer(name: TransferName, linear: number): number {
  switch (name) {
    case 'bt709':
      return bt709Encode(linear);
    case 'srgb':
      return srgbEncode(linear);
    case 'bt1886':
      return oddPower(linear, 1 / 2.4);
    case 'gamma22':
      return oddPower(linear, 1 / 2.2);
    case 'gamma28':
      return oddPower(linear, 1 / 2.8);
    case 'pq':
      return pqEncodeNits(linear * 10000);
    case 'hlg':
      return hlgEncode(linear);
    case 'linear':
      return linear;
  }
}
