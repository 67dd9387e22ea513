/**
 * Four-connected parts of a mask with their areas: union-find over rows (Rosenfeld and Pfaltz, "Sequential operations
 * in digital picture processing", JACM 1966) by a kernel, nothing else recorded, for use in every frame.
 */
import { kernels, type KernelScope } from '../../image/kernels.js';

/**
 * The same in the kernels' memory, as long as the scope: pointers to labels and areas (i32), and how many of those
 * there are.
 *
 * @param mask pointer
 */
export function partsOf(
  mask: number,
  w: number,
  h: number,
  scope: KernelScope,
): { readonly labels: number; readonly area: number; readonly count: number } {
  // A new label needs a pixel whose left neighbour is off the mask: at most every other pixel of a row.
  const most = ((w + 1) >> 1) * h + 1;
  const door = kernels();
  const labels = scope.allocate(4 * w * h),
    area = scope.allocate(4 * most);
  door.run('labelParts', [mask, w, h, labels, scope.allocate(4 * most), area], 1, 1);
  const first = new Int32Array(door.memory.buffer, area, 1),
    count = first[0]!;
  first[0] = 0;
  return { labels, area, count };
}

/** @returns labels, 0 off the mask (not consecutive), and the area a label in pixels (of label 0: 0) */
export function labelAreas(mask: Uint8Array, w: number, h: number): { labels: Int32Array; area: Int32Array } {
  const door = kernels();
  const scope = door.scope();
  try {
    const { labels, area, count } = partsOf(scope.input(mask), w, h, scope);
    return {
      labels: new Int32Array(door.memory.buffer, labels, w * h).slice(),
      area: new Int32Array(door.memory.buffer, area, count).slice(),
    };
  } finally {
    scope.close();
  }
}
