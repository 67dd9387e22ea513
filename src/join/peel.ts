/**
 * Peel: the performer off the green or blue screen. Pure functions: a model of the screen from sample frames of the take,
 * then a matte and the performer's own colour a frame.
 *
 * The way: full-resolution R'G'B' with luma-guided chroma → scene-linear → screen field and seeds on a small picture → local
 * linear unmixing → hollows filled → colour under partial coverage → spill taken out. Nothing is set by hand; a person may
 * add a garbage polygon, and polygons whose screen-like colour belongs to the performer.
 */
import { matrixPlanes, PRIMARIES, rgbToRgb } from '../colour/matrices.js';
import { PlatewrightError } from '../core/errors.js';
import { createPicture, plane, type Picture } from '../image/picture.js';
import { rasterizePolygon, type Point } from '../image/polygon.js';
import { rgbPrimaries } from '../media/colour-tags.js';
import { linearise } from '../media/curve-table.js';
import type { ColourTags, VideoFrame } from '../media/types.js';
import { codedRgb } from './peel/coded-rgb.js';
import { dropEdgeParts } from './peel/edge-parts.js';
import { analyseFrame, TUNING, type Tuning } from './peel/frame-analysis.js';
import { matteOfFrame } from './peel/frame-matte.js';
import { performerColour } from './peel/performer-colour.js';
import { buildScreenModel, screenOfFrame, type ScreenModel } from './peel/screen-model.js';
import { smallLinear } from './peel/small-linear.js';

export type { ScreenModel } from './peel/screen-model.js';

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
  /** Drops what reaches in from the frame's edge apart from the performer: the set past the screen's end. Off unless told. */
  readonly dropEdges?: boolean;
  readonly tuning?: Partial<Tuning>;
}

export interface Peeled {
  /** One channel, 0..1. */
  readonly alpha: Picture;
  /** Scene-linear Rec. 709 RGB, NOT premultiplied, spill removed; meaningful where alpha > 0, drawn outwards a little, 0 far from the performer. */
  readonly colour: Picture;
}

/**
 * The screen of a take from frames of it (six to twelve spread over the take; a clean frame of the empty screen may be given
 * beside them). Throws `PW-PEEL-NO-SCREEN` where no green or blue screen is found.
 */
export function peelModel(frames: readonly (VideoFrame | CodedFrame)[], options: { screen?: 'green' | 'blue'; clean?: VideoFrame | CodedFrame } = {}): ScreenModel {
  const linear = frames.map((f) => smallLinear(linearOf(f)));
  const clean = options.clean === undefined ? null : smallLinear(linearOf(options.clean));
  if (linear.length === 0 && clean === null) throw new PlatewrightError('PW-PEEL-NO-FRAMES', 'a screen model needs at least one frame', { kind: 'internal' });
  return buildScreenModel(linear, clean, options.screen);
}

/** A display-coded R'G'B' picture with the curve it is coded in, for takes that do not come straight from a file. */
export interface CodedFrame {
  readonly coded: Picture;
  readonly colour: Pick<ColourTags, 'transfer'> & Partial<Pick<ColourTags, 'primaries'>>;
}

/** Matte and colour of one frame. @throws `PW-PEEL-SIZE` where the frame has another size than the model. */
export function peelFrame(model: ScreenModel, frame: VideoFrame | CodedFrame, options: PeelOptions = {}): Peeled {
  const linear = linearOf(frame);
  const { width: w, height: h } = linear;
  const small = smallLinear(linear);
  if (small.width !== model.width || small.height !== model.height) {
    throw new PlatewrightError('PW-PEEL-SIZE', `the screen was modelled on frames of another size than this one (${w} × ${h})`, { kind: 'internal' });
  }
  const field = screenOfFrame(model, small);
  const analysis = analyseFrame(small, field, { ...TUNING, ...(options.quality === 'fast' ? FAST : {}), ...options.tuning });
  const alpha = createPicture(w, h, 1);
  const colour = createPicture(w, h, 3);
  matteOfFrame(linear, analysis, alpha.data);
  if (options.dropEdges === true) dropEdgeParts(alpha.data, w, h, small.block);
  const keep = options.keep === undefined || options.keep.length === 0 ? null : coverage(options.keep, w, h);
  if (keep !== null) for (let i = 0; i < alpha.data.length; i += 1) alpha.data[i] = Math.max(alpha.data[i]!, keep[i]!);
  if (options.garbage !== undefined && options.garbage.length > 0) {
    const inside = coverage(options.garbage, w, h);
    for (let i = 0; i < alpha.data.length; i += 1) alpha.data[i] = alpha.data[i]! * inside[i]!;
  }
  performerColour(linear, analysis, alpha.data, options.spill ?? 1, keep, colour);
  const primaries = frame.colour.primaries ?? 'bt709';
  if (primaries !== 'bt709') matrixPlanes(rgbToRgb(rgbPrimaries(primaries), PRIMARIES.bt709), plane(colour, 0), plane(colour, 1), plane(colour, 2));
  return { alpha, colour };
}

/** Scene-linear RGB of a frame, in the file's own primaries. */
function linearOf(frame: VideoFrame | CodedFrame): Picture {
  const coded = 'coded' in frame ? frame.coded : codedRgb(frame);
  const out = 'coded' in frame ? createPicture(coded.width, coded.height, 3) : coded;
  const n = coded.width * coded.height;
  linearise(coded.data.subarray(0, 3 * n), out.data, frame.colour.transfer);
  return out;
}

function coverage(polygons: readonly (readonly Point[])[], w: number, h: number): Float32Array {
  const out = new Float32Array(w * h);
  for (const polygon of polygons) {
    const one = rasterizePolygon(polygon, w, h);
    for (let i = 0; i < out.length; i += 1) out[i] = Math.max(out[i]!, one[i]!);
  }
  return out;
}

/** View of the three colour planes, for callers that write them apart. */
export function colourPlanes(peeled: Peeled): readonly [Float32Array, Float32Array, Float32Array] {
  return [plane(peeled.colour, 0), plane(peeled.colour, 1), plane(peeled.colour, 2)];
}
