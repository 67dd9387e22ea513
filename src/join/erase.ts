/**
 * Erase (DESIGN 5.5): a clean plate without what a region covers. What other frames of the shot show of the hidden set is
 * gathered once into a still mosaic (erase-mosaic.ts) in the pixels of one frame; what none shows is made up there once by
 * patch synthesis (patch-synthesis.ts); each frame then gets the mosaic laid over it by the camera's move, corrected locally,
 * matched in light and along its seam (erase-seam.ts). Being one picture, the fill holds still over time.
 */
import { framesPerSecond } from '../core/rational.js';
import { apply, IDENTITY3, invert, multiply, tryInvert, type Mat3, type Point2 } from '../geometry/mat3.js';
import { distanceToSet } from '../image/distance.js';
import { gaussianPlane } from '../image/gaussian.js';
import { dilate } from '../image/morphology.js';
import { createPicture, plane, type Picture } from '../image/picture.js';
import { rasterizePolygon } from '../image/polygon.js';
import { pushPull } from '../image/push-pull.js';
import { toCodedRgb } from '../media/convert.js';
import { copyFrame } from '../media/planes.js';
import type { VideoFrame } from '../media/types.js';
import type { VideoReader } from '../media/video-reader.js';
import { measureCameraMove } from '../plate/camera-move.js';
import type { RegionFile } from '../plate/marks.js';
import { readerLumaSource } from '../plate/reader-luma-source.js';
import type { CameraMove } from '../plate/types.js';
import { cameraCarrier, carryRegion } from './carrier.js';
import { fitLocally } from './erase-align.js';
import { boundsOf, buildMosaic, layOver, lumaOf, mosaicMatrix, type Mosaic, type MosaicFrame, type MosaicSource } from './erase-mosaic.js';
import { cropPicture, cropPlane, matchSeam, matchSharpness } from './erase-seam.js';
import { relightShadow } from './erase-relight.js';
import { shadowBeside } from './erase-shadow.js';
import { chooseSources } from './erase-sources.js';
import { synthesisePatches } from './patch-synthesis.js';

/** Source frames gathered at most, and frames looked at to choose them. */
const SOURCES = 32;
const CANDIDATES = 96;
/** Mosaic pixels a frame pixel where the camera moves. */
const OVERSAMPLING = 1.4;
/** How far what is hidden may throw a shadow, in its own heights. */
const SHADOW_REACH = 0.7;

export interface EraseRequest {
  readonly regions: readonly RegionFile[];
  readonly growPx?: number;
  /** Shadows of what goes that lie there on every frame: their ground is relit (erase-relight.ts). */
  readonly shadows?: readonly RegionFile[];
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
}

export interface EraseReport {
  readonly sources: readonly number[];
  /** Share of the hidden pixels of the mosaic that other frames show, 0..1. */
  readonly suppliedShare: number;
  readonly move: CameraMove['move'];
  readonly notes: readonly string[];
}

/** The camera's move as matrices between a reference frame and each frame; identity throughout where it stands still. */
export interface SetMotion {
  readonly reference: number;
  fromReference(frame: number): Mat3;
  readonly still: boolean;
}

