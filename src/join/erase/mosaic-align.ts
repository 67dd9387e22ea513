/** Brings the sources of the still picture together: each one's place and light against a coarse mosaic of all. */
import { multiply, tryInvert, type Mat3 } from '../../geometry/mat3.js';
import { codedLuma } from './coded-luma.js';
import { fitLocally } from './erase-align.js';
import type { MosaicFrame } from './mosaic-frame.js';
import { lightPlane, shineOn } from './light-plane.js';
import { addFields, sizeOf } from './field-cells.js';
import { localField } from './local-field.js';
import { meanOfSources } from './mosaic-mean.js';
import { shadowsOf } from './mosaic-shadows.js';
import { laySource, validity, type Placed } from './mosaic-source.js';
import { smallIndex, type FoundShadows } from './pixel-samples.js';

/**
 * Side of the coarse picture on which sources are brought together, px; how often by local fields, and by how many
 * sources it is told whether there is anything for these to do.
 */
const COARSE = 480;
const FIELD_ROUNDS = 2;
const PROBES = 6;
/**
 * Local fields under this (rms, px of a frame) are left: such a shift takes less from a picture than its compression.
 */
const LEAST_FIELD = 0.12;
/** How far things off the set's plane are believed to lie from it, as a share of a frame's width. */
const PARALLAX = 0.02;

/** The sources brought together, and the shadows found on them where they were looked for. */
export interface Together {
  readonly placed: readonly Placed[];
  readonly found: FoundShadows | null;
}

/**
 * Each source's place and light are corrected against a coarse mosaic of all: by an affine map, then by local fields in
 * turns.
 *
 * @param shadows the shadow of what hides the set is looked for in each source once the affine map is known, and left
 * out of all that follows: its border moves by itself, and a field that follows it bends the ground
 */
export function bringTogether(start: readonly Placed[], frame: MosaicFrame, shadows: boolean): Together {
  const k = Math.min(1, COARSE / Math.max(frame.width, frame.height));
  const cw = Math.max(16, Math.round(frame.width * k)),
    ch = Math.max(16, Math.round(frame.height * k));
  const shrink: Mat3 = [k, 0, 0, 0, k, 0, 0, 0, 1],
    grow: Mat3 = [1 / k, 0, 0, 0, 1 / k, 0, 0, 0, 1];
  let placed: readonly Placed[] = start.map((p) => ({ ...p, fieldScale: k })),
    found: FoundShadows | null = null;
  for (let round = 0; round <= FIELD_ROUNDS; round++) {
    const small = found === null ? null : { ...found, scale: found.scale / k };
    const coarse = meanOfSources(
      placed.map((p) => ({ ...p, matrix: multiply(shrink, p.matrix), fieldScale: 1 })),
      cw,
      ch,
      { shadows: false, coarse: true, found: small },
    );
    const luma = codedLuma(coarse.picture);
    const improved = (p: Placed, j: number): Placed => {
      const matrix = multiply(shrink, p.matrix);
      const shift = p.field === null ? null : { field: p.field, scale: 1, x0: 0, y0: 0 };
      const laid = laySource(p.source, matrix, cw, ch, 'bilinear', shift, true);
      const seen = validity(p.source, matrix, cw, ch, shift);
      const weight = new Float32Array(cw * ch);
      for (let i = 0; i < weight.length; i++) weight[i] = seen[i]! > 0.99 && coarse.count[i]! >= 3 ? 1 : 0;
      if (small !== null) leaveOut(small, j, weight, cw);
      const light = lightPlane(coarse.picture, laid, weight);
      if (light !== null) shineOn(laid, light, -1);
      if (round === 0) {
        const fit = fitLocally(luma, codedLuma(laid), weight, cw, ch, { reachPx: 1 });
        const back = tryInvert(fit.matrix);
        return back !== null && fit.after < 0.995 * fit.before
          ? { ...p, light, matrix: multiply(multiply(multiply(grow, back), shrink), p.matrix) }
          : { ...p, light };
      }
      const field = localField(luma, codedLuma(laid), weight, cw, ch, {
        reachPx: PARALLAX * p.source.widthPx * frame.scale * k,
        cellPx: 8,
        quick: true,
      });
      return { ...p, light, field: addFields(p.field, field) };
    };
    if (round === 1) {
      // One plane and a lens that does not bend need no fields: a few sources, spread over the shot, tell.
      const every = Math.max(1, Math.floor(placed.length / PROBES));
      const probed = new Map(placed.flatMap((p, i) => (i % every === 0 ? [[i, improved(p, i)] as const] : [])));
      const least = LEAST_FIELD * frame.scale * k;
      if ([...probed.values()].every((p) => p.field === null || sizeOf(p.field) < least)) break;
      placed = placed.map((p, i) => probed.get(i) ?? improved(p, i));
    } else placed = placed.map(improved);
    if (round === 0 && shadows) found = shadowsOf(placed, frame);
  }
  return { placed, found };
}

/** In a source's shadow nothing is compared: `weight`, of `width` pixels a row, is set to 0 there. */
function leaveOut(found: FoundShadows, source: number, weight: Float32Array, width: number): void {
  const mask = found.masks[source]!;
  for (let i = 0; i < weight.length; i++)
    if (mask[smallIndex(found, i % width, Math.floor(i / width))] !== 0) weight[i] = 0;
}
