/**
 * What a QuickTime or MP4 file says beside its pictures and FFmpeg does not hand on: keyed metadata of a track, and
 * XMP. Boxes after ISO/IEC 14496-12 (sections 4.2 and 8.11.1, from memory); `keys`, `ilst` and their values after
 * Apple's
 * *QuickTime File Format* (metadata item keys atom, metadata item list atom, well-known types); XMP in a `uuid` box or
 * in `udta` after *XMP Specification Part 3* (storage in files; from memory). Only headers are read, and the few values
 * that are asked for; whatever is damaged ends the walk and is left out.
 */
import { closeSync, fstatSync, openSync, readSync } from 'node:fs';

/** Bytes `from` to `from + length` of a file; fewer at its end. */
type Bytes = (from: number, length: number) => Buffer;

/** A box's name and where its content lies. */
interface Box {
  readonly type: string;
  readonly from: number;
  readonly to: number;
}

/** What is found: values by their keys, and packets of XMP. */
export interface BoxMetadata {
  readonly values: ReadonlyMap<string, string>;
  readonly xmp: readonly string[];
}

const MOST_BOXES = 512;
/** Bytes of a list of keys, of a value and of an XMP packet that are read at most. */
const MOST_KEYS = 1 << 16;
const MOST_VALUE = 256;
const MOST_XMP = 1 << 20;
const XMP_UUID = 'be7acfcb97a942e89c71999491e3afac';

/**
 * Reads a file's keyed metadata and XMP; of its tracks only track `trackId`.
 * @param wanted which keys are of use
 */
export function readBoxMetadata(path: string, trackId: number, wanted: (key: string) => boolean): BoxMetadata {
  const file = openSync(path, 'r');
  try {
    const bytes: Bytes = (from, length) => {
      const out = Buffer.alloc(Math.max(0, length));
      return out.subarray(0, readSync(file, out, 0, out.length, from));
    };
    const found = { values: new Map<string, string>(), xmp: [] as string[] };
    for (const box of boxesIn(bytes, 0, fstatSync(file).size)) {
      if (box.type === 'uuid' && bytes(box.from, 16).toString('hex') === XMP_UUID)
        found.xmp.push(packet(bytes, box.from + 16, box.to));
      if (box.type === 'moov') readMovie(bytes, box, trackId, wanted, found);
    }
    return found;
  } finally {
    closeSync(file);
  }
}

type Found = { readonly values: Map<string, string>; readonly xmp: string[] };

/** A movie's or a track's own metadata; a track's stands nearer to the picture and takes the movie's place. */
function readMovie(bytes: Bytes, movie: Box, trackId: number, wanted: (key: string) => boolean, found: Found): void {
  const inside = [...boxesIn(bytes, movie.from, movie.to)];
  const own = inside.filter((b) => b.type === 'meta' || b.type === 'udta');
  const track = inside
    .filter((b) => b.type === 'trak')
    .map((b) => [...boxesIn(bytes, b.from, b.to)])
    .filter((parts) => parts.some((b) => b.type === 'tkhd' && trackIdOf(bytes, b) === trackId))
    .flatMap((parts) => parts.filter((b) => b.type === 'meta' || b.type === 'udta'));
  for (const box of [...own, ...track]) {
    if (box.type === 'meta') readKeyed(bytes, box, wanted, found.values);
    else
      for (const b of boxesIn(bytes, box.from, box.to)) {
        if (b.type === 'meta') readKeyed(bytes, b, wanted, found.values);
        if (b.type === 'XMP_') found.xmp.push(packet(bytes, b.from, b.to));
      }
  }
}

/** Values of a `meta` box whose keys are wanted. */
function readKeyed(bytes: Bytes, meta: Box, wanted: (key: string) => boolean, values: Map<string, string>): void {
  // ISO's box begins with version and flags, QuickTime's with its first child.
  const plain = bytes(meta.from + 4, 4).toString('latin1') === 'hdlr';
  const inside = [...boxesIn(bytes, meta.from + (plain ? 0 : 4), meta.to)];
  const keys = inside.find((b) => b.type === 'keys');
  const list = inside.find((b) => b.type === 'ilst');
  if (keys === undefined || list === undefined) return;
  const names = keyNames(bytes(keys.from, Math.min(MOST_KEYS, keys.to - keys.from)));
  for (const item of boxesIn(bytes, list.from, list.to)) {
    // The box's name is the number of its key, from 1.
    const key = names[Buffer.from(item.type, 'latin1').readUInt32BE(0) - 1];
    if (key === undefined || !wanted(key)) continue;
    for (const b of boxesIn(bytes, item.from, item.to)) {
      const value = b.type === 'data' ? valueOf(bytes(b.from, Math.min(MOST_VALUE, b.to - b.from))) : null;
      if (value !== null) values.set(key, value);
    }
  }
}

/** Entries of a `keys` box: size with itself, name space, name. */
function keyNames(content: Buffer): string[] {
  const names: string[] = [];
  for (let at = 8; at + 8 <= content.length; ) {
    const size = content.readUInt32BE(at);
    if (size < 8) break;
    names.push(content.toString('utf8', at + 8, Math.min(content.length, at + size)));
    at += size;
  }
  return names;
}

/** A `data` box's content as text: well-known types 1 (UTF-8), 21 and 22 (whole numbers), 23 and 24 (floats). */
function valueOf(content: Buffer): string | null {
  if (content.length < 9) return null;
  const type = content.readUInt32BE(0);
  const value = content.subarray(8);
  if (type === 1) return value.toString('utf8');
  if ((type === 21 || type === 22) && value.length <= 4)
    return String(type === 21 ? value.readIntBE(0, value.length) : value.readUIntBE(0, value.length));
  if (type === 23 && value.length >= 4) return String(value.readFloatBE(0));
  if (type === 24 && value.length >= 8) return String(value.readDoubleBE(0));
  return null;
}

function trackIdOf(bytes: Bytes, head: Box): number | null {
  const content = bytes(head.from, 24);
  if (content.length < 24) return null;
  return content.readUInt32BE(content[0] === 1 ? 20 : 12);
}

function packet(bytes: Bytes, from: number, to: number): string {
  return bytes(from, Math.min(MOST_XMP, to - from)).toString('utf8');
}

/** The boxes from `start` to `end`, as far as their sizes make sense. */
function* boxesIn(bytes: Bytes, start: number, end: number): Generator<Box> {
  for (let at = start, n = 0; n < MOST_BOXES && at + 8 <= end; n++) {
    const head = bytes(at, 16);
    if (head.length < 8) return;
    const short = head.readUInt32BE(0);
    if (short === 1 && head.length < 16) return;
    const size = short === 0 ? end - at : short === 1 ? Number(head.readBigUInt64BE(8)) : short;
    const from = at + (short === 1 ? 16 : 8);
    if (at + size > end || at + size < from) return;
    yield { type: head.toString('latin1', 4, 8), from, to: at + size };
    at += size;
  }
}
