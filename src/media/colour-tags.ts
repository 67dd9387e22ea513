/**
 * Colour tags of a stream (ITU-T H.273 code points) as the door's own names, and what is assumed where a file says
 * nothing.
 */
import { PRIMARIES, type Primaries } from '../colour/matrices.js';
import { C } from './ffmpeg.js';
import type { ColourTags, MatrixName, PrimariesName, TransferName } from './types.js';
import type { PlaneFormat } from './pixel-formats.js';

export interface StreamColourCodes {
  readonly range: number;
  readonly space: number;
  readonly transfer: number;
  readonly primaries: number;
}

/**
 * H.273 matrix coefficients. YCgCo, ICtCp and constant-luminance 2020 are not Y'CbCr of this kind and come back null.
 */
function matrixOf(code: number): MatrixName | null {
  switch (code) {
    case 1:
      return 'bt709';
    case 5:
    case 6:
      return 'bt601';
    case 9:
      return 'bt2020';
    case 0:
      return 'rgb';
    default:
      return null;
  }
}

function transferOf(code: number): TransferName | null {
  switch (code) {
    // 601, 709 and 2020 share one curve; xvYCC extends it symmetrically, as the door does for all.
    case 1:
    case 6:
    case 11:
    case 14:
    case 15:
      return 'bt709';
    case 4:
      return 'gamma22';
    case 5:
      return 'gamma28';
    case 8:
      return 'linear';
    case 13:
      return 'srgb';
    case 16:
      return 'pq';
    case 18:
      return 'hlg';
    default:
      return null;
  }
}

function primariesOf(code: number): PrimariesName | null {
  switch (code) {
    case 1:
      return 'bt709';
    case 5:
      return 'bt601-625';
    case 6:
    case 7:
      return 'bt601-525';
    case 9:
      return 'bt2020';
    case 12:
      return 'p3';
    default:
      return null;
  }
}

/**
 * Reads the tags of a stream. Where it is silent: pictures 1280 wide or more, or taller than 576, are BT.709; smaller
 * ones use the BT.601 matrix, with the primaries of 525 or 625 lines only at exactly those sizes (common practice of
 * players, no source); the transfer is BT.709's; range is limited for Y'CbCr unless the format says otherwise, full
 * for RGB and grey. A still of sRGB has the transfer of film too ({@link curveOfStill}).
 */
export function readColourTags(
  codes: StreamColourCodes,
  format: PlaneFormat,
  widthPx: number,
  heightPx: number,
  still: boolean,
): { tags: ColourTags; notes: string[] } {
  // In words. A still that is silent is taken as its kind of file usually is: only its range is assumed.
  const missing: string[] = [];
  const assume = <T extends string>(what: string, name: T): T => {
    if (!still) missing.push(`${what} ${name}`);
    return name;
  };
  const size = sizeClass(widthPx, heightPx);
  let matrix: MatrixName = 'rgb';
  if (format.layout === 'yuv') {
    const told = matrixOf(codes.space);
    // A JPEG's matrix is fixed by JFIF (BT.601), so nothing is assumed there.
    matrix = told !== null && told !== 'rgb' ? told : assume('matrix', still || size !== 'large' ? 'bt601' : 'bt709');
  }
  const primaries = primariesOf(codes.primaries) ?? assume('primaries', usualPrimaries(size, matrix, still));
  const told = transferOf(codes.transfer);
  const transfer = format.float ? 'linear' : still ? curveOfStill(told) : (told ?? assume('transfer', 'bt709'));
  const yuv = format.layout === 'yuv';
  const saysLimited = codes.range === C.AVCOL_RANGE_MPEG;
  const fullRange = (format.fullRangeByName || codes.range === C.AVCOL_RANGE_JPEG) && (yuv || !saysLimited);
  if (yuv && codes.range === C.AVCOL_RANGE_UNSPECIFIED && !format.fullRangeByName) missing.push('limited range');
  const notes =
    missing.length > 0 ? [`the file does not say its colour; assumed by its size: ${missing.join(', ')}`] : [];
  return { tags: { matrix, transfer, primaries, fullRange, assumed: missing.length > 0 }, notes };
}

