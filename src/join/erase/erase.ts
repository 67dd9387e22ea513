/**
 * Erase: a clean plate without what a region covers. What other frames of the shot show of the hidden set
 * is gathered once into a still mosaic (erase-mosaic.ts) in the pixels of one frame; what none shows is made up there
 * once by patch synthesis (patch-synthesis.ts); each frame then gets the mosaic laid over it by the camera's move,
 * corrected locally, matched in light and along its seam (erase-seam.ts). Being one picture, the fill holds still over
 * time.
 */
import { boundsOf } from '../../geometry/bounds.js';
import { counted } from '../../core/counted.js';
import { framesPerSecond } from '../../core/rational.js';
import { invert, multiply, tryInvert, type Mat3 } from '../../geometry/mat3.js';
import { createPicture, type Picture } from '../../image/picture.js';
import { percentile } from '../../image/statistics.js';
import { copyFrame } from '../../media/planes.js';
import type { VideoReader } from '../../media/video-reader.js';
import { measureCameraMove } from '../../plate/camera/camera-move.js';
import type { RegionFile } from '../../plate/marks/marks.js';
import { isThere } from '../../plate/marks/presence.js';
import { readerLumaSource } from '../../plate/ride/reader-luma-source.js';
import type { CameraMove } from '../../plate/types.js';
import { cameraCarrier, carryRegion } from '../ride/carrier.js';
import { castOf, type CastGround } from './cast-shadow.js';
import { fitLocally } from './erase-align.js';
import { alignedBox, feather, maskOf, showsMask, mosaicSourceOf } from './erase-masks.js';
import { codedLuma } from './coded-luma.js';
import { buildMosaic, type Mosaic } from './erase-mosaic.js';
import type { MosaicSource } from './mosaic-source.js';
import { differenceBeside, nearFill } from './erase-near.js';
import { frameOfMosaic, gridPoints, hiddenInMosaic } from './erase-room.js';
import { missesPieces, passing, piecesBefore, type Passing } from './erase-passing.js';
import { cropPicture, matchSeam, matchSharpness } from './erase-seam.js';
import { shadowBeside } from './erase-shadow.js';
import { shadowBesidePassing } from './erase-shadow-passing.js';
import { findMovers } from './set-movers.js';
import { mayCopy, stirs } from './copy-from.js';
import { sourcesByWorth } from './erase-sources.js';
import { fillUnseen, unseenShare } from './fill-unseen.js';
import { layOver } from './lay-over.js';
import { layRelit } from './lay-relit.js';
import { setMotion, spread, type SetMotion } from './set-motion.js';

/**
 * Source frames gathered at most, how many of them (those that add most) make the still picture, and frames looked at
 * to choose them.
 */
const SOURCES = 32;
const MOSAIC_SOURCES = 24;
const CANDIDATES = 96;

/**
 * The still picture holds where it differs from the frame beside the hole by no more than this times the noise, and
 * some more that no eye sees.
 */
const STILL_HOLDS = 1.5;
const LEAST_NOISE = 0.006;
const NEAR_BAND = 40;

/** Where less of what is hidden was never seen, what moves in the shot is not looked for: it would hardly be copied. */
const WORTH_COPYING = 0.02;
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

/** Moves of a camera that only turns, or stands: near and far hold together, and nothing rigid runs past. */
const TURNS: ReadonlySet<CameraMove['move']> = new Set(['static', 'pan', 'tilt', 'roll']);

/** A clean part of one frame. */
export interface CleanedBox {
  /** x0, y0, x1, y1 in frame pixels; x1, y1 exclusive; whole chroma samples. */
  readonly box: readonly [number, number, number, number];
  /** Display-coded R'G'B' over the box, mixed with the frame by `cover`. */
  readonly coded: Picture;
  /** How much of each pixel is replaced, 0..1. */
  readonly cover: Float32Array;
  /** 1 where what is laid in was never seen and is made up. */
  readonly madeUp: Float32Array;
  /** Over 0 where a shadow of what is erased was found on this frame, over the box; null where none was. */
  readonly shadow: Float32Array | null;
}

export interface EraseReport {
  readonly sources: readonly number[];
  /** Share of the hidden pixels of the mosaic that other frames show, 0..1. */
  readonly suppliedShare: number;
  readonly move: CameraMove['move'];
  readonly notes: readonly string[];
}

