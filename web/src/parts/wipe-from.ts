/** Where a wipe begins: over the performer, so that both sides of a change are seen at once. */
import type { MarksFile } from '../../../src/plate/marks/marks.js';

/**
 * Share of the picture's width at which the plate's marks put the performer, percent; the middle where none says.
 * Kept a tenth off the edges.
 */
export function wipeFrom(file: MarksFile, frame: number, widthPx: number): number {
  const places = file.marks.flatMap((m) => {
    const at = ('frame' in m ? m.frame : undefined) ?? file.frame;
    if (m.kind === 'stand') return [{ at, x: (m.ground[0] + m.top[0]) / 2 }];
    if (m.kind !== 'carry') return [];
    const xs = m.ground === undefined ? m.region.map((p) => p[0]) : [m.ground[0]];
    return [{ at, x: (Math.min(...xs) + Math.max(...xs)) / 2 }];
  });
  if (places.length === 0) return 50;
  const nearest = places.reduce((a, b) => (Math.abs(b.at - frame) < Math.abs(a.at - frame) ? b : a));
  return Math.min(90, Math.max(10, Math.round((100 * nearest.x) / widthPx)));
}