export function setMotion(camera: CameraMove, reference: number): SetMotion {
  if (camera.move === 'static' || camera.frames.length === 0) return { reference, still: true, fromReference: () => IDENTITY3 };
  const first = camera.frames[0]!.frame, last = camera.frames[camera.frames.length - 1]!.frame;
  const byFrame = new Map(camera.frames.map((f) => [f.frame, f.homographyToFirst]));
  const toFirst = (n: number): Mat3 => byFrame.get(Math.min(last, Math.max(first, Math.round(n)))) ?? IDENTITY3;
  const ref = toFirst(reference);
  return { reference, still: false, fromReference: (n) => multiply(invert(toFirst(n)), ref) };
}

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

  private constructor(mosaic: Mosaic, seen: Picture, motion: SetMotion, outlines: (frame: number) => [number, number][][], request: EraseRequest, size: { w: number; h: number }, report: EraseReport) {
    this.mosaic = mosaic;
    this.seen = seen;
    this.motion = motion;
    this.outlines = outlines;
    this.growPx = request.growPx ?? 3;
    this.shadowToo = request.shadowToo ?? true;
    this.size = size;
    this.report = report;
  }

  /** Gathers the clean set of a clip. Memory: at most 32 frames in the file's own planes and one strip of the mosaic. */
  static async build(reader: VideoReader, request: EraseRequest): Promise<PlateCleaner> {
    const { widthPx: w, heightPx: h, frameCount, rate } = reader.info;
    const span = { in: request.span?.in ?? 0, out: Math.min(frameCount, request.span?.out ?? frameCount) };
    const camera = request.camera ?? (await measureCameraMove(readerLumaSource(reader), { framesPerSecond: framesPerSecond(rate), span, ...(request.signal === undefined ? {} : { signal: request.signal }) }));
    const carrier = cameraCarrier(camera);
    const paths = request.regions.map((r) => carryRegion(r, carrier));
    const things = (n: number): [number, number][][] => paths.map((p) => p(n));
    const shadowPaths = (request.shadows ?? []).map((r) => carryRegion(r, carrier));
    const outlines = (n: number): [number, number][][] => [...things(n), ...shadowPaths.map((p) => p(n))];
    const motion = setMotion(camera, (span.in + span.out) >> 1);
    const lost = new Set(camera.frames.filter((f) => f.support === 0).map((f) => f.frame));
    const looked = spread(span.in, span.out, 240);
    const candidates = spread(span.in, span.out, CANDIDATES).filter((n) => !lost.has(n));
    const growPx = request.growPx ?? 3;
    const frame = frameOfMosaic(looked, outlines, motion, w, h);
    const hidden = hiddenInMosaic(frame, looked, outlines, motion, w, h, growPx);
    const chosen = chooseSources({
      candidates, points: gridPoints(hidden, frame), widthPx: w, heightPx: h, most: SOURCES, clearPx: growPx + 3,
      fromReference: (n) => motion.fromReference(n), hides: things,
    });
    const sources: MosaicSource[] = [];
    const buffer = createPicture(w, h, 3);
    let got = 0;
    const shaded: MosaicSource[] = [];
    for (const n of chosen) {
      request.signal?.throwIfAborted();
      const held = copyFrame(await reader.frame(n));
      sources.push(sourceOf(held, n, invert(motion.fromReference(n)), showsMask(outlines(n), w, h, growPx), buffer));
      if (shadowPaths.length > 0) shaded.push(sourceOf(held, n, invert(motion.fromReference(n)), showsMask(things(n), w, h, growPx), buffer));
      request.onProgress?.(++got, chosen.length);
    }
    const mosaic = buildMosaic(sources, frame, !motion.still, request.shadowToo ?? true);
    const relit = shaded.length === 0 ? [] : layRelit(mosaic, buildMosaic(shaded, frame, !motion.still));
    const { filled, suppliedShare, notes } = fillUnseen(mosaic, hidden, request.seed ?? 1);
    const seen = createPicture(mosaic.width, mosaic.height, 1);
    for (let i = 0; i < seen.data.length; i++) seen.data[i] = mosaic.count[i]! > 0 ? 1 : 0;
    return new PlateCleaner(filled, seen, motion, outlines, request, { w, h }, { sources: chosen, suppliedShare, move: camera.move, notes: lost.size === 0 ? [...relit, ...notes] : [...relit, ...notes, `${lost.size} frame(s) could not be aligned to the set and give nothing`] });
  }

  /** The clean part of a frame; null where the region does not reach into it. @param coded display-coded picture of the whole frame @param chromaShift so that the box holds whole chroma samples */
  clean(n: number, coded: Picture, chromaShift: readonly [number, number] = [1, 1]): CleanedBox | null {
    const { w, h } = this.size;
    const outlines = this.outlines(n);
    const bounds = boundsOf(outlines.flat(), IDENTITY3);
    const tall = Math.max(bounds[2] - bounds[0], bounds[3] - bounds[1]);
    const pad = Math.min(0.25 * w, Math.max(40, (this.shadowToo ? 0.6 : 0.35) * tall)) + this.growPx;
    const box = alignedBox([bounds[0] - pad, bounds[1] - pad, bounds[2] + pad, bounds[3] + pad], w, h, chromaShift);
    if (box === null || bounds[2] <= 0 || bounds[3] <= 0 || bounds[0] >= w || bounds[1] >= h) return null;
    const bw = box[2] - box[0], bh = box[3] - box[1];
    const around = cropPicture(coded, box);
    const hidden = maskOf(outlines.map((o) => o.map(([x, y]) => [x - box[0], y - box[1]] as const)), bw, bh, this.growPx);
    const toBox: Mat3 = multiply([1, 0, -box[0], 0, 1, -box[1], 0, 0, 1], multiply(this.motion.fromReference(n), invert(this.mosaic.fromReference)));
    let matrix = toBox;
    const lay = (m: Mat3): Picture => layOver(this.mosaic.picture, m, bw, bh, 'lanczos3');
    let fill = lay(matrix);
    let seen = layOver(this.seen, matrix, bw, bh, 'bilinear', 'zero').data;
    if (!this.motion.still) {
      const trust = new Float32Array(bw * bh);
      for (let i = 0; i < trust.length; i++) trust[i] = seen[i]! > 0.99 && hidden[i]! <= 0 ? 1 : 0;
      const fit = fitLocally(lumaOf(around), lumaOf(fill), trust, bw, bh, { reachPx: 0.6 });
      const back = tryInvert(fit.matrix);
      if (back !== null && fit.after < 0.995 * fit.before) {
        matrix = multiply(back, toBox);
        fill = lay(matrix);
        seen = layOver(this.seen, matrix, bw, bh, 'bilinear', 'zero').data;
      }
    }
    const trusted = new Float32Array(bw * bh);
    for (let i = 0; i < trusted.length; i++) trusted[i] = seen[i]! > 0.99 ? 1 : 0;
    if (this.shadowToo) {
      const shadow = shadowBeside(around, fill, hidden, trusted);
      if (shadow !== null) for (let i = 0; i < hidden.length; i++) if (shadow[i]! > 0) hidden[i] = 1;
    }
    if (!this.motion.still) matchSharpness(around, fill, hidden, trusted);
    matchSeam(around, fill, hidden, trusted, { bandPx: 24 });
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
    return { box, coded: fill, cover, madeUp };
  }
}

