/**
 * The clean set of a clip, gathered once: from the frames that show most of what is hidden a still mosaic is built
 * (erase-mosaic.ts), ground under shadows is relit (lay-relit.ts, cast-shadow.ts), and what no frame shows is made up
 * (fill-unseen.ts). How it is laid into frames: erase.ts.
 */
import { counted } from '../../core/counted.js';
import { framesPerSecond } from '../../core/rational.js';
import { createPicture, type Picture } from '../../image/picture.js';
import type { VideoReader } from '../../media/video-reader.js';
import { measureCameraMove } from '../../plate/camera/camera-move.js';
import type { RegionFile } from '../../plate/marks/marks.js';
import { isThere } from '../../plate/marks/presence.js';
import { readerLumaSource } from '../../plate/ride/reader-luma-source.js';
import type { CameraMove } from '../../plate/types.js';
import { cameraCarrier, carryRegion, type Carrier } from '../ride/carrier.js';
import { castOf, type CastGround } from './cast-shadow.js';
import { buildMosaic, type Mosaic } from './erase-mosaic.js';
import type { MosaicSource } from './mosaic-source.js';
import { frameOfMosaic, gridPoints, hiddenInMosaic } from './erase-room.js';
import { findMovers } from './set-movers.js';
import { mayCopy, stirs } from './copy-from.js';
import { sourcesByWorth } from './erase-sources.js';
import { fillUnseen, unseenShare } from './fill-unseen.js';
import { gatherSources, type OutlinesAt } from './gather-sources.js';
import { layRelit } from './lay-relit.js';
import { setMotion, spread, type SetMotion } from './set-motion.js';

/**
 * Source frames gathered at most, how many of them (those that add most) make the still picture, and frames looked at
 * to choose them.
 */
const SOURCES = 32;
const MOSAIC_SOURCES = 24;
const CANDIDATES = 96;
/** Frames whose outlines are looked at for the mosaic's size and for what is hidden in it. */
const LOOKED = 240;
/** How far (px) outlines are grown where a request does not say. */
export const GROW_PX = 3;

/** Where less of what is hidden was never seen, what moves in the shot is not looked for: it would hardly be copied. */
const WORTH_COPYING = 0.02;

/** Moves of a camera that only turns, or stands: near and far hold together, and nothing rigid runs past. */
export const TURNS: ReadonlySet<CameraMove['move']> = new Set(['static', 'drift', 'pan', 'tilt', 'roll']);

/** What is to go from a clip; regions are polygons by frame, px, carried between by the set's motion. */
export interface EraseRequest {
  readonly regions: readonly RegionFile[];
  readonly growPx?: number;
  /** Shadows of what goes that lie there on every frame: their ground is relit (erase-relight.ts). */
  readonly shadows?: readonly RegionFile[];
  /**
   * Where the key throws the shadows of the regions, one each: looked for there, and relit where found
   * (cast-shadow.ts).
   */
  readonly cast?: readonly RegionFile[];
  /** Things that stand for themselves (in front, other people): never copied into what no frame shows. */
  readonly apart?: readonly RegionFile[];
  /** Darkened ground beside the region goes too. Default true. */
  readonly shadowToo?: boolean;
  /** Frames from which sources may be taken; default the whole file. */
  readonly span?: { readonly in: number; readonly out: number };
  /** The camera's move where it was measured already. */
  readonly camera?: CameraMove | undefined;
  readonly seed?: number;
  readonly signal?: AbortSignal;
  readonly onProgress?: (done: number, total: number) => void;
}

/** What a clean set was made from. `sources`: frames, rising. */
export interface EraseReport {
  readonly sources: readonly number[];
  /** Share of the hidden pixels of the mosaic that other frames show, 0..1. */
  readonly suppliedShare: number;
  readonly move: CameraMove['move'];
  readonly notes: readonly string[];
}

/** What a cleaner lays into frames. */
export interface CleanSet {
  readonly mosaic: Mosaic;
  /** Kept for what is taken from the nearest in time. */
  readonly sources: readonly MosaicSource[];
  /** 1 = seen by some source; one channel over the mosaic. */
  readonly seen: Picture;
  readonly cast: CastGround;
  readonly motion: SetMotion;
  /** What goes on a frame, shadows marked too, px of the frame. */
  readonly outlines: OutlinesAt;
  readonly widthPx: number;
  readonly heightPx: number;
  readonly report: EraseReport;
}

