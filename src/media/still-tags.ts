/**
 * What a still says of itself in TIFF's tags, which FFmpeg does not hand on: which way up it was taken (phones and
 * cameras store every picture as the sensor lies), how a TIFF is packed, the lens; and its colour profile's primaries. After TIFF 6.0 (1992) and Exif
 * 2.32 (CIPA DC-008, 2019), where JPEG, PNG (eXIf, PNG 3rd edition) and WebP (its container specification) carry them.
 * (All from memory; held by a test against files that libvips writes and turns.)
 */
import { closeSync, openSync, readSync } from 'node:fs';
import { UPRIGHT, type Orientation } from './orientation.js';
import { MOST_PROFILE_BYTES, primariesOfProfile, profileOfChunk } from './still-profile.js';

export interface StillTags {
  readonly orientation: Orientation;
  /** Compression of a TIFF (tag 259), null for other files. */
  readonly tiffCompression: number | null;
  /** What its Exif part says of the lens; null where it has none. */
  readonly lens: StillLens | null;
  /** H.273 code of the primaries of its colour profile; null where it has none, or one of others. */
  readonly profilePrimaries: 1 | 9 | 12 | null;
}

/** A still's lens as Exif has it. */
export interface StillLens {
  /** Focal length on 35 mm film, mm; 0 where the camera says that it does not know. */
  readonly equivalentMm: number | null;
  readonly focalMm: number | null;
  /** The sensor's resolution for the picture as it was taken. */
  readonly pixelsPerMm: number | null;
  /** Width and height of the picture as it was taken, as stored. */
  readonly takenPx: readonly [number, number] | null;
}

/** TIFF's compression by JPEG, which FFmpeg decodes to wrong colours without a word. */
export const TIFF_JPEG = 7;

const ORIENTATION = 274;
const COMPRESSION = 259;
/** Where the Exif part of a TIFF's first directory begins. */
const EXIF_PART = 34665;
const FOCAL_LENGTH = 37386;
const PIXEL_X = 40962;
const PIXEL_Y = 40963;
const SENSOR_RESOLUTION = 41486;
const SENSOR_RESOLUTION_UNIT = 41488;
const EQUIVALENT_FOCAL = 41989;

/** Values 1 to 8 of the orientation tag. */
const WAYS: readonly Orientation[] = [
  UPRIGHT,
  { a: -1, b: 0, c: 0, d: 1 },
  { a: -1, b: 0, c: 0, d: -1 },
  { a: 1, b: 0, c: 0, d: -1 },
  { a: 0, b: 1, c: 1, d: 0 },
  { a: 0, b: 1, c: -1, d: 0 },
  { a: 0, b: -1, c: -1, d: 0 },
  { a: 0, b: -1, c: 1, d: 0 },
];

/** Bytes `from` to `from + length` of a file; fewer at its end. */
type Bytes = (from: number, length: number) => Buffer;

/** Segments and chunks walked at most. */
const MOST_PARTS = 512;

/** Reads the tags of a still; a file without any, or of another kind, is upright. */
export function readStillTags(path: string): StillTags {
  const file = openSync(path, 'r');
  try {
    const bytes: Bytes = (from, length) => {
      const out = Buffer.alloc(length);
      return out.subarray(0, readSync(file, out, 0, length, from));
    };
    const head = bytes(0, 12);
    const isTiff = /^(II\*\0|MM\0\*)/.test(head.toString('latin1', 0, 4));
    const at = isTiff ? 0 : exifPlace(head, bytes);
    const tags = at === null ? null : tiffTags(at, bytes, null);
    const exif = tags?.get(EXIF_PART);
    return {
      orientation: WAYS[(tags?.get(ORIENTATION) ?? 1) - 1] ?? UPRIGHT,
      tiffCompression: isTiff ? (tags?.get(COMPRESSION) ?? null) : null,
      lens: at === null || exif === undefined ? null : lensOf(tiffTags(at, bytes, exif)),
      profilePrimaries: profilePrimariesOf(head, bytes),
    };
  } finally {
    closeSync(file);
  }
}

/** Is this a WebP of several pictures (the animation bit of its VP8X chunk)? FFmpeg reads none. */
export function isMovingWebp(path: string): boolean {
  const file = openSync(path, 'r');
  try {
    const head = Buffer.alloc(21);
    if (readSync(file, head, 0, 21, 0) < 21) return false;
    const name = head.toString('latin1', 0, 4) + head.toString('latin1', 8, 16);
    return name === 'RIFFWEBPVP8X' && (head[20]! & 2) !== 0;
  } finally {
    closeSync(file);
  }
}

/** Where the TIFF header of a JPEG's, PNG's or WebP's Exif part stands. */
function exifPlace(head: Buffer, bytes: Bytes): number | null {
  if (head[0] === 0xff && head[1] === 0xd8) return segmentOfJpeg(0xe1, 'Exif\0\0', bytes);
  if (head.toString('latin1', 1, 4) === 'PNG') return chunkPlace('eXIf', 8, bytes, false);
  if (head.toString('latin1', 0, 4) === 'RIFF' && head.toString('latin1', 8, 12) === 'WEBP') {
    const at = chunkPlace('EXIF', 12, bytes, true);
    // Some writers put JPEG's own heading before it.
    return at !== null && bytes(at, 4).toString('latin1') === 'Exif' ? at + 6 : at;
  }
  return null;
}

