/**
 * Widen: a larger canvas about every frame. What lies beyond a frame's edge and is seen in other frames of
 * the shot comes from the mosaic of the set (erase-mosaic.ts); what none shows is made up once, in the mosaic, by patch
 * synthesis, and thereby holds still; far from anything seen the smooth fill takes over, as out-of-focus margins do.
 * Along the frame's edge the light is matched and the seam softened over some pixels, since what moves across it can't
 * be continued.
 */
import { boundsOf } from '../../geometry/bounds.js';
import { IDENTITY3, apply, invert, multiply, tryInvert, type Mat3, type Point2 } from '../../geometry/mat3.js';
import { framesPerSecond } from '../../core/rational.js';
import { createPicture, plane, type Picture } from '../../image/picture.js';
import { rasterizeMoved } from '../../image/polygon.js';
import { warpHomography } from '../../image/warp.js';
import { copyFrame } from '../../media/planes.js';
import type { VideoReader } from '../../media/video-reader.js';
import { measureCameraMove } from '../../plate/camera/camera-move.js';
import type { RegionFile } from '../../plate/marks/marks.js';
import { isThere } from '../../plate/marks/presence.js';
import { readerLumaSource } from '../../plate/ride/reader-luma-source.js';
import type { CameraMove } from '../../plate/types.js';
import { cameraCarrier, carryRegion } from '../ride/carrier.js';
import { fitLocally } from '../erase/erase-align.js';
import { showsMask, mosaicSourceOf } from '../erase/erase-masks.js';
import { codedLuma } from '../erase/coded-luma.js';
import { buildMosaic, type Mosaic } from '../erase/erase-mosaic.js';
import { mosaicMatrix, type MosaicFrame } from '../erase/mosaic-frame.js';
import { fillUnseen } from '../erase/fill-unseen.js';
import { layOver, type Shift } from '../erase/lay-over.js';
import { lightPlane, shineOn, type LightPlane } from '../erase/light-plane.js';
import { localField } from '../erase/local-field.js';
import { findMovers, type SetMovers } from '../erase/set-movers.js';
import { setMotion, spread, type SetMotion } from '../erase/set-motion.js';
import { matchSharpness } from '../erase/erase-seam.js';
import { chooseSources } from '../erase/erase-sources.js';
import type { Reframe } from './reframe.js';
import { WideSeam } from './wide-seam.js';

const SOURCES = 24;
/** So many of a camera that stands: only grain is averaged away. */
const STILL_SOURCES = 16;

/** How far things off the set's plane are believed to lie from it, as a share of the canvas's width. */
const PARALLAX = 0.01;
/** Moves of a camera that turns where it stands. */
const TURNS = new Set(['drift', 'pan', 'tilt']);

export interface WidenRequest {
  readonly reframe: Reframe;
  readonly span?: { readonly in: number; readonly out: number };
  readonly camera?: CameraMove | undefined;
  /** What is erased from the frames, and so is no part of the set. */
  readonly erased?: readonly RegionFile[];
  readonly seed?: number;
}

/** The wide set of one clip, built once by `build` and laid about any of its frames by `widen`. */
export class WideCanvas {
  /** Share of the added canvas that other frames supply, over the frames looked at. */
  readonly suppliedShare: number;
  private readonly mosaic: Mosaic;
  private readonly motion: SetMotion;
  private readonly movers: SetMovers | null;
  private readonly reframe: Reframe;
  private readonly seen: Picture;
  private seam: WideSeam | null = null;
  /** What a camera that stands still shows about every frame, warped once. */
  private still: Laid | null = null;

  private constructor(
    mosaic: Mosaic,
    seen: Picture,
    motion: SetMotion,
    movers: SetMovers | null,
    reframe: Reframe,
    suppliedShare: number,
  ) {
    this.mosaic = mosaic;
    this.seen = seen;
    this.motion = motion;
    this.movers = movers;
    this.reframe = reframe;
    this.suppliedShare = suppliedShare;
  }