/**
 * The curve by which a still's integer codes become working light: BT.709's, as film's, for sRGB, its near power of 2.2
 * and where the file is silent; else what the file says.
 *
 * A still's codes and a film's are meant for the same screen: sRGB (IEC 61966-2-1) and BT.1886 both describe displays,
 * while the curve that film is taken to light by is BT.709's of a camera. By sRGB's own curve a still would stand half
 * to two thirds of a stop under film of the same codes, and come out so of a join, which is written by BT.709's.
 */
function curveOfStill(told: TransferName | null): TransferName {
  return told === null || told === 'srgb' || told === 'gamma22' ? 'bt709' : told;
}

/** Sizes of 525-line and 625-line video, other small ones, and those of high definition. */
function sizeClass(widthPx: number, heightPx: number): '525 lines' | '625 lines' | 'small' | 'large' {
  if (widthPx >= 1280 || heightPx > 576) return 'large';
  if ((heightPx === 480 || heightPx === 486) && [640, 704, 720].includes(widthPx)) return '525 lines';
  if (heightPx === 576 && [704, 720, 768].includes(widthPx)) return '625 lines';
  return 'small';
}

function usualPrimaries(size: ReturnType<typeof sizeClass>, matrix: MatrixName, still: boolean): PrimariesName {
  if (!still && size === '525 lines') return 'bt601-525';
  if (!still && size === '625 lines') return 'bt601-625';
  return matrix === 'bt2020' ? 'bt2020' : 'bt709';
}

/**
 * Whether codes of this curve are what a display of standard range shows as they are: BT.709 video, sRGB and plain
 * powers. Shown one beside the other on one display (BT.1886) they keep their codes; going from one camera curve to
 * another through linear light would darken middle greys of sRGB by some ten codes.
 */
export function shownAsCoded(transfer: TransferName): boolean {
  return transfer === 'bt709' || transfer === 'srgb' || transfer === 'gamma22' || transfer === 'gamma28';
}

/**
 * What a PNG says of codes: sRGB where a display shows them as they are. PNG (third edition) could say BT.709 in its
 * cICP chunk, but viewers take that by its word: Chromium 156 shows a grey of 128 so marked as 121 (BT.1886 carried to
 * sRGB, measured), and one marked as sRGB as 128, as it shows the same code of a film.
 */
export function saidOfPng(tags: ColourTags): ColourTags {
  return shownAsCoded(tags.transfer) ? { ...tags, transfer: 'srgb' } : tags;
}

/** Chromaticities behind a name. */
export function rgbPrimaries(name: PrimariesName): Primaries {
  return PRIMARIES[name === 'p3' ? 'p3d65' : name];
}

/** H.273 codes to write for a set of tags. */
export function colourCodes(tags: ColourTags, linesLarge: boolean): StreamColourCodes {
  const space: Record<MatrixName, number> = {
    bt709: 1,
    bt601: tags.primaries === 'bt601-625' ? 5 : 6,
    bt2020: 9,
    rgb: 0,
  };
  const transfer: Record<TransferName, number> = {
    bt709: tags.primaries === 'bt2020' ? 14 : !linesLarge && tags.matrix === 'bt601' ? 6 : 1,
    srgb: 13,
    linear: 8,
    pq: 16,
    hlg: 18,
    gamma22: 4,
    gamma28: 5,
  };
  const primaries: Record<PrimariesName, number> = { bt709: 1, 'bt601-525': 6, 'bt601-625': 5, bt2020: 9, p3: 12 };
  return {
    range: tags.fullRange ? C.AVCOL_RANGE_JPEG : C.AVCOL_RANGE_MPEG,
    space: space[tags.matrix],
    transfer: transfer[tags.transfer],
    primaries: primaries[tags.primaries],
  };
}
