/**
 * Agreement of a coarse template with the places of a frame, block by block (Lewis, *Fast Normalized
 * Cross-Correlation*, 1995): each block has its own light and its own say.
 */
import { kernels } from '../../image/kernels.js';
import type { LumaLevel } from './ride-pyramid.js';

/** Pixels of one block of the template, and its own say. */
export interface Block {
  readonly x: Int32Array;
  readonly y: Int32Array;
  /** Zero-mean template. */
  readonly value: Float32Array;
  /** Sum of `value` squared; the block's share of the whole score; the box of its pixels. */
  readonly energy: number;
  readonly weight: number;
  readonly left: number;
  readonly right: number;
  readonly top: number;
  readonly bottom: number;
}

/** Blocks of some nine pixels' side; the weight grows with the contrast, but no block outweighs twice the mean. */
export function blocksOf(
  px: readonly number[],
  py: readonly number[],
  pv: readonly number[],
  w: number,
  h: number,
): Block[] {
  const columns = Math.max(1, Math.round(w / 9));
  const rows = Math.max(1, Math.round(h / 9));
  const of: number[][] = Array.from({ length: columns * rows }, () => []);
  px.forEach((x, i) =>
    of[
      Math.min(rows - 1, Math.floor((py[i]! * rows) / h)) * columns +
        Math.min(columns - 1, Math.floor((x * columns) / w))
    ]!.push(i),
  );
  const raw = of
    .filter((b) => b.length >= 16)
    .map((b) => {
      const mean = b.reduce((s, i) => s + pv[i]!, 0) / b.length;
      const value = Float32Array.from(b, (i) => pv[i]! - mean);
      const energy = value.reduce((s, v) => s + v * v, 0);
      const x = Int32Array.from(b, (i) => px[i]!);
      const y = Int32Array.from(b, (i) => py[i]!);
      return {
        x,
        y,
        value,
        energy,
        weight: Math.sqrt(energy),
        left: Math.min(...x),
        right: Math.max(...x),
        top: Math.min(...y),
        bottom: Math.max(...y),
      };
    })
    .filter((b) => b.energy > 1e-5 * b.value.length);
  const mean = raw.reduce((s, b) => s + b.weight / raw.length, 0);
  const total = raw.reduce((s, b) => s + Math.min(b.weight, 2 * mean), 0);
  return raw.map((b) => ({ ...b, weight: Math.min(b.weight, 2 * mean) / total }));
}

/** `scoreAt` of every place (ox + c, oy + r), rows × columns. */
export function scorePlaces(
  blocks: readonly Block[],
  target: LumaLevel,
  ox: number,
  oy: number,
  columns: number,
  rows: number,
): Float32Array {
  const scores = new Float32Array(columns * rows).fill(-1);
  const total = blocks.reduce((s, b) => s + b.value.length, 0);
  if (total === 0) return scores;
  const table = new Int32Array(blocks.length * 8);
  const floats = new Float32Array(table.buffer);
  const offsets = new Int32Array(total);
  const values = new Float32Array(total);
  let at = 0;
  blocks.forEach((b, k) => {
    table.set([at, b.value.length, b.left, b.right, b.top, b.bottom], k * 8);
    floats[k * 8 + 6] = b.energy;
    floats[k * 8 + 7] = b.weight;
    for (let i = 0; i < b.value.length; i++, at++) {
      offsets[at] = b.y[i]! * target.width + b.x[i]!;
      values[at] = b.value[i]!;
    }
  });
  const door = kernels();
  const scope = door.scope();
  try {
    door.run(
      'rideScore',
      [
        scope.input(table),
        blocks.length,
        scope.input(offsets),
        scope.input(values),
        scope.input(target.data),
        target.width,
        target.height,
        ox,
        oy,
        columns,
        scope.output(scores),
      ],
      rows,
      columns * total,
    );
    scope.finish();
  } finally {
    scope.close();
  }
  return scores;
}

/**
 * Plain twin of a place of `scorePlaces`: sum of the blocks' squared positive correlations with the frame at
 * (ox, oy); −1 where less than two fifths is inside.
 */
export function scoreAt(blocks: readonly Block[], target: LumaLevel, ox: number, oy: number): number {
  const { width: w, height: h, data } = target;
  let score = 0;
  let inside = 0;
  for (const b of blocks) {
    const { x: bx, y: by, value } = b;
    const n = value.length;
    // Only whole blocks speak.
    if (b.left + ox < 0 || b.top + oy < 0 || b.right + ox >= w || b.bottom + oy >= h) continue;
    let si = 0;
    let sii = 0;
    let sti = 0;
    const origin = oy * w + ox;
    for (let i = 0; i < n; i++) {
      const s = data[by[i]! * w + bx[i]! + origin]!;
      si += s;
      sii += s * s;
      sti += value[i]! * s;
    }
    inside += b.weight;
    const vi = sii - (si * si) / n;
    if (vi > 1e-6 * n && sti > 0) score += (b.weight * sti * sti) / (b.energy * vi);
  }
  // A small share counts a little less: fewer blocks agree by chance more easily.
  return inside < 0.4 ? -1 : (score / inside) * (0.8 + 0.2 * inside);
}
