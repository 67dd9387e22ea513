/**
 * The set without what moves, as one still picture in the pixels of a reference frame: every source frame is laid over
 * it by the camera's measured move (corrected locally where the set is not one plane), its exposure matched, and each
 * pixel is the mean of the samples that agree with their median (a trimmed form of the temporal median of Gloyer et
 * al., "Video-based freeway monitoring system using recursive vehicle tracking", SPIE 2421, 1995). Being still, it
 * can't flicker.
 *
 * Values are display-coded R'G'B'. Memory: one strip of all sources at a time.
 */
import { multiply, type Mat3 } from '../../geometry/mat3.js';
import { bringTogether, type Together } from './mosaic-align.js';
import { mosaicMatrix, type MosaicFrame } from './mosaic-frame.js';
import { meanOfSources, type SetMean } from './mosaic-mean.js';
import { placesOf, shadowsOf, type ShadowPlace } from './mosaic-shadows.js';
import type { MosaicSource, Placed } from './mosaic-source.js';
import { stillLight } from './still-light.js';

export interface Mosaic extends SetMean {
  /** Where the shadow of what hides the set was found on sources. */
  readonly shadows?: readonly ShadowPlace[];
  /** Reference pixels → mosaic pixels. */
  readonly fromReference: Mat3;
  readonly width: number;
  readonly height: number;
}

/**
 * Builds the mosaic.
 *
 * @param refine correct each source's place and light against a first, coarse mosaic
 * @param shadows what hides the set may also darken it nearby
 * @param whole its shadow is found as a whole in each source, where nothing else that is dark passes
 */
export function buildMosaic(
  sources: readonly MosaicSource[],
  frame: MosaicFrame,
  refine: boolean,
  shadows = false,
  whole = false,
): Mosaic {
  const m = mosaicMatrix(frame);
  const start: Placed[] = sources.map((s) => ({
    source: s,
    matrix: multiply(m, s.toReference),
    light: null,
    field: null,
    fieldScale: 1,
  }));
  const sought = shadows && whole;
  const { placed, found } =
    refine && sources.length > 2 ? bringTogether(start, frame, sought) : inOneLight(start, frame, sought);
  const mean = meanOfSources(placed, frame.width, frame.height, { shadows, coarse: false, found });
  return {
    ...mean,
    ...(found === null ? {} : { shadows: placesOf(found, placed) }),
    fromReference: m,
    width: frame.width,
    height: frame.height,
  };
}

/** The sources of a camera that stands. */
function inOneLight(start: readonly Placed[], frame: MosaicFrame, sought: boolean): Together {
  const placed = stillLight(start, frame);
  return { placed, found: sought ? shadowsOf(placed, frame) : null };
}
