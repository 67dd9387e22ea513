/**
 * A still pinned flat onto something of the film: its four corners onto the four corners of a carried region, frame by
 * frame (a poster on a board, a picture in a frame). Between marks the corners move with what carries the region; where
 * several frames are marked, each frame's corners are the marked ones carried from both sides and mixed by nearness, so
 * that the marks are met exactly. Placement is the homography of the four corners (Hartley & Zisserman, section 2.3).
 */
import { PlatewrightError } from '../../core/errors.js';
import { homographyFromQuad } from '../../geometry/homography.js';
import { apply, invert, multiply, type Mat3 } from '../../geometry/mat3.js';
import type { Carrier } from './carrier.js';

export interface PinnedRegion {
  readonly frame: number;
  readonly corners: readonly (readonly [number, number])[];
}

/**
 * Placement a frame of a still of `widthPx` × `heightPx`. Throws `PW-JOIN-PIN` unless every region has four corners.
 */
export function pinPicture(
  widthPx: number,
  heightPx: number,
  regions: readonly PinnedRegion[],
  carrier: Carrier,
  span: { readonly in: number; readonly out: number },
): { frame: number; matrix: Mat3 }[] {
  const marks = [...regions].sort((a, b) => a.frame - b.frame);
  if (marks.length === 0 || marks.some((m) => m.corners.length !== 4)) {
    throw new PlatewrightError(
      'PW-JOIN-PIN',
      'a still is pinned by its corners: give the carry mark a region of four corners, from the top left clockwise',
    );
  }
  const still: [number, number][] = [
    [0, 0],
    [widthPx, 0],
    [widthPx, heightPx],
    [0, heightPx],
  ];
  const carried = (m: PinnedRegion, frame: number): [number, number][] => {
    const move = multiply(carrier.at(frame), invert(carrier.at(m.frame)));
    return m.corners.map((c) => apply(move, c[0], c[1]));
  };
  const out: { frame: number; matrix: Mat3 }[] = [];
  for (let frame = span.in; frame < span.out; frame++) {
    let after = marks.findIndex((m) => m.frame >= frame);
    if (after < 0) after = marks.length - 1;
    const before = marks[after]!.frame > frame && after > 0 ? after - 1 : after;
    const a = carried(marks[before]!, frame),
      b = carried(marks[after]!, frame);
    const t = before === after ? 0 : (frame - marks[before]!.frame) / (marks[after]!.frame - marks[before]!.frame);
    const corners = a.map((p, i) => [p[0] * (1 - t) + b[i]![0] * t, p[1] * (1 - t) + b[i]![1] * t] as [number, number]);
    const matrix = homographyFromQuad(still, corners);
    if (matrix === null)
      throw new PlatewrightError('PW-JOIN-PIN', `the region's corners at frame ${frame} lie on a line; mark it again`);
    out.push({ frame, matrix });
  }
  return out;
}
