/**
 * Marks whose foot lies above their top in the picture. Pictures come upright, so the two were swapped: the view, the
 * size and the place that follow from such a mark are wrong, and nothing else would tell.
 */
import type { Mark, MarksFile } from './marks.js';

type Ends = {
  readonly foot: readonly [number, number];
  readonly top: readonly [number, number];
  readonly name: string;
};

/** Foot and top of a mark that has both, by the name that its kind gives the foot. */
function endsOf(m: Mark): Ends | null {
  switch (m.kind) {
    case 'upright':
      return { foot: m.foot, top: m.top, name: 'foot' };
    case 'stand':
    case 'performer':
      return { foot: m.ground, top: m.top, name: 'ground' };
    case 'carry':
      return m.ground === undefined || m.top === undefined ? null : { foot: m.ground, top: m.top, name: 'ground' };
    case 'shadow':
      return m.top === undefined ? null : { foot: m.foot, top: m.top, name: 'foot' };
    default:
      return null;
  }
}

/** A sentence for each mark whose ends are swapped. */
export function swappedEnds({ frame, marks }: MarksFile): string[] {
  return marks.flatMap((m, i) => {
    const ends = endsOf(m);
    return ends === null || ends.top[1] < ends.foot[1]
      ? []
      : [
          `mark ${i + 1} (${m.kind} on frame ${m.frame ?? frame}): its ${ends.name} at ${ends.foot.join(', ')} lies ` +
            `no lower in the picture than its top at ${ends.top.join(', ')}; are the two swapped? Pixels count downwards`,
        ];
  });
}