/** Ground that only `shaded` shows, relit, becomes part of the mosaic. Returns what is to be said of it. */
function layRelit(mosaic: Mosaic, shaded: Mosaic): string[] {
  const { width: w, height: h } = mosaic, n = w * h;
  const dark = new Float32Array(n), known = new Float32Array(n);
  let x0 = w, y0 = h, x1 = 0, y1 = 0;
  for (let y = 0, i = 0; y < h; y++) for (let x = 0; x < w; x++, i++) {
    known[i] = mosaic.count[i]! > 0 || shaded.count[i]! > 0 ? 1 : 0;
    if (mosaic.count[i]! > 0 || !(shaded.count[i]! > 0)) continue;
    dark[i] = 1;
    mosaic.count[i] = shaded.count[i]!;
    for (let c = 0; c < 3; c++) mosaic.picture.data[c * n + i] = shaded.picture.data[c * n + i]!;
    x0 = Math.min(x0, x); x1 = Math.max(x1, x + 1); y0 = Math.min(y0, y); y1 = Math.max(y1, y + 1);
  }
  if (x1 <= x0) return ['every part of the marked shadow is seen lit in some frame: nothing had to be relit'];
  const room = 40 + Math.ceil(0.25 * Math.max(x1 - x0, y1 - y0));
  const box = [Math.max(0, x0 - room), Math.max(0, y0 - room), Math.min(w, x1 + room), Math.min(h, y1 + room)] as const;
  const part = cropPicture(mosaic.picture, box);
  const found = relightShadow(part, cropPlane(dark, w, box), cropPlane(known, w, box));
  if (found === null) return ['the marked shadow is not darker than the ground beside it: left as it is'];
  for (let c = 0; c < 3; c++) for (let y = box[1]; y < box[3]; y++) for (let x = box[0]; x < box[2]; x++) {
    if (dark[y * w + x]! > 0) mosaic.picture.data[(c * h + y) * w + x] = plane(part, c)[(y - box[1]) * part.width + x - box[0]]!;
  }
  return [`a shadow that no frame shows lit was relit: it let through ${found.ratio.map((v) => (100 * v).toFixed(0)).join(', ')} % of red, green, blue`];
}

/** Numbers from..to−1, at most `most`, evenly spread with both ends. */
export function spread(from: number, to: number, most: number): number[] {
  const n = to - from;
  if (n <= most) return Array.from({ length: n }, (_, i) => from + i);
  return Array.from({ length: most }, (_, i) => from + Math.round((i * (n - 1)) / (most - 1)));
}

export function sourceOf(held: VideoFrame, frame: number, toReference: Mat3, shows: Uint8Array, buffer: Picture): MosaicSource {
  return { frame, toReference, widthPx: held.widthPx, heightPx: held.heightPx, coded: () => toCodedRgb(held, held.hasAlpha ? undefined : buffer), shows };
}

function maskOf(outlines: readonly (readonly Point2[])[], w: number, h: number, growPx: number): Float32Array {
  const all = new Float32Array(w * h);
  for (const o of outlines) {
    const one = rasterizePolygon(o, w, h);
    for (let i = 0; i < all.length; i++) if (one[i]! > 0.02) all[i] = 1;
  }
  return growPx > 0 ? dilate(all, w, h, Math.ceil(growPx)) : all;
}

