/** What of a take's performer is known before there is a recipe: its light, and the screen behind it. */
import { PlatewrightError } from '../core/errors.js';
import { plane } from '../image/picture.js';
import { percentiles } from '../image/statistics.js';
import type { VideoReader } from '../media/video-reader.js';
import type { MarksFile } from '../plate/marks/marks.js';
import type { EdgeRoom } from './peel/edge-room.js';
import { feetOfOutline } from './peel/look-over.js';
import type { FootSeen } from './ride/walking-foot.js';
import type { ScreensOfTake } from './peel/kept-screens.js';
import type { SubjectStatistics } from './light/light.js';
import type { PerformerPicture } from './peel/performer.js';
import type { SeenInTake } from './proposal-input.js';
import { outlineRegion, screenRegion } from './peel/screen-part.js';
import { probeScreen, probeWithoutScreen, type FoundScreen } from './peel/probe-take.js';
import { turnedFrames } from './body/turned-frames.js';

/** What a proposal knows of the performer and of what stands behind it. */
export interface Subject {
  readonly subject: SubjectStatistics | null;
  readonly screen: FoundScreen | null;
  readonly seen: SeenInTake | null;
  /** What to do with what reaches in from the picture's edge; absent where no screen was found. */
  readonly room?: EdgeRoom;
  /** Where the performer touches the ground on frames over the take; absent where nobody looked. */
  readonly feet?: readonly FootSeen[];
  /** Why the take counts as one without a screen; null where it has one, or nobody could tell. */
  readonly noScreen: string | null;
}

/**
 * Colour statistics of the performer at the middle of the take, what was seen of it there, and the screen behind it;
 * null where it can't be peeled yet.
 *
 * @param moving the take's camera moves
 */
export async function subjectOf(
  take: VideoReader,
  quality: 'fast' | 'fine',
  marks: MarksFile,
  kept?: ScreensOfTake,
  moving = false,
): Promise<Subject> {
  const unknown: Subject = { subject: null, screen: null, seen: null, noScreen: null };
  if (take.info.hasAlpha) return unknown;
  const outline = outlineRegion(marks),
    garbage = screenRegion(marks);
  let noScreen: string | null = null;
  try {
    if (outline === undefined) {
      const wanted = turnedFrames(marks, take.info.frameCount);
      const found = await probeScreen(take, quality, {
        cleanFrame: marks.cleanFrame,
        garbage,
        kept,
        also: [...wanted.map((f) => f.frame), ...wanted.flatMap((f) => f.beside ?? [])],
        moving,
      }).catch((error: unknown) => {
        if (!(error instanceof PlatewrightError) || error.code !== 'PW-PEEL-NO-SCREEN') throw error;
        return null;
      });
      noScreen = found === null ? 'nothing green or blue is seen in it' : found.screen.doubt;
      // A screen whose useful part was marked is one, whatever it looks like.
      if (found !== null && (noScreen === null || (garbage !== undefined && marks.cleanFrame === undefined))) {
        const { performer, frame, others, screen, room, feet } = found;
        const beside = others.slice(wanted.length);
        const turned = wanted.map(({ beside: next, ...f }, i) => ({
          ...f,
          performer: others[i]!,
          ...(next === null ? {} : { beside: { frame: next, performer: beside.shift()! } }),
        }));
        return {
          subject: statisticsOf(performer),
          screen,
          room,
          feet,
          seen: { frame, performer, ...(turned.length === 0 ? {} : { turned }) },
          noScreen: null,
        };
      }
    }
    const found = await probeWithoutScreen(take, quality, {
      ...(outline === undefined ? {} : { outline }),
      ...(marks.cleanFrame === undefined ? {} : { cleanFrame: marks.cleanFrame }),
      ...(garbage === undefined ? {} : { garbage }),
    });
    return found === null
      ? { ...unknown, noScreen }
      : {
          subject: statisticsOf(found.performer),
          screen: null,
          seen: found,
          noScreen,
          ...(outline === undefined ? {} : { feet: feetOfOutline(outline, take.info.widthPx, take.info.heightPx) }),
        };
  } catch (error) {
    // A take that cannot be peeled has no statistics; the recipe then says so. Anything else is a fault.
    if (!(error instanceof PlatewrightError)) throw error;
    return { ...unknown, noScreen };
  }
}

/**
 * Mean of each channel and levels of the performer's light, scene-linear, where it covers fully; null where that is
 * less than 100 px.
 */
function statisticsOf(p: PerformerPicture): SubjectStatistics | null {
  const n = p.picture.width * p.picture.height;
  const a = plane(p.picture, 3);
  const luma: number[] = [];
  const mean = [0, 0, 0];
  for (let i = 0; i < n; i++) {
    if (a[i]! < 0.98) continue;
    let y = 0;
    for (let c = 0; c < 3; c++) {
      const v = p.picture.data[c * n + i]! / a[i]!;
      mean[c]! += v;
      y += v * [0.2126, 0.7152, 0.0722][c]!;
    }
    luma.push(y);
  }
  if (luma.length < 100) return null;
  return {
    mean: mean.map((v) => v / luma.length) as [number, number, number],
    percentiles: percentiles(
      Float32Array.from(luma),
      [1, 5, 50, 95, 99],
    ) as unknown as SubjectStatistics['percentiles'],
  };
}