/** Memory: at most 32 frames in the file's own planes and one strip of the mosaic. */
export async function gatherCleanSet(reader: VideoReader, request: EraseRequest): Promise<CleanSet> {
  const { widthPx, heightPx, frameCount } = reader.info;
  const span = { in: request.span?.in ?? 0, out: Math.min(frameCount, request.span?.out ?? frameCount) };
  const camera = request.camera ?? (await cameraOf(reader, span, request.signal));
  const motion = setMotion(camera, (span.in + span.out) >> 1);
  const carrier = cameraCarrier(camera);
  const things = followed(request.regions, carrier);
  const shadows = followed(request.shadows ?? [], carrier);
  const outlines: OutlinesAt = (n) => [...things(n), ...shadows(n)];
  const castPaths = (request.cast ?? []).map((r) => carryRegion(r, carrier));
  const lost = new Set(camera.frames.filter((f) => f.support === 0).map((f) => f.frame));

  const growPx = request.growPx ?? GROW_PX;
  const looked = spread(span.in, span.out, LOOKED);
  const room: OutlinesAt = (n) => [...outlines(n), ...castPaths.map((p) => p(n))];
  const frame = frameOfMosaic(looked, room, motion, widthPx, heightPx);
  const hidden = hiddenInMosaic(frame, looked, outlines, motion, widthPx, heightPx, growPx);
  const byWorth = sourcesByWorth({
    candidates: spread(span.in, span.out, CANDIDATES).filter((n) => !lost.has(n)),
    points: gridPoints(hidden, frame),
    widthPx,
    heightPx,
    most: SOURCES,
    clearPx: growPx + 3,
    fromReference: (n) => motion.fromReference(n),
    hides: things,
  });
  const chosen = byWorth.toSorted((a, b) => a - b);
  const { sources, shaded } = await gatherSources(reader, chosen, motion, {
    growPx,
    hides: outlines,
    ...((request.shadows?.length ?? 0) > 0 ? { things } : {}),
    ...(request.signal === undefined ? {} : { signal: request.signal }),
    ...(request.onProgress === undefined ? {} : { onProgress: request.onProgress }),
  });

  const inMosaic = new Set(byWorth.slice(0, MOSAIC_SOURCES));
  const most = (list: readonly MosaicSource[]): MosaicSource[] => list.filter((q) => inMosaic.has(q.frame));
  const used = most(sources);
  const shadowToo = request.shadowToo ?? true;
  const mosaic = buildMosaic(used, frame, !motion.still, shadowToo, TURNS.has(camera.move));
  const relit = shaded.length === 0 ? [] : layRelit(mosaic, buildMosaic(most(shaded), frame, !motion.still));
  const castFrom = { frames: used.map((s) => s.frame), fromReference: motion.fromReference, things: outlines };
  const cast = castOf(castPaths, mosaic, hidden, castFrom, motion.still);
  const apart = (request.apart ?? []).map((r) => carryRegion(r, carrier));
  const movers =
    unseenShare(mosaic, hidden) < WORTH_COPYING
      ? null
      : await findMovers(readerLumaSource(reader), motion, span, mosaic, stirs(motion, span, widthPx, heightPx));
  const copied = mayCopy(mosaic, used, movers, apart);
  const { filled, suppliedShare, notes } = fillUnseen(mosaic, hidden, request.seed ?? 1, copied);
  const seen = createPicture(mosaic.width, mosaic.height, 1);
  for (let i = 0; i < seen.data.length; i++) seen.data[i] = mosaic.count[i]! > 0 ? 1 : 0;
  const report: EraseReport = {
    sources: chosen,
    suppliedShare,
    move: camera.move,
    notes: [...relit, ...cast.notes, ...notes, ...lostWords(lost.size)],
  };
  return { mosaic: filled, sources, seen, cast, motion, outlines, widthPx, heightPx, report };
}

/** The camera's move over a span, measured anew. */
function cameraOf(
  reader: VideoReader,
  span: { readonly in: number; readonly out: number },
  signal?: AbortSignal,
): Promise<CameraMove> {
  return measureCameraMove(readerLumaSource(reader), {
    framesPerSecond: framesPerSecond(reader.info.rate),
    span,
    ...(signal === undefined ? {} : { signal }),
  });
}

/** Regions carried by the set's motion: those that are there on a frame. */
function followed(regions: readonly RegionFile[], carrier: Carrier): OutlinesAt {
  const paths = regions.map((r) => ({ frames: r.frames, at: carryRegion(r, carrier) }));
  return (n) => paths.flatMap((p) => (isThere(p.frames, n) ? [p.at(n)] : []));
}

function lostWords(frames: number): string[] {
  if (frames === 0) return [];
  const give = frames === 1 ? 'gives' : 'give';
  return [`${counted(frames, 'frame')} could not be aligned to the set and ${give} nothing`];
}
