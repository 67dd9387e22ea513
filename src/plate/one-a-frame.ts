/** Marks of which a frame has one at most: drawn again there, it is a correction. */
import type { Mark, MarkKind, MarksFile } from './marks/marks.js';
import { withSeats } from './marks/seat.js';

/** Kinds of which a frame has one at most. */
export const ONE_A_FRAME: readonly MarkKind[] = ['stand', 'performer', 'pose', 'horizon', 'widen', 'eyeline'];

/** Would the new mark take the other's place? @param frameOf the frame that a mark holds for */
function takesPlaceOf(mark: Mark, other: Mark, frameOf: (m: Mark) => number): boolean {
  return ONE_A_FRAME.includes(mark.kind) && other.kind === mark.kind && frameOf(other) === frameOf(mark);
}

/**
 * The marks with one more, in the place of the one that it corrects. A stand mark on a frame on which the performer is
 * carried says where it sits there, in the place of what was said before.
 */
export function withMark(file: MarksFile, mark: Mark): MarksFile {
  const frameOf = (m: Mark): number => ('frame' in m ? m.frame : undefined) ?? file.frame;
  const kept = file.marks.filter((m) => !takesPlaceOf(mark, m, frameOf));
  const marks = mark.kind === 'stand' ? kept.map((m) => (frameOf(m) === frameOf(mark) ? withoutSeat(m) : m)) : kept;
  return withSeats({ ...file, marks: [...marks, mark] });
}

function withoutSeat(m: Mark): Mark {
  if (m.kind !== 'carry') return m;
  const { ground: _ground, top: _top, ...rest } = m;
  return rest;
}
