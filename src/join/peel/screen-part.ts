/**
 * The useful part of a take's screen where nobody marked it: found in the take, so that stands, the room beside the
 * cloth or the black borders of a picture do not come along with the performer. What a person marks always goes before
 * it.
 */
import type { VideoReader } from '../../media/video-reader.js';
import { insidePolygon, joinedPolygons } from '../../image/polygon.js';
import type { MarksFile, RegionFile } from '../../plate/marks/marks.js';
import { proposeScreenMark } from '../../take/screen/screen-edges.js';
import { regionOf } from '../mark-regions.js';
import { marksOf } from '../proposal-input.js';
import { isLayered } from '../ride/propose-layers.js';

export interface BoundedTake {
  readonly marks: MarksFile;
  /** What was found, as a sentence; null where the marks are as they were. */
  readonly found: string | null;
}

/**
 * The take's marks, with a mark of the screen's useful part added where one is needed, can be found, and holds the
 * performer's own marks.
 */
export async function withScreenPart(take: VideoReader, marks: MarksFile): Promise<BoundedTake> {
  const asIs = { marks, found: null };
  const drawn = marks.marks.some(
    (m) =>
      m.kind === 'screen' || m.kind === 'about' || m.kind === 'touch' || (m.kind === 'body' && m.polygon !== undefined),
  );
  if (drawn || take.info.hasAlpha || take.info.frameCount < 2 || isLayered(marks)) return asIs;
  const { proposal, why } = await proposeScreenMark(take, marks.frame);
  if (proposal === null || proposal.mark.kind !== 'screen') return asIs;
  const { polygon } = proposal.mark;
  const holds = marks.marks.every(
    (m) => m.kind !== 'performer' || (insidePolygon(polygon, ...m.ground) && insidePolygon(polygon, ...m.top)),
  );
  return holds ? { marks: { ...marks, marks: [...marks.marks, proposal.mark] }, found: why } : asIs;
}

/** The outlines drawn round the performer, by frame; undefined where none is drawn. */
export function outlineRegion(marks: MarksFile): RegionFile | undefined {
  const bodies = marksOf(marks, 'body').filter((b) => b.mark.polygon !== undefined);
  return bodies.length === 0 ? undefined : regionOf(bodies.map((b) => ({ frame: b.frame, polygon: b.mark.polygon! })));
}

/** The marked useful part as a region, parts on one frame as one; undefined where none is marked. */
export function screenRegion(marks: MarksFile): RegionFile | undefined {
  const screens = marksOf(marks, 'screen');
  const frames = [...new Set(screens.map((s) => s.frame))].map((frame) => {
    const parts = screens.filter((s) => s.frame === frame).map((s) => s.mark.polygon);
    return { frame, polygon: parts.length === 1 ? parts[0]! : joinedPolygons(parts) };
  });
  return frames.length === 0 ? undefined : regionOf(frames);
}
