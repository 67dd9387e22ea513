/**
 * The recipe of a join: an ordered list of steps, each with few parameters, proposed whole from the measures and open
 * to change by hand. Steps run in the order of `STEP_ORDER`. Every step can be switched off and seen alone.
 */
import type { LightOverShot } from '../plate/light/light-over-shot.js';
import type { RegionFile } from '../plate/marks/marks.js';
import type { GrainRow, Mat3 } from '../plate/types.js';
import type { BodyDepth, FurtherKey, GroundFrame, OnPerformer, ShadowReceiver } from './ground/types.js';
import type { EraseStep, WidenStep } from './plate-steps.js';
import type { PeelStep, PatchStep, PaceStep, SteadyStep } from './performer-steps.js';

/** The steps of a recipe. */
export type StepName =
  | 'erase'
  | 'widen'
  | 'peel'
  | 'patch'
  | 'pace'
  | 'steady'
  | 'ride'
  | 'light'
  | 'ground'
  | 'front'
  | 'air';
/** All steps, in the order in which they run. */
export const STEP_ORDER: readonly StepName[] = [
  'erase',
  'widen',
  'peel',
  'patch',
  'pace',
  'steady',
  'ride',
  'light',
  'ground',
  'front',
  'air',
];

export interface StepBase<N extends StepName> {
  readonly step: N;
  readonly on: boolean;
  /** Why the program proposed it, in a sentence. */
  readonly why: string;
}
/**
 * Sway given to a performer that would look dead: amplitude in take pixels, direction in the picture (0 to the right,
 * 90 down), rate.
 */
export interface GivenStir {
  readonly amplitudePx: number;
  readonly directionDeg: number;
  readonly rateHz: number;
  readonly seed: number;
}
/**
 * Take pixels → plate pixels, one matrix a plate frame of the span (perspective allowed). `motionBlur`: shutter angle
 * in degrees over which the ridden motion is smeared (0 = none, 180 = half a frame's motion). `mirror` shows the take
 * left for right about its `upright` (its ground and top in take pixels); placements and keys are written as for the
 * take unmirrored, so that it can be switched alone.
 */
export interface RideStep extends StepBase<'ride'> {
  readonly placement: readonly { readonly frame: number; readonly matrix: Mat3 }[];
  readonly mirror: boolean;
  readonly motionBlur: number;
  /**
   * A take of several pictures, each at its own depth with its own placements, from far to near; `placement` is then
   * the nearest one's.
   */
  readonly layers?: readonly RideLayer[];
  readonly upright?: { readonly ground: readonly [number, number]; readonly top: readonly [number, number] };
  readonly stir?: GivenStir;
  /** Mend of the camera's elevation: the take's foot and top, and how far down each camera looks at the performer. */
  readonly view?: {
    readonly foot: readonly [number, number];
    readonly top: readonly [number, number];
    readonly takeElevationDeg: number;
    readonly plateElevationDeg: number;
    readonly takeFocalPx: number;
    readonly plateFocalPx: number;
    /** The performer stands on the floor in take and plate alike: what shows below the foot is nearer, not deeper. */
    readonly floor: boolean;
    /**
     * Where the plate's camera travels, how it sees the performer on each frame, in place of `plateElevationDeg`: how
     * far down, and how far round to the right of the shot's mean, degrees.
     */
    readonly overShot?: readonly { readonly frame: number; readonly elevationDeg: number; readonly turnDeg: number }[];
  };
}
/**
 * One picture of a layered take. `distance`: along the line of sight at the frame it was placed on, null where the
 * camera's move shows no depth.
 */
