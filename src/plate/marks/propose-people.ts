/**
 * Upright, people-like regions that move against the set, proposed as uprights of an assumed height. No net is
 * trained: other moments of the shot are laid over the frame by the camera's measured move, the value that comes back
 * most often is the set without what moves (the shortest interval that holds a third of them: half-sample mode, D.
 * Bickel & R. Frühwirth, Comp. Stat. & Data Analysis 50, 2006), and what differs from it in a region as tall and
 * narrow as somebody who stands or walks is proposed with its foot and top. Whoever holds still through the shot is
 * part of the set and is not found; other things that are tall and move (a dog on its hind legs, a door) are proposed
 * too. The height, 1.7 m ± .1 (adults of both sexes and many countries, common practice, no source), is a weak prior
 * and is said to be assumed. Shape limits are our own choice.
 */
import type { Picture } from '../../image/picture.js';
import { resize } from '../../image/resize.js';
import { invert, multiply, rescale, type Mat3 } from '../../geometry/mat3.js';
import { toCodedRgb } from '../../media/convert.js';
import type { VideoReader } from '../../media/video-reader.js';
import { cameraOf } from '../camera/measure-camera.js';
import type { ProposedMark } from './propose-marks.js';
import type { CameraMove } from '../types.js';
import { LEAST_SEEN, type Moment, alike, peopleIn } from './people-in.js';

/** Height that a proposed person is given, metres, and its standard deviation. */
export const ASSUMED_HEIGHT_M = 1.7,
  ASSUMED_SD_M = 0.1;

/** Moments of the shot that the set is made of, and how many must show a place. */
const MOMENTS = 21;

const WORK_PX = 400;
const STILL_SECONDS = 30;

/**
 * Proposals for one frame of an open clip. `camera`: the clip's measured move, if it
 * was measured; else it is measured about the frame.
 * @returns none for a still
 */
export async function proposePeople(reader: VideoReader, frame: number, camera?: CameraMove): Promise<ProposedMark[]> {
  const { widthPx, heightPx, frameCount, rate } = reader.info;
  if (frameCount < LEAST_SEEN + 1) return [];
  const around = Math.round((4 * rate.num) / rate.den);
  const known = camera?.frames ?? [];
  const from = known.length > 0 ? Math.max(known[0]!.frame, 0) : Math.max(0, frame - around);
  const to =
    known.length > 0
      ? Math.min(frameCount, known[known.length - 1]!.frame + 1)
      : Math.min(frameCount, frame + around + 1);
  const move = camera ?? (await cameraOf(reader, {}, { in: from, out: to }));
  const toFirst = new Map((move?.frames ?? []).filter((f) => f.support > 0).map((f) => [f.frame, f.homographyToFirst]));
  const home = toFirst.get(frame);
  // A camera that travels shows parallax everywhere: what is near would be taken for people.
  if (
    move !== undefined &&
    move.move !== 'static' &&
    move.move !== 'handheld' &&
    !move.frames.some((f) => f.panDeg !== null)
  )
    return [];
  if (move === undefined || (home === undefined && move.move !== 'static')) return [];
  const k = Math.max(1, widthPx / WORK_PX);
  const w = Math.round(widthPx / k);
  const h = Math.round(heightPx / k);
  const small = async (n: number): Promise<Picture> => resize(toCodedRgb(await reader.frame(n)), w, h);
  const own = await small(frame);
  const moments: Moment[] = [];
  // A camera that stands still shows the same set for longer than was measured: somebody may stand for half a minute.
  const wide = camera === undefined && move.move === 'static' ? Math.round((STILL_SECONDS * rate.num) / rate.den) : 0;
  const first = wide > 0 ? Math.max(0, frame - wide) : from;
  const end = wide > 0 ? Math.min(frameCount, frame + wide + 1) : to;
  const count = Math.min(MOMENTS, end - first);
  for (let i = 0; i < count; i++) {
    const n = first + Math.round(((i + 0.5) * (end - first)) / count - 0.5);
    const there = move.move === 'static' ? ([1, 0, 0, 0, 1, 0, 0, 0, 1] as const) : toFirst.get(n);
    if (there === undefined) continue;
    const full: Mat3 = move.move === 'static' ? there : multiply(invert(home!), there);
    const picture = await small(n);
    // Another shot, or another light.
    if (wide > 0 && !alike(own, picture)) continue;
    moments.push({ picture, toFrame: rescale(full, 1 / k) });
  }
  if (moments.length < LEAST_SEEN) return [];
  const px = (p: readonly [number, number]): [number, number] => [
    Math.round((10 * p[0] * widthPx) / w) / 10,
    Math.round((10 * p[1] * heightPx) / h) / 10,
  ];
  return peopleIn(own, moments).map((p) => ({
    mark: {
      kind: 'upright',
      frame,
      foot: px(p.foot),
      top: px(p.top),
      height: ASSUMED_HEIGHT_M,
      heightSd: ASSUMED_SD_M,
    },
    strength: 0.7 * p.score,
    why:
      `person, height assumed: ${ASSUMED_HEIGHT_M} ± ${ASSUMED_SD_M} m; ` +
      'an upright region that moves against the set: move its foot to between the soles and its top to the crown, ' +
      'and give the true height if you know it',
  }));
}
