/**
 * Readings without the frames on which a performer that leaves or enters the picture shows no more than a sliver at its
 * border: the outline of a sliver is the border's doing, and its few pixels jump, breathe and flicker by themselves.
 */
import type { Box } from '../../join/ground/ground.js';
import type { Reading, Series } from '../reader/series.js';

/** Share of the most that any frame shows of the performer, from which a cut one is no sliver (own choice). */
const SLIVER = 0.5;
/** Fewest frames that must be left, or all are kept. */
const LEFT = 5;

/** `width`, `height`: of the picture. What is told of all frames together stays as it was read. */
export function withoutSlivers(series: Series, width: number, height: number): Series {
  const core = new Map(series.levels.map((l) => [l.frame, l.core])),
    most = Math.max(0, ...core.values()),
    slivers = new Set(
      [...series.boxes].flatMap(([frame, box]) =>
        isCut(box, width, height) && (core.get(frame) ?? 0) < SLIVER * most ? [frame] : [],
      ),
    );
  if (slivers.size === 0 || series.boxes.size - slivers.size < LEFT) return series;
  const itself = ({ frame }: { readonly frame: number }): boolean => !slivers.has(frame),
    // What is held against its neighbours.
    between = ({ frame }: { readonly frame: number }): boolean =>
      ![frame - 1, frame, frame + 1].some((n) => slivers.has(n)),
    of = (list: readonly Reading[] | undefined): Reading[] => (list ?? []).filter(between);
  const { chatter, seenChatter, wholeChatter, ...others } = series.readings;
  return {
    ...series,
    shift: series.shift.filter(itself),
    jitter: series.jitter.filter(between),
    levels: series.levels.filter(itself),
    filmLight: series.filmLight.filter(itself),
    readings: {
      ...others,
      chatter: of(chatter),
      seenChatter: of(seenChatter),
      wholeChatter: of(wholeChatter),
    },
  };
}

function isCut([x0, y0, x1, y1]: Box, width: number, height: number): boolean {
  return x0 <= 1 || y0 <= 1 || x1 >= width - 1 || y1 >= height - 1;
}
