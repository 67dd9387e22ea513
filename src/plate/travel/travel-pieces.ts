/**
 * Pieces of the set followed once through a shot whose camera travels, for all that is asked of them: the view and the
 * way.
 */
import type { VideoReader as Reader } from '../../media/video-reader.js';
import { throughGlass } from '../camera/glass-detail.js';
import { hasPane, travels } from '../camera/measure-camera.js';
import type { MarksFile } from '../marks/marks.js';
import type { MeasureOptions } from '../measure-options.js';
import { moveFactor, readerLumaSource } from '../ride/reader-luma-source.js';
import type { LumaSource } from '../ride/ride-source.js';
import type { CameraMove } from '../types.js';
import type { TravelRequest } from './travel-answer.js';
import type { Tracked } from './travel-track.js';
import { followPieces } from './travel.js';

/** A shot's pieces, followed when they are asked for first. */
export interface Pieces {
  readonly size: Pick<LumaSource, 'widthPx' | 'heightPx'>;
  readonly request: Omit<TravelRequest, 'view'>;
  tracked(): Promise<Tracked>;
  source(): Promise<LumaSource>;
}

/** Null where the camera stands still or only turns. */
export function piecesOf(
  reader: Reader,
  marks: MarksFile,
  { signal }: MeasureOptions & { readonly signal?: AbortSignal },
  camera: CameraMove | undefined,
): Pieces | null {
  if (!travels(camera)) return null;
  const frames = camera.frames.map((f) => f.frame);
  const span = { in: Math.min(...frames), out: Math.max(...frames) + 1 };
  const bare = readerLumaSource(reader, moveFactor(reader.info.widthPx));
  const request = { camera, span, ...(signal === undefined ? {} : { signal }) };
  let source: Promise<LumaSource> | undefined;
  let tracked: Promise<Tracked> | undefined;
  const seen = (): Promise<LumaSource> =>
    (source ??= hasPane(marks) ? throughGlass(bare, span) : Promise.resolve(bare));
  return {
    size: bare,
    request,
    source: seen,
    tracked: () => (tracked ??= seen().then((s) => followPieces(s, { ...request, widthPx: reader.info.widthPx }))),
  };
}
