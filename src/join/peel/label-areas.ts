/**
 * Four-connected parts of a mask with their areas: union-find over rows (Rosenfeld and Pfaltz, "Sequential operations in
 * digital picture processing", JACM 1966) by a kernel, nothing else recorded, for use in every frame.
 */
import { kernels } from '../../image/kernels.js';

/** @returns labels, 0 off the mask (not consecutive), and the area a label in pixels (of label 0: 0) */
export function labelAreas(mask: Uint8Array, w: number, h: number): { labels: Int32Array; area: Int32Array } {
  const n = w * h;
  // A new label needs a pixel whose left neighbour is off the mask: at most every other pixel of a row.
  const most = ((w + 1) >> 1) * h + 1;
  const door = kernels();
  const scope = door.scope();
  try {
    const labels = scope.allocate(4 * n);
    const area = scope.allocate(4 * most);
    door.run('labelParts', [scope.input(mask), w, h, labels, scope.allocate(4 * most), area], 1, 1);
    const count = new Int32Array(door.memory.buffer, area, 1)[0]!;
    const areas = new Int32Array(door.memory.buffer, area, count).slice();
    areas[0] = 0;
    return { labels: new Int32Array(door.memory.buffer, labels, n).slice(), area: areas };
  } finally {
    scope.close();
  }
}
