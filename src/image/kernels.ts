/**
 * The one door to the SIMD kernels (kernels/*.ts → dist/kernels.wasm). One shared memory holds the pictures that
 * kernels work on. A typed array that lies in it is used where it is; any other is copied in and its result out,
 * which costs a few percent of most filters and nothing in correctness. The instance is made on first use and kept
 * for the thread's life: the only state of this room.
 */
import { existsSync, readFileSync } from 'node:fs';
import { fileURLToPath } from 'node:url';
import { built } from '../core/built.js';
import { PlatewrightError } from '../core/errors.js';
import { BackgroundThread } from './background-thread.js';
import { BlockAllocator } from './block-allocator.js';
import type { KernelFunction } from './lane-protocol.js';
import { Lanes, lanesFromEnvironment } from './lanes.js';
import { createPicture, type Channels, type Picture } from './picture.js';

const PAGE = 65536;
const INITIAL_PAGES = 256;
const MAXIMUM_PAGES = 65536;
/** Below so many pixel-operations a job is not worth waking another lane for. */
const PARALLEL_FROM = 60_000;
/** Pictures smaller than this take the plain twins: crossing the door costs more than it saves. */
export const KERNEL_FROM_PIXELS = 4096;

type FloatView = Float32Array;

/** Copies in and out of the kernels' memory for one call; close it in `finally`. */
export class KernelScope {
  private readonly door: KernelDoor;
  private readonly blocks: number[] = [];
  private readonly back: { view: FloatView | Uint8Array; pointer: number }[] = [];

  constructor(door: KernelDoor) {
    this.door = door;
  }

  /** Pointer to the values of `view`: in place, or a copy. */
  input(view: Float32Array | Float64Array | Int32Array | Uint8Array | Uint16Array): number {
    if (this.door.owns(view)) return view.byteOffset;
    const pointer = this.allocate(view.byteLength);
    new Uint8Array(this.door.memory.buffer, pointer, view.byteLength).set(
      new Uint8Array(view.buffer, view.byteOffset, view.byteLength),
    );
    return pointer;
  }

  /**
   * Pointer that a kernel may write and that `finish` brings to `view`. With `apart` never `view` itself, so that a
   * kernel that reads beyond its own row may have `view` as input too.
   */
  output(view: FloatView, apart = false): number {
    if (!apart && this.door.owns(view)) return view.byteOffset;
    const pointer = this.allocate(view.byteLength);
    this.back.push({ view, pointer });
    return pointer;
  }

  /** Pointer to the values of `view` that a kernel changes and `finish` brings home. */
  changed(view: FloatView | Uint8Array): number {
    if (this.door.owns(view)) return view.byteOffset;
    const pointer = this.input(view);
    this.back.push({ view, pointer });
    return pointer;
  }

  /** Scratch of `bytes`, freed with the scope. */
  allocate(bytes: number): number {
    const pointer = this.door.allocator.allocate(bytes);
    this.blocks.push(pointer);
    return pointer;
  }

  /** Brings outputs home. */
  finish(): void {
    for (const { view, pointer } of this.back)
      view.set(
        view instanceof Uint8Array
          ? new Uint8Array(this.door.memory.buffer, pointer, view.length)
          : new Float32Array(this.door.memory.buffer, pointer, view.length),
      );
  }

  close(): void {
    for (const pointer of this.blocks) this.door.allocator.release(pointer);
    this.blocks.length = 0;
  }
}

/**
 * A thread's way to the kernels: their memory, which is shared with all lanes, room in it by name of its user, and
 * kernels run by name. Opened by `kernels()`, never constructed elsewhere.
 */
export class KernelDoor {
  readonly memory: WebAssembly.Memory;
  readonly allocator: BlockAllocator;
  readonly lanes: Lanes;
  private readonly background: BackgroundThread;
  private readonly index: Map<string, number>;
  private readonly functions: readonly KernelFunction[];
  private readonly pictures = new WeakMap<Picture, number>();

  constructor(wasm: Uint8Array, workerUrl: URL, lanes: number) {
    const module = new WebAssembly.Module(wasm as unknown as ArrayBuffer);
    this.memory = new WebAssembly.Memory({ initial: INITIAL_PAGES, maximum: MAXIMUM_PAGES, shared: true });
    const instance = new WebAssembly.Instance(module, {
      env: {
        memory: this.memory,
        abort: () => {
          throw new Error('kernel aborted');
        },
      },
    });
    const names = WebAssembly.Module.exports(module)
      .filter((e) => e.kind === 'function')
      .map((e) => e.name);
    this.functions = names.map((name) => instance.exports[name] as KernelFunction);
    this.index = new Map(names.map((name, i) => [name, i]));
    this.allocator = new BlockAllocator(this.memory, PAGE, INITIAL_PAGES, MAXIMUM_PAGES);
    this.lanes = new Lanes({ module, memory: this.memory, names, functions: this.functions, workerUrl, lanes });
    this.background = new BackgroundThread({ module, memory: this.memory }, new URL('background-worker.js', workerUrl));
  }

