/**
 * Numbered 16-bit PNG pictures, made quickly: Portable Network Graphics (PNG) Specification, third edition
 * (W3C 2025), one IDAT deflated by runs of zeros alone (RFC 1950, 1951), which on camera noise loses some 4
 * % of size to a full search. A picture's occupied part is packed at once, and deflated
 * (kernels/deflate.ts) and written while the caller makes the next.
 */
import { renameSync, rmSync } from 'node:fs';
import { writeFile } from 'node:fs/promises';
import { basename } from 'node:path';
import * as zlib from 'node:zlib';
import { PlatewrightError } from '../core/errors.js';
import { kernels, type KernelDoor } from '../image/kernels.js';
import type { Picture } from '../image/picture.js';
import { colourCodes, saidOfPng } from './colour-tags.js';
import { encodeTable, type CurveTable } from './curve-table.js';
import type { ColourTags } from './types.js';

const SIGNATURE = Uint8Array.of(0x89, 0x50, 0x4e, 0x47, 0x0d, 0x0a, 0x1a, 0x0a);

/** Part of a picture, [x0, y0, x1, y1] in pixels. */
type Part = readonly [number, number, number, number];

/** A picture's part, filtered, in the kernels' memory. */
interface Packed {
  readonly pointer: number;
  readonly stride: number;
  readonly bytes: number;
  readonly rows: number;
  readonly lead: number;
  readonly tail: number;
  readonly before: number;
  readonly after: number;
}

/** Scratch of deflateRows. */
const DEFLATE_BYTES = 160 << 10;

/** One folder of pictures of one size; `close` waits for the last to be written. */
export class PngSequence {
  private readonly nameOf: (frame: number) => string;
  private readonly channels: 1 | 3;
  private readonly colour: ColourTags | null;
  private readonly curve: CurveTable | null;
  private readonly door: KernelDoor = kernels();
  /** Blocks by use: two of packed rows, one deflated and one being filled, and the deflated bytes. */
  private readonly blocks = new Map<string, { readonly pointer: number; readonly bytes: number }>();
  private turn = 0;
  private pending: Promise<void> = Promise.resolve();
  private failure: unknown = null;

  /**
   * @param colour how the values are stored (said in the cICP chunk), or null for mattes @param light the values come
   * as scene-linear light and are coded by `colour`'s curve on the way
   */
  constructor(
    nameOf: (frame: number) => string,
    channels: 1 | 3,
    colour: Pick<ColourTags, 'transfer' | 'primaries'> | null,
    light = false,
  ) {
    this.nameOf = nameOf;
    this.channels = channels;
    this.colour = colour === null ? null : { ...colour, matrix: 'rgb', fullRange: true, assumed: false };
    this.curve = !light || colour === null || colour.transfer === 'linear' ? null : encodeTable(colour.transfer);
  }

  /**
   * Adds a picture of values 0..1, stored as round(v · 65535) of the coded value. They are taken
   * before the call returns; what the promise waits for is the picture before this one. @param part
   * outside it the picture is 0 whatever its values say
   * @throws `PW-MEDIA-WRITE` where the folder cannot be written to
   */
  write(frame: number, picture: Picture, part: Part = [0, 0, picture.width, picture.height]): Promise<void> {
    const { width, height } = picture;
    const before = this.pending;
    const path = this.nameOf(frame);
    const packed = this.pack(picture, part);
    this.pending = before
      .then(() => this.store(path, packed, width, height))
      .catch((error: unknown) => {
        this.failure ??= error;
      });
    return before.then(() => this.check());
  }

  /** Waits until all is written, and gives the memory back. */
  async close(): Promise<void> {
    await this.pending;
    for (const { pointer } of this.blocks.values()) this.door.allocator.release(pointer);
    this.blocks.clear();
    this.check();
  }

  private check(): void {
    if (this.failure !== null) throw this.failure;
  }

  /** A block of at least so many bytes; the last of that use is let go where it is too small. */
  private block(use: string, bytes: number): number {
    const known = this.blocks.get(use);
    if (known !== undefined && known.bytes >= bytes) return known.pointer;
    if (known !== undefined) this.door.allocator.release(known.pointer);
    const pointer = this.door.allocator.allocate(bytes);
    this.blocks.set(use, { pointer, bytes });
    return pointer;
  }

