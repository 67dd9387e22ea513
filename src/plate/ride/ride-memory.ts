/** Arrays in the kernels' memory that live as long as their owner (a follower) and are given back together. */
import { kernels } from '../../image/kernels.js';

/** `floats`, `doubles` and `whole` give room for n numbers; none is to be used after `close`. */
export class RideMemory {
  private readonly pointers: number[] = [];

  /** n zeroed floats; valid until `close`. */
  floats(n: number): Float32Array {
    const door = kernels();
    const pointer = door.allocator.allocate(4 * n);
    this.pointers.push(pointer);
    return door.view(pointer, n).fill(0);
  }

  /** The same values in the kernels' memory. */
  copy(values: Float32Array): Float32Array {
    const door = kernels();
    const pointer = door.allocator.allocate(4 * values.length);
    this.pointers.push(pointer);
    const out = door.view(pointer, values.length);
    out.set(values);
    return out;
  }

  doubles(n: number): Float64Array {
    const f = this.floats(2 * n);
    return new Float64Array(f.buffer, f.byteOffset, n);
  }

  whole(n: number): Int32Array {
    const f = this.floats(n);
    return new Int32Array(f.buffer, f.byteOffset, n);
  }

  /** Gives everything back; arrays had from here must not be used any more. */
  close(): void {
    const door = kernels();
    for (const p of this.pointers) door.allocator.release(p);
    this.pointers.length = 0;
  }
}
