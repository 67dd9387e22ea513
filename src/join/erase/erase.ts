/**
 * Erase: a clean plate without what a region covers. What other frames of the shot show of the hidden set
 * is gathered once into a still mosaic (erase-mosaic.ts) in the pixels of one frame; what none shows is made up there
 * once by patch synthesis (patch-synthesis.ts); each frame then gets the mosaic laid over it by the camera's move,
 * corrected locally, matched in light and along its seam (erase-seam.ts). Being one picture, the fill holds still over
 * time.
 */
import { boundsOf } from '../../geometry/bounds.js';
import { invert, multiply, tryInvert, type Mat3, type Point2 } from '../../geometry/mat3.js';
import { createPicture, type Picture } from '../../image/picture.js';
import { percentile } from '../../image/statistics.js';
import type { VideoReader } from '../../media/video-reader.js';
import { fitLocally } from './erase-align.js';
import { alignedBox, feather, maskOf } from './erase-masks.js';
import { codedLuma } from './coded-luma.js';
import type { Mosaic } from './erase-mosaic.js';
import { differenceBeside, nearFill, type NearRequest } from './erase-near.js';
import { passing, type Passing } from './erase-passing.js';
import { missesPieces, piecesBefore } from './passing-pieces.js';
import { cropPicture, matchSeam, matchSharpness } from './erase-seam.js';
import { shadowBeside } from './erase-shadow.js';
import { shadowBesidePassing } from './erase-shadow-passing.js';
import type { OutlinesAt } from './gather-sources.js';
import { layOver } from './lay-over.js';
import { shineOn } from './light-plane.js';
import { toneLight } from './light-tone.js';
import { layPassing, mixOver } from './lay-clean.js';
import { GROW_PX, TURNS, gatherCleanSet, type CleanSet, type EraseReport, type EraseRequest } from './clean-set.js';

/**
 * The still picture holds where it differs from the frame beside the hole by no more than this times the noise, and
 * some more that no eye sees.
 */
const STILL_HOLDS = 1.5;
const LEAST_NOISE = 0.006;
/** Width (px) of the band beside the hole in which the two are compared. */
const NEAR_BAND = 40;
/** Doubt of a lean of the light over the box, as its logarithm's change. */
const LEAN_SD = 0.05;
/** Share of a pixel, as it was laid, from which the whole is taken for seen. */
const SEEN = 0.99;

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

/** A picture laid into a box of a frame. `seen`: 1 where the set was seen, over the box. */
interface Laid {
  readonly fill: Picture;
  readonly seen: Float32Array;
}

/** The clean set of one clip, built once by `build` and laid into any of its frames by `clean`. */
export class PlateCleaner {
  private readonly set: CleanSet;
  private readonly growPx: number;
  private readonly shadowToo: boolean;
  /** sd of the samples of each pixel of the mosaic. */
  private readonly spread: Picture;
  /** sd that noise alone gives the samples. */
  private readonly noise: number;
  /** How far shadows reach beyond the outlines' bounds on the sources: left, up, right, down, px. */
  private readonly overhang: readonly [number, number, number, number];

  private constructor(set: CleanSet, { growPx = GROW_PX, shadowToo = true }: EraseRequest) {
    const { mosaic } = set;
    this.set = set;
    this.spread = { ...createPicture(1, 1, 1), width: mosaic.width, height: mosaic.height, data: mosaic.spread };
    const told: number[] = [];
    for (let i = 0; i < mosaic.spread.length; i += 7) if (mosaic.spread[i]! > 0) told.push(mosaic.spread[i]!);
    this.noise = told.length === 0 ? 0 : percentile(told, 30);
    this.growPx = growPx;
    this.shadowToo = shadowToo;
    this.overhang = overhangOf(mosaic.shadows ?? [], set.outlines);
  }

  get report(): EraseReport {
    return this.set.report;
  }

  /** Gathers the clean set of a clip (clean-set.ts). */
  static async build(reader: VideoReader, request: EraseRequest): Promise<PlateCleaner> {
    return new PlateCleaner(await gatherCleanSet(reader, request), request);
  }