/** The clean set of one clip, built once by `build` and laid into any of its frames by `clean`. */
export class PlateCleaner {
  readonly report: EraseReport;
  private readonly mosaic: Mosaic;
  private readonly motion: SetMotion;
  private readonly outlines: (frame: number) => [number, number][][];
  private readonly growPx: number;
  private readonly shadowToo: boolean;
  private readonly size: { readonly w: number; readonly h: number };
  /** 1 = seen by some source; one channel over the mosaic. */
  private readonly seen: Picture;
  private readonly cast: CastGround;
  /** sd of the samples of each pixel of the mosaic. */
  private readonly spread: Picture;
  /** sd that noise alone gives the samples. */
  private readonly noise: number;
  /** Kept for what is taken from the nearest in time. */
  private readonly sources: readonly MosaicSource[];
  /** How far shadows reach beyond the outlines' bounds on the sources: left, up, right, down, px. */
  private readonly overhang: readonly [number, number, number, number];

  private constructor(
    mosaic: Mosaic,
    sources: readonly MosaicSource[],
    seen: Picture,
    cast: CastGround,
    motion: SetMotion,
    outlines: (frame: number) => [number, number][][],
    request: EraseRequest,
    size: { w: number; h: number },
    report: EraseReport,
  ) {
    this.mosaic = mosaic;
    this.seen = seen;
    this.cast = cast;
    this.sources = sources;
    this.spread = { ...createPicture(1, 1, 1), width: mosaic.width, height: mosaic.height, data: mosaic.spread };
    const told: number[] = [];
    for (let i = 0; i < mosaic.spread.length; i += 7) if (mosaic.spread[i]! > 0) told.push(mosaic.spread[i]!);
    this.noise = told.length === 0 ? 0 : percentile(told, 30);
    this.motion = motion;
    this.outlines = outlines;
    this.growPx = request.growPx ?? 3;
    this.shadowToo = request.shadowToo ?? true;
    this.size = size;
    this.report = report;
    this.overhang = overhangOf(mosaic.shadows ?? [], outlines);
  }

  /**
   * Gathers the clean set of a clip. Memory: at most 32 frames in the file's own planes and one strip of the mosaic.
   */
  static async build(reader: VideoReader, request: EraseRequest): Promise<PlateCleaner> {
    const { widthPx: w, heightPx: h, frameCount, rate } = reader.info;
    const span = { in: request.span?.in ?? 0, out: Math.min(frameCount, request.span?.out ?? frameCount) };
    const camera =
      request.camera ??
      (await measureCameraMove(readerLumaSource(reader), {
        framesPerSecond: framesPerSecond(rate),
        span,
        ...(request.signal === undefined ? {} : { signal: request.signal }),
      }));
    const carrier = cameraCarrier(camera);
    const following = (r: RegionFile): ((n: number) => [number, number][][]) => {
      const path = carryRegion(r, carrier);
      return (n) => (isThere(r.frames, n) ? [path(n)] : []);
    };
    const paths = request.regions.map(following);
    const things = (n: number): [number, number][][] => paths.flatMap((p) => p(n));
    const shadowPaths = (request.shadows ?? []).map(following);
    const outlines = (n: number): [number, number][][] => [...things(n), ...shadowPaths.flatMap((p) => p(n))];
    const motion = setMotion(camera, (span.in + span.out) >> 1);
    const lost = new Set(camera.frames.filter((f) => f.support === 0).map((f) => f.frame));
    const looked = spread(span.in, span.out, 240);
    const candidates = spread(span.in, span.out, CANDIDATES).filter((n) => !lost.has(n));
    const growPx = request.growPx ?? 3;
    const castPaths = (request.cast ?? []).map((r) => carryRegion(r, carrier));
    const frame = frameOfMosaic(looked, (n) => [...outlines(n), ...castPaths.map((p) => p(n))], motion, w, h);
    const hidden = hiddenInMosaic(frame, looked, outlines, motion, w, h, growPx);
    const byWorth = sourcesByWorth({
      candidates,
      points: gridPoints(hidden, frame),
      widthPx: w,
      heightPx: h,
      most: SOURCES,
      clearPx: growPx + 3,
      fromReference: (n) => motion.fromReference(n),
      hides: things,
    });
    const chosen = byWorth.toSorted((a, b) => a - b),
      inMosaic = new Set(byWorth.slice(0, MOSAIC_SOURCES));
    const ofMosaic = (s: readonly MosaicSource[]): MosaicSource[] => s.filter((q) => inMosaic.has(q.frame));
    const sources: MosaicSource[] = [];
    let got = 0;
    const shaded: MosaicSource[] = [];
    for (const n of chosen) {
      request.signal?.throwIfAborted();
      const held = copyFrame(await reader.frame(n));
      sources.push(mosaicSourceOf(held, n, invert(motion.fromReference(n)), showsMask(outlines(n), w, h, growPx)));
      if (shadowPaths.length > 0)
        shaded.push(mosaicSourceOf(held, n, invert(motion.fromReference(n)), showsMask(things(n), w, h, growPx)));
      request.onProgress?.(++got, chosen.length);
    }
    const mosaic = buildMosaic(
      ofMosaic(sources),
      frame,
      !motion.still,
      request.shadowToo ?? true,
      TURNS.has(camera.move),
    );
    const relit = shaded.length === 0 ? [] : layRelit(mosaic, buildMosaic(ofMosaic(shaded), frame, !motion.still));
    const cast = castOf(
      castPaths,
      mosaic,
      hidden,
      { frames: ofMosaic(sources).map((s) => s.frame), fromReference: motion.fromReference, things: outlines },
      motion.still,
    );
    relit.push(...cast.notes);
    const apart = (request.apart ?? []).map((r) => carryRegion(r, carrier));
    const movers =
      unseenShare(mosaic, hidden) < WORTH_COPYING
        ? null
        : await findMovers(readerLumaSource(reader), motion, span, mosaic, stirs(motion, span, w, h));
    const { filled, suppliedShare, notes } = fillUnseen(
      mosaic,
      hidden,
      request.seed ?? 1,
      mayCopy(mosaic, ofMosaic(sources), movers, apart),
    );
    const seen = createPicture(mosaic.width, mosaic.height, 1);
    for (let i = 0; i < seen.data.length; i++) seen.data[i] = mosaic.count[i]! > 0 ? 1 : 0;
    return new PlateCleaner(
      filled,
      sources,
      seen,
      cast,
      motion,
      outlines,
      request,
      { w, h },
      {
        sources: chosen,
        suppliedShare,
        move: camera.move,
        notes:
          lost.size === 0
            ? [...relit, ...notes]
            : [
                ...relit,
                ...notes,
                `${counted(lost.size, 'frame')} could not be aligned to the set and ` +
                  `${lost.size === 1 ? 'gives' : 'give'} nothing`,
              ],
      },
    );
  }

