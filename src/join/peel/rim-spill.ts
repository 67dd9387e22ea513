/**
 * Rims that read too thin. The unmixing compares each pixel with the performer's colours from deep inside; where the surface turns
 * away it takes more of the screen's light than there, so that solid rims read as partly screen and the soft outline beyond
 * them as thinner than it is. How much shows just inside the outline, where the body surely covers: there the reading
 * should be 1, and what it falls short by, smoothed along the outline, is divided out of the soft edge. (A rule of our own, held against ray-traced takes and the practice screens.)
 */
import { gaussianPlane } from '../../image/gaussian.js';
import type { FrameAnalysis } from './frame-analysis.js';

/** Small pixels from the screen between which the rim is read: beyond what a lens softens, before the performer's own colours settle the reading. */
const FROM = 3.5, TO = 8;
/** Less is a gap or hair, not a rim; more than this over 1 is no better than 1. */
const LEAST_SOLID = 0.6, MOST_SOLID = 1.15;
/** Small pixels a cell that it is gathered in, and cells along which it is smoothed (sd). */
const CELL = 2, SMOOTH = 3;
/** Falling short by so much is within what colours vary by; the least that is divided by. */
const WITHIN = 0.04, LEAST_SHARE = 0.7;
/** Where nothing of a rim is near. */
const NOWHERE = 1e-3;
/** Small pixels from screen and performer within which an outline is unmixed (frame-matte.ts). */
const SOLID_FROM = 10, EMPTY_FROM = 3;

/** What solid rims read as near each cell of small pixels (rows of `across`), 1 where that is as it should be. Null where no rim is seen. */
export function rimReading({ small: { width: w, height: h }, fromScreen, matte }: Pick<FrameAnalysis, 'small' | 'fromScreen' | 'matte'>): { readonly read: Float32Array; readonly across: number } | null {
  const across = Math.ceil(w / CELL), down = Math.ceil(h / CELL), read = new Float32Array(across * down), count = new Float32Array(across * down);
  let any = false;
  for (let y = 0, i = 0; y < h; y += 1) for (let x = 0; x < w; x += 1, i += 1) {
    const d = fromScreen[i]!, a = matte[i]!;
    if (d < FROM || d > TO || !(a > LEAST_SOLID)) continue;
    const c = Math.floor(y / CELL) * across + Math.floor(x / CELL);
    read[c] = read[c]! + Math.min(MOST_SOLID, a);
    count[c] = count[c]! + 1;
    any = true;
  }
  if (!any) return null;
  gaussianPlane(read, across, down, SMOOTH, SMOOTH, read);
  gaussianPlane(count, across, down, SMOOTH, SMOOTH, count);
  for (let c = 0; c < read.length; c += 1) read[c] = count[c]! < NOWHERE ? 1 : Math.max(LEAST_SHARE, Math.min(1, read[c]! / count[c]! + WITHIN));
  return { read, across };
}

/** Divides it out of the soft edge, in place. @param alpha 0..1, `width` × `height`; a small pixel covers `small.block` of its pixels each way @param highest the highest alpha of each block, kept up */
export function raiseRims(alpha: Float32Array, width: number, height: number, analysis: FrameAnalysis, highest: Float32Array | null = null): void {
  if (!analysis.occupied) return;
  const rim = rimReading(analysis);
  if (rim === null) return;
  const { small: { width: sw, height: sh, block }, fromPerformer, fromScreen } = analysis;
  for (let j = 0; j < sh; j += 1) for (let s = 0; s < sw; s += 1) {
    const k = j * sw + s, read = rim.read[Math.floor(j / CELL) * rim.across + Math.floor(s / CELL)]!;
    if (read === 1 || fromPerformer[k]! >= EMPTY_FROM || fromScreen[k]! >= SOLID_FROM) continue;
    const more = 1 / read, right = Math.min(width, (s + 1) * block), bottom = Math.min(height, (j + 1) * block);
    for (let y = j * block; y < bottom; y += 1) for (let i = y * width + s * block; i < y * width + right; i += 1) alpha[i] = Math.min(1, alpha[i]! * more);
    if (highest !== null) highest[k] = Math.min(1, highest[k]! * more);
  }
}
