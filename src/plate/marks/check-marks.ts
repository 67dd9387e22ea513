/** Marks held against the picture they are of: points that lie in it, regions that have an area. */
import { ONE_A_FRAME } from '../one-a-frame.js';
import { PlatewrightError } from '../../core/errors.js';
import { markPoints } from './mark-points.js';
import type { MarksFile } from './marks.js';

/**
 * Refuses marks on frames the clip does not have and marks wholly outside the picture. Points may lie a picture's width
 * outside (a foot below the frame line is an honest mark); further is a slip of the hand.
 * Throws `PW-MARKS-OUTSIDE`, and `PW-MARKS-TWICE` where one thing is marked twice on a frame.
 */
export function checkMarks(
  marks: MarksFile,
  widthPx: number,
  heightPx: number,
  frameCount: number,
  name: string,
): void {
  if (marks.cleanFrame !== undefined && marks.cleanFrame >= frameCount)
    throw new PlatewrightError(
      'PW-MARKS-OUTSIDE',
      `${name}: cleanFrame is ${marks.cleanFrame}, but the clip ends at frame ${frameCount - 1}`,
    );
  marks.marks.forEach((m, i) => {
    const f = m.frame ?? marks.frame;
    if (f >= frameCount)
      throw new PlatewrightError(
        'PW-MARKS-OUTSIDE',
        `${name}: mark ${i + 1} (${m.kind}) is on frame ${f}, but the clip ends at frame ${frameCount - 1}`,
      );
    const twin = ONE_A_FRAME.includes(m.kind)
      ? marks.marks.findIndex(
          (o, k) => k < i && o.kind === m.kind && (('frame' in o ? o.frame : undefined) ?? marks.frame) === f,
        )
      : -1;
    if (twin >= 0)
      throw new PlatewrightError(
        'PW-MARKS-TWICE',
        `${name}: marks ${twin + 1} and ${i + 1} are both a ${m.kind} on frame ${f}, where there can be one; ` +
          'remove the one that is not meant',
      );
    for (const [x, y] of markPoints(m)) {
      if (x < -widthPx || x > 2 * widthPx || y < -heightPx || y > 2 * heightPx) {
        throw new PlatewrightError(
          'PW-MARKS-OUTSIDE',
          `${name}: mark ${i + 1} (${m.kind}) has a point at ${x}, ${y}, ` +
            `far outside the ${widthPx} × ${heightPx} picture; pixels count from the top left corner`,
        );
      }
    }
  });
}
