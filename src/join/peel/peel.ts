/**
 * Peel: the performer off the green or blue screen. Pure functions: a model of the screen from sample frames of the
 * take, then a matte and the performer's own colour a frame.
 *
 * The way: full-resolution R'G'B' with luma-guided chroma → scene-linear → screen field and seeds on a small picture →
 * local linear unmixing → hollows filled → colour under partial coverage → spill taken out. Nothing is set by hand; a
 * person may add a garbage polygon, and polygons whose screen-like colour belongs to the performer.
 */
import { PlatewrightError } from '../../core/errors.js';
import { createPicture, type Picture } from '../../image/picture.js';
import { rasterizePolygon, type Point } from '../../image/polygon.js';
import type { VideoFrame } from '../../media/types.js';
import { dropEdgeParts } from './edge-parts.js';
import { chromaSiteSeen } from './chroma-site.js';
import { analyseFrame, TUNING, type Tuning } from './frame-analysis.js';
import { matteOfFrame } from './frame-matte.js';
import { linearFrame, type CodedFrame, type LinearFrame } from './linear-frame.js';
import { performerColour, type Box } from './performer-colour.js';
import { resampleCells } from './resample-cells.js';
import { buildScreenModel, screenOfFrame, type ScreenModel } from './screen-model.js';
import { screenShadow, type ScreenShadow } from './screen-shadow.js';
import type { SmallLinear } from './small-linear.js';
import { withWorkSpace, type WorkSpace } from './work-space.js';

export type { CodedFrame } from './linear-frame.js';
export type { ScreenModel } from './screen-model.js';

/** Preview: the colour clouds in cells of twice the side, estimated anew once. */
const FAST: Partial<Tuning> = { cell: 4, turns: 1 };

export interface PeelOptions {
  readonly quality?: 'fast' | 'fine';
  /** Strength of spill removal 0..1; 1 unless told. */
  readonly spill?: number;
  /** Pixels outside these polygons never belong to the performer. */
  readonly garbage?: readonly (readonly Point[])[];
  /** Inside these polygons screen-like colour belongs to the performer and keeps its colour. */
  readonly keep?: readonly (readonly Point[])[];
  /**
   * Drops what reaches in from the frame's edge apart from the performer: the set past the screen's end. Off unless
   * told.
   */
  readonly dropEdges?: boolean;
  /**
   * The performer will be shown at half the take's size or less: peeled there, where blocks allow it (`unit` says so).
   */
  readonly halved?: boolean;
  /** Asks for the performer's own shadow on the screen; `clean` the empty set, where one was shot. */
  readonly shadow?: { readonly clean: SmallLinear | null };
  readonly tuning?: Partial<Tuning>;
}

export interface Peeled {
  /** One channel, 0..1. */
  readonly alpha: Picture;
  /**
   * Scene-linear Rec. 709 RGB, NOT premultiplied, spill removed; meaningful where alpha > 0, drawn outwards a little, 0
   * far from the performer.
   */
  readonly colour: Picture;
}

/**
 * The screen of a take from frames of it (six to twelve spread over the take; a clean frame of the empty screen may be
 * given beside them). Throws `PW-PEEL-NO-SCREEN` where no green or blue screen is found; `PW-PEEL-NO-FRAMES` without a
 * frame.
 */
export function peelModel(
  frames: readonly (VideoFrame | CodedFrame)[],
  options: { screen?: 'green' | 'blue'; clean?: VideoFrame | CodedFrame } = {},
): ScreenModel {
  const chromaSite = chromaSiteSeen(
    (frames.length === 0 && options.clean !== undefined ? [options.clean] : frames).filter(
      (f): f is VideoFrame => 'planes' in f,
    ),
  );
  const linear = frames.map((f) => smallOf(sitedAs(f, chromaSite)));
  const clean = options.clean === undefined ? null : smallOf(sitedAs(options.clean, chromaSite));
  if (linear.length === 0 && clean === null)
    throw new PlatewrightError('PW-PEEL-NO-FRAMES', 'a screen model needs at least one frame', { kind: 'internal' });
  return { ...buildScreenModel(linear, clean, options.screen), chromaSite };
}