/** The primaries of the colour profile of a JPEG, PNG or WebP. */
function profilePrimariesOf(head: Buffer, bytes: Bytes): StillTags['profilePrimaries'] {
  let profile: Buffer | null = null;
  if (head[0] === 0xff && head[1] === 0xd8) {
    // Of a profile in several segments the first holds the colourants; segment number and count come before it.
    const at = segmentOfJpeg(0xe2, 'ICC_PROFILE\0', bytes);
    if (at !== null) profile = bytes(at + 2, MOST_PROFILE_BYTES);
  } else if (head.toString('latin1', 1, 4) === 'PNG') {
    const at = chunkPlace('iCCP', 8, bytes, false);
    if (at !== null)
      profile = profileOfChunk(bytes(at, Math.min(bytes(at - 8, 4).readUInt32BE(0), MOST_PROFILE_BYTES)));
  } else if (head.toString('latin1', 0, 4) === 'RIFF' && head.toString('latin1', 8, 12) === 'WEBP') {
    const at = chunkPlace('ICCP', 12, bytes, true);
    if (at !== null) profile = bytes(at, MOST_PROFILE_BYTES);
  }
  return profile === null ? null : primariesOfProfile(profile);
}

/** Where a JPEG's first segment of a marker and heading goes on after the heading. */
function segmentOfJpeg(marker: number, heading: string, bytes: Bytes): number | null {
  for (let at = 2, n = 0; n < MOST_PARTS; n++) {
    const part = bytes(at, 4 + heading.length);
    // Start of scan: the picture itself begins.
    if (part.length < 4 || part[0] !== 0xff || part[1] === 0xda) return null;
    if (part[1] === marker && part.toString('latin1', 4) === heading) return at + part.length;
    at += 2 + part.readUInt16BE(2);
  }
  return null;
}

/**
 * Where the content of the first chunk of a name begins. PNG: length, name, content, sum; RIFF: name, length, content.
 */
function chunkPlace(name: string, from: number, bytes: Bytes, riff: boolean): number | null {
  for (let at = from, n = 0; n < MOST_PARTS; n++) {
    const part = bytes(at, 8);
    if (part.length < 8) return null;
    if (part.toString('latin1', riff ? 0 : 4, riff ? 4 : 8) === name) return at + 8;
    const length = riff ? part.readUInt32LE(4) : part.readUInt32BE(0);
    at += riff ? 8 + length + (length & 1) : 12 + length;
  }
  return null;
}

function lensOf(exif: ReadonlyMap<number, number>): StillLens {
  const resolution = exif.get(SENSOR_RESOLUTION);
  // In inches unless it says centimetres (3).
  const unitMm = exif.get(SENSOR_RESOLUTION_UNIT) === 3 ? 10 : 25.4;
  const x = exif.get(PIXEL_X) ?? 0;
  const y = exif.get(PIXEL_Y) ?? 0;
  return {
    equivalentMm: exif.get(EQUIVALENT_FOCAL) ?? null,
    focalMm: exif.get(FOCAL_LENGTH) ?? null,
    pixelsPerMm: resolution === undefined ? null : resolution / unitMm,
    takenPx: x > 0 && y > 0 ? [x, y] : null,
  };
}

/** TIFF's types of a value: 16 and 32 bits, and a fraction of two of these. */
const SHORT = 3;
const LONG = 4;
const RATIONAL = 5;

/** Single values of a TIFF's directory: the first, or the one `place` bytes after the TIFF's start. */
function tiffTags(start: number, bytes: Bytes, place: number | null): Map<number, number> {
  const tags = new Map<number, number>();
  const head = bytes(start, 8);
  if (head.length < 8) return tags;
  const little = head[0] === 0x49;
  const short = (b: Buffer, at: number): number => (little ? b.readUInt16LE(at) : b.readUInt16BE(at));
  const long = (b: Buffer, at: number): number => (little ? b.readUInt32LE(at) : b.readUInt32BE(at));
  const directory = start + (place ?? long(head, 4));
  const count = bytes(directory, 2);
  if (count.length < 2) return tags;
  const entries = bytes(directory + 2, 12 * Math.min(short(count, 0), MOST_PARTS));
  for (let at = 0; at + 12 <= entries.length; at += 12) {
    const type = short(entries, at + 2);
    const tag = short(entries, at);
    if (type === SHORT) tags.set(tag, short(entries, at + 8));
    if (type === LONG) tags.set(tag, long(entries, at + 8));
    if (type === RATIONAL) {
      const parts = bytes(start + long(entries, at + 8), 8);
      if (parts.length === 8 && long(parts, 4) > 0) tags.set(tag, long(parts, 0) / long(parts, 4));
    }
  }
  return tags;
}
