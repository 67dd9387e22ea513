/**
 * Fills hollows of a matte that no path from the screen reaches: greyscale reconstruction by erosion from markers
 * (Vincent, "Morphological grayscale reconstruction in image analysis", IEEE TIP 1993), computed as a minimax flood
 * with one bucket a grey level. A hollow inside the performer (a teal strap, a spilled cheek) is lifted to the level of
 * the lowest pass that leads to it; true gaps, which hold markers of their own, stay.
 */

const LEVELS = 256;

/**
 * @param alpha 0..1, changed in place
 * @param marker 1 where the pixel surely is screen (the flood starts there at its own alpha)
 * @param active 1 where the flood may go; other pixels keep their value
 */
export function fillHoles(alpha: Float32Array, marker: Uint8Array, active: Uint8Array, w: number, h: number): void {
  const n = w * h;
  const heads = new Int32Array(LEVELS + 1).fill(-1);
  const next = new Int32Array(n);
  const level = new Uint8Array(n);
  const seen = new Uint8Array(n);
  for (let i = 0; i < n; i += 1) {
    if (active[i] === 0) continue;
    const a = alpha[i]!;
    level[i] = a <= 0 ? 0 : a >= 1 ? LEVELS - 1 : (a * (LEVELS - 1)) | 0;
    if (marker[i] === 1) {
      seen[i] = 1;
      const l = level[i]!;
      next[i] = heads[l]!;
      heads[l] = i;
    }
  }
  const near = new Int32Array(4);
  for (let l = 0; l < LEVELS; l += 1) {
    while (heads[l]! >= 0) {
      const i = heads[l]!;
      heads[l] = next[i]!;
      const x = i % w;
      near[0] = x > 0 ? i - 1 : -1;
      near[1] = x < w - 1 ? i + 1 : -1;
      near[2] = i >= w ? i - w : -1;
      near[3] = i < n - w ? i + w : -1;
      for (let k = 0; k < 4; k += 1) {
        const j = near[k]!;
        if (j < 0 || seen[j] === 1 || active[j] === 0) continue;
        seen[j] = 1;
        const own = level[j]!;
        if (own < l) {
          alpha[j] = Math.max(alpha[j]!, l / (LEVELS - 1));
          level[j] = l;
        }
        const to = level[j]!;
        next[j] = heads[to]!;
        heads[to] = j;
      }
    }
  }
  // What the flood never reached is shut in on all sides: solid.
  for (let i = 0; i < n; i += 1) if (active[i] === 1 && seen[i] === 0) alpha[i] = 1;
}
