/** What an inspection read of a shot, frame by frame, before it is judged. */
import type { Box } from '../../join/ground/ground.js';
import type { CutReading } from '../edge/front-cut.js';
import type { CastReading } from '../light/cast.js';
import type { Remains } from '../remains/remains.js';
import type { OutsideFault } from './outside.js';
import type { SeeThrough } from '../edge/see-through.js';
import type { InspectionMatterName } from '../types.js';

/** `box`: where on the frame it is worst, x0, y0 inclusive, x1, y1 exclusive; the performer's where not told, but for matters of the plate. */
export interface Reading {
  readonly frame: number;
  readonly value: number;
  readonly box?: Box;
}
/** A shift on a frame, px of the plate. */
export interface Place {
  readonly frame: number;
  readonly x: number;
  readonly y: number;
}

/** Readings beside the matters' own values, which decide with them or say how much to change. */
type Beside =
  | 'takeBlur'
  | 'explained'
  | 'shadowStops'
  | 'shadowTurn'
  | 'roughGrain'
  | 'grainOutside'
  | 'roughOutside'
  | 'seenChatter'
  | 'wholeChatter'
  | 'lightUnlike'
  | 'blackLinear'
  | 'whiteStops'
  | 'whiteRoom'
  | 'lightRed'
  | 'lightBlue'
  | 'veil'
  | 'grainBeside'
  | 'saturation'
  | 'shade'
  | 'shadeAsked'
  | 'rimLight'
  | 'holesAlone'
  | 'spillBeside'
  | 'rimBeside'
  | 'beyondBeside'
  | 'coverBeside'
  | 'shadowTint'
  | 'softAlong'
  | 'softAcross'
  | 'softDeg'
  | 'grainAsked'
  | 'grainEncoder'
  | 'grainSlope'
  | 'grainSlopeSd'
  | 'takeBlack'
  | 'takeWhite'
  | 'whiteFull'
  | 'takeThrough'
  | 'through'
  | 'holes'
  | 'rim'
  | 'thrownBack'
  | 'mirrored'
  | 'mirroredX'
  | 'mirroredY'
  | 'mirroredSharper'
  | 'outsidePart'
  | 'combInside'
  | 'haloRim'
  | 'haloBeyond'
  | 'haloAsked'
  | 'nearer'
  | 'spillSet';

/** Keeps a reading of a frame; nothing where it is null or no number. */
export type Put = (matter: InspectionMatterName | Beside, frame: number, value: number | null, box?: Box) => void;

export interface Series {
  first: number;
  /** Of all frames together, once they are read. */
  through: SeeThrough | null;
  /** What an erase left, of all frames together; null where nothing was erased or too little tells. */
  remains: Remains | null;
  readonly frames: number[];
  /** The performer's box on each frame where it is seen. */
  readonly boxes: Map<number, Box>;
  readonly readings: { [K in InspectionMatterName | Beside]?: Reading[] };
  readonly change: { frame: number; inside: number | null; outside: number; plate: number }[];
  /** Take frames per plate frame, planned. */
  readonly planned: number[];
  readonly slipPlan: Place[];
  /** Out and back beside the plan; `plain`: without the plan taken off. */
  readonly jitter: (Place & { readonly plain: readonly [number, number] })[];
  readonly shift: (Place & { readonly core: number })[];
  /** Whether the plate's ground could be followed to each frame. */
  readonly followed: boolean[];
  /** Shift against the recipe rendered again. */
  readonly against: Place[];
  /** How far the plate's picture moves a frame, px, where that was looked at. */
  readonly steps: number[];
  /**
   * Where the plate moves: how much of it fits the plate's frame before the join's own number better, and the join's
   * frame before the plate's of this number.
   */
  readonly inStep: { readonly frame: number; readonly before: number; readonly after: number }[];
  /** What of the plate beside the performer was changed in a known way, on the frames looked at closely. */
  readonly outsideFaults: { readonly fault: OutsideFault; readonly stops: number }[];
  /** Brightness of performer and plate, stops, and how much of the performer is seen (coreSeen), px. */
  readonly levels: {
    readonly frame: number;
    readonly inside: number;
    readonly plate: number;
    readonly core: number;
  }[];
  /**
   * Light of the plate beside its first frame, told along a camera that moves as well, and of the performer's darker
   * half; stops.
   */
  readonly filmLight: { readonly frame: number; readonly plate: number; readonly inside: number }[];
  /** Colours of performer and plate, and factors that would make the performer's usual. */
  readonly casts: CastReading[];
  /** What the plate says where things that pass cut the performer. */
  readonly cuts: CutReading[];
  /** Where the light seems to come from in the picture, and the key's own direction. */
  readonly sides: { readonly from: readonly [number, number]; readonly key: readonly [number, number] }[];
}

/** A series of which nothing was read yet. */
export function emptySeries(first: number): Series {
  return {
    first,
    through: null,
    remains: null,
    frames: [],
    boxes: new Map(),
    readings: {},
    change: [],
    planned: [],
    slipPlan: [],
    jitter: [],
    shift: [],
    against: [],
    followed: [],
    steps: [],
    inStep: [],
    outsideFaults: [],
    levels: [],
    filmLight: [],
    casts: [],
    sides: [],
    cuts: [],
  };
}

/** Keeps what is put into a series' readings. */
export function putInto(series: Series): Put {
  return (matter, frame, value, box) => {
    if (value === null || !Number.isFinite(value)) return;
    (series.readings[matter] ??= []).push({ frame, value, ...(box === undefined ? {} : { box }) });
  };
}

/** Adds what was read apart, of other matters: lists go behind what is there. */
export function addSeries(to: Series, from: Series): void {
  to.through ??= from.through;
  Object.assign(to.readings, from.readings);
  to.change.push(...from.change);
  to.slipPlan.push(...from.slipPlan);
  to.jitter.push(...from.jitter);
  to.followed.push(...from.followed);
  to.steps.push(...from.steps);
  to.inStep.push(...from.inStep);
  to.outsideFaults.push(...from.outsideFaults);
  to.casts.push(...from.casts);
  to.cuts.push(...from.cuts);
  to.sides.push(...from.sides);
}
