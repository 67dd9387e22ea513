/**
 * Room in the kernels' memory for one frame's peel: a frame takes some thirty planes, and fresh arrays for each would
 * cost more than the sums done on them. Everything is given back together when the frame is done; contents start as
 * whatever was there.
 */
import { kernels, type KernelDoor, type KernelScope } from '../../image/kernels.js';
import type { Channels, Picture } from '../../image/picture.js';

/** Makes an array of n values whose contents are not defined. */
export type Floats = (n: number) => Float32Array;

/** Arrays of JavaScript's own memory, for callers outside a peel. */
export const ownFloats: Floats = (n) => new Float32Array(n);

/** One a frame; what it gave is no longer to be used after `close`. */
export class WorkSpace {
  readonly door: KernelDoor = kernels();
  private readonly scope: KernelScope = this.door.scope();
  readonly floats: Floats = (n) => this.door.view(this.scope.allocate(4 * n), n);

  ints(n: number): Int32Array {
    const at = this.floats(n);
    return new Int32Array(at.buffer, at.byteOffset, n);
  }

  bytes(n: number): Uint8Array {
    const at = this.floats(Math.ceil(n / 4));
    return new Uint8Array(at.buffer, at.byteOffset, n);
  }

  picture(width: number, height: number, channels: Channels): Picture {
    return { width, height, channels, data: this.floats(width * height * channels) };
  }

  /** Gives everything back; no array made here may be touched afterwards. */
  close(): void {
    this.scope.close();
  }
}

/** Runs `work` with a work space that is closed when it returns or throws. */
export function withWorkSpace<T>(work: (space: WorkSpace) => T): T {
  const space = new WorkSpace();
  try {
    return work(space);
  } finally {
    space.close();
  }
}
