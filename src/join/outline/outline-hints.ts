/**
 * What a take's marks say of its performer's outline: where a person pointed, and what outlines were drawn.
 */
import type { Point } from '../../image/polygon.js';
import type { Mark, MarksFile } from '../../plate/marks/marks.js';

export interface Hints {
  readonly about: readonly (readonly Point[])[];
  readonly performer: readonly (readonly Point[])[];
  readonly set: readonly (readonly Point[])[];
}

/** What a take's marks say of its performer's outline on a frame. */
export function hintsOn(marks: MarksFile, frame: number): Hints {
  const here = marks.marks.filter((m) => (('frame' in m ? m.frame : undefined) ?? marks.frame) === frame);
  const touches = here.filter((m): m is Extract<Mark, { kind: 'touch' }> => m.kind === 'touch');
  return {
    about: here.filter((m): m is Extract<Mark, { kind: 'about' }> => m.kind === 'about').map((m) => m.polygon),
    performer: touches.filter((t) => t.on === 'performer').map((t) => t.points),
    set: touches.filter((t) => t.on === 'set').map((t) => t.points),
  };
}

/** Frames on which a person pointed at the performer. */
export function hintedFrames(marks: MarksFile): number[] {
  return [
    ...new Set(
      marks.marks
        .filter((m) => m.kind === 'about' || m.kind === 'touch')
        .map((m) => ('frame' in m ? m.frame : undefined) ?? marks.frame),
    ),
  ].sort((a, b) => a - b);
}

/** The outlines drawn on a take, by frame; the last of a frame counts. */
export function drawnOutlines(marks: MarksFile): { frame: number; polygon: [number, number][] }[] {
  const by = new Map<number, [number, number][]>();
  for (const m of marks.marks)
    if (m.kind === 'body' && m.polygon !== undefined) by.set(m.frame ?? marks.frame, m.polygon);
  return [...by].sort((a, b) => a[0] - b[0]).map(([frame, polygon]) => ({ frame, polygon }));
}
