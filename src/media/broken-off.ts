/**
 * Files that were copied or recorded only in part, and what their headers still tell of it.
 */
import { closeSync, fstatSync, openSync, readSync } from 'node:fs';

/** Boxes walked at most: a whole file has a dozen at its top. */
const MOST_BOXES = 4096;

/**
 * True where a file is one of the ISO base media family (ISO/IEC 14496-12: MP4, MOV, 3GP) that ends
 * before its index, the `moov` box: cameras and encoders write it last, so what was broken off has all
 * its pictures and nothing that says where they lie.
 */
export function endsBeforeIndex(path: string): boolean {
  const file = openSync(path, 'r');
  try {
    const size = fstatSync(file).size;
    const head = Buffer.alloc(16);
    let at = 0;
    let known = false;
    for (let i = 0; i < MOST_BOXES && at + 8 <= size; i++) {
      const got = readSync(file, head, 0, 16, at);
      const type = head.toString('latin1', 4, 8);
      if (i === 0) known = type === 'ftyp' || type === 'mdat' || type === 'wide';
      if (!known || !/^[\x20-\x7e\xa9]{4}$/.test(type)) return false;
      if (type === 'moov' || type === 'moof') return false;
      let length = head.readUInt32BE(0);
      // 1: the length follows in 64 bits; 0: to the end of the file.
      if (length === 1 && got === 16) length = Number(head.readBigUInt64BE(8));
      else if (length === 0) length = size - at;
      if (length < 8) return type === 'mdat';
      at += length;
    }
    return known;
  } finally {
    closeSync(file);
  }
}

/** "00:01:02.5" in seconds; null where it is none. Matroska's per-stream statistics tag is written so. */
export function clockSeconds(text: string | null | undefined): number | null {
  const m = /^(\d+):(\d\d):(\d\d(?:\.\d+)?)$/.exec((text ?? '').trim());
  return m === null ? null : Number(m[1]) * 3600 + Number(m[2]) * 60 + Number(m[3]);
}