  /**
   * Does this array lie in the kernels' memory? (A shared memory that grew has several
   * buffer objects over the same bytes.)
   */
  owns(view: ArrayBufferView): boolean {
    return (
      view.buffer instanceof SharedArrayBuffer &&
      view.buffer.byteLength >= INITIAL_PAGES * PAGE &&
      this.known(view.buffer)
    );
  }

  private readonly buffers = new WeakSet<object>();
  private lastBuffer: object | null = null;

  private known(buffer: SharedArrayBuffer): boolean {
    return this.buffers.has(buffer) || buffer === (this.memory.buffer as unknown);
  }

  /** A picture in the kernels' memory, zeroed unless `dirty`; give it back with `freePicture`. */
  allocPicture(width: number, height: number, channels: Channels, dirty = false): Picture {
    // Throws for impossible sizes before memory is taken.
    if (!(width > 0 && height > 0)) createPicture(width, height, channels);
    const n = width * height * channels;
    const pointer = this.allocator.allocate(4 * n);
    const data = this.view(pointer, n);
    if (!dirty) data.fill(0);
    const picture: Picture = { width, height, channels, data };
    this.pictures.set(picture, pointer);
    return picture;
  }

  freePicture(picture: Picture): void {
    const pointer = this.pictures.get(picture);
    if (pointer === undefined)
      throw new PlatewrightError(
        'PW-IMAGE-FREE',
        'a picture was freed that was not allocated here, or was freed twice',
        { kind: 'internal' },
      );
    this.pictures.delete(picture);
    this.allocator.release(pointer);
  }

  /** n floats at a pointer. */
  view(pointer: number, n: number): Float32Array {
    const buffer = this.memory.buffer;
    if (this.lastBuffer !== buffer) {
      this.buffers.add(buffer);
      this.lastBuffer = buffer;
    }
    return new Float32Array(buffer, pointer, n);
  }

  /** Runs `work` with pictures that are all freed when it returns or throws. */
  withPictures<T>(work: (make: (width: number, height: number, channels: Channels) => Picture) => T): T {
    const made: Picture[] = [];
    try {
      return work((width, height, channels) => {
        const p = this.allocPicture(width, height, channels);
        made.push(p);
        return p;
      });
    } finally {
      for (const p of made) this.freePicture(p);
    }
  }

  scope(): KernelScope {
    return new KernelScope(this);
  }

  private given = 0;

  /** Until what is returned is called, jobs wake no other lane: the other cores have work of another kind. */
  giveCores(): () => void {
    this.given++;
    let once = true;
    return () => {
      if (once) this.given--;
      once = false;
    };
  }

  /**
   * Runs a kernel over `items`. Throws `PW-IMAGE-KERNEL` where the built kernels have none of that name.
   * @param costPerItem pixels (times taps) an item takes, to decide whether waking lanes pays.
   * @param scratchBytes scratch that each lane needs.
   */
  run(name: string, args: readonly number[], items: number, costPerItem: number, scratchBytes = 64): void {
    const operation = this.index.get(name);
    if (operation === undefined) {
      throw new PlatewrightError(
        'PW-IMAGE-KERNEL',
        `dist/kernels.wasm has no kernel ${name}: it is older than the sources; run npm run build`,
        { kind: 'internal' },
      );
    }
    const lanes = items > 1 && this.given === 0 && items * costPerItem >= PARALLEL_FROM ? this.lanes.count : 1;
    const each = Math.ceil((scratchBytes + 64) / 64) * 64;
    const scratch = this.allocator.allocate(each * lanes);
    try {
      if (lanes === 1) this.functions[operation]!(...args, 0, items, scratch);
      else this.lanes.run(operation, args, items, scratch, each);
    } finally {
      this.allocator.release(scratch);
    }
  }

  /** Runs a kernel of one item in a thread of its own, where there is more than one lane; else here and now. */
  async runInBackground(name: string, args: readonly number[], scratchBytes: number): Promise<void> {
    if (this.lanes.count === 1 || !this.index.has(name)) {
      this.run(name, args, 1, 1, scratchBytes);
      return;
    }
    const scratch = this.allocator.allocate(scratchBytes + 64);
    try {
      await this.background.run(name, [...args, 0, 1, scratch]);
    } finally {
      this.allocator.release(scratch);
    }
  }
}

let instance: KernelDoor | null = null;

/** The thread's kernels. Throws `PW-IMAGE-NOT-BUILT` where dist/kernels.wasm is absent. */
export function kernels(): KernelDoor {
  instance ??= openKernels(lanesFromEnvironment());
  return instance;
}

/**
 * A door of its own with so many lanes; `kernels()` is what everything but tests and measurements wants. Throws
 * `PW-IMAGE-NOT-BUILT` where dist/kernels.wasm is absent.
 */
export function openKernels(lanes: number): KernelDoor {
  const wasm = built('kernels.wasm');
  const worker = built('image/lane-worker.js');
  if (!existsSync(wasm) || !existsSync(worker)) {
    throw new PlatewrightError(
      'PW-IMAGE-NOT-BUILT',
      `the picture kernels are not built (${fileURLToPath(wasm)} is missing): run npm run build`,
      { kind: 'internal' },
    );
  }
  return new KernelDoor(readFileSync(wasm), worker, lanes);
}
