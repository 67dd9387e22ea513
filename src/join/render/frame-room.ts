/**
 * Where the pictures of one frame of a stream lie: in the kernels' memory, so that kernels use them where they are, and
 * given back all at once when the next frame is begun, so that nothing is left for the collector (a 1080p frame makes
 * some 20 MB).
 */
import { kernels, type KernelDoor } from '../../image/kernels.js';
import type { Channels, Picture } from '../../image/picture.js';

/** One a stream; what it gave is no longer to be used after `clear`. */
export class FrameRoom {
  private readonly door: KernelDoor = kernels();
  private readonly held: Picture[] = [];

  /** A zeroed picture (not zeroed with `dirty`), valid until `clear`. */
  picture(width: number, height: number, channels: Channels, dirty = false): Picture {
    const made = this.door.allocPicture(width, height, channels, dirty);
    this.held.push(made);
    return made;
  }

  /** n zeroed bytes (not zeroed with `dirty`). */
  bytes(n: number, dirty = false): Uint8Array {
    const { data } = this.picture(Math.ceil(n / 4), 1, 1, dirty);
    return new Uint8Array(data.buffer, data.byteOffset, n);
  }

  /** Gives all of them back. */
  clear(): void {
    for (const p of this.held) this.door.freePicture(p);
    this.held.length = 0;
  }
}
