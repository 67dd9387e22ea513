/**
 * How soft a matte's outline is, px: the area of half-covered pixels over the outline's length, by a kernel and its
 * plain twin.
 */
import { kernels } from '../../image/kernels.js';

/** sd (px) of the matte's soft outline: area of half-covered pixels over the outline's length. */
export function softEdgePx(alpha: Float32Array, width: number, height: number): number {
  const { soft, edge } = softEdgeSums(alpha, width, height);
  return edge === 0 ? 0 : Math.min(6, (0.4 * soft) / edge);
}

/**
 * Sum of 4 a (1 − a), and pixels on the outline, without the first row and column, by the kernel
 * (kernels/soft-edge.ts).
 */
export function softEdgeSums(alpha: Float32Array, width: number, height: number): { soft: number; edge: number } {
  const door = kernels(),
    scope = door.scope();
  try {
    const at = scope.allocate(16);
    door.run('softEdge', [scope.input(alpha), width, height, at], 1, 1);
    const [soft, edge] = new Float64Array(door.memory.buffer, at, 2) as unknown as [number, number];
    return { soft, edge };
  } finally {
    scope.close();
  }
}

/** Plain twin. */
export function softEdgeSumsPlain(alpha: Float32Array, width: number, height: number): { soft: number; edge: number } {
  let soft = 0,
    edge = 0;
  for (let y = 1; y < height; y++) {
    for (let x = 1; x < width; x++) {
      const i = y * width + x;
      const a = alpha[i]!;
      soft += a * (1 - a) * 4;
      if (a > 0.5 !== alpha[i - 1]! > 0.5 || a > 0.5 !== alpha[i - width]! > 0.5) edge++;
    }
  }
  return { soft, edge };
}
