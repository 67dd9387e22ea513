/**
 * Fills a coarse grid of weighted sums into a dense field: the pull-push interpolation of Gortler et al., "The Lumigraph",
 * SIGGRAPH 1996, section 3.4, read as a hierarchical Bayesian mean: on every level the coarser mean counts as `prior`
 * further observations, so that well-observed cells keep their own mean and empty ones take that of the nearest
 * observed region.
 */

/**
 * @param weight  gridW × gridH observations a cell (≥ 0)
 * @param sums    fields × gridH × gridW weighted sums, plane after plane
 * @param prior   how many observations the coarser level counts for
 * @param dst     means, same shape as sums (may be `sums` itself)
 * @returns false where there is no observation at all (dst is then zero)
 */
export function priorFill(weight: Float32Array, sums: Float32Array, fields: number, gridW: number, gridH: number, prior: number, dst: Float32Array): boolean {
  const widths = [gridW];
  const heights = [gridH];
  const weights = [weight];
  const planes = [sums];
  while (widths[widths.length - 1]! > 1 || heights[heights.length - 1]! > 1) {
    const level = widths.length - 1;
    const w = widths[level]!;
    const h = heights[level]!;
    const cw = (w + 1) >> 1;
    const ch = (h + 1) >> 1;
    const wFine = weights[level]!;
    const sFine = planes[level]!;
    const wCoarse = new Float32Array(cw * ch);
    const sCoarse = new Float32Array(cw * ch * fields);
    for (let y = 0; y < h; y += 1) {
      for (let x = 0; x < w; x += 1) {
        const i = y * w + x;
        const wi = wFine[i]!;
        if (wi <= 0) continue;
        const j = (y >> 1) * cw + (x >> 1);
        wCoarse[j] = wCoarse[j]! + wi;
        for (let f = 0; f < fields; f += 1) sCoarse[f * cw * ch + j] = sCoarse[f * cw * ch + j]! + sFine[f * w * h + i]!;
      }
    }
    // Saturate: a large plain region must not outweigh a near thin one on the coarser levels.
    const cap = 4 * prior;
    for (let j = 0; j < cw * ch; j += 1) {
      const wj = wCoarse[j]!;
      if (wj > cap) {
        const k = cap / wj;
        wCoarse[j] = cap;
        for (let f = 0; f < fields; f += 1) sCoarse[f * cw * ch + j] = sCoarse[f * cw * ch + j]! * k;
      }
    }
    widths.push(cw);
    heights.push(ch);
    weights.push(wCoarse);
    planes.push(sCoarse);
  }
  const topLevel = widths.length - 1;
  const topWeight = weights[topLevel]![0]!;
  if (topWeight <= 0) {
    dst.fill(0);
    return false;
  }
  let mean = new Float32Array(fields);
  for (let f = 0; f < fields; f += 1) mean[f] = planes[topLevel]![f]! / topWeight;
  for (let level = topLevel - 1; level >= 0; level -= 1) {
    const w = widths[level]!;
    const h = heights[level]!;
    const cw = widths[level + 1]!;
    const ch = heights[level + 1]!;
    const wFine = weights[level]!;
    const sFine = planes[level]!;
    const next = level === 0 ? dst : new Float32Array(w * h * fields);
    for (let y = 0; y < h; y += 1) {
      const fy = Math.min(Math.max(y * 0.5 - 0.25, 0), ch - 1);
      const y0 = fy | 0;
      const y1 = Math.min(y0 + 1, ch - 1);
      const ty = fy - y0;
      for (let x = 0; x < w; x += 1) {
        const fx = Math.min(Math.max(x * 0.5 - 0.25, 0), cw - 1);
        const x0 = fx | 0;
        const x1 = Math.min(x0 + 1, cw - 1);
        const tx = fx - x0;
        const i = y * w + x;
        const wi = Math.max(wFine[i]!, 0);
        const inv = 1 / (wi + prior);
        for (let f = 0; f < fields; f += 1) {
          const o = f * cw * ch;
          const a = mean[o + y0 * cw + x0]!;
          const b = mean[o + y0 * cw + x1]!;
          const c = mean[o + y1 * cw + x0]!;
          const d = mean[o + y1 * cw + x1]!;
          const up = (a + (b - a) * tx) * (1 - ty) + (c + (d - c) * tx) * ty;
          const own = wi > 0 ? sFine[f * w * h + i]! : 0;
          next[f * w * h + i] = (own + prior * up) * inv;
        }
      }
    }
    mean = next as Float32Array<ArrayBuffer>;
  }
  if (topLevel === 0) dst.set(mean.subarray(0, fields));
  return true;
}
