/**
 * First-fit allocator of blocks in one growing shared memory. Blocks are aligned to 64 bytes and followed by 64 bytes
 * of room, so that vector loads at a picture's end stay inside. Freed neighbours are joined. Only the thread that made
 * the memory allocates; kernels and workers only get pointers.
 */
import { PlatewrightError } from '../core/errors.js';

const ALIGN = 64;
const PAGE = 65536;
/** Grow by at least so many pages: growing is a system call. */
const GROW_PAGES = 512;

/** All pointers are byte offsets into the memory. */
export class BlockAllocator {
  private readonly memory: WebAssembly.Memory;
  private readonly maximumPages: number;
  /** Free spans [start, end), sorted by start, never touching. */
  private readonly free: { start: number; end: number }[];
  private readonly sizes = new Map<number, number>();
  private pages: number;

  constructor(memory: WebAssembly.Memory, firstByte: number, initialPages: number, maximumPages: number) {
    this.memory = memory;
    this.pages = initialPages;
    this.maximumPages = maximumPages;
    this.free = [{ start: firstByte, end: initialPages * PAGE }];
  }

  /** Bytes handed out and not yet freed. */
  get used(): number {
    let sum = 0;
    for (const size of this.sizes.values()) sum += size;
    return sum;
  }

  /** Pointer to a new block; its content is whatever was there. Throws `PW-IMAGE-MEMORY` at the memory's limit. */
  allocate(bytes: number): number {
    const size = Math.ceil((bytes + ALIGN) / ALIGN) * ALIGN;
    for (;;) {
      for (let i = 0; i < this.free.length; i++) {
        const span = this.free[i]!;
        if (span.end - span.start < size) continue;
        const at = span.start;
        span.start += size;
        if (span.start === span.end) this.free.splice(i, 1);
        this.sizes.set(at, size);
        return at;
      }
      this.grow(size);
    }
  }

  /** Throws `PW-IMAGE-FREE` for a block that is not allocated. */
  release(pointer: number): void {
    const size = this.sizes.get(pointer);
    if (size === undefined) {
      throw new PlatewrightError(
        'PW-IMAGE-FREE',
        `a block at ${pointer} was freed that is not allocated (freed twice?)`,
        { kind: 'internal' },
      );
    }
    this.sizes.delete(pointer);
    this.insert(pointer, pointer + size);
  }

  private insert(start: number, end: number): void {
    let lo = 0;
    let hi = this.free.length;
    while (lo < hi) {
      const mid = (lo + hi) >> 1;
      if (this.free[mid]!.start < start) lo = mid + 1;
      else hi = mid;
    }
    const before = this.free[lo - 1];
    const after = this.free[lo];
    if (before !== undefined && before.end === start) {
      before.end = end;
      if (after !== undefined && after.start === end) {
        before.end = after.end;
        this.free.splice(lo, 1);
      }
    } else if (after !== undefined && after.start === end) after.start = start;
    else this.free.splice(lo, 0, { start, end });
  }

  private grow(size: number): void {
    const need = Math.max(GROW_PAGES, Math.ceil(size / PAGE));
    const add = Math.min(need, this.maximumPages - this.pages);
    if (add * PAGE < size) {
      const last = this.free[this.free.length - 1];
      const tail = last !== undefined && last.end === this.pages * PAGE ? last.end - last.start : 0;
      if (add <= 0 || add * PAGE + tail < size) {
        throw new PlatewrightError(
          'PW-IMAGE-MEMORY',
          'the picture memory is full: ' +
            `${Math.round(this.used / 1e6)} MB are in use and ${Math.round(size / 1e6)} MB more were asked; ` +
            'free pictures or work on smaller ones',
          { kind: 'internal' },
        );
      }
    }
    try {
      this.memory.grow(add);
    } catch (cause) {
      throw new PlatewrightError(
        'PW-IMAGE-MEMORY',
        `this machine would not give the picture memory ${add * 64} KB more`,
        { kind: 'internal', cause },
      );
    }
    this.pages += add;
    this.insert((this.pages - add) * PAGE, this.pages * PAGE);
  }
}
