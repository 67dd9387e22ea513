/**
 * The shadow of what is erased where no frame shows its ground lit and nobody marked it: looked for in the still
 * picture of the set where the measured key throws it (propose-erase.ts). What is dark there is relit
 * (erase-relight.ts) only if it meets the place foretold; each frame's own shadow then differs from the lit picture and
 * goes with the rest (erase-shadow.ts).
 */
import { multiply, tryInvert, type Mat3 } from '../../geometry/mat3.js';
import { dilate } from '../../image/morphology.js';
import { createPicture, type Picture } from '../../image/picture.js';
import { rasterizeMoved } from '../../image/polygon.js';
import type { Mosaic } from './erase-mosaic.js';
import { relightRest } from './moving-shadow.js';
import { percents, relightPlace, type FoundCast } from './relight-place.js';
import { cropPlane } from './erase-seam.js';

/**
 * A body is no thing of revolution, and a light is known to some degrees: looked at as far about the place foretold, as
 * a share of the root of its area.
 */
const ABOUT = 0.3;
/** What is dark must fill so much of the place foretold, and reach beyond it by no more of it. */
const FILLS = 0.4;
const BEYOND = 0.6;

export interface CastRequest {
  /** Frames that the still picture is made of. */
  readonly frames: readonly number[];
  readonly fromReference: (frame: number) => Mat3;
  /** Outlines of one thing's shadow as foretold, and of all that is erased, in a frame's pixels. */
  readonly cast: (frame: number) => [number, number][][];
  readonly things: (frame: number) => [number, number][][];
}

/**
 * Relights the shadow in the still picture, in place; along its border, where the penumbra's own shape is not known,
 * the picture counts as never seen (`count` 0) and is made up. Null, and nothing changed, where no shadow was found.
 */
function relightCast(mosaic: Mosaic, r: CastRequest): FoundCast | null {
  const { width: w, height: h } = mosaic,
    n = w * h;
  const core = new Float32Array(n),
    lit = new Float32Array(n),
    one = new Float32Array(n);
  const fill = (outlines: [number, number][][], to: Mat3, into: Float32Array): void => {
    for (const o of outlines) {
      rasterizeMoved(o, to, w, h, one);
      for (let i = 0; i < n; i++) if (one[i]! > 0.5) into[i] = 1;
    }
  };
  for (const frame of r.frames) {
    const back = tryInvert(r.fromReference(frame));
    if (back === null) continue;
    const to = multiply(mosaic.fromReference, back),
      here = new Float32Array(n),
      hides = new Float32Array(n);
    fill(r.cast(frame), to, here);
    fill(r.things(frame), to, hides);
    for (let i = 0; i < n; i++)
      if (here[i]! > 0) core[i] = 1;
      else if (hides[i]! === 0) lit[i] = 1;
  }
  // Ground that some frame shows out of the shadow is lit in the still picture already.
  let area = 0;
  for (let i = 0; i < n; i++) {
    if (lit[i]! > 0 || !(mosaic.count[i]! > 0)) core[i] = 0;
    area += core[i]!;
  }
  if (area < 200) return null;
  const wide = dilate(core, w, h, Math.ceil(ABOUT * Math.sqrt(area)));
  const found = relightPlace(mosaic, wide, (mask, box) => {
    const foretold = cropPlane(core, w, box);
    let both = 0,
      beyond = 0;
    for (let i = 0; i < mask.length; i++)
      if (mask[i]! > 0) {
        if (foretold[i]! > 0) both++;
        else beyond++;
      }
    return both > FILLS * area && beyond < BEYOND * area;
  });
  return found === null
    ? null
    : {
        mask: found.mask,
        note:
          'a shadow that no frame shows lit was found where the key throws it and relit: ' +
          `it let through ${percents(found.ratio)} of red, green, blue`,
      };
}

/** Ground that the still picture shows lit though every frame shows it in the shadow of what is erased. */
export interface CastGround {
  /** 1 where it was relit, over the still picture; null where nowhere. */
  readonly relit: Picture | null;
  /** The outlines of the shadows found, in a frame's pixels. */
  readonly outlines: (frame: number) => [number, number][][];
  readonly notes: readonly string[];
}

/**
 * Looks for each of the shadows foretold (`paths`: outlines by frame), then, where `moves`, for the rest of one that is
 * seen to move (only where the camera stands: in a pan the shade of a shelter that a walker's shadow met was relit with
 * it, and where it travels what passes near by is dark and comes and goes too); what was relit is `needed` (1) too.
 */
export function castOf(
  paths: readonly ((frame: number) => [number, number][])[],
  mosaic: Mosaic,
  needed: Uint8Array,
  r: Omit<CastRequest, 'cast'>,
  moves: boolean,
): CastGround {
  const outlines: ((frame: number) => [number, number][])[] = [],
    notes: string[] = [],
    relit = createPicture(mosaic.width, mosaic.height, 1);
  const take = (one: FoundCast): void => {
    notes.push(one.note);
    for (let i = 0; i < needed.length; i++) if (one.mask[i]! > 0) relit.data[i] = needed[i] = 1;
  };
  for (const path of paths) {
    const one = relightCast(mosaic, { ...r, cast: (n) => [path(n)] });
    if (one === null) continue;
    outlines.push(path);
    take(one);
  }
  const rest = moves ? relightRest(mosaic) : null;
  if (rest !== null) take(rest);
  return { relit: notes.length === 0 ? null : relit, outlines: (n) => outlines.map((p) => p(n)), notes };
}
