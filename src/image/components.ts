/**
 * Connected components of a mask (4- or 8-neighbours), by union-find over rows (A. Rosenfeld, J. L. Pfaltz, JACM 1966).
 */
import { requirePlane } from './boundary.js';

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

export interface Components {
  /** 0 = background, else component number from 1 in order of first pixel. */
  readonly labels: Int32Array;
  readonly components: Component[];
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
  const parent: number[] = [0];
  const find = (i: number): number => {
    let r = i;
    while (parent[r]! !== r) r = parent[r]!;
    while (parent[i]! !== r) {
      const next = parent[i]!;
      parent[i] = r;
      i = next;
    }
    return r;
  };
  const unite = (a: number, b: number): number => {
    const x = find(a);
    const y = find(b);
    if (x < y) {
      parent[y] = x;
      return x;
    }
    parent[x] = y;
    return y;
  };
  for (let y = 0; y < height; y++) {
    for (let x = 0; x < width; x++) {
      const i = y * width + x;
      if (mask[i] === 0) continue;
      let label = 0;
      const see = (l: number): void => {
        if (l !== 0) label = label === 0 ? find(l) : unite(label, l);
      };
      if (x > 0) see(labels[i - 1]!);
      if (y > 0) {
        see(labels[i - width]!);
        if (neighbours === 8) {
          if (x > 0) see(labels[i - width - 1]!);
          if (x + 1 < width) see(labels[i - width + 1]!);
        }
      }
      if (label === 0) {
        label = parent.length;
        parent.push(label);
      }
      labels[i] = label;
    }
  }
  const number = new Int32Array(parent.length);
  const list: {
    label: number;
    area: number;
    x0: number;
    y0: number;
    x1: number;
    y1: number;
    cx: number;
    cy: number;
  }[] = [];
  for (let y = 0; y < height; y++) {
    for (let x = 0; x < width; x++) {
      const i = y * width + x;
      if (labels[i] === 0) continue;
      const root = find(labels[i]!);
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
  }
  for (const c of list) {
    c.cx /= c.area;
    c.cy /= c.area;
  }
  return { labels, components: list };
}
