/**
 * Which frames near in time show what a frame hides. On a grid of points of the hidden part each frame taken is worth,
 * at every point it shows, what its nearness in time is worth there over the frames taken already: greedy facility
 * location (Nemhauser, Wolsey & Fisher, Mathematical Programming 14, 1978). Taken from the nearest on instead, a slow
 * walker's neighbours would fill the list, each with its own narrow strip, and what only later frames show would stay
 * open.
 */
import { apply, multiply, tryInvert, type Mat3 } from '../../geometry/mat3.js';
import type { MosaicSource } from './mosaic-source.js';

/**
 * A near frame is taken along where it adds at least so much, in shares of the hidden part shown anew by a frame next
 * to it.
 */
const ADDS = 0.01;
/** Points of the hidden part looked at, about. */
const POINTS = 1500;
/** A helper shows at least such a share of what the source shows. */
const LEAST_HELP = 0.25;
/**
 * What a frame is worth at a point however far off, beside its neighbour's; and the frames in which the rest falls to a
 * third.
 */
const LASTS = 0.6;
const FADES = 12;
/** What a second frame at a point is worth beside the first: their noise differs. */
const SECOND = 0.3;

export interface NearPlace {
  readonly source: MosaicSource;
  /** The source's pixels → the box's. */
  readonly matrix: Mat3;
  /** The frame that best tells how what the source shows of the hidden part moves; null for none. */
  readonly helper: { readonly source: MosaicSource; readonly matrix: Mat3 } | null;
}

interface Seen {
  readonly source: MosaicSource;
  readonly matrix: Mat3;
  readonly shown: Uint8Array;
}

/**
 * Shows most of the hidden points that the source shows, from about as far off in time as the frame: nearer, the way's
 * noise is drawn out; farther, more else has changed.
 */
function helperOf(seen: readonly Seen[], shown: Uint8Array, at: number, frame: number): NearPlace['helper'] {
  let best: Seen | null = null,
    most = LEAST_HELP;
  let all = 0;
  for (const v of shown) all += v;
  for (const s of seen) {
    const ratio = Math.abs(s.source.frame - at) / Math.abs(frame - at);
    if (ratio === 0) continue;
    let both = 0;
    for (let k = 0; k < shown.length; k++) both += shown[k]! & s.shown[k]!;
    const worth = (both / Math.max(1, all)) * Math.sqrt(Math.min(ratio, 1) / Math.max(1, ratio / 2));
    if (worth > most) {
      most = worth;
      best = s;
    }
  }
  return best;
}

/**
 * @param hidden > 0 where the frame hides the set, over a box of `width` pixels a row
 * @param toBox reference pixels → the box's
 * @param most so many at most
 */
export function chooseNear(
  sources: readonly MosaicSource[],
  frame: number,
  toBox: Mat3,
  hidden: Float32Array,
  width: number,
  most: number,
): NearPlace[] {
  let all = 0;
  for (let i = 0; i < hidden.length; i++) if (hidden[i]! > 0) all++;
  const step = Math.max(1, Math.round(Math.sqrt(all / POINTS)));
  const points: number[] = [];
  for (let i = 0; i < hidden.length; i++)
    if (hidden[i]! > 0 && (i % width) % step === 0 && Math.floor(i / width) % step === 0) points.push(i);
  const away = (s: MosaicSource): number => Math.abs(s.frame - frame);
  const seen = sources
    .filter((s) => s.frame !== frame)
    .sort((a, b) => away(a) - away(b) || a.frame - b.frame)
    .flatMap((source) => {
      const matrix = multiply(toBox, source.toReference),
        back = tryInvert(matrix);
      if (back === null) return [];
      const shown = Uint8Array.from(points, (i) => {
        const [x, y] = apply(back, (i % width) + 0.5, Math.floor(i / width) + 0.5);
        return x >= 1 &&
          y >= 1 &&
          x < source.widthPx - 1 &&
          y < source.heightPx - 1 &&
          source.shows[Math.floor(y) * source.widthPx + Math.floor(x)]! >= 100
          ? 1
          : 0;
      });
      return [{ source, matrix, shown, worth: LASTS + (1 - LASTS) * Math.exp(-(away(source) - 1) / FADES) }];
    });
  const left = seen.slice();
  const first = new Float64Array(points.length),
    second = new Float64Array(points.length);
  const out: NearPlace[] = [];
  while (out.length < most) {
    let best = -1,
      gain = ADDS * points.length;
    for (let j = 0; j < left.length; j++) {
      const { shown, worth } = left[j]!;
      let g = 0;
      for (let k = 0; k < shown.length; k++)
        if (shown[k] === 1)
          g +=
            worth > first[k]!
              ? worth - first[k]! + SECOND * (first[k]! - second[k]!)
              : worth > second[k]!
                ? SECOND * (worth - second[k]!)
                : 0;
      if (g > gain) {
        gain = g;
        best = j;
      }
    }
    if (best < 0) break;
    const { source, matrix, shown, worth } = left.splice(best, 1)[0]!;
    for (let k = 0; k < shown.length; k++)
      if (shown[k] === 1) {
        if (worth > first[k]!) {
          second[k] = first[k]!;
          first[k] = worth;
        } else if (worth > second[k]!) second[k] = worth;
      }
    out.push({ source, matrix, helper: helperOf(seen, shown, source.frame, frame) });
  }
  return out;
}
