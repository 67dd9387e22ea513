/**
 * Ground in the deepest shadow: between legs, under a belly. There the key's light is gone and most of the fill's too;
 * what is left is darker than the shadow whose tint was read (shadow-tint.ts), and the same error of light, of the
 * camera, of the coder or of the coat's bounce, turns its colour further. A pixel may therefore lie off the tint by
 * what lit screen may off its own colour, times the read shadow's strength over its own. Mixtures of fur and screen
 * have such colours too, along the outline: they are as thin as the fur, so that only what fills most of a square
 * counts.
 */
import { kernels } from '../../image/kernels.js';
import type { LitHue } from './lit-hue.js';
import type { SmallLinear } from './small-linear.js';

/** Half side of the square, small pixels, and how many of its pixels are most of it. */
const REACH = 2;
const MOST_OF_IT = 13;
/** Farthest off the tint at all: the first look's own limit. */
const WIDEST = 0.35;

/** The tint as it was read. */
export interface ReadTint {
  /** Unit colour. */
  readonly tint: readonly [number, number, number];
  /** Middle strength along the lit screen's colour where it was read, and least and most that are looked at. */
  readonly usual: number;
  readonly least: number;
  readonly most: number;
}

/** Takes pockets of the shadow's tint into `sure` and `weight`, in place, by kernels. */
export function takePockets(
  { width: w, height: h, data }: SmallLinear,
  lit: Pick<LitHue, 'colour' | 'limit'>,
  { tint, usual, least, most }: ReadTint,
  sure: Uint8Array,
  weight: Float32Array,
): void {
  const door = kernels();
  const scope = door.scope();
  try {
    const n = w * h;
    const known = scope.changed(sure);
    const candidate = scope.allocate(n + 4);
    const core = scope.allocate(n);
    const strengths = [least, most, lit.limit, usual, WIDEST];
    const colours = [...lit.colour, ...tint];
    door.run('deepTint', [scope.input(data), w, h, ...colours, ...strengths, known, candidate], h, w * 4);
    door.run('pocketCores', [candidate, w, h, REACH, MOST_OF_IT, core], h, w);
    door.run('takePockets', [candidate, core, w, h, REACH, known, scope.changed(weight)], h, w);
    scope.finish();
  } finally {
    scope.close();
  }
}

/** Plain twin of {@link takePockets}. */
export function takePocketsPlain(
  { width: w, height: h, data }: SmallLinear,
  lit: Pick<LitHue, 'colour' | 'limit'>,
  { tint: [tr, tg, tb], usual, least, most }: ReadTint,
  sure: Uint8Array,
  weight: Float32Array,
): void {
  const n = w * h;
  const [lr, lg, lb] = lit.colour;
  const candidate = new Uint8Array(n);
  for (let i = 0; i < n; i += 1) {
    if (sure[i] === 1) continue;
    const r = data[i]!;
    const g = data[n + i]!;
    const b = data[2 * n + i]!;
    const s = r * lr + g * lg + b * lb;
    if (s < least || s > most) continue;
    const may = Math.min(WIDEST, lit.limit * Math.max(1, usual / s));
    const along = r * tr + g * tg + b * tb;
    if (r * r + g * g + b * b - along * along <= may * may * along * along) candidate[i] = 1;
  }
  for (let y = REACH; y < h - REACH; y += 1)
    for (let x = REACH; x < w - REACH; x += 1) {
      const i = y * w + x;
      if (candidate[i] === 0 || squareOf(candidate, w, i) < MOST_OF_IT) continue;
      for (let v = -REACH; v <= REACH; v += 1)
        for (let u = -REACH; u <= REACH; u += 1) {
          const j = i + v * w + u;
          if (candidate[j] === 0) continue;
          sure[j] = 1;
          weight[j] = 1;
        }
    }
}

/** Set pixels of the square about one. */
function squareOf(mask: Uint8Array, w: number, i: number): number {
  let count = 0;
  for (let v = -REACH; v <= REACH; v += 1) for (let u = -REACH; u <= REACH; u += 1) count += mask[i + v * w + u]!;
  return count;
}
