/**
 * Whether what reaches in from the take's edge apart from the performer is the room beside the screen, to be left out, or an arm
 * that belongs to the play. Told on frames spread over the take: an arm joins the performer's part somewhere, or, before a camera
 * that stands still, comes, goes or changes; the room does neither. The rules are our own.
 */
import type { VideoReader } from '../media/video-reader.js';
import { peelWithin, type ScreenModel } from './peel.js';
import { edgePartsOf, type EdgePart } from './peel/edge-parts.js';

/** Frames looked at. */
const FRAMES = 8;
/** Block on which parts are told apart, half-size pixels. */
const BLOCK = 4;
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

/** @param moving the take's camera moves, so that a change of area says nothing */
export async function edgeRoom(take: VideoReader, model: ScreenModel, moving: boolean): Promise<EdgeRoom> {
  const told: Told[] = [], count = Math.min(FRAMES, take.info.frameCount);
  for (let i = 0; i < count; i++) {
    const frame = await take.frame(Math.floor(((i + 0.5) * take.info.frameCount) / count));
    const parts = peelWithin(model, frame, { quality: 'fast', halved: true }, ({ alpha, box: [x0, y0, x1, y1] }) => {
      const { width: w, height: h } = alpha, own = new Float32Array(w * h);
      for (let y = y0; y < y1; y++) own.set(alpha.data.subarray(y * w + x0, y * w + x1), y * w + x0);
      return edgePartsOf(own, w, h, BLOCK);
    });
    if (parts !== null) told.push(parts);
  }
  return judgeEdgeRoom(told, moving);
}

/** The same from the parts of each frame. */
export function judgeEdgeRoom(told: readonly Told[], moving: boolean): EdgeRoom {
  const large = told.map((t) => t.apart.filter((p) => p.area >= LEAST_AREA));
  if (large.every((parts) => parts.length === 0)) return { drop: false, why: null };
  for (const parts of large) {
    if (parts.some((p) => told.some((t) => meets(p, t.main)))) return { drop: false, why: 'what reaches in from the picture\'s edge joins the performer on some frames and is kept' };
  }
  if (!moving && changes(large)) return { drop: false, why: 'what reaches in from the picture\'s edge comes, goes or changes, as an arm does, and is kept: mark the screen\'s useful part where it is none' };
  return { drop: true, why: 'what reaches in from the picture\'s edge apart from the performer is left out' };
}

function meets(a: EdgePart, b: EdgePart): boolean {
  const on = (p: readonly [number, number] | null, q: readonly [number, number] | null): boolean => p !== null && q !== null && p[0] <= q[1] + BESIDE && q[0] <= p[1] + BESIDE;
  return on(a.left, b.left) || on(a.right, b.right) || on(a.top, b.top) || on(a.bottom, b.bottom);
}

/** Whether the area that all such parts hold together is not the same on all frames. */
function changes(frames: readonly (readonly EdgePart[])[]): boolean {
  const areas = frames.map((parts) => parts.reduce((sum, p) => sum + p.area, 0));
  const most = Math.max(...areas);
  return Math.min(...areas) < (1 - CHANGES) * most;
}
