/**
 * Edge spread and MTF50 from straight edges that the picture happens to hold: the slanted-edge method of ISO
 * 12233 (edge spread function over-sampled along a slanted straight edge, its derivative, the Fourier
 * transform), with edges chosen by the program. Works on scene-linear luma. MTF50 of a Gaussian of sd s:
 * exp(−2π²s²f²) = ½ gives f = √(ln 2 / 2)/(π s) cycles/px.
 *
 * A film's picture holds soft things too; what a lens and its finish can do shows in the sharper edges, so the answer
 * is the median of the sharper half, and its sd the spread of those. Where most of the picture is out of focus, it is
 * the median of what is in focus (`focus-split.ts`).
 */
import { counted } from '../../core/counted.js';
import { measured, notMeasurable, type Measure } from '../../core/measure.js';
import { focusSplit } from './focus-split.js';
import type { Edge } from './slanted-edges.js';

/**
 * Rises (px) up to which edges at the fine scale say the whole: softer ones are cut off by its
 * short reach (a picture of 5.3 px read 4.3 to 4.7).
 */
const FINE_RISE = 3.4;
const FINE_EDGES = 8;
/**
 * Wide edges are the surer where there are enough; unless the fine ones are sharper by more than
 * noise makes them look (6 % at a grain of .016).
 */
const CLEARLY = 0.8;

export interface Sharpness {
  readonly edgeSpreadPx: Measure;
  readonly mtf50: Measure;
  /** Edge spread (px) of what is out of focus, where that is most of the picture; else absent. */
  readonly outOfFocusPx?: number;
}

/**
 * Edge spread (10 to 90 %) and MTF50 from edges of several frames: from the `fine` ones where
 * there are enough and they are sharp, since few pictures leave a wide edge free, and those that
 * do are often of smoke, cloud or what is out of focus. Where the fine ones fall into some in focus and more that are
 * not, from those in focus.
 */
export function sharpnessOf(
  wide: readonly Edge[],
  frames: readonly [number, number],
  fine: readonly Edge[] = [],
): Sharpness {
  const help = 'a frame with a straight, slanted edge of good contrast in focus';
  const split = focusSplit(fine);
  const byFine =
    fine.length >= FINE_EDGES &&
    sharperMiddle(fine) <= FINE_RISE &&
    (wide.length < FINE_EDGES || sharperMiddle(fine) < CLEARLY * sharperMiddle(wide));
  const edges = byFine || split !== null ? fine : wide;
  if (edges.length < 4) {
    const reason =
      `only ${counted(edges.length, 'straight slanted edge')} with even ` +
      `sides ${edges.length === 1 ? 'was' : 'were'} found`;
    return { edgeSpreadPx: notMeasurable('px', reason, help), mtf50: notMeasurable('cycles/px', reason, help) };
  }
  const sharp = split?.inFocus ?? sharperHalf(edges);
  const mid = (a: number[]): number => a.sort((p, q) => p - q)[a.length >> 1]!;
  const rise = mid(sharp.map((e) => e.rise));
  const mtf = mid(sharp.map((e) => e.mtf50));
  const mad = (values: number[], m: number): number =>
    (1.4826 * mid(values.map((v) => Math.abs(v - m)))) / Math.sqrt(Math.max(1, sharp.length / 2));
  const how = `slanted edges, ${sharp.length} ${split === null ? 'sharper' : 'in focus'} of ${edges.length}`;
  return {
    edgeSpreadPx: measured(
      rise,
      'px',
      Math.max(
        0.02 * rise,
        mad(
          sharp.map((e) => e.rise),
          rise,
        ),
      ),
      how,
      frames,
    ),
    mtf50: measured(
      mtf,
      'cycles/px',
      Math.max(
        0.02 * mtf,
        mad(
          sharp.map((e) => e.mtf50),
          mtf,
        ),
      ),
      how,
      frames,
    ),
    ...(split === null ? {} : { outOfFocusPx: split.softPx }),
  };
}

/** The sharper half, three at least. */
function sharperHalf(edges: readonly Edge[]): Edge[] {
  return [...edges].sort((p, q) => p.rise - q.rise).slice(0, Math.max(3, Math.ceil(edges.length / 2)));
}

function sharperMiddle(edges: readonly Edge[]): number {
  const half = sharperHalf(edges);
  return half[half.length >> 1]!.rise;
}
