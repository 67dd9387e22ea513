/** The points that a mark consists of, in pixels of its picture, in the order in which they are drawn. */
import type { Mark, Point } from './marks.js';

/** Every point of a mark; of a head its middle. Marks that only say something (a pose, a widening) have none. */
export function markPoints(mark: Mark): Point[] {
  switch (mark.kind) {
    case 'upright':
      return [mark.foot, mark.top];
    case 'groundLines':
      return mark.lines.flat();
    case 'horizon':
      return [...mark.line];
    case 'rectangle':
      return [...mark.corners];
    case 'shadow':
      return [mark.foot, mark.tip, ...(mark.top ? [mark.top] : [])];
    case 'head':
      return [[mark.ellipse[0], mark.ellipse[1]]];
    case 'face':
      return [mark.leftEye, mark.rightEye, mark.nose, ...(mark.mouth ? [mark.mouth] : [])];
    case 'stand':
    case 'performer':
      return [mark.ground, mark.top];
    case 'carry':
      return [...mark.region];
    case 'erase':
    case 'front':
    case 'pane':
    case 'tone':
    case 'screen':
    case 'keep':
    case 'stir':
    case 'shade':
    case 'patch':
    case 'about':
      return [...mark.polygon];
    case 'receiver':
    case 'reflector':
      return [...mark.polygon, ...(mark.base ?? [])];
    case 'touch':
      return [...mark.points];
    case 'body':
      return [...(mark.axis ?? []), ...(mark.polygon ?? [])];
    case 'pose':
    case 'widen':
      return [];
    case 'layer':
      return mark.foot === undefined ? [] : [mark.foot];
    case 'eyeline':
      return [mark.from, mark.to];
  }
}
