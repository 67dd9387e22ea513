/** One plane drawn towards another: the blend of two fields by a share, in place. */
import { KERNEL_FROM_PIXELS, kernels } from './kernels.js';

/** to += share · (other − to). */
export function towards(to: Float32Array, other: Float32Array, share: number): void {
  if (to.length < KERNEL_FROM_PIXELS) {
    towardsPlain(to, other, share);
    return;
  }
  const door = kernels(),
    scope = door.scope();
  try {
    door.run('towards', [scope.changed(to), scope.input(other), to.length, share], Math.ceil(to.length / 1024), 1024);
    scope.finish();
  } finally {
    scope.close();
  }
}

/** Plain twin of the kernel. */
export function towardsPlain(to: Float32Array, other: Float32Array, share: number): void {
  for (let i = 0; i < to.length; i++) to[i] = to[i]! + share * (other[i]! - to[i]!);
}