  static async build(reader: VideoReader, request: WidenRequest): Promise<WideCanvas> {
    const { widthPx: w, heightPx: h, frameCount, rate } = reader.info;
    const span = { in: request.span?.in ?? 0, out: Math.min(frameCount, request.span?.out ?? frameCount) };
    const camera =
      request.camera ??
      (await measureCameraMove(readerLumaSource(reader), { framesPerSecond: framesPerSecond(rate), span }));
    const carrier = cameraCarrier(camera);
    const paths = (request.erased ?? []).map((r) => carryRegion(r, carrier));
    const hides = (n: number): [number, number][][] =>
      paths.filter((_, i) => isThere(request.erased![i]!.frames, n)).map((p) => p(n));
    const motion = setMotion(camera, (span.in + span.out) >> 1);
    const looked = spread(span.in, span.out, 120);
    const { left, right, top, bottom } = request.reframe;
    const canvas: Point2[] = [
      [-left, -top],
      [w + right, -top],
      [w + right, h + bottom],
      [-left, h + bottom],
    ];
    const frame = roomOf(looked, canvas, motion, w, h);
    const m = mosaicMatrix(frame);
    const needed = new Uint8Array(frame.width * frame.height);
    const one = new Float32Array(needed.length);
    for (const n of looked) {
      const back = tryInvert(motion.fromReference(n));
      if (back === null) continue;
      const to = multiply(m, back);
      rasterizeMoved(canvas, to, frame.width, frame.height, one);
      for (let i = 0; i < needed.length; i++) if (one[i]! > 0) needed[i] = 1;
      if (motion.still) break;
    }
    const points: Point2[] = [];
    const step = Math.max(2, Math.round(frame.width / 80));
    for (let y = 0; y < frame.height; y += step)
      for (let x = 0; x < frame.width; x += step)
        if (needed[y * frame.width + x] !== 0)
          points.push([(x + 0.5) / frame.scale + frame.x0, (y + 0.5) / frame.scale + frame.y0]);
    const lost = new Set(camera.frames.filter((f) => f.support === 0).map((f) => f.frame));
    const chosen = chooseSources({
      candidates: spread(span.in, span.out, 72).filter((n) => !lost.has(n)),
      points,
      widthPx: w,
      heightPx: h,
      most: motion.still ? STILL_SOURCES : SOURCES,
      clearPx: 5,
      fromReference: (n) => motion.fromReference(n),
      hides,
    });
    // What walks through is no part of the set. A camera that travels makes near things run past like walkers: they
    // count only from further on.
    const movers = motion.still
      ? null
      : await findMovers(
          readerLumaSource(reader),
          motion,
          span,
          { width: frame.width, height: frame.height, fromReference: m },
          TURNS.has(camera.move) ? undefined : 0.04,
        );
    const sources = [];
    for (const n of chosen) {
      const shows = showsMask(hides(n), w, h, 3),
        moves = movers?.maskOf(n);
      if (moves !== undefined) for (let i = 0; i < shows.length; i++) if (moves[i] !== 0) shows[i] = 0;
      sources.push(mosaicSourceOf(copyFrame(await reader.frame(n)), n, invert(motion.fromReference(n)), shows));
    }
    const mosaic = buildMosaic(sources, frame, !motion.still);
    const { filled } = fillUnseen(mosaic, needed, request.seed ?? 1);
    const seen = createPicture(frame.width, frame.height, 1);
    for (let i = 0; i < seen.data.length; i++) seen.data[i] = mosaic.count[i]! > 0 ? 1 : 0;
    return new WideCanvas(filled, seen, motion, movers, request.reframe, share(seen, looked, motion, m, canvas, w, h));
  }

  /**
   * The widened frame, display-coded, of the plate's own size (re-framed), and how much of each of its pixels is not
   * the frame's own, and which of its pixels some frame shows (1; less: made up). @param coded display-coded R'G'B' of
   * the whole (mended) frame
   */
  widen(
    n: number,
    coded: Picture,
  ): { readonly coded: Picture; readonly cover: Float32Array; readonly seen: Float32Array } {
    const { width: w, height: h } = coded,
      { left, top } = this.reframe;
    const seam = (this.seam ??= new WideSeam(this.reframe, w, h)),
      { width: W, height: H, hidden, cover } = seam,
      N = W * H;
    const toCanvas: Mat3 = multiply(
      [1, 0, left, 0, 1, top, 0, 0, 1],
      multiply(this.motion.fromReference(n), invert(this.mosaic.fromReference)),
    );
    const around = seam.place(coded);
    const lay = (m: Mat3, shift: Shift | null): Laid => ({
      fill: layOver(this.mosaic.picture, m, W, H, 'lanczos3', 'clamp', shift),
      seen: layOver(this.seen, m, W, H, 'bilinear', 'zero', shift).data,
    });
    if (this.motion.still) {
      // A camera that stands has nothing to be brought into place, and nothing beyond the frame from other frames.
      const { fill, seen } = (this.still ??= lay(toCanvas, null));
      seam.lay(around, fill, null);
      return { coded: around, cover: cover.slice(), seen };
    }
    const moves = this.movers?.maskOf(n);
    const trust = (seen: Float32Array): Float32Array => {
      const out = new Float32Array(N);
      for (let i = 0; i < N; i++) {
        if (!(seen[i]! > 0.99) || (hidden[i]! <= 0 && moves?.[(Math.floor(i / W) - top) * w + (i % W) - left] === 1))
          continue;
        out[i] = 1;
      }
      return out;
    };
    const { fill, seen } = this.corrected(toCanvas, lay(toCanvas, null), around, hidden, lay, trust);
    const trusted = trust(seen);
    matchSharpness(around, fill, hidden, trusted);
    seam.lay(around, fill, trusted);
    return { coded: around, cover: cover.slice(), seen };
  }

