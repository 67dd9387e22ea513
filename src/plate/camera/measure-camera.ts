/** The camera's move over a clip, the region it rides on and what turns, each over the frames of a plate. */
import type { VideoFrame } from '../../media/types.js';
import type { VideoReader as Reader } from '../../media/video-reader.js';
import { PlatewrightError } from '../../core/errors.js';
import { framesPerSecond } from '../../core/rational.js';
import { measureCameraMove } from './camera-move.js';
import { clearedOf, glassDetail, throughGlass } from './glass-detail.js';
import type { MarksFile } from '../marks/marks.js';
import { enlargeMove, moveFactor, readerLumaSource } from '../ride/reader-luma-source.js';
import { measureTurn } from '../turn/turn.js';
import { facesOf, turnOfFace } from '../turn/turn-face.js';
import { carryOnSurface } from '../ride/ride-surface.js';
import { trackRegion, type RideCorrection } from '../ride/ride.js';
import { posesOf, turnFromPoses } from '../turn/turn-poses.js';
import { measureTravel } from '../travel/travel.js';
import type { CameraMove, RideTrack, Travel, Turn, View } from '../types.js';
import type { Pieces } from '../travel/travel-pieces.js';
import type { MeasureOptions } from '../measure-options.js';

/** Whether the camera moves as no turn about a fixed point explains. */
export function travels(camera: CameraMove | undefined): camera is CameraMove {
  return camera !== undefined && camera.move !== 'static' && camera.frames.every((f) => f.panDeg === null);
}

/**
 * The camera's way over the ground, where it is no turn about a fixed point. Absent
 * where the camera stands still or only turns. Throws `PW-TRAVEL-VIEW` where nothing tells how the camera looks at the
 * ground (without a view a hand-held camera's way is absent too).
 *
 * @param pieces null where the camera stands still or only turns
 */
export async function travelOf(
  view: View | null,
  camera: CameraMove | undefined,
  pieces: Pieces | null,
): Promise<Travel | undefined> {
  if (pieces === null || camera === undefined) return undefined;
  if (view === null) {
    if (camera.move === 'handheld') return undefined;
    throw new PlatewrightError(
      'PW-TRAVEL-VIEW',
      "how the camera looks at the ground is not known, so its way over it can't be had; " +
        'mark an upright of known height and a pair of ground lines',
    );
  }
  return measureTravel(await pieces.source(), { view, ...pieces.request }, pieces.tracked());
}

/**
 * Yaw from a marked face, else from poses and the slide of the surface. Absent where
 * neither a face nor two poses are marked.
 */
export async function turnOf(
  reader: Reader,
  marks: MarksFile,
  span: { in: number; out: number },
  signal: AbortSignal | undefined,
): Promise<Turn | undefined> {
  if (facesOf(marks).length > 0)
    return turnOfFace(readerLumaSource(reader), {
      marks,
      rate: reader.info.rate,
      span,
      ...(signal === undefined ? {} : { signal }),
    });
  if (new Set(posesOf(marks).map((p) => p.frame)).size < 2) return undefined;
  // Poses of a performer who only stands in the plate are wishes: there is nothing of it in the picture to be followed.
  if (!marks.marks.some((m) => m.kind === 'body' || m.kind === 'carry'))
    return turnFromPoses(posesOf(marks), reader.info.frameCount, reader.info.rate) ?? undefined;
  return measureTurn(readerLumaSource(reader), {
    marks,
    rate: reader.info.rate,
    ...(signal === undefined ? {} : { signal }),
  });
}

/**
 * The first carry mark's region followed; carry marks of other frames with four corners correct it there. Where it is
 * lost for good, it goes on with the body's surface.
 */
export async function rideOf(
  reader: Reader,
  marks: MarksFile,
  span: { in: number; out: number },
  onProgress: (done: number, total: number) => void,
): Promise<RideTrack | undefined> {
  const carries = marks.marks.filter((m) => m.kind === 'carry');
  const first = carries.find((m) => inSpan(m.frame ?? marks.frame, span));
  if (first === undefined || first.kind !== 'carry') return undefined;
  const at = first.frame ?? marks.frame;
  const corrections: RideCorrection[] = [];
  for (const m of carries) {
    if (m.kind !== 'carry' || m === first || first.region.length !== 4) continue;
    const [a, b, c, d, ...more] = m.region;
    if (a === undefined || b === undefined || c === undefined || d === undefined || more.length > 0) continue;
    const frame = m.frame ?? marks.frame;
    if (frame !== at && inSpan(frame, span)) corrections.push({ frame, corners: [a, b, c, d] });
  }
  const bare = readerLumaSource(reader),
    source = hasPane(marks) ? await throughGlass(bare, span) : bare,
    track = await trackRegion(source, { at, polygon: first.region, corrections, span, onProgress });
  return carryOnSurface(source, track, { polygon: first.region, anchors: [at, ...corrections.map((c) => c.frame)] });
}

function inSpan(frame: number, span: { in: number; out: number }): boolean {
  return frame >= span.in && frame < span.out;
}

/** Whether a pane is marked, whose drops and scratches would be followed in place of the set. */
export const hasPane = (marks: MarksFile): boolean => marks.marks.some((m) => m.kind === 'pane');

/**
 * The camera's own move, unless it is not wanted. Absent for a still.
 *
 * @param note is shown every frame on the way @param pane a pane is marked: what lies on its glass is painted over
 */
export async function cameraOf(
  reader: Reader,
  options: MeasureOptions,
  span: { in: number; out: number },
  onProgress?: (done: number, total: number) => void,
  note?: (frame: VideoFrame) => void,
  pane = false,
): Promise<CameraMove | undefined> {
  if (options.camera === false || span.out - span.in < 2) return undefined;
  const factor = moveFactor(reader.info.widthPx);
  const detail = pane ? await glassDetail(readerLumaSource(reader, factor), span) : null,
    source = readerLumaSource(reader, factor, note);
  const move = await measureCameraMove(detail === null ? source : clearedOf(source, detail), {
    framesPerSecond: framesPerSecond(reader.info.rate),
    span,
    ...(onProgress === undefined ? {} : { onProgress }),
  });
  return enlargeMove(move, factor);
}