  /**
   * The clean part of a frame; null where the region does not reach into it.
   *
   * @param coded display-coded picture of the whole frame
   * @param chromaShift so that the box holds whole chroma samples
   */
  clean(n: number, coded: Picture, chromaShift: readonly [number, number] = [1, 1]): CleanedBox | null {
    const { w, h } = this.size;
    const outlines = this.outlines(n);
    // Where all that goes is gone, neither it nor its shadow is there.
    if (outlines.length === 0) return null;
    const bounds = boundsOf([...outlines, ...this.cast.outlines(n)].flat());
    const tall = Math.max(bounds[2] - bounds[0], bounds[3] - bounds[1]);
    const pad = Math.min(0.25 * w, Math.max(40, (this.shadowToo ? 0.6 : 0.35) * tall)) + this.growPx,
      [left, up, right, down] = this.overhang.map((o) => Math.max(pad, o)) as [number, number, number, number];
    const box = alignedBox([bounds[0] - left, bounds[1] - up, bounds[2] + right, bounds[3] + down], w, h, chromaShift);
    if (box === null || bounds[2] <= 0 || bounds[3] <= 0 || bounds[0] >= w || bounds[1] >= h) return null;
    const bw = box[2] - box[0],
      bh = box[3] - box[1];
    const around = cropPicture(coded, box);
    const hidden = maskOf(
      outlines.map((o) => o.map(([x, y]) => [x - box[0], y - box[1]] as const)),
      bw,
      bh,
      this.growPx,
    );
    const toBox: Mat3 = multiply(
      [1, 0, -box[0], 0, 1, -box[1], 0, 0, 1],
      multiply(this.motion.fromReference(n), invert(this.mosaic.fromReference)),
    );
    if (this.cast.relit !== null) {
      const relit = layOver(this.cast.relit, toBox, bw, bh, 'bilinear', 'zero').data;
      for (let i = 0; i < hidden.length; i++) if (relit[i]! > 0.1) hidden[i] = 1;
    }
    let matrix = toBox;
    const lay = (m: Mat3): Picture => layOver(this.mosaic.picture, m, bw, bh, 'lanczos3');
    let fill = lay(matrix);
    let seen = layOver(this.seen, matrix, bw, bh, 'bilinear', 'zero').data;
    if (!this.motion.still) {
      const trust = new Float32Array(bw * bh);
      for (let i = 0; i < trust.length; i++) trust[i] = seen[i]! > 0.99 && hidden[i]! <= 0 ? 1 : 0;
      const fit = fitLocally(codedLuma(around), codedLuma(fill), trust, bw, bh, { reachPx: 0.6 });
      const back = tryInvert(fit.matrix);
      if (back !== null && fit.after < 0.995 * fit.before) {
        matrix = multiply(back, toBox);
        fill = lay(matrix);
        seen = layOver(this.seen, matrix, bw, bh, 'bilinear', 'zero').data;
      }
    }
    const trusted = new Float32Array(bw * bh);
    for (let i = 0; i < trusted.length; i++) trusted[i] = seen[i]! > 0.99 ? 1 : 0;
    let shadow: Float32Array | null = null;
    if (this.shadowToo) {
      shadow = (TURNS.has(this.report.move) ? shadowBeside : shadowBesidePassing)(around, fill, hidden, trusted);
      if (shadow !== null) for (let i = 0; i < hidden.length; i++) if (shadow[i]! > 0) hidden[i] = 1;
    }
    const toFrame = multiply([1, 0, -box[0], 0, 1, -box[1], 0, 0, 1], this.motion.fromReference(n));
    let through: Passing | null = null;
    if (
      this.sources.length > 1 &&
      differenceBeside(around, fill, hidden, seen, NEAR_BAND) > STILL_HOLDS * this.noise + LEAST_NOISE
    ) {
      const request = {
        frame: n,
        around,
        hidden,
        toBox: toFrame,
        sources: this.sources,
        still: fill,
        lit: shadow !== null,
        seen,
        spread: layOver(this.spread, matrix, bw, bh, 'bilinear', 'zero').data,
      };
      let near = nearFill(request);
      const pieces = TURNS.has(this.report.move) ? null : piecesBefore(request);
      // A thing that near frames bring over rightly needs no layer of its own.
      if (pieces !== null && missesPieces(around, near.fill, hidden, pieces))
        through = passing({ ...request, near: near.fill }, pieces);
      if (through !== null) near = nearFill({ ...request, struck: true });
      fill = near.fill;
      seen = near.seen;
      for (let i = 0; i < trusted.length; i++) trusted[i] = seen[i]! > 0.99 ? 1 : 0;
    }
    if (through !== null) for (let i = 0; i < trusted.length; i++) if (through.visible[i]! > 0) trusted[i] = 0;
    if (!this.motion.still) matchSharpness(around, fill, hidden, trusted);
    matchSeam(around, fill, hidden, trusted, { bandPx: 24 });
    if (through !== null)
      for (let i = 0; i < seen.length; i++) {
        // What the frame itself shows of it keeps its own pixels, also under the feathered edge.
        const own = hidden[i]! <= 0 && through.visible[i]! > 0,
          a = through.cover[i]!;
        if (own) for (let c = 0; c < 3; c++) fill.data[c * bw * bh + i] = around.data[c * bw * bh + i]!;
        else if (a > 0)
          for (let c = 0; c < 3; c++) {
            const o = c * bw * bh + i;
            fill.data[o] = fill.data[o]! + a * (through.picture.data[o]! - fill.data[o]!);
          }
      }
    const cover = feather(hidden, bw, bh);
    const madeUp = new Float32Array(bw * bh);
    for (let i = 0; i < cover.length; i++) {
      const a = cover[i]!;
      if (a > 0) madeUp[i] = 1 - seen[i]!;
      for (let c = 0; c < 3; c++) {
        const o = c * bw * bh + i;
        fill.data[o] = around.data[o]! + a * (fill.data[o]! - around.data[o]!);
      }
    }
    return { box, coded: fill, cover, madeUp, shadow };
  }
}

/** Room kept beyond what shadows reach on the sources, px. */
const ROOM_PX = 24;

/** How far the shadows found on sources reach beyond the bounds of the outlines there: left, up, right, down, px. */
function overhangOf(
  shadows: NonNullable<Mosaic['shadows']>,
  outlines: (frame: number) => [number, number][][],
): [number, number, number, number] {
  const out: [number, number, number, number] = [0, 0, 0, 0];
  for (const { frame, box } of shadows) {
    const here = outlines(frame);
    if (here.length === 0) continue;
    const b = boundsOf(here.flat());
    for (let k = 0; k < 4; k++) out[k] = Math.max(out[k]!, ROOM_PX + (k < 2 ? b[k]! - box[k]! : box[k]! - b[k]!));
  }
  return out;
}