  /**
   * The clean part of a frame; null where the region does not reach into it.
   *
   * @param coded display-coded picture of the whole frame
   * @param chromaShift so that the box holds whole chroma samples
   */
  clean(n: number, coded: Picture, chromaShift: readonly [number, number] = [1, 1]): CleanedBox | null {
    const outlines = this.set.outlines(n);
    // Where all that goes is gone, neither it nor its shadow is there.
    if (outlines.length === 0) return null;
    const box = this.boxAbout(n, outlines, chromaShift);
    if (box === null) return null;
    const around = cropPicture(coded, box);
    const corner: Mat3 = [1, 0, -box[0], 0, 1, -box[1], 0, 0, 1];
    const fromReference = this.set.motion.fromReference(n);
    const toBox = multiply(corner, multiply(fromReference, invert(this.set.mosaic.fromReference)));
    const hidden = this.hiddenIn(box, outlines, toBox);
    const { matrix, ...still } = this.layStill(around, hidden, toBox);
    const trusted = new Float32Array(hidden.length);
    markSeen(still.seen, trusted);
    const shadow = this.shadowToo ? this.shadowIn(around, still.fill, hidden, trusted) : null;
    const light = toneLight(still.fill, around, besideOf(hidden, trusted), { leanSd: LEAN_SD });
    if (light !== null) shineOn(still.fill, light, 1);
    let laid: Laid = still;
    let through: Passing | null = null;
    if (
      this.set.sources.length > 1 &&
      differenceBeside(around, still.fill, hidden, still.seen, NEAR_BAND) > STILL_HOLDS * this.noise + LEAST_NOISE
    ) {
      ({ laid, through } = this.layNearest({
        frame: n,
        around,
        hidden,
        toBox: multiply(corner, fromReference),
        sources: this.set.sources,
        still: still.fill,
        lit: shadow !== null,
        seen: still.seen,
        spread: layOver(this.spread, matrix, around.width, around.height, 'bilinear', 'zero').data,
      }));
      markSeen(laid.seen, trusted);
    }
    const { fill, seen } = laid;
    if (through !== null) for (let i = 0; i < trusted.length; i++) if (through.visible[i]! > 0) trusted[i] = 0;
    if (!this.set.motion.still) matchSharpness(around, fill, hidden, trusted);
    matchSeam(around, fill, hidden, trusted, { bandPx: 24 });
    if (through !== null) layPassing(around, fill, hidden, through);
    const cover = feather(hidden, around.width, around.height);
    const madeUp = mixOver(around, fill, cover, seen);
    return { box, coded: fill, cover, madeUp };
  }

  /** The outlines' box with room for their shadows and for the seam; null where it lies outside the frame. */
  private boxAbout(
    n: number,
    outlines: readonly (readonly Point2[])[],
    chromaShift: readonly [number, number],
  ): [number, number, number, number] | null {
    const { widthPx: w, heightPx: h, cast } = this.set;
    const bounds = boundsOf([...outlines, ...cast.outlines(n)].flat());
    const tall = Math.max(bounds[2] - bounds[0], bounds[3] - bounds[1]);
    const pad = Math.min(0.25 * w, Math.max(40, (this.shadowToo ? 0.6 : 0.35) * tall)) + this.growPx;
    const [left, up, right, down] = this.overhang.map((o) => Math.max(pad, o)) as [number, number, number, number];
    if (bounds[2] <= 0 || bounds[3] <= 0 || bounds[0] >= w || bounds[1] >= h) return null;
    return alignedBox([bounds[0] - left, bounds[1] - up, bounds[2] + right, bounds[3] + down], w, h, chromaShift);
  }

