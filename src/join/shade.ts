/**
 * Lays a measured shade on the plate: in full shadow the key is gone and the fill stays (transmission = fill / (key + fill),
 * per channel), and near the contact part of the fill goes too. Where the plate already lies in shadow there is no key left
 * to take away, so no second shadow is laid over the first: how far a pixel is in shadow already is read from the plate's own
 * luminance against its lit ground.
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

/** Logarithm of the lit ground's light over a pixel's, for how far it lies in a shadow of the plate's own. */
interface OwnShadow { readonly soft: Float32Array; readonly litLuma: number; readonly span: number }

/** Smoothed luminance of the plate's pixels over the box and what lit ground has; null where the lit ground is not known. */
function ownShadow(step: GroundStep, base: Picture): OwnShadow | null {
  const lit = step.litLinear;
  if (lit === undefined) return null;
  const n = base.width * base.height;
  const litLuma = 0.2126 * lit[0] + 0.7152 * lit[1] + 0.0722 * lit[2];
  const t = step.transmission;
  const shadowLuma = (0.2126 * lit[0] * t[0] + 0.7152 * lit[1] * t[1] + 0.0722 * lit[2] * t[2]) / Math.max(1e-6, litLuma);
  const span = Math.log(1 / Math.max(0.02, shadowLuma));
  if (!(litLuma > 0) || span < 0.2) return null;
  const luma = new Float32Array(n);
  const r = plane(base, 0), g = plane(base, 1), b = plane(base, 2);
  for (let i = 0; i < n; i++) { const l = 0.2126 * r[i]! + 0.7152 * g[i]! + 0.0722 * b[i]!; luma[i] = l > 0 ? l : 0; }
  return { soft: boxMean(luma, base.width, base.height, 2, 2, luma), litLuma, span };
}

/** How far a pixel lies in a shadow of the plate's own, 0..1. */
function shadowed(own: OwnShadow, o: number): number {
  return smoothstep(0.45, 0.85, Math.log(own.litLuma / Math.max(1e-4, own.soft[o]!)) / own.span);
}

/** Multiplies `out` (three linear planes over `box`) by the shade; `outline` bounds the receiver, `hidden` holds out what stands in front. */
export function applyShade(step: GroundStep, shade: GroundShade, base: Picture, out: Picture, box: Box, touched: Uint8Array, outline: readonly (readonly [number, number])[] | null, hidden: Float32Array | null): void {
  const w = box[2] - box[0], n = w * (box[3] - box[1]);
  const sw = shade.box[2] - shade.box[0], sh = shade.box[3] - shade.box[1];
  const dx = shade.box[0] - box[0], dy = shade.box[1] - box[1];
  const bound = outline === null ? null : rasterizePolygon(outline.map(([x, y]) => [x - shade.box[0], y - shade.box[1]] as const), sw, sh);
  const own = ownShadow(step, base);
  const [t0, t1, t2] = step.transmission;
  const d = out.data;
  for (let y = 0; y < sh; y++) {
    for (let x = 0; x < sw; x++) {
      const i = y * sw + x, o = (y + dy) * w + x + dx;
      let cover = shade.cover[i]!;
      let contact = shade.contact[i]! * step.contactStrength;
      if (bound !== null) { cover *= bound[i]!; contact *= bound[i]!; }
      if (hidden !== null) { cover *= 1 - hidden[o]!; contact *= 1 - hidden[o]!; }
      if (cover < NOTHING && contact < NOTHING) continue;
      if (own !== null && cover > 0) {
        cover *= 1 - shadowed(own, o);
        if (cover < NOTHING && contact < NOTHING) continue;
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
