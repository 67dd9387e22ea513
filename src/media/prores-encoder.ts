/**
 * ProRes 4444 without alpha, 10 bits (SMPTE RDD 36), coded by kernels/prores.ts beside the thread that makes the
 * pictures. It gives the bytes of FFmpeg's `prores_aw` encoder (prores-encoder.test.ts) in half of its processor time:
 * a slice's blocks are transformed eight at a time and once, however often they are quantised.
 */
import { kernels } from '../image/kernels.js';
import { colourCodes } from './colour-tags.js';
import { proresTables } from './prores-tables.js';
import type { ColourTags } from './types.js';
import type { FillFrame } from './writer-frames.js';

type Planes = readonly [Uint16Array, Uint16Array, Uint16Array];

/** Bytes of the frame's header with its size and mark, and of the picture's. */
const FRAME_HEAD = 8 + 148;
const PICTURE_HEAD = 8;
/** Bits a macroblock aimed at, and the coarsest quantiser taken for them, as FFmpeg has them for 4:4:4. */
const AIM_BITS = 1750;
const COARSEST = 5;
/**
 * More bytes a coefficient never takes: a run (23 bits at most) of nothing is others'
 * saving, a level has 30 with its sign.
 */
const MOST_BYTES = 4;
const MACROBLOCK = 12 * 64;

/** One size: fill `room`, then `encode`; `free` gives its memory back. */
export class ProResEncoder {
  /** The planes to be filled before `encode` is called: Y', Cb, Cr at full size, words of 10 bits. */
  readonly room: Pick<FillFrame, 'planes' | 'strides'> & { readonly words: Planes };
  private readonly widthPx: number;
  private readonly heightPx: number;
  private readonly head: Buffer;
  private readonly slices: number;
  private readonly door = kernels();
  private readonly blocks: number[] = [];
  private readonly pointers: {
    readonly planes: readonly number[];
    readonly tables: number;
    readonly out: number;
    readonly total: number;
  };
  private readonly most: number;

  constructor(widthPx: number, heightPx: number, tags: ColourTags) {
    this.widthPx = widthPx;
    this.heightPx = heightPx;
    const across = (widthPx + 15) >> 4;
    const down = (heightPx + 15) >> 4;
    // Eight macroblocks a slice; what is left of a row goes into slices of four, two and one.
    this.slices = down * ((across >> 3) + ((across >> 2) & 1) + ((across >> 1) & 1) + (across & 1));
    const n = widthPx * heightPx;
    const tables = proresTables();
    this.most = this.slices * 8 + across * down * MACROBLOCK * MOST_BYTES;
    const make = (bytes: number): number => {
      const p = this.door.allocator.allocate(bytes);
      this.blocks.push(p);
      return p;
    };
    this.pointers = {
      planes: [make(2 * n), make(2 * n), make(2 * n)],
      tables: make(tables.length),
      out: make(this.most),
      total: make(16),
    };
    new Uint8Array(this.door.memory.buffer, this.pointers.tables, tables.length).set(tables);
    const words = this.pointers.planes.map(
      (p) => new Uint16Array(this.door.view(p, n >> 1).buffer, p, n),
    ) as unknown as Planes;
    this.room = {
      words,
      planes: words.map((w) => Buffer.from(w.buffer, w.byteOffset, w.byteLength)),
      strides: [2 * widthPx, 2 * widthPx, 2 * widthPx],
    };
    this.head = header(widthPx, heightPx, tags, tables.subarray(64, 192));
  }

  /** The frame in `room`, coded. The room may be filled again when the promise resolves. */
  async encode(): Promise<Buffer> {
    const { planes, tables, out, total } = this.pointers;
    await this.door.runInBackground(
      'proresSlices',
      [...planes, 2 * this.widthPx, this.widthPx, this.heightPx, tables, COARSEST, AIM_BITS, this.slices, out, total],
      17600,
    );
    const size = new Uint32Array(this.door.memory.buffer, total, 1)[0]!;
    const frame = Buffer.allocUnsafe(FRAME_HEAD + PICTURE_HEAD + size);
    this.head.copy(frame);
    frame.writeUInt32BE(frame.length, 0);
    frame.writeUInt8(PICTURE_HEAD << 3, FRAME_HEAD);
    frame.writeUInt32BE(PICTURE_HEAD + size, FRAME_HEAD + 1);
    frame.writeUInt16BE(this.slices, FRAME_HEAD + 5);
    // Slices of 2³ macroblocks.
    frame.writeUInt8(3 << 4, FRAME_HEAD + 7);
    frame.set(new Uint8Array(this.door.memory.buffer, out, size), FRAME_HEAD + PICTURE_HEAD);
    return frame;
  }

  /** Gives its memory back. No frame may be under way. */
  free(): void {
    for (const p of this.blocks) this.door.allocator.release(p);
    this.blocks.length = 0;
  }
}

/** The frame's head but for its size. */
function header(widthPx: number, heightPx: number, tags: ColourTags, weights: Uint8Array): Buffer {
  const h = Buffer.alloc(FRAME_HEAD);
  const codes = colourCodes(tags, true);
  h.write('icpf', 4, 'latin1');
  h.writeUInt16BE(FRAME_HEAD - 8, 8);
  // Version 1: 4:4:4.
  h.writeUInt16BE(1, 10);
  h.write('apl0', 12, 'latin1');
  h.writeUInt16BE(widthPx, 16);
  h.writeUInt16BE(heightPx, 18);
  // 4:4:4, progressive; shape of the pixels and rate are the container's.
  h.set([0xc0, 0, codes.primaries, codes.transfer, codes.space, 0, 0, 3], 20);
  h.set(weights, 28);
  return h;
}
