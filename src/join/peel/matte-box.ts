/** The box of what a plane holds, by the kernel kernels/screen-parts.ts. */
import { kernels } from '../../image/kernels.js';

type Within = readonly [number, number, number, number];

/**
 * Smallest box in `within` (x0, y0 inclusive, x1, y1 exclusive) of all values above `least` of a plane `w` wide, or
 * null.
 */
export function boxOf(
  values: Float32Array,
  w: number,
  within: Within,
  least: number,
): [number, number, number, number] | null {
  const door = kernels(),
    scope = door.scope();
  try {
    const at = scope.allocate(16);
    door.run('matteBox', [scope.input(values), w, ...within, least, at], 1, 1);
    const [x0, y0, x1, y1] = new Int32Array(door.memory.buffer, at, 4) as unknown as [number, number, number, number];
    return y0 < 0 ? null : [x0, y0, x1, y1];
  } finally {
    scope.close();
  }
}

/** Plain twin of {@link boxOf}. */
export function boxOfPlain(
  values: Float32Array,
  w: number,
  within: Within,
  least: number,
): [number, number, number, number] | null {
  let x0 = w,
    y0 = -1,
    x1 = 0,
    y1 = 0;
  for (let y = within[1]; y < within[3]; y++) {
    const row = y * w;
    let first = within[0],
      last = within[2] - 1;
    while (first <= last && !(values[row + first]! > least)) first++;
    if (first > last) continue;
    while (!(values[row + last]! > least)) last--;
    if (first < x0) x0 = first;
    if (last + 1 > x1) x1 = last + 1;
    if (y0 < 0) y0 = y;
    y1 = y + 1;
  }
  return y0 < 0 ? null : [x0, y0, x1, y1];
}