/** The frame with its chroma where the take's is seen to be; a frame of another layout as it is. */
function sitedAs<F extends VideoFrame | CodedFrame>(frame: F, site: readonly [number, number] | null): F {
  return site === null || !('planes' in frame) || frame.chromaShift[0] !== 1 ? frame : { ...frame, chromaSite: site };
}

/** The small picture of a frame, in arrays of its own. */
export function smallOf(frame: VideoFrame | CodedFrame): SmallLinear {
  return withWorkSpace((space) => {
    // By way of the half size where blocks allow it: a block's mean light is the same, in half the time.
    const { small, step } = linearFrame(frame, space, 'light');
    return { ...small, block: small.block * step, data: Float32Array.from(small.data) };
  });
}

/**
 * Matte and colour of one frame, in arrays of their own.
 * @throws `PW-PEEL-SIZE` where the frame has another size than the model.
 */
export function peelFrame(model: ScreenModel, frame: VideoFrame | CodedFrame, options: PeelOptions = {}): Peeled {
  return peelWithin(model, frame, options, ({ alpha, colour, box: [x0, y0, x1, y1] }) => {
    const { width: w, height: h } = alpha;
    const own = { alpha: createPicture(w, h, 1), colour: createPicture(w, h, 3) };
    for (const [from, to] of [
      [alpha, own.alpha],
      [colour, own.colour],
    ] as const) {
      for (let k = 0; k < from.channels; k += 1)
        for (let y = y0; y < y1; y += 1)
          to.data.set(from.data.subarray((k * h + y) * w + x0, (k * h + y) * w + x1), (k * h + y) * w + x0);
    }
    return own;
  });
}

/** What a peel leaves in the kernels' memory. Beyond the box alpha and colour are 0 and the arrays hold anything. */
export interface PeeledWithin extends Peeled {
  readonly box: Box;
  /** Frame pixels a pixel of the pictures: 2 where the peel was asked for half the size. */
  readonly unit: 1 | 2;
  /** In arrays of its own, where it was asked for. */
  readonly shadow?: ScreenShadow;
}

/**
 * The same without copies: the pictures are handed to `use` and are gone when it returns. They may be changed there.
 * @throws `PW-PEEL-SIZE` where the frame has another size than the model.
 */