export interface RideLayer {
  readonly picture: number;
  readonly distance: number | null;
  readonly placement: RideStep['placement'];
}
/** The performer's colour and light brought to the plate's. */
export interface LightStep extends StepBase<'light'> {
  /** ASC CDL in scene-linear: out = (in × slope + offset)^power, and saturation. */
  readonly slope: readonly [number, number, number];
  readonly offset: readonly [number, number, number];
  readonly power: readonly [number, number, number];
  readonly saturation: number;
  /**
   * A toned film's colour by brightness, laid on after the CDL: linear R, G, B over their luminance at 17 even steps of
   * BT.709-coded luminance. Absent where the film has colours, or none at all.
   */
  readonly tones?: readonly (readonly [number, number, number])[];
  /** Gentle relight: change of key azimuth and elevation asked for, degrees. */
  readonly relight?: {
    readonly azimuthDeg: number;
    readonly elevationDeg: number;
    readonly strength: number;
    /**
     * The key of the take and of the plate as unit vectors towards the light, camera frame (x right, y down, z
     * forward).
     */
    readonly fromCamera: readonly [number, number, number];
    readonly toCamera: readonly [number, number, number];
    /**
     * Share of the full light that is fill, 0..1 per channel, in the take and in the plate: skylight fills bluer than
     * the key.
     */
    readonly fromFill: readonly [number, number, number];
    readonly toFill: readonly [number, number, number];
  };
  /** The film's own light over the shot (a fade, a flash): the performer goes along. */
  readonly overShot?: LightOverShot;
}
/** Shadow, contact and reflection on the plate's ground. Angles in degrees, relative to the camera's heading. */
export interface GroundStep extends StepBase<'ground'> {
  /** Is a cast shadow laid, and the dark line where the performer touches the ground? */
  readonly shadow: boolean;
  readonly contact: boolean;
  readonly azimuthDeg: number;
  /**
   * The azimuth that was proposed, and that the frames' own go with: what a person changes in `azimuthDeg` turns the
   * key in all of them.
   */
  readonly proposedAzimuthDeg?: number;
  readonly elevationDeg: number;
  /** Transmission of key-lit ground inside the full shadow, per channel (1 = no shadow). */
  readonly transmission: readonly [number, number, number];
  /**
   * Linear RGB of the plate's lit ground beside the shadow that told `transmission`; null where no shadow of the plate
   * did. Absent in recipes of before.
   */
  readonly measuredOn?: readonly [number, number, number] | null;
  readonly softnessDeg: number;
  /**
   * Sd of what the plate's lens and coding spread an edge by, plate px: the shadow's edges are as soft; none where its
   * sharpness was not measured.
   */
  readonly lensPx?: number;
  /**
   * How far the key's lamp stands from the performer's foot, in the frames' own metres, where it stands near; its
   * azimuth and elevation are those at the foot. Absent: its light is parallel.
   */
  readonly lampFar?: number;
  /** Further lamps that throw shadows. */
  readonly keys?: readonly FurtherKey[];
  readonly contactStrength: number;
  /** The caster's depth, where the take told it. */
  readonly body?: BodyDepth;
  /** The same on several frames of a take whose performer turns. */
  readonly bodies?: readonly BodyDepth[];
  readonly focalPx: number;
  /** Where the lens's axis meets the picture; its middle unless told. */
  readonly principal?: readonly [number, number];
  readonly frames: readonly GroundFrame[];
  /** What the shadow falls on: the ground, or the upright body that carries the performer (`region` then bounds it). */
  readonly receiver: 'ground' | 'carrier';
  readonly receiverRegion?: RegionFile;
  /** Sd of that region's border, plate px: it is a guess about a marked patch, so no shadow may end on it. */
  readonly receiverSoftPx?: number;
  /** The performer sits on the carrier: what takes its shadow there is level, as high as its foot. */
  readonly carrierTop?: true;
  /** Marked surfaces that the shadow falls on within their outlines; a later one lies before an earlier one. */
  readonly receivers?: readonly ShadowReceiver[];
  /** Outlines of thin things that stand on the plate's ground: the shadow falls on the ground behind them. */
  readonly standing?: readonly RegionFile[];
  /** Linear RGB of the plate's lit ground near the foot; where the plate is already in shadow no second one is laid. */
  readonly litLinear?: readonly [number, number, number];
  readonly litSpread?: number;
  /** Plate pixels over which the plate is smoothed before its own shadows are read. */
  readonly litRadiusPx?: number;
  /** Half the breadth of the window that fills the ground's dark joints and cracks, plate px, where it has such. */
  readonly litLinesPx?: number;
  /** The plate's own shadow on the performer. */
  readonly onPerformer?: OnPerformer;
  readonly reflection?: {
    readonly share: number;
    readonly roughness: number;
    readonly region?: RegionFile;
    /** Foot line of an upright mirror; absent where it lies level. */
    readonly base?: readonly {
      readonly frame: number;
      readonly line: readonly [readonly [number, number], readonly [number, number]];
    }[];
  };
}
/** What of the plate passes before the performer, and panes that it is seen through. */
export interface FrontStep extends StepBase<'front'> {
  readonly region: RegionFile | null;
  readonly pane: {
    readonly region: RegionFile | null;
    readonly veil: number;
    /**
     * What the pane adds (veil.ts), read from the plate; absent: the plate itself stands for it. `detail`: how much of
     * its scratches and drops stays over the performer.
     */
    readonly lightLinear?: readonly [number, number, number];
    readonly detailFloor?: number;
    readonly detailPx?: number;
    readonly detail?: number;
  } | null;
  /** Softness of the cut, sd in px: of the first thing, and of all where `alsoSoftPx` says no other. */
  readonly softPx: number;
  /** Softness of the further things. */
  readonly alsoSoftPx?: readonly number[];
  /** Degrees for which the shutter was open for what passes: its edges are smeared by its own motion. Absent: 0. */
  readonly shutterDeg?: number;
  /**
   * The thing (0: `region`, then `also`) that the performer is carried round, and how many px nearer than its middle
   * the performer's is on each frame from the `first` (front-passing.ts).
   */
  readonly passing?: { readonly thing: number; readonly first: number; readonly nearerPx: readonly number[] };
  /** Further things in front, each with its own polygons over time. */
  readonly also?: readonly RegionFile[];
  /** Box (x0, y0, x1, y1) in which the plate has picture: beyond it are black bars, which nothing is laid on. */
  readonly within?: readonly [number, number, number, number];
}
/** Softness, haze and grain of the plate given to the performer. */
export interface AirStep extends StepBase<'air'> {
  /** Gaussian sigma (px, plate scale) added to the performer to meet the plate's sharpness. */
  readonly softenPx: number;
  readonly haze: { readonly amount: number; readonly linear: readonly [number, number, number] };
  readonly wrap: number;
  /** Strength of the re-grown grain: 1 = as measured on the plate. */
  readonly grain: number;
  /** What was measured of the plate's grain, and of the take's own at the take's scale. */
  readonly plateGrain: GrainModel | null;
  readonly takeGrain: GrainModel | null;
  readonly seed: number;
}
/**
 * Grain in display-coded values: sd by level and channel, spatial autocorrelation at lags 0.., correlation between
 * channels.
 */
export interface GrainModel {
  readonly table: readonly GrainRow[];
  readonly autocorrelation: { readonly x: readonly number[]; readonly y: readonly number[] };
  readonly channelCorrelation: readonly [number, number, number];
}

/** One step, told apart by its field `step`. */
export type RecipeStep =
  | EraseStep
  | WidenStep
  | PeelStep
  | PatchStep
  | PaceStep
  | SteadyStep
  | RideStep
  | LightStep
  | GroundStep
  | FrontStep
  | AirStep;

/** How a take is joined into a plate: both files with the frames that are meant (`out` exclusive), and the steps. */
export interface Recipe {
  readonly version: 1;
  readonly plate: {
    readonly file: string;
    readonly in: number;
    readonly out: number;
    readonly rate: string;
    readonly widthPx: number;
    readonly heightPx: number;
    /** Frames on which the film only shows the picture before again: all that is laid on it holds there too. */
    readonly held?: readonly number[];
  };
  readonly take: {
    readonly file: string;
    readonly in: number;
    readonly out: number;
    readonly rate: string;
    readonly widthPx: number;
    readonly heightPx: number;
  };
  readonly steps: readonly RecipeStep[];
}
