/**
 * Whether what reaches in from the take's edge apart from the performer is the room beside the screen, to be left out,
 * or an arm that belongs to the play. Told on frames spread over the take: an arm joins the performer's part somewhere,
 * or, before a camera that stands still, comes, goes or changes; the room does neither. The rules are our own.
 */
import type { edgePartsOf, EdgePart } from './edge-parts.js';

/** A part of less than this share of the picture on every frame is a fleck. */
const LEAST_AREA = 5e-4;
/** A part whose area changes by more than this share moves by itself. */
const CHANGES = 0.35;
/** Sides count as met within this share of their length. */
const BESIDE = 0.02;

export interface EdgeRoom {
  /** Leave out of the matte what reaches in from the edge apart from the performer. */
  readonly drop: boolean;
  /** Sentence for the recipe; null where nothing reaches in. */
  readonly why: string | null;
}

/** Where the useful part of the screen is told otherwise. */
export const NO_ROOM: EdgeRoom = { drop: false, why: null };

type Told = NonNullable<ReturnType<typeof edgePartsOf>>;

/**
 * From the parts that the matte has on each frame looked at.
 *
 * @param moving the take's camera moves or could not be measured, so that a change of area says nothing
 */
export function judgeEdgeRoom(told: readonly Told[], moving: boolean): EdgeRoom {
  const large = told.map((t) => t.apart.filter((p) => p.area >= LEAST_AREA));
  if (large.every((parts) => parts.length === 0)) return { drop: false, why: null };
  for (const parts of large) {
    if (parts.some((p) => told.some((t) => meets(p, t.main))))
      return {
        drop: false,
        why: "what reaches in from the picture's edge joins the performer on some frames and is kept",
      };
  }
  if (!moving && changes(large))
    return {
      drop: false,
      why:
        "what reaches in from the picture's edge comes, goes or changes, as an arm does, and is kept: " +
        "mark the screen's useful part where it is none",
    };
  return { drop: true, why: "what reaches in from the picture's edge apart from the performer is left out" };
}

function meets(a: EdgePart, b: EdgePart): boolean {
  const on = (p: readonly [number, number] | null, q: readonly [number, number] | null): boolean =>
    p !== null && q !== null && p[0] <= q[1] + BESIDE && q[0] <= p[1] + BESIDE;
  return on(a.left, b.left) || on(a.right, b.right) || on(a.top, b.top) || on(a.bottom, b.bottom);
}

/** Whether the area that all such parts hold together is not the same on all frames. */
function changes(frames: readonly (readonly EdgePart[])[]): boolean {
  const areas = frames.map((parts) => parts.reduce((sum, p) => sum + p.area, 0));
  const most = Math.max(...areas);
  return Math.min(...areas) < (1 - CHANGES) * most;
}
