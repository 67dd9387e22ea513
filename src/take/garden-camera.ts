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
import type { LumaSource } from '../plate/ride/ride-source.js';
import type { CameraMove, CameraMoveFrame } from '../plate/types.js';
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

/**
 * The take's camera over its frames, or why it could not be had.
 * @param frames what was measured on each; the performer's box nearest to frame `at` says how wide it is
 * @param foot where the performer touches the ground on frame `at`, px
 * @param heightPx of the performer there
 */
export async function gardenCamera(
  reader: VideoReader,
  frames: readonly TakeFrame[],
  at: number,
  foot: readonly [number, number],
  heightPx: number,
): Promise<TakeCamera> {
  if (reader.info.frameCount < 3) return { camera: null, note: null };
  const factor = moveFactor(reader.info.widthPx);
  const source = readerLumaSource(reader, factor);
  const fps = framesPerSecond(reader.info.rate);
  const strip = groundStrip(reader.info, boxNearest(frames, at), foot, heightPx);
  const polygon = strip.map(([x, y]): Point2 => [x / factor, y / factor]);
  const ground = await moveByGround(source, at, polygon, fps);
  if (ground !== null) return { camera: enlargeMove(ground, factor), note: null };
  const whole = await measureCameraMove(source, { framesPerSecond: fps });
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

function boxNearest(frames: readonly TakeFrame[], at: number): TakeFrame['box'] {
  const nearest = frames
    .filter((f) => f.box !== null)
    .reduce<TakeFrame | null>((b, f) => (b === null || Math.abs(f.frame - at) < Math.abs(b.frame - at) ? f : b), null);
  return nearest?.box ?? null;
}

/** The strip of ground about the feet that is followed, px of the take. */
function groundStrip(
  picture: { readonly widthPx: number; readonly heightPx: number },
  box: TakeFrame['box'],
  foot: readonly [number, number],
  performerPx: number,
): Point2[] {
  const wide = box === null ? 0.5 * performerPx : box.x1 - box.x0;
  const x0 = Math.max(2, foot[0] - ASIDE * wide);
  const x1 = Math.min(picture.widthPx - 2, foot[0] + ASIDE * wide);
  const y1 = Math.min(picture.heightPx - 2, foot[1] + BELOW * performerPx);
  const y0 = Math.max(2, Math.min(foot[1] - ABOVE * performerPx, y1 - LEAST_STRIP * picture.heightPx));
  return [
    [x0, y0],
    [x1, y0],
    [x1, y1],
    [x0, y1],
  ];
}

/** The move of a strip of ground, px of the source; null where it can't be followed through nearly all frames. */
async function moveByGround(
  source: LumaSource,
  at: number,
  polygon: readonly Point2[],
  fps: number,
): Promise<CameraMove | null> {
  const found = await trackRegion(source, { at, polygon }).catch((error: unknown) => {
    if (error instanceof PlatewrightError && error.kind !== 'internal') return null;
    throw error;
  });
  if (found === null) return null;
  const sure = found.frames.filter((f) => f.visible && f.confidence >= LEAST_SURE).length;
  if (sure < LEAST_FRAMES * found.frames.length) return null;
  const first = found.frames[0]!.homography;
  const frames = found.frames.map(
    (f): CameraMoveFrame => ({
      frame: f.frame,
      homographyToFirst: multiply(first, invert(f.homography)),
      panDeg: null,
      tiltDeg: null,
      rollDeg: null,
      support: f.confidence,
    }),
  );
  const kind = describeMove(
    frames.slice(1).map((f) => invert(f.homographyToFirst) as Mat3),
    source.widthPx,
    source.heightPx,
    fps,
    false,
  );
  const reason = 'a strip of ground tells no lens';
  const focalPx = notMeasurable('px', reason, 'the floor card');
  return { move: kind.move, focalPx, frames, shake: kind.shake, reason, of: 'ground' };
}