/** What a frame shows of the set for sure (see MosaicSource.shows). */
export function showsMask(outlines: readonly (readonly Point2[])[], w: number, h: number, growPx: number): Uint8Array {
  const out = new Uint8Array(w * h);
  if (outlines.length === 0) return out.fill(250);
  const hides = maskOf(outlines, w, h, growPx + 2);
  const away = distanceToSet(hides, w, h);
  const b = boundsOf(outlines.flat(), IDENTITY3);
  const reach = SHADOW_REACH * Math.max(20, b[2] - b[0], b[3] - b[1]);
  for (let i = 0; i < out.length; i++) out[i] = hides[i]! > 0 ? 0 : 100 + Math.round(100 * Math.min(1.5, away[i]! / reach));
  return out;
}

/** Soft edge outside the hidden part: nothing of what was hidden shines through. */
function feather(hidden: Float32Array, w: number, h: number): Float32Array {
  const soft = gaussianPlane(dilate(hidden, w, h, 2), w, h, 1);
  for (let i = 0; i < soft.length; i++) soft[i] = hidden[i]! > 0 ? 1 : soft[i]! < 0.02 ? 0 : soft[i]!;
  return soft;
}

export function alignedBox(b: readonly [number, number, number, number], w: number, h: number, shift: readonly [number, number]): [number, number, number, number] | null {
  const sx = 1 << shift[0], sy = 1 << shift[1];
  const out: [number, number, number, number] = [
    Math.max(0, Math.floor(b[0] / sx) * sx), Math.max(0, Math.floor(b[1] / sy) * sy), Math.min(w, Math.ceil(b[2] / sx) * sx), Math.min(h, Math.ceil(b[3] / sy) * sy),
  ];
  return out[2] - out[0] >= 8 && out[3] - out[1] >= 8 ? out : null;
}

/** Room of the mosaic: all outlines in reference pixels and some set about them, no further than any frame reaches. */
function frameOfMosaic(frames: readonly number[], outlines: (n: number) => [number, number][][], motion: SetMotion, w: number, h: number): MosaicFrame {
  let x0 = Infinity, y0 = Infinity, x1 = -Infinity, y1 = -Infinity, rx0 = Infinity, ry0 = Infinity, rx1 = -Infinity, ry1 = -Infinity, scale = 1;
  const corners: Point2[] = [[0, 0], [w, 0], [w, h], [0, h]];
  for (const n of frames) {
    const back = tryInvert(motion.fromReference(n));
    if (back === null) continue;
    const o = boundsOf(outlines(n).flat().map(([x, y]) => [Math.min(w, Math.max(0, x)), Math.min(h, Math.max(0, y))] as const), back);
    const r = boundsOf(corners, back);
    if (![...o, ...r].every((v) => Number.isFinite(v) && Math.abs(v) < 8 * (w + h))) continue;
    x0 = Math.min(x0, o[0]); y0 = Math.min(y0, o[1]); x1 = Math.max(x1, o[2]); y1 = Math.max(y1, o[3]);
    rx0 = Math.min(rx0, r[0]); ry0 = Math.min(ry0, r[1]); rx1 = Math.max(rx1, r[2]); ry1 = Math.max(ry1, r[3]);
    const mid: Point2 = [(o[0] + o[2]) / 2, (o[1] + o[3]) / 2];
    const p = apply(motion.fromReference(n), mid[0], mid[1]), q = apply(motion.fromReference(n), mid[0] + 1, mid[1]);
    scale = Math.max(scale, Math.hypot(q[0] - p[0], q[1] - p[1]));
  }
  const margin = Math.max(64, 0.15 * w);
  x0 = Math.max(rx0, x0 - margin); y0 = Math.max(ry0, y0 - margin); x1 = Math.min(rx1, x1 + margin); y1 = Math.min(ry1, y1 + margin);
  x0 = Math.floor(x0); y0 = Math.floor(y0);
  // Finer than the frames, so that resampling twice costs no sharpness; where nothing moves, nothing is resampled.
  scale = motion.still ? 1 : Math.min(2, OVERSAMPLING * scale);
  const width = Math.max(16, Math.ceil((x1 - x0) * scale)), height = Math.max(16, Math.ceil((y1 - y0) * scale));
  const most = 12e6;
  const cut = Math.min(1, Math.sqrt(most / (width * height)));
  return { x0, y0, width: Math.max(16, Math.ceil(width * cut)), height: Math.max(16, Math.ceil(height * cut)), scale: scale * cut };
}

