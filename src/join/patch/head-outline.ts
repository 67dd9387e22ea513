/**
 * A head's own outline inside the round mark that a person put about it on a plate: without it the set beside the head
 * comes along as a disc. Found on each marked frame as the outline of a performer without a screen is (the mark is the
 * rough line, its middle is surely head), and carried to all frames wanted.
 */
import { counted } from '../../core/counted.js';
import { VideoReader } from '../../media/video-reader.js';
import type { Mark, MarksFile, RegionFile } from '../../plate/marks/marks.js';
import { polygonArea } from '../../image/polygon.js';
import { followOutlines } from '../outline/follow-outline.js';
import { findOutline } from '../outline/outline-take.js';
import { headRegion } from './patch-take.js';

export interface HeadOutline {
  /** One outline a frame wanted, plate pixels; null where none could be told. */
  readonly region: RegionFile | null;
  readonly why: string;
}

/**
 * Inner part of a head's ellipse that is surely head: hair, cheek or chin, however roughly it was drawn. Own choice.
 */
const CORE = 0.55,
  CORE_POINTS = 24;
/**
 * An outline that fills less of the mark than this, or more, is not a head's: the mark is a quarter larger than what a
 * person drew, and goes down to the neck. Own choice.
 */
const LEAST_FILLED = 0.2,
  MOST_FILLED = 0.92;
/** A mark that holds more set than this was drawn wide. Own choice. */
const WIDE = 0.62;

/** @param span frames of the plate wanted, `out` exclusive */
export async function headOutline(
  file: string,
  marks: MarksFile,
  span: { readonly in: number; readonly out: number },
): Promise<HeadOutline> {
  const reader = await VideoReader.open(file);
  try {
    const keys: { frame: number; polygon: [number, number][] }[] = [],
      wide: number[] = [];
    let untold: number | null = null;
    for (const m of marks.marks) {
      if (m.kind !== 'head') continue;
      const frame = m.frame ?? marks.frame,
        about = headRegion(m);
      const found = await findOutline(reader, frame, { about: [about], performer: [coreOf(m)], set: [] }),
        filled = found.polygon === null ? 0 : polygonArea(found.polygon) / polygonArea(about);
      if (found.polygon === null || filled < LEAST_FILLED || filled > MOST_FILLED) untold ??= frame;
      else {
        keys.push({ frame, polygon: found.polygon });
        if (1 - filled > WIDE) wide.push(frame);
      }
    }
    if (keys.length === 0)
      return {
        region: null,
        why:
          `; the head could not be told from the set beside it on frame ${untold ?? marks.frame}, ` +
          'so what the mark takes in of the set comes along: draw its own outline as a patch mark on the plate',
      };
    const to = Math.min(span.out, reader.info.frameCount),
      frames = (await followOutlines(reader, keys, { from: Math.max(0, span.in), to })).filter(
        (f) => f.polygon.length > 2,
      );
    const lost = to - Math.max(0, span.in) - frames.length;
    return {
      region: { frames: frames.map(({ frame, polygon }) => ({ frame, polygon })) },
      why:
        `; the head is cut out along its own outline, found inside its mark on ${counted(keys.length, 'frame')} and ` +
        `followed${lost > 0 ? ` (lost on ${counted(lost, 'frame')}: mark it there too)` : ''}` +
        (wide.length === 0
          ? ''
          : `; on frame ${wide[0]} the mark is wide and holds much set: look at the outline there, draw the mark closer`),
    };
  } finally {
    await reader.close();
  }
}

/** What of the head's ellipse is surely head. */
function coreOf(m: Extract<Mark, { kind: 'head' }>): [number, number][] {
  const [cx, cy, rx, ry, deg] = m.ellipse,
    t = (deg * Math.PI) / 180;
  return Array.from({ length: CORE_POINTS }, (_, i): [number, number] => {
    const a = (2 * Math.PI * i) / CORE_POINTS,
      x = CORE * rx * Math.cos(a),
      y = CORE * ry * Math.sin(a);
    return [cx + x * Math.cos(t) - y * Math.sin(t), cy + x * Math.sin(t) + y * Math.cos(t)];
  });
}