  /** Filtered rows of the part, by the kernel. */
  private pack({ width, height, data }: Picture, part: Part): Packed {
    const [x0, y0, x1, y1] = part[2] > part[0] && part[3] > part[1] ? part : [0, 0, 0, 0];
    const { door, channels, curve } = this;
    const pixel = 2 * channels;
    const line = 1 + pixel * width;
    const rows = y1 - y0;
    // Where the picture goes on to the right, a pixel more: from the part's last value back to 0.
    const across = x1 < width ? x1 - x0 + 1 : x1 - x0;
    const stride = pixel * 8 * Math.ceil(across / 8);
    const pointer = this.block(`rows ${this.turn}`, stride * rows);
    this.turn = 1 - this.turn;
    const scope = door.scope();
    try {
      if (rows > 0) {
        const table =
          curve === null ? [0, 0, 0, 0] : [scope.input(curve.knots), curve.steps, curve.count, curve.odd ? 1 : 0];
        door.run(
          'pngPack',
          [
            scope.input(data.subarray(0, width * height * channels)),
            width,
            height,
            channels,
            x0,
            y0,
            x1,
            ...table,
            pointer,
            stride,
          ],
          rows,
          (x1 - x0) * channels * 2,
        );
      }
    } finally {
      scope.close();
    }
    return {
      pointer,
      stride,
      bytes: pixel * across,
      rows,
      lead: pixel * x0,
      tail: pixel * (width - x0 - across),
      before: y0 * line,
      after: (height - y1) * line,
    };
  }

  private async store(path: string, packed: Packed, width: number, height: number): Promise<void> {
    const data = await this.deflated(packed);
    const header = new Uint8Array(13);
    const view = new DataView(header.buffer);
    view.setUint32(0, width);
    view.setUint32(4, height);
    header[8] = 16;
    header[9] = this.channels === 1 ? 0 : 2;
    const parts = [SIGNATURE, ...chunk('IHDR', header)];
    if (this.colour !== null) {
      const codes = colourCodes(saidOfPng(this.colour), true);
      parts.push(...chunk('cICP', Uint8Array.of(codes.primaries, codes.transfer, 0, 1)));
    }
    parts.push(...chunk('IDAT', data), ...chunk('IEND', new Uint8Array(0)));
    try {
      await writeFile(`${path}.part`, Buffer.concat(parts));
      renameSync(`${path}.part`, path);
    } catch (cause) {
      rmSync(`${path}.part`, { force: true });
      throw new PlatewrightError(
        'PW-MEDIA-WRITE',
        `${basename(path)} cannot be written; check the folder's rights and space`,
        { detail: { file: path }, cause },
      );
    }
  }

  /** The zlib stream, made in a thread beside this one where there is one; valid until the next is asked for. */
  private async deflated({ pointer, stride, bytes, rows, lead, tail, before, after }: Packed): Promise<Uint8Array> {
    const { door } = this;
    const all = rows * (1 + lead + bytes + tail) + before + after;
    // A literal takes nine bits at most on the mean, a run of 258 zeros three bytes, a
    // block's head 200 bytes each 65536 tokens.
    const out = this.block('deflated', Math.ceil((rows * (bytes + 8) * 9) / 8 + (3 * all) / 258 + 4096) + 2 ** 16);
    const total = this.block('total', 16);
    await door.runInBackground(
      'deflateRows',
      [pointer, stride, bytes, rows, lead, tail, before, after, out, total],
      DEFLATE_BYTES,
    );
    const length = new Uint32Array(door.memory.buffer, total, 1)[0]!;
    return new Uint8Array(door.memory.buffer, out, length);
  }
}

/** Length, type, data and check sum. */
function chunk(type: string, data: Uint8Array): Uint8Array[] {
  const head = new Uint8Array(8);
  new DataView(head.buffer).setUint32(0, data.length);
  for (let i = 0; i < 4; i += 1) head[4 + i] = type.charCodeAt(i);
  const sum = new Uint8Array(4);
  new DataView(sum.buffer).setUint32(0, crc(data, crc(head.subarray(4), 0)));
  return [head, data, sum];
}

/** CRC-32 of the PNG specification, annex D. */
const TABLE = Int32Array.from({ length: 256 }, (_, n) => {
  let c = n;
  for (let k = 0; k < 8; k += 1) c = (c & 1) === 1 ? 0xedb88320 ^ (c >>> 1) : c >>> 1;
  return c;
});

function crc(data: Uint8Array, start: number): number {
  // Node has its own from 20.15 on.
  const own = (zlib as { crc32?: (data: Uint8Array, value?: number) => number }).crc32;
  return own === undefined ? crcPlain(data, start) : own(data, start);
}

/** CRC-32 of a chunk from `start` on (PNG, ISO/IEC 15948, annex D), byte by byte. */
export function crcPlain(data: Uint8Array, start: number): number {
  let c = ~start;
  for (let i = 0; i < data.length; i += 1) c = TABLE[(c ^ data[i]!) & 0xff]! ^ (c >>> 8);
  return ~c >>> 0;
}
