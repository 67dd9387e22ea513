/** The performer's outline as a proposed mark on one frame of a take without a screen. */
import { toCodedRgb } from '../../media/convert.js';
import type { VideoReader } from '../../media/video-reader.js';
import type { MarksFile } from '../../plate/marks/marks.js';
import type { ProposedMark } from '../../plate/marks/propose-marks.js';
import { findScreen } from '../../take/screen/screen.js';
import { resize } from '../../image/resize.js';
import { followOutlines } from './follow-outline.js';
import { drawnOutlines, hintsOn } from './outline-hints.js';
import { findOutline } from './outline-take.js';
import { thinPolygon } from '../../image/outline.js';

/** Frames over which an outline is carried while somebody waits; beyond them the whole take is outlined as a job. */
const MOST_CARRIED = 48;
const WORK_PX = 480,
  TOLERANCE = 0.004;

/**
 * By what was pointed at on this frame; else carried from the nearest outlines; else, where no screen is seen, by what
 * moves. Null where there is nothing to propose.
 */
export async function proposeOutline(take: VideoReader, marks: MarksFile, frame: number): Promise<ProposedMark | null> {
  const { widthPx, heightPx, hasAlpha, frameCount } = take.info,
    drawn = drawnOutlines(marks),
    hints = hintsOn(marks, frame);
  if (hasAlpha) return null;
  const mark = (polygon: [number, number][], why: string): ProposedMark => ({
    mark: { kind: 'body', frame, polygon },
    why,
    strength: 1,
  });
  const here = drawn.find((d) => d.frame === frame);
  if (here !== undefined) {
    // Touches made since say what of it is wrong.
    if (hints.performer.length === 0 && hints.set.length === 0) return null;
    const found = await findOutline(take, frame, { ...hints, about: [] }, here.polygon);
    return found.polygon === null ? null : mark(found.polygon, found.why);
  }
  if (hints.about.length > 0 || hints.performer.length > 0) {
    const found = await findOutline(take, frame, hints);
    return found.polygon === null ? null : mark(found.polygon, found.why);
  }
  if (drawn.length > 0) {
    const before = drawn.filter((d) => d.frame < frame).at(-1),
      after = drawn.find((d) => d.frame > frame),
      near = [before, after].filter(
        (d) => d !== undefined && Math.abs(d.frame - frame) <= MOST_CARRIED,
      ) as typeof drawn;
    if (near.length === 0 || frameCount < 2) return null;
    const one = (
      await followOutlines(take, near, {
        from: Math.min(frame, near[0]!.frame),
        to: Math.max(frame, near.at(-1)!.frame) + 1,
      })
    ).find((f) => f.frame === frame);
    if (one === undefined || one.polygon.length < 3) return null;
    const agree =
      one.agreement === null ? '' : `; what came from either side agrees by ${Math.round(100 * one.agreement)} %`;
    return mark(
      thinPolygon(one.polygon, TOLERANCE * heightPx).map(([x, y]) => [x, y]),
      `the outline carried from frame ${near.map((d) => d.frame).join(' and ')}${agree}: take it to correct it here`,
    );
  }
  const coded = toCodedRgb(await take.frame(frame)),
    k = Math.max(1, widthPx / WORK_PX);
  if (
    findScreen(resize(coded, Math.round(widthPx / k), Math.round(heightPx / k))) !== null ||
    marks.marks.some((m) => m.kind === 'screen')
  )
    return null;
  const found = await findOutline(take, frame, hints);
  return found.polygon === null ? null : mark(found.polygon, found.why);
}