/** 1 where some frame needs the mosaic. */
function hiddenInMosaic(frame: MosaicFrame, frames: readonly number[], outlines: (n: number) => [number, number][][], motion: SetMotion, w: number, h: number, growPx: number): Uint8Array {
  const m = mosaicMatrix(frame);
  const out = new Uint8Array(frame.width * frame.height);
  const quad: Point2[] = [[0, 0], [w, 0], [w, h], [0, h]];
  const one = new Float32Array(out.length), inside = new Float32Array(out.length);
  for (const n of frames) {
    const back = tryInvert(motion.fromReference(n));
    if (back === null) continue;
    const to = multiply(m, back);
    rasterizePolygon(quad.map((p) => apply(to, p[0], p[1])), frame.width, frame.height, inside);
    for (const o of outlines(n)) {
      rasterizePolygon(o.map((p) => apply(to, p[0], p[1])), frame.width, frame.height, one);
      for (let i = 0; i < out.length; i++) if (one[i]! > 0 && inside[i]! > 0) out[i] = 1;
    }
  }
  const grown = dilate(Float32Array.from(out), frame.width, frame.height, Math.ceil((growPx + 4) * frame.scale));
  for (let i = 0; i < out.length; i++) out[i] = grown[i]! > 0 ? 1 : 0;
  return out;
}

/** Points of the hidden area on a coarse grid, in reference pixels. */
function gridPoints(hidden: Uint8Array, f: MosaicFrame): Point2[] {
  const step = Math.max(2, Math.round(f.width / 96));
  const out: Point2[] = [];
  for (let y = step >> 1; y < f.height; y += step) for (let x = step >> 1; x < f.width; x += step) {
    if (hidden[y * f.width + x] !== 0) out.push([(x + 0.5) / f.scale + f.x0, (y + 0.5) / f.scale + f.y0]);
  }
  return out;
}

/** Patch synthesis over what is needed and was never seen, inside a window about it. */
export function fillUnseen(mosaic: Mosaic, needed: Uint8Array, seed: number): { filled: Mosaic; suppliedShare: number; notes: string[] } {
  const { width: w, height: h, count } = mosaic;
  let x0 = w, y0 = h, x1 = 0, y1 = 0, holes = 0, all = 0;
  for (let y = 0; y < h; y++) for (let x = 0; x < w; x++) {
    const i = y * w + x;
    if (needed[i] === 0) continue;
    all++;
    if (count[i]! > 0) continue;
    holes++;
    x0 = Math.min(x0, x); x1 = Math.max(x1, x + 1); y0 = Math.min(y0, y); y1 = Math.max(y1, y + 1);
  }
  const suppliedShare = all === 0 ? 1 : 1 - holes / all;
  // What nobody asked for gets a smooth fill, so that no filter reads black beside the known.
  const planes = [plane(mosaic.picture, 0), plane(mosaic.picture, 1), plane(mosaic.picture, 2)];
  const smooth = pushPull(planes, count, w, h);
  const picture = createPicture(w, h, 3);
  for (let c = 0; c < 3; c++) {
    const to = plane(picture, c);
    for (let i = 0; i < w * h; i++) to[i] = count[i]! > 0 ? planes[c]![i]! : smooth[c]![i]!;
  }
  if (holes === 0) return { filled: { ...mosaic, picture }, suppliedShare, notes: [] };
  const room = Math.max(96, Math.round(1.2 * Math.max(x1 - x0, y1 - y0)));
  x0 = Math.max(0, x0 - room); y0 = Math.max(0, y0 - room); x1 = Math.min(w, x1 + room); y1 = Math.min(h, y1 + room);
  const cw = x1 - x0, ch = y1 - y0;
  const part = cropPicture(mosaic.picture, [x0, y0, x1, y1]);
  const hole = new Uint8Array(cw * ch), known = new Uint8Array(cw * ch);
  for (let y = 0; y < ch; y++) for (let x = 0; x < cw; x++) {
    const i = (y + y0) * w + x + x0, o = y * cw + x;
    known[o] = count[i]! > 0 ? 1 : 0;
    hole[o] = needed[i] !== 0 && count[i] === 0 ? 1 : 0;
  }
  const filled = synthesisePatches([plane(part, 0), plane(part, 1), plane(part, 2)], hole, known, cw, ch, { seed });
  for (let c = 0; c < 3; c++) {
    const to = plane(picture, c), from = filled[c]!;
    for (let y = 0; y < ch; y++) for (let x = 0; x < cw; x++) if (hole[y * cw + x] !== 0) to[(y + y0) * w + x + x0] = from[y * cw + x]!;
  }
  return { filled: { ...mosaic, picture }, suppliedShare, notes: [`${(100 * (1 - suppliedShare)).toFixed(1)} % of what is hidden is seen in no frame: made up from its surroundings`] };
}
