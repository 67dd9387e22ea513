/**
 * Frames in which the thing on the screen is the floor card alone (it is rolled before the performer comes, as the
 * brief asks) and frames of the empty set: neither shows the performer, and nothing of it may be read there.
 */
import { CARD_HEIGHT_MM, CARD_WIDTH_MM, markerCorners } from '../../brief/card-layout.js';
import { homographyFromPoints } from '../../geometry/homography.js';
import { apply } from '../../geometry/mat3.js';
import type { TakeFrame } from '../measures.js';
import type { CardReading } from './read-card.js';

export interface Box {
  readonly x0: number;
  readonly y0: number;
  readonly x1: number;
  readonly y1: number;
}

/** Sizes of the paper, mm: an A4 page (Letter differs by less than a twentieth), and the card cut out of it. */
const PAPERS: readonly (readonly [number, number])[] = [
  [210, 297],
  [CARD_WIDTH_MM, CARD_HEIGHT_MM],
];

/** Boxes that the card takes in the picture, px, on a whole page or cut out. None where too few fiducials were seen. */
export function pageBoxes(card: CardReading): Box[] {
  const from = card.markers.flatMap((m) => markerCorners(m.id));
  const to = card.markers.flatMap((m) => m.corners);
  const h = from.length < 4 ? null : homographyFromPoints(from, to);
  if (h === null) return [];
  return PAPERS.map(([w, l]) => {
    const p = [
      [-w, -l],
      [w, -l],
      [w, l],
      [-w, l],
    ].map((q) => apply(h, q[0]! / 2, q[1]! / 2));
    const xs = p.map((q) => q[0]);
    const ys = p.map((q) => q[1]);
    return { x0: Math.min(...xs), y0: Math.min(...ys), x1: Math.max(...xs), y1: Math.max(...ys) };
  });
}

/**
 * Is what was found on the screen the page (with its peg, ball or shadow on it) and not a performer on or beside it?
 */
export function isPage(box: Box, pages: readonly Box[]): boolean {
  return pages.some((page) => covers(box, page));
}

function covers(box: Box, page: Box): boolean {
  const w = Math.min(box.x1, page.x1) - Math.max(box.x0, page.x0);
  const h = Math.min(box.y1, page.y1) - Math.max(box.y0, page.y0);
  const both = w <= 0 || h <= 0 ? 0 : w * h;
  const area = (b: Box): number => (b.x1 - b.x0) * (b.y1 - b.y0);
  // A mask of a fortieth of the page's side either way, and the peg that stands over its edge.
  return both >= 0.7 * (area(box) + area(page) - both);
}

/** The frames with the card taken out: no performer was there. */
export function withoutCard(frames: readonly TakeFrame[], pages: readonly Box[]): TakeFrame[] {
  return frames.map((f) =>
    f.box === null || !isPage(f.box, pages)
      ? f
      : { frame: f.frame, box: null, touches: [], offScreen: 0, sigmaPx: null },
  );
}

/** So many looked-at frames in which a rough screen hides the performer do not end a stretch. */
const GAP = 2;

/** The longest stretch of looked-at frames that shows the performer, as indices [from, to); null where none does. */
function longestStretch(frames: readonly TakeFrame[]): readonly [number, number] | null {
  let best: readonly [number, number] | null = null;
  let from = -1;
  let last = -1;
  for (let i = 0; i < frames.length; i++) {
    if (frames[i]!.box === null) continue;
    if (from < 0 || i - last > GAP + 1) from = i;
    last = i;
    if (best === null || i + 1 - from > best[1] - best[0]) best = [from, i + 1];
  }
  return best;
}

/** The frame in the middle of the longest stretch that shows the performer; null where none does. */
export function frameWithPerformer(frames: readonly TakeFrame[]): number | null {
  const best = longestStretch(frames);
  return best === null ? null : frames[(best[0] + best[1] - 1) >> 1]!.frame;
}

/**
 * The part of a take that a join may show: all of it where the performer is seen throughout (or nowhere
 * could be looked for), else the longest stretch that shows it, from the first to the last frame it was
 * seen on. Card and empty set are no part of a join.
 */
export function performerSpan(
  frames: readonly TakeFrame[],
  frameCount: number,
): { readonly in: number; readonly out: number } {
  const best = longestStretch(frames);
  if (best === null) return { in: 0, out: frameCount };
  return {
    in: best[0] === 0 ? 0 : frames[best[0]]!.frame,
    out: best[1] === frames.length ? frameCount : frames[best[1] - 1]!.frame + 1,
  };
}
