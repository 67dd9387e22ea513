/**
 * Scale of an alignment's residuals from their lower half, so that up to two thirds may be hidden; by the kernel, and
 * its plain twin.
 */
import { kernels } from '../../image/kernels.js';
import { BIAS, GAIN, SLOTS, TRUST } from './ride-light.js';
import { MISSING, type AlignScratch } from './ride-sums.js';
import type { TemplateLevel } from './ride-template.js';

/** Residuals looked at, about; and how few are too few. */
const LOOKED_AT = 1500;
const LEAST = 12;
/** Trust from which a cell has a say. */
const TRUSTED = 0.3;

/** sd of the residuals of what agrees, luma, by `scratch.cells` and `scratch.sample`. Null where too little is seen. */
export function residualScale(level: TemplateLevel, scratch: AlignScratch): number | null {
  const door = kernels();
  if (!door.owns(level.value) || !door.owns(scratch.sample)) return residualScalePlain(level, scratch);
  const { out } = scratch;
  door.run(
    'rideScale',
    [
      level.value.byteOffset,
      level.starts.byteOffset,
      level.cells,
      scratch.cells.byteOffset,
      scratch.sample.byteOffset,
      strideOf(level),
      out.byteOffset,
    ],
    1,
    1,
    4 * level.u.length + 64,
  );
  return out[0]! < LEAST ? null : scaleOf(out[1]!, out[2]!);
}

/** Plain twin of the kernel. */
export function residualScalePlain(level: TemplateLevel, scratch: AlignScratch): number | null {
  const { sample, cells, pick } = scratch;
  const stride = strideOf(level);
  let k = 0;
  let phase = 0;
  for (let c = 0; c < level.cells; c++) {
    const o = c * SLOTS;
    const from = level.starts[c]!;
    const to = level.starts[c + 1]!;
    if (cells[o + TRUST]! < TRUSTED) continue;
    const bias = cells[o + BIAS]!;
    const inverse = 1 / cells[o + GAIN]!;
    let i = from + phase;
    for (; i < to; i += stride) {
      const s = sample[i]!;
      if (s !== MISSING) pick[k++] = Math.abs((s - bias) * inverse - level.value[i]!);
    }
    phase = i - to;
  }
  if (k < LEAST) return null;
  const middle = nth(pick, k, (k * 0.5) | 0);
  return scaleOf(middle, nth(pick, (k * 0.5) | 0, (k * 0.3) | 0));
}

function strideOf(level: TemplateLevel): number {
  return Math.max(1, Math.floor(level.count / LOOKED_AT));
}

/** From the residuals' median and the value that three tenths lie below, as of a normal distribution. */
function scaleOf(median: number, lower: number): number {
  return Math.max(0.0012, Math.min(median / 0.6745, (1.35 * lower) / 0.3853));
}

/** The value of rank `rank` among the first `n`, which are left with the smaller ones first (Hoare's selection). */
function nth(a: Float32Array, n: number, rank: number): number {
  let lo = 0;
  let hi = n - 1;
  while (lo < hi) {
    const pivot = a[(lo + hi) >> 1]!;
    let i = lo;
    let j = hi;
    while (i <= j) {
      while (a[i]! < pivot) i++;
      while (a[j]! > pivot) j--;
      if (i <= j) {
        const t = a[i]!;
        a[i++] = a[j]!;
        a[j--] = t;
      }
    }
    if (rank <= j) hi = j;
    else if (rank >= i) lo = i;
    else break;
  }
  return a[rank]!;
}
