/**
 * A garbage matte without a person: where the screen ends inside the picture, what lies past its end reaches the
 * frame's edge and hangs together without the performer. Such parts become 0. The performer is the largest part clear
 * of the edge, or, where that is only a speck beside the largest part of all (a performer who is cut off by the frame),
 * the largest. Areas and limits are common practice, no source.
 */
import { labelAreas } from './label-areas.js';

/** Alpha that joins two parts: faint noise does not. */
const JOINS = 0.05;
/** Least area of a performer clear of the edge: share of the picture, and of the largest part. */
const LEAST_SHARE = 0.003;
const LEAST_OF_LARGEST = 0.08;

/** Where a part touches the picture's sides, in shares of the side from its top or left end; null where it does not. */
export interface EdgePart {
  /** Share of the picture. */
  readonly area: number;
  readonly left: readonly [number, number] | null;
  readonly right: readonly [number, number] | null;
  readonly top: readonly [number, number] | null;
  readonly bottom: readonly [number, number] | null;
}

interface Parts {
  readonly labels: Int32Array;
  readonly area: Int32Array;
  readonly sw: number;
  readonly sh: number;
  readonly edge: Uint8Array;
  readonly main: number;
}

/** Tells the parts of a matte apart on blocks. Null where nothing is there. */
function told(alpha: Float32Array, w: number, h: number, block: number, highest: Float32Array | null): Parts | null {
  const sw = Math.ceil(w / block);
  const sh = Math.ceil(h / block);
  const mask = new Uint8Array(sw * sh);
  if (highest !== null) for (let i = 0; i < mask.length; i += 1) mask[i] = highest[i]! > JOINS ? 1 : 0;
  else
    for (let y = 0; y < h; y += 1) {
      const row = ((y / block) | 0) * sw;
      for (let x = 0; x < w; x += 1) if (alpha[y * w + x]! > JOINS) mask[row + ((x / block) | 0)] = 1;
    }
  const { labels, area } = labelAreas(mask, sw, sh);
  const edge = new Uint8Array(area.length);
  for (let x = 0; x < sw; x += 1) edge[labels[x]!] = edge[labels[(sh - 1) * sw + x]!] = 1;
  for (let y = 0; y < sh; y += 1) edge[labels[y * sw]!] = edge[labels[y * sw + sw - 1]!] = 1;
  let largest = 0;
  let clear = 0;
  for (let l = 1; l < area.length; l += 1) {
    if (largest === 0 || area[l]! > area[largest]!) largest = l;
    if (edge[l] === 0 && area[l]! > 0 && (clear === 0 || area[l]! > area[clear]!)) clear = l;
  }
  if (largest === 0) return null;
  return {
    labels,
    area,
    sw,
    sh,
    edge,
    main:
      clear > 0 && area[clear]! >= LEAST_SHARE * sw * sh && area[clear]! >= LEAST_OF_LARGEST * area[largest]!
        ? clear
        : largest,
  };
}

/** The performer's part, and those that reach in from the picture's edge apart from it; null for an empty matte. */
export function edgePartsOf(
  alpha: Float32Array,
  w: number,
  h: number,
  block: number,
): { readonly main: EdgePart; readonly apart: readonly EdgePart[] } | null {
  const p = told(alpha, w, h, block, null);
  if (p === null) return null;
  const { labels, area, sw, sh } = p;
  const along = (length: number, at: (i: number) => number, label: number): [number, number] | null => {
    let first = -1,
      last = -1;
    for (let i = 0; i < length; i += 1)
      if (labels[at(i)] === label) {
        if (first < 0) first = i;
        last = i;
      }
    return first < 0 ? null : [first / length, (last + 1) / length];
  };
  const part = (l: number): EdgePart => ({
    area: area[l]! / (sw * sh),
    left: along(sh, (y) => y * sw, l),
    right: along(sh, (y) => y * sw + sw - 1, l),
    top: along(sw, (x) => x, l),
    bottom: along(sw, (x) => (sh - 1) * sw + x, l),
  });
  const apart: EdgePart[] = [];
  for (let l = 1; l < area.length; l += 1) if (l !== p.main && p.edge[l] === 1) apart.push(part(l));
  return { main: part(p.main), apart };
}

/**
 * @param alpha 0..1, changed in place
 * @param block side of the blocks on which parts are told apart, px
 * @param highest the highest alpha of each block, if it is known
 * @returns how many parts were dropped
 */
export function dropEdgeParts(
  alpha: Float32Array,
  w: number,
  h: number,
  block: number,
  highest: Float32Array | null = null,
): number {
  const parts = told(alpha, w, h, block, highest);
  if (parts === null) return 0;
  const { labels, area, sw, edge, main } = parts;
  let dropped = 0;
  for (let l = 1; l < area.length; l += 1) {
    if (l === main) edge[l] = 0;
    else if (edge[l] === 1) dropped += 1;
  }
  if (dropped === 0) return 0;
  edge[0] = 0;
  for (let y = 0; y < h; y += 1) {
    const row = ((y / block) | 0) * sw;
    for (let x = 0; x < sw; x += 1)
      if (edge[labels[row + x]!] === 1) alpha.fill(0, y * w + x * block, y * w + Math.min((x + 1) * block, w));
  }
  return dropped;
}