  /** 1 where the frame hides the set, or shows it under a shadow that is relit, over the box. */
  private hiddenIn(
    box: readonly [number, number, number, number],
    outlines: readonly (readonly Point2[])[],
    toBox: Mat3,
  ): Float32Array {
    const [x0, y0] = box;
    const bw = box[2] - x0;
    const bh = box[3] - y0;
    const inBox = outlines.map((o) => o.map(([x, y]) => [x - x0, y - y0] as const));
    const hidden = maskOf(inBox, bw, bh, this.growPx);
    if (this.set.cast.relit !== null) {
      const relit = layOver(this.set.cast.relit, toBox, bw, bh, 'bilinear', 'zero').data;
      for (let i = 0; i < hidden.length; i++) if (relit[i]! > 0.1) hidden[i] = 1;
    }
    return hidden;
  }

  /** The mosaic laid over the box, moved a little where that fits better what is seen. `matrix`: as it was laid. */
  private layStill(around: Picture, hidden: Float32Array, toBox: Mat3): Laid & { readonly matrix: Mat3 } {
    const { mosaic, seen, motion } = this.set;
    const { width, height } = around;
    const lay = (matrix: Mat3) => ({
      matrix,
      fill: layOver(mosaic.picture, matrix, width, height, 'lanczos3'),
      seen: layOver(seen, matrix, width, height, 'bilinear', 'zero').data,
    });
    const first = lay(toBox);
    if (motion.still) return first;
    const trust = new Float32Array(width * height);
    for (let i = 0; i < trust.length; i++) trust[i] = first.seen[i]! > SEEN && hidden[i]! <= 0 ? 1 : 0;
    const fit = fitLocally(codedLuma(around), codedLuma(first.fill), trust, width, height, { reachPx: 0.6 });
    const back = tryInvert(fit.matrix);
    return back !== null && fit.after < 0.995 * fit.before ? lay(multiply(back, toBox)) : first;
  }

  /** The shadow found beside what is hidden; it is hidden too from now on. */
  private shadowIn(around: Picture, fill: Picture, hidden: Float32Array, trusted: Float32Array): Float32Array | null {
    const find = TURNS.has(this.report.move) ? shadowBeside : shadowBesidePassing;
    const shadow = find(around, fill, hidden, trusted);
    if (shadow !== null) for (let i = 0; i < hidden.length; i++) if (shadow[i]! > 0) hidden[i] = 1;
    return shadow;
  }

  /** What the nearest frames show, and what passes before the set there, as a layer of its own. */
  private layNearest(request: NearRequest): { readonly laid: Laid; readonly through: Passing | null } {
    const near = nearFill(request);
    const pieces = TURNS.has(this.report.move) ? null : piecesBefore(request);
    // A thing that near frames bring over rightly needs no layer of its own.
    const through =
      pieces !== null && missesPieces(request.around, near.fill, request.hidden, pieces)
        ? passing({ ...request, near: near.fill }, pieces)
        : null;
    return { laid: through === null ? near : nearFill({ ...request, struck: true }), through };
  }
}

/** 1 where the set was seen and is not hidden. */
function besideOf(hidden: Float32Array, seen: Float32Array): Float32Array {
  return seen.map((v, i) => (hidden[i]! > 0 ? 0 : v));
}

/** 1 where the set was seen, into `out`. */
function markSeen(seen: Float32Array, out: Float32Array): void {
  for (let i = 0; i < out.length; i++) out[i] = seen[i]! > SEEN ? 1 : 0;
}

/** Room kept beyond what shadows reach on the sources, px. */
const ROOM_PX = 24;

/** How far the shadows found on sources reach beyond the bounds of the outlines there: left, up, right, down, px. */
function overhangOf(shadows: NonNullable<Mosaic['shadows']>, outlines: OutlinesAt): [number, number, number, number] {
  const out: [number, number, number, number] = [0, 0, 0, 0];
  for (const { frame, box } of shadows) {
    const here = outlines(frame);
    if (here.length === 0) continue;
    const b = boundsOf(here.flat());
    for (let k = 0; k < 4; k++) out[k] = Math.max(out[k]!, ROOM_PX + (k < 2 ? b[k]! - box[k]! : box[k]! - b[k]!));
  }
  return out;
}
