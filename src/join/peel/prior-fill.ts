/**
 * Fills a coarse grid of weighted sums into a dense field: the pull-push interpolation of Gortler et al., "The
 * Lumigraph", SIGGRAPH 1996, section 3.4, read as a hierarchical Bayesian mean: on every level the coarser mean counts
 * as `prior` further observations, so that well-observed cells keep their own mean and empty ones take that of the
 * nearest observed region.
 */
import { kernels } from '../../image/kernels.js';

/**
 * @param weight  gridW × gridH observations a cell (≥ 0)
 * @param sums    fields × gridH × gridW weighted sums, plane after plane; 0 where the weight is
 * @param prior   how many observations the coarser level counts for
 * @param dst     means, same shape as sums (may be `sums` itself)
 * @returns false where there is no observation at all (dst is then zero)
 */
export function priorFill(
  weight: Float32Array,
  sums: Float32Array,
  fields: number,
  gridW: number,
  gridH: number,
  prior: number,
  dst: Float32Array,
): boolean {
  const door = kernels();
  const scope = door.scope();
  try {
    const levels = [{ w: gridW, h: gridH, weight: scope.input(weight), sums: scope.input(sums) }];
    for (let l = levels[0]!; l.w > 1 || l.h > 1; ) {
      const cw = (l.w + 1) >> 1;
      const ch = (l.h + 1) >> 1;
      const next = { w: cw, h: ch, weight: scope.allocate(4 * cw * ch), sums: scope.allocate(4 * cw * ch * fields) };
      // Saturated: a large plain region must not outweigh a near thin one on the coarser levels.
      door.run(
        'cellPush',
        [l.weight, l.sums, l.w, l.h, next.weight, next.sums, fields, 4 * prior],
        ch,
        l.w * (fields + 1),
        4 * (cw + 8),
      );
      levels.push(next);
      l = next;
    }
    const top = levels[levels.length - 1]!;
    const topWeight = door.view(top.weight, 1)[0]!;
    if (!(topWeight > 0)) {
      dst.fill(0);
      return false;
    }
    const mean = door.view(top.sums, fields);
    for (let f = 0; f < fields; f += 1) mean[f] = mean[f]! / topWeight;
    const last = scope.output(dst);
    for (let k = levels.length - 2; k >= 0; k -= 1) {
      const l = levels[k]!;
      // A level's sums are done with once they are means.
      door.run(
        'cellPull',
        [l.weight, l.sums, l.w, l.h, levels[k + 1]!.sums, k === 0 ? last : l.sums, fields, prior],
        l.h,
        l.w * (fields + 1),
        4 * (((l.w + 1) >> 1) + 16 + l.w + 16),
      );
    }
    scope.finish();
    if (levels.length === 1) dst.set(mean);
    return true;
  } finally {
    scope.close();
  }
}

/** Plain twin of the kernels. */
export function priorFillPlain(
  weight: Float32Array,
  sums: Float32Array,
  fields: number,
  gridW: number,
  gridH: number,
  prior: number,
  dst: Float32Array,
): boolean {
  const levels: Level[] = [{ w: gridW, h: gridH, weight, sums }];
  for (let l = levels[0]!; l.w > 1 || l.h > 1; ) {
    l = coarser(l, fields);
    saturate(l, fields, 4 * prior);
    levels.push(l);
  }
  const top = levels[levels.length - 1]!;
  const topWeight = top.weight[0]!;
  if (topWeight <= 0) {
    dst.fill(0);
    return false;
  }
  let mean: Float32Array = new Float32Array(fields);
  for (let f = 0; f < fields; f += 1) mean[f] = top.sums[f]! / topWeight;
  for (let k = levels.length - 2; k >= 0; k -= 1) {
    const l = levels[k]!;
    const next = k === 0 ? dst : new Float32Array(l.w * l.h * fields);
    pull(l, levels[k + 1]!, mean, fields, prior, next);
    mean = next;
  }
  if (levels.length === 1) dst.set(mean.subarray(0, fields));
  return true;
}

/** A grid of weights and of weighted sums, plane after plane. */
interface Level {
  readonly w: number;
  readonly h: number;
  readonly weight: Float32Array;
  readonly sums: Float32Array;
}

/** The level of half the size: four cells' weights and sums added up. */
function coarser({ w, h, weight, sums }: Level, fields: number): Level {
  const cw = (w + 1) >> 1;
  const ch = (h + 1) >> 1;
  const wCoarse = new Float32Array(cw * ch);
  const sCoarse = new Float32Array(cw * ch * fields);
  for (let y = 0; y < h; y += 1) {
    const j = (y >> 1) * cw;
    for (let x = 0; x < w; x += 1) {
      const wi = weight[y * w + x]!;
      if (wi > 0) wCoarse[j + (x >> 1)] = wCoarse[j + (x >> 1)]! + wi;
    }
  }
  // Field by field, so that memory is read in order.
  for (let f = 0; f < fields; f += 1) {
    for (let y = 0; y < h; y += 1) {
      const i = y * w;
      const to = f * cw * ch + (y >> 1) * cw;
      const from = f * w * h + i;
      for (let x = 0; x < w; x += 1)
        if (weight[i + x]! > 0) sCoarse[to + (x >> 1)] = sCoarse[to + (x >> 1)]! + sums[from + x]!;
    }
  }
  return { w: cw, h: ch, weight: wCoarse, sums: sCoarse };
}

/** No cell counts for more than `cap`: a large plain region must not outweigh a near thin one on the coarser levels. */
function saturate({ w, h, weight, sums }: Level, fields: number, cap: number): void {
  for (let j = 0; j < w * h; j += 1) {
    const wj = weight[j]!;
    if (wj > cap) {
      const k = cap / wj;
      weight[j] = cap;
      for (let f = 0; f < fields; f += 1) sums[f * w * h + j] = sums[f * w * h + j]! * k;
    }
  }
}

/** A level's means: its own sums, and the coarser level's means, read between its cells, for `prior` observations. */
function pull(
  { w, h, weight, sums }: Level,
  { w: cw, h: ch }: Level,
  mean: Float32Array,
  fields: number,
  prior: number,
  next: Float32Array,
): void {
  const column = new Int32Array(w);
  const across = new Float64Array(w);
  for (let x = 0; x < w; x += 1) {
    const fx = Math.min(Math.max(x * 0.5 - 0.25, 0), cw - 1);
    column[x] = fx | 0;
    across[x] = fx - (fx | 0);
  }
  for (let f = 0; f < fields; f += 1) {
    const o = f * cw * ch;
    for (let y = 0; y < h; y += 1) {
      const fy = Math.min(Math.max(y * 0.5 - 0.25, 0), ch - 1);
      const ra = o + (fy | 0) * cw;
      const rb = o + Math.min((fy | 0) + 1, ch - 1) * cw;
      const ty = fy - (fy | 0);
      const to = f * w * h + y * w;
      for (let x = 0; x < w; x += 1) {
        const x0 = column[x]!;
        const x1 = x0 + 1 < cw ? x0 + 1 : x0;
        const tx = across[x]!;
        const a = mean[ra + x0]!;
        const c = mean[rb + x0]!;
        const up = (a + (mean[ra + x1]! - a) * tx) * (1 - ty) + (c + (mean[rb + x1]! - c) * tx) * ty;
        const own = weight[y * w + x]!;
        const wi = own > 0 ? own : 0;
        next[to + x] = ((wi > 0 ? sums[to + x]! : 0) + prior * up) * (1 / (wi + prior));
      }
    }
  }
}
