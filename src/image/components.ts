/**
 * Connected components of a mask (4- or 8-neighbours), by union-find over rows (A. Rosenfeld, J. L. Pfaltz, JACM 1966).
 */
import { requirePlane } from './boundary.js';

/** One connected part: how many pixels, bounds, middle. */
export interface Component {
  readonly label: number;
  readonly area: number;
  readonly x0: number;
  readonly y0: number;
  /** Exclusive. */
  readonly x1: number;
  readonly y1: number;
  readonly cx: number;
  readonly cy: number;
}

/** A mask's connected parts. */
export interface Components {
  /** 0 = background, else component number from 1 in order of first pixel. */
  readonly labels: Int32Array;
  readonly components: Component[];
}

/** Labels of which some turned out to be one piece: each leads to another until the root, which leads to itself. */
class Unions {
  private readonly parent: number[] = [0];

  get count(): number {
    return this.parent.length;
  }

  fresh(): number {
    this.parent.push(this.parent.length);
    return this.parent.length - 1;
  }

  /** The root of i; those on the way lead straight to it afterwards. */
  find(i: number): number {
    const { parent } = this;
    let r = i;
    while (parent[r]! !== r) r = parent[r]!;
    while (parent[i]! !== r) {
      const next = parent[i]!;
      parent[i] = r;
      i = next;
    }
    return r;
  }

  /** Makes a and b one; the smaller root stays. */
  unite(a: number, b: number): number {
    const x = this.find(a);
    const y = this.find(b);
    this.parent[Math.max(x, y)] = Math.min(x, y);
    return Math.min(x, y);
  }
}

/** Labels the non-zero pixels of `mask`. Centroids in picture coordinates (pixel centres at +0.5). */
export function connectedComponents(
  mask: ArrayLike<number>,
  width: number,
  height: number,
  neighbours: 4 | 8 = 8,
): Components {
  requirePlane(mask, width, height, 'component labelling');
  const labels = new Int32Array(width * height);
  const unions = new Unions();
  for (let y = 0; y < height; y++)
    for (let x = 0; x < width; x++) {
      const i = y * width + x;
      if (mask[i] === 0) continue;
      // Of the neighbours before it in scan order: left, above, and with eight the two beside that.
      let label = x > 0 ? labels[i - 1]! : 0;
      if (label !== 0) label = unions.find(label);
      const up = i - width;
      if (y > 0) {
        label = joined(unions, label, labels[up]!);
        if (neighbours === 8) {
          if (x > 0) label = joined(unions, label, labels[up - 1]!);
          if (x + 1 < width) label = joined(unions, label, labels[up + 1]!);
        }
      }
      labels[i] = label === 0 ? unions.fresh() : label;
    }
  return { labels, components: measuredPieces(labels, unions, width, height) };
}

/** A pixel's label so far with a neighbour's; 0 is none. */
function joined(unions: Unions, label: number, other: number): number {
  if (other === 0) return label;
  return label === 0 ? unions.find(other) : unions.unite(label, other);
}

type Growing = { -readonly [K in keyof Component]: Component[K] };

/** Numbers the pieces in order of first pixel, in place, and measures them. */
function measuredPieces(labels: Int32Array, unions: Unions, width: number, height: number): Component[] {
  const number = new Int32Array(unions.count);
  const list: Growing[] = [];
  for (let y = 0; y < height; y++)
    for (let x = 0; x < width; x++) {
      const i = y * width + x;
      if (labels[i] === 0) continue;
      const root = unions.find(labels[i]!);
      if (number[root] === 0) {
        list.push({ label: list.length + 1, area: 0, x0: x, y0: y, x1: x + 1, y1: y + 1, cx: 0, cy: 0 });
        number[root] = list.length;
      }
      const c = list[number[root]! - 1]!;
      labels[i] = c.label;
      c.area++;
      c.cx += x + 0.5;
      c.cy += y + 0.5;
      if (x < c.x0) c.x0 = x;
      if (x + 1 > c.x1) c.x1 = x + 1;
      if (y + 1 > c.y1) c.y1 = y + 1;
    }
  for (const c of list) {
    c.cx /= c.area;
    c.cy /= c.area;
  }
  return list;
}
