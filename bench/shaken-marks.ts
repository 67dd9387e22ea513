/** Marks as a hand sets them that shakes. */
import { RandomStream } from '../src/core/random.js';
import type { Mark, MarkKind, MarksFile } from '../src/plate/marks/marks.js';

/** Share by which a typed height is off for each pixel that the hand is off (own choice). */
const HEIGHT_OFF = 0.01;

/**
 * The marks, every point moved by `px` (one sd each way), every height that is typed off by a share, alike wherever it
 * is typed.
 *
 * @param kinds of the marks that are shaken; all where none is named
 */
export function shaken(marks: MarksFile, px: number, seed: number, kinds: readonly MarkKind[] = []): MarksFile {
  const random = new RandomStream(seed, 911);
  const heights = new Map<number, number>();
  const height = (h: number): number => {
    const known = heights.get(h) ?? h * (1 + HEIGHT_OFF * px * random.normal());
    heights.set(h, known);
    return known;
  };
  const walk = (v: unknown, key: string): unknown => {
    if (typeof v === 'number' && key === 'height') return height(v);
    if (Array.isArray(v))
      return v.length === 2 && v.every((x) => typeof x === 'number')
        ? v.map((x: number) => x + px * random.normal())
        : v.map((x) => walk(x, key));
    if (v !== null && typeof v === 'object')
      return Object.fromEntries(Object.entries(v).map(([k, x]) => [k, walk(x, k)]));
    return v;
  };
  const shake = (m: Mark): Mark => (kinds.length === 0 || kinds.includes(m.kind) ? (walk(m, '') as Mark) : m);
  return px === 0 ? marks : { ...marks, marks: marks.marks.map(shake) };
}
