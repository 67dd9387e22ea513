/**
 * The camera of a take without a screen, from the ground about the performer's feet: what a join steadies is the
 * place where the performer stands, and a set behind it shifts otherwise as soon as a hand goes aside (parallax).
 * The ground there is a plane, so it is followed as one (`plate/ride/ride.ts`), the performer's legs falling out as
 * things that cross it. Where the ground can't be followed (too plain, or out of the picture), the set as a whole
 * is, and it is said. Lengths in pixels of the take.
 */
import { PlatewrightError } from '../core/errors.js';
import { notMeasurable } from '../core/measure.js';
import { framesPerSecond } from '../core/rational.js';
import { invert, multiply, type Mat3, type Point2 } from '../geometry/mat3.js';
import type { VideoReader } from '../media/video-reader.js';
import { describeMove } from '../plate/camera/camera-kind.js';
import { measureCameraMove } from '../plate/camera/camera-move.js';
import { enlargeMove, moveFactor, readerLumaSource } from '../plate/ride/reader-luma-source.js';
import { trackRegion } from '../plate/ride/ride.js';
import type { CameraMoveFrame } from '../plate/types.js';
import type { TakeFrame } from './measures.js';
import type { TakeCamera } from './take-camera.js';

/**
 * The strip of ground: so many of the performer's widths to each side, shares of its height above and below the feet.
 */
const ASIDE = 1.5;
const ABOVE = 0.06;
const BELOW = 0.3;
/** Least strip, share of the picture's height, and what must be followed of the frames. */
const LEAST_STRIP = 0.07;
const LEAST_FRAMES = 0.9;
const LEAST_SURE = 0.3;
/** The set as a whole is believed where this share of its features agrees on the median frame. */
const LEAST_SUPPORT = 0.35;

/** @param foot where the performer touches the ground on frame `at` @param heightPx of the performer there */
export async function gardenCamera(
  reader: VideoReader,
  frames: readonly TakeFrame[],
  at: number,
  foot: readonly [number, number],
  heightPx: number,
): Promise<TakeCamera> {
  const { frameCount, rate, widthPx, heightPx: pictureHeight } = reader.info;
  if (frameCount < 3) return { camera: null, note: null };
  const factor = moveFactor(widthPx);
  const source = readerLumaSource(reader, factor);
  const { widthPx: w, heightPx: h } = source;
  const box =
    frames
      .filter((f) => f.box !== null)
      .reduce<TakeFrame | null>((b, f) => (b === null || Math.abs(f.frame - at) < Math.abs(b.frame - at) ? f : b), null)
      ?.box ?? null;
  const wide = box === null ? 0.5 * heightPx : box.x1 - box.x0;
  const x0 = Math.max(2, foot[0] - ASIDE * wide);
  const x1 = Math.min(widthPx - 2, foot[0] + ASIDE * wide);
  const y1 = Math.min(pictureHeight - 2, foot[1] + BELOW * heightPx);
  const y0 = Math.max(2, Math.min(foot[1] - ABOVE * heightPx, y1 - LEAST_STRIP * pictureHeight));
  const strip: Point2[] = [
    [x0 / factor, y0 / factor],
    [x1 / factor, y0 / factor],
    [x1 / factor, y1 / factor],
    [x0 / factor, y1 / factor],
  ];
  const found = await trackRegion(source, { at, polygon: strip }).catch((error: unknown) => {
    if (error instanceof PlatewrightError && error.kind !== 'internal') return null;
    throw error;
  });
  const sure = found?.frames.filter((f) => f.visible && f.confidence >= LEAST_SURE).length ?? 0;
  const flat = { panDeg: null, tiltDeg: null, rollDeg: null };
  const reason = 'a strip of ground tells no lens';
  if (found !== null && sure >= LEAST_FRAMES * found.frames.length) {
    const first = found.frames[0]!.homography;
    const list = found.frames.map(
      (f): CameraMoveFrame => ({
        frame: f.frame,
        homographyToFirst: multiply(first, invert(f.homography)),
        ...flat,
        support: f.confidence,
      }),
    );
    const kind = describeMove(
      list.slice(1).map((f) => invert(f.homographyToFirst) as Mat3),
      w,
      h,
      framesPerSecond(rate),
      false,
    );
    return {
      camera: enlargeMove(
        {
          move: kind.move,
          focalPx: notMeasurable('px', reason, 'the floor card'),
          frames: list,
          shake: kind.shake,
          reason,
          of: 'ground',
        },
        factor,
      ),
      note: null,
    };
  }
  const whole = await measureCameraMove(source, { framesPerSecond: framesPerSecond(rate) });
  const supports = whole.frames
    .slice(1)
    .map((f) => f.support)
    .sort((a, b) => a - b);
  if ((supports[supports.length >> 1] ?? 0) < LEAST_SUPPORT)
    return {
      camera: null,
      note:
        "the take's camera could not be measured: " +
        "neither the ground about the performer's feet nor the set behind could be followed",
    };
  return {
    camera: enlargeMove(whole, factor),
    note:
      whole.move === 'static'
        ? null
        : "the ground about the performer's feet could not be followed through the take, " +
          'so its camera is told from the set as a whole: where a hand went aside, ' +
          'the feet shift by the parallax between',
  };
}
