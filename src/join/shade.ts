/**
 * Lays a measured shade on the plate: in full shadow the key is gone and the fill stays (transmission = fill / (key + fill),
 * per channel), and near the contact part of the fill goes too. Where the plate already lies in shadow there is no key left
 * to take away, so no second shadow is laid over the first: how far a pixel is in shadow already is read from the plate's own
 * luminance against its lit ground. A marked surface that the key meets at another angle than level ground has another share
 * of key to lose: with a key k times as strong, fill / (k key + fill).
 */
import { boxMean } from '../image/box.js';
import { plane, type Picture } from '../image/picture.js';
import { rasterizePolygon } from '../image/polygon.js';
import type { Box, GroundShade } from './ground.js';
import type { GroundStep } from './types.js';

/** Least change of light that is laid; below it the plate's own code values stay. */
const NOTHING = 0.004;

function smoothstep(lo: number, hi: number, v: number): number {
  const t = Math.min(1, Math.max(0, (v - lo) / (hi - lo)));
  return t * t * (3 - 2 * t);
}

/** Luminance of a surface where the key lights it, and the logarithm of what its shadow takes away. */
interface Lit { readonly luma: number; readonly span: number }

const lumaOf = (r: number, g: number, b: number): number => 0.2126 * r + 0.7152 * g + 0.0722 * b;

/** Null where the lit surface is not known, or its shadow would hardly show. */
function litOf(lit: readonly [number, number, number] | undefined, t: readonly [number, number, number]): Lit | null {
  if (lit === undefined) return null;
  const luma = lumaOf(...lit);
  const span = Math.log(1 / Math.max(0.02, lumaOf(lit[0] * t[0], lit[1] * t[1], lit[2] * t[2]) / Math.max(1e-6, luma)));
  return luma > 0 && span >= 0.2 ? { luma, span } : null;
}

/** Smoothed luminance of the plate's pixels over the box. */
function softLuma(base: Picture): Float32Array {
  const n = base.width * base.height;
  const luma = new Float32Array(n);
  const r = plane(base, 0), g = plane(base, 1), b = plane(base, 2);
  for (let i = 0; i < n; i++) { const l = 0.2126 * r[i]! + 0.7152 * g[i]! + 0.0722 * b[i]!; luma[i] = l > 0 ? l : 0; }
  return boxMean(luma, base.width, base.height, 2, 2, luma);
}

/** How far a pixel lies in a shadow of the plate's own, 0..1. */
function shadowed(lit: Lit, luma: number): number {
  return smoothstep(0.45, 0.85, Math.log(lit.luma / Math.max(1e-4, luma)) / lit.span);
}

/** Share of the light that is left where `t` is left of a key of strength 1, for one `key` times as strong. */
function left(t: number, key: number): number {
  return t / Math.max(1e-6, t + key * (1 - t));
}

/** Multiplies `out` (three linear planes over `box`) by the shade; `outline` bounds the receiver, `hidden` holds out what stands in front. */
export function applyShade(step: GroundStep, shade: GroundShade, base: Picture, out: Picture, box: Box, touched: Uint8Array, outline: readonly (readonly [number, number])[] | null, hidden: Float32Array | null): void {
  const w = box[2] - box[0], n = w * (box[3] - box[1]);
  const sw = shade.box[2] - shade.box[0], sh = shade.box[3] - shade.box[1];
  const dx = shade.box[0] - box[0], dy = shade.box[1] - box[1];
  const bound = outline === null ? null : rasterizePolygon(outline.map(([x, y]) => [x - shade.box[0], y - shade.box[1]] as const), sw, sh);
  const { marked } = shade;
  // The ground's first, then those of the marked surfaces.
  const lits = [litOf(step.litLinear, step.transmission), ...(marked === undefined ? [] : (step.receivers ?? []).map((r) => litOf(r.litLinear, step.transmission)))];
  const soft = lits.some((l) => l !== null) ? softLuma(base) : null;
  const full = shade.kept === true ? ([0, 0, 0] as const) : step.transmission;
  let [t0, t1, t2] = full;
  const d = out.data;
  for (let y = 0; y < sh; y++) {
    for (let x = 0; x < sw; x++) {
      const i = y * sw + x, o = (y + dy) * w + x + dx;
      let cover = shade.cover[i]!;
      let contact = shade.contact[i]! * step.contactStrength;
      const share = marked === undefined ? 0 : marked.share[i]!;
      if (bound !== null) { const k = Math.max(bound[i]!, share); cover *= k; contact *= k; }
      if (hidden !== null) { cover *= 1 - hidden[o]!; contact *= 1 - hidden[o]!; }
      if (cover < NOTHING && contact < NOTHING) continue;
      const lit = share > 0.5 ? lits[marked!.number[i]!]! : lits[0]!;
      if (lit !== null && cover > 0) {
        cover *= 1 - shadowed(lit, soft![o]!);
        if (cover < NOTHING && contact < NOTHING) continue;
      }
      if (marked !== undefined) {
        const key = 1 + share * (marked.key[i]! - 1);
        [t0, t1, t2] = full;
        if (key !== 1) { t0 = left(t0, key); t1 = left(t1, key); t2 = left(t2, key); }
      }
      const open = 1 - cover, fill = 1 - contact;
      const f0 = open * (1 - t0) + t0 * fill, f1 = open * (1 - t1) + t1 * fill, f2 = open * (1 - t2) + t2 * fill;
      if (1 - f0 < NOTHING && 1 - f1 < NOTHING && 1 - f2 < NOTHING) continue;
      touched[o] = 1;
      d[o] = d[o]! * f0;
      d[n + o] = d[n + o]! * f1;
      d[2 * n + o] = d[2 * n + o]! * f2;
    }
  }
}