  /**
   * The still picture brought onto what the frame itself shows: its light, an affine fit and a local field, all carried
   * on beyond the frame's edge.
   */
  private corrected(
    toCanvas: Mat3,
    laid: Laid,
    around: Picture,
    hidden: Float32Array,
    lay: (m: Mat3, shift: Shift | null) => Laid,
    trust: (seen: Float32Array) => Float32Array,
  ): Laid {
    const { width: W, height: H } = around;
    const inside = (seen: Float32Array): Float32Array => trust(seen).map((v, i) => (hidden[i]! > 0 ? 0 : v));
    const luma = codedLuma(around);
    // What the frame's own lens and exposure make of the set's light comes first, so that place is not sought in it; at
    // the end it is carried on beyond the frame's edge.
    const lit = (l: Laid, light: LightPlane | null): Laid => {
      if (light !== null) shineOn(l.fill, light, 1);
      return l;
    };
    const first = lightPlane(laid.fill, around, inside(laid.seen));
    let matrix = toCanvas,
      out = lit(laid, first);
    const fit = fitLocally(luma, codedLuma(out.fill), inside(out.seen), W, H, { reachPx: 1 });
    const back = tryInvert(fit.matrix);
    if (back !== null && fit.after < 0.995 * fit.before) {
      matrix = multiply(back, toCanvas);
      out = lit(lay(matrix, null), first);
    }
    const field = localField(luma, codedLuma(out.fill), inside(out.seen), W, H, { reachPx: PARALLAX * W, cellPx: 16 });
    if (field === null) return out;
    out = lay(matrix, { field, scale: 1, x0: 0, y0: 0 });
    return lit(out, lightPlane(out.fill, around, inside(out.seen)) ?? first);
  }

  /** The canvas scaled back to the plate's size. */
  fit(canvas: Picture, w: number, h: number): Picture {
    const { matrix, left, top } = this.reframe;
    return warpHomography(canvas, multiply(matrix, [1, 0, -left, 0, 1, -top, 0, 0, 1]), w, h, {
      filter: 'lanczos3',
      boundary: 'clamp',
    });
  }
}

interface Laid {
  readonly fill: Picture;
  readonly seen: Float32Array;
}

function roomOf(
  frames: readonly number[],
  canvas: readonly Point2[],
  motion: SetMotion,
  w: number,
  h: number,
): MosaicFrame {
  let x0 = Infinity,
    y0 = Infinity,
    x1 = -Infinity,
    y1 = -Infinity;
  for (const n of frames) {
    const back = motion.still ? IDENTITY3 : tryInvert(motion.fromReference(n));
    if (back === null) continue;
    const b = boundsOf(canvas, back);
    if (!b.every((v) => Number.isFinite(v) && Math.abs(v) < 8 * (w + h))) continue;
    x0 = Math.min(x0, b[0]);
    y0 = Math.min(y0, b[1]);
    x1 = Math.max(x1, b[2]);
    y1 = Math.max(y1, b[3]);
  }
  x0 = Math.floor(x0);
  y0 = Math.floor(y0);
  const scale = Math.min(motion.still ? 1 : 1.25, Math.sqrt(12e6 / ((x1 - x0) * (y1 - y0))));
  return { x0, y0, width: Math.ceil((x1 - x0) * scale), height: Math.ceil((y1 - y0) * scale), scale };
}

/** How much of what lies about the frames was seen. */
function share(
  seen: Picture,
  frames: readonly number[],
  motion: SetMotion,
  m: Mat3,
  canvas: readonly Point2[],
  w: number,
  h: number,
): number {
  let all = 0,
    got = 0;
  const [cx0, cy0, cx1, cy1] = boundsOf(canvas);
  for (const n of frames) {
    const back = tryInvert(motion.fromReference(n));
    if (back === null) continue;
    const to = multiply(m, back);
    for (let y = cy0 + 4; y < cy1; y += 12)
      for (let x = cx0 + 4; x < cx1; x += 12) {
        if (x > 0 && y > 0 && x < w && y < h) continue;
        const [u, v] = apply(to, x, y);
        all++;
        if (
          u >= 0 &&
          v >= 0 &&
          u < seen.width &&
          v < seen.height &&
          plane(seen, 0)[Math.floor(v) * seen.width + Math.floor(u)]! > 0
        )
          got++;
      }
  }
  return all === 0 ? 1 : got / all;
}