export function peelWithin<T>(
  model: ScreenModel,
  frame: VideoFrame | CodedFrame,
  options: PeelOptions,
  use: (peeled: PeeledWithin) => T,
): T {
  return withWorkSpace((space) => {
    const fast = options.quality === 'fast';
    const halved = options.halved === true;
    const seen = linearFrame(sitedAs(frame, model.chromaSite), space, halved ? 'light' : fast ? 'chroma' : null);
    const { linear, small, step } = seen;
    const [w, h] = 'coded' in frame ? [frame.coded.width, frame.coded.height] : [frame.widthPx, frame.heightPx];
    if (small.width !== model.width || small.height !== model.height) {
      throw new PlatewrightError(
        'PW-PEEL-SIZE',
        `the screen was modelled on frames of another size than this one (${w} × ${h})`,
        { kind: 'internal' },
      );
    }
    const field = screenOfFrame(model, small, space.floats);
    // What a person keeps is no screen: no gap opens round it either.
    if (options.keep !== undefined && options.keep.length > 0) {
      const kept = coverage(options.keep, small.width, small.height, step * small.block);
      for (const mask of [field.sure, field.tinged ?? field.sure])
        for (let i = 0; i < kept.length; i += 1) if (kept[i]! > 0) mask[i] = 0;
    }
    const analysis = analyseFrame(small, field, { ...TUNING, ...(fast ? FAST : {}), ...options.tuning }, space.floats);
    const alpha = space.picture(linear.width, linear.height, 1);
    const colour = space.picture(linear.width, linear.height, 3);
    const highest = matteOfFrame(linear, analysis, alpha.data);
    if (options.dropEdges === true) dropEdgeParts(alpha.data, linear.width, linear.height, small.block, highest);
    const keep =
      options.keep === undefined || options.keep.length === 0
        ? null
        : coverage(options.keep, linear.width, linear.height, step);
    if (keep !== null)
      for (let i = 0; i < alpha.data.length; i += 1) alpha.data[i] = Math.max(alpha.data[i]!, keep[i]!);
    if (options.garbage !== undefined && options.garbage.length > 0) {
      const inside = coverage(options.garbage, linear.width, linear.height, step);
      for (let i = 0; i < alpha.data.length; i += 1) alpha.data[i] = alpha.data[i]! * inside[i]!;
    }
    const box = performerColour(linear, analysis, alpha.data, options.spill ?? 1, keep, colour);
    const cell = step * small.block;
    const useful =
      options.shadow === undefined || options.garbage === undefined || options.garbage.length === 0
        ? null
        : coverage(options.garbage, small.width, small.height, cell);
    const shadow =
      options.shadow === undefined
        ? {}
        : { shadow: screenShadow(small, field.sure, analysis.fromPerformer, options.shadow.clean, cell, useful) };
    if (step === 1 || halved) return use({ alpha, colour, box, unit: step, ...shadow });
    return use({ ...widened({ alpha, colour, box, unit: 1 }, seen, w, h, space), ...shadow });
  });
}

/** Sets what lies next to a box to 0: interpolation at the box's edge reads it. */
function clearRing(picture: Picture, [x0, y0, x1, y1]: Box): void {
  const { width: w, height: h, data } = picture;
  const left = Math.max(0, x0 - 1),
    right = Math.min(w, x1 + 1);
  for (let p = 0; p < picture.channels; p += 1) {
    const at = p * w * h;
    if (y0 > 0) data.fill(0, at + (y0 - 1) * w + left, at + (y0 - 1) * w + right);
    if (y1 < h) data.fill(0, at + y1 * w + left, at + y1 * w + right);
    for (let y = y0; y < y1; y += 1) {
      if (x0 > 0) data[at + y * w + x0 - 1] = 0;
      if (x1 < w) data[at + y * w + x1] = 0;
    }
  }
}

/** The preview's half-size pictures at the frame's size. */
function widened(half: PeeledWithin, seen: LinearFrame, w: number, h: number, space: WorkSpace): PeeledWithin {
  const [x0, y0, x1, y1] = half.box;
  const alpha = space.picture(w, h, 1);
  const colour = space.picture(w, h, 3);
  const box: Box = [2 * x0, 2 * y0, Math.min(2 * x1, w), Math.min(2 * y1, h)];
  if (x1 <= x0) return { alpha, colour, box: half.box, unit: 1 };
  clearRing(half.colour, half.box);
  const options = { box, offsetX: 1 - seen.site[0], offsetY: 1 - seen.site[1], floats: space.floats };
  resampleCells(half.alpha.data, half.alpha, 2, w, h, 1, alpha.data, options);
  resampleCells(half.colour.data, half.alpha, 2, w, h, 3, colour.data, options);
  return { alpha, colour, box, unit: 1 };
}

/** Share of each pixel inside any of the polygons, which are drawn on pixels `step` times smaller. */
function coverage(polygons: readonly (readonly Point[])[], w: number, h: number, step: number): Float32Array {
  const out = new Float32Array(w * h);
  for (const polygon of polygons) {
    const one = rasterizePolygon(step === 1 ? polygon : polygon.map(([x, y]) => [x / step, y / step] as const), w, h);
    for (let i = 0; i < out.length; i += 1) out[i] = Math.max(out[i]!, one[i]!);
  }
  return out;
}
