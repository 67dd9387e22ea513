/**
 * Whether a Matroska file is as long as its writer said when it closed it: the size of the top-level Segment element,
 * after RFC 8794 (EBML) and RFC 9559 (Matroska). Reads a few bytes, so it can be asked before every use of a kept clip:
 * a copy that broke off, or a power cut before the disk had all of it, leaves a shorter one.
 */
import { closeSync, openSync, readSync, statSync } from 'node:fs';

const EBML_ID = 0x1a45dfa3;
const SEGMENT_ID = 0x18538067;
/** More than an EBML header takes; the Segment follows at once. */
const HEAD_BYTES = 4096;

/**
 * True for a Matroska file of one Segment whose size is known and ends where the file does; false for anything else.
 */
export function isWholeMatroska(path: string): boolean {
  const bytes = statSync(path, { throwIfNoEntry: false })?.size ?? 0;
  const head = Buffer.alloc(Math.min(HEAD_BYTES, bytes));
  if (head.length > 0) {
    const file = openSync(path, 'r');
    try {
      if (readSync(file, head, 0, head.length, 0) !== head.length) return false;
    } finally {
      closeSync(file);
    }
  }
  const ebml = elementAt(head, 0);
  if (ebml?.id !== EBML_ID) return false;
  const segment = elementAt(head, ebml.end);
  return segment?.id === SEGMENT_ID && segment.end === bytes;
}

/** The element whose four-byte ID begins at a byte, and where it ends; null where no element of known size begins. */
function elementAt(head: Buffer, at: number): { id: number; end: number } | null {
  if (at + 5 > head.length) return null;
  const id = head.readUInt32BE(at);
  const first = head[at + 4]!;
  const length = Math.clz32(first) - 23;
  if (length > 8 || at + 4 + length > head.length) return null;
  let size = first & (0xff >> length);
  let unknown = size === 0xff >> length;
  for (let k = 1; k < length; k++) {
    const byte = head[at + 4 + k]!;
    size = size * 256 + byte;
    unknown &&= byte === 0xff;
  }
  // RFC 8794, section 6.2: all data bits set say that the size is not known.
  return unknown || !Number.isSafeInteger(size) ? null : { id, end: at + 4 + length + size };
}
