/**
 * What is measured on a plate (and, where a counterpart exists, on a take). These documents are the one set of numbers
 * that brief, verdict, join and inspection use. Conventions: pixels from the top left, degrees, camera frame x right, y
 * down, z forward; tilt negative looks down; pan positive to the right; roll positive clockwise as seen in the picture;
 * azimuth relative to the camera: 0 = light from behind the camera, positive = from camera right.
 */
import type { Bars } from './bars.js';
import type { Measure } from '../core/measure.js';
import type { LightOverShot } from './light/light-over-shot.js';
import type { Repeats } from '../film/repeated-frames.js';

/** A shadow on the ground from foot to tip (px) of what stands `height` high (the view's metres). */
export interface FoundShadow {
  readonly frame: number;
  readonly foot: readonly [number, number];
  readonly tip: readonly [number, number];
  readonly height: number;
}

/** A lamp that stands near, told by one marked shadow and by what lies dark at other uprights' feet. */
export interface FoundLamp {
  /** In the view's world (x right, y up, z away along the ground), metres. */
  readonly at: readonly [number, number, number];
  /** Its score over that of random places of the same ground. */
  readonly clear: number;
  /** Told by how the floor falls off; `clear` is then the share of its unevenness that the lamp explains. */
  readonly byFloor?: boolean;
  /** Feet of the uprights whose shadows were looked for, px. */
  readonly beside: readonly (readonly [number, number])[];
}

/** Row-major 3 × 3 matrix. */
export type Mat3 = readonly [number, number, number, number, number, number, number, number, number];
export type Quad = readonly [
  readonly [number, number],
  readonly [number, number],
  readonly [number, number],
  readonly [number, number],
];

/** 5.2 ride: a planar region followed. */
export interface RideTrack {
  readonly atFrame: number;
  readonly model: 'translation' | 'similarity' | 'affine' | 'perspective';
  /** The frame gone by in place of `atFrame`, on which the region is mostly hidden; absent where its own serves. */
  readonly reference?: number;
  readonly frames: readonly RideFrame[];
}
export interface RideFrame {
  readonly frame: number;
  /** Where the region's first four corners (or the corners of its bounding box) are. */
  readonly corners: Quad;
  /** Maps region coordinates of `atFrame` to this frame (pixels to pixels). */
  readonly homography: Mat3;
  /** 0..1: about the chance that the corners are within one pixel. */
  readonly confidence: number;
  readonly visible: boolean;
}

/** 5.2 camera move. */
export type MoveKind = 'static' | 'drift' | 'pan' | 'tilt' | 'roll' | 'push' | 'handheld' | 'mixed';
/** How the plate's camera moves; `focalPx` in pixels, frames in order. */
export interface CameraMove {
  readonly move: MoveKind;
  readonly focalPx: Measure;
  readonly distortionK1?: Measure;
  readonly frames: readonly CameraMoveFrame[];
  /** Where a rotation can't be had in degrees: the reason. */
  readonly reason?: string;
  /** Handheld shake: rms and dominant rate. */
  readonly shake?: { readonly rmsPx: number; readonly peakHz: number | null };
  /**
   * The homographies are the ground's about a performer's feet alone: what stands up goes by their turn and scale at
   * the feet.
   */
  readonly of?: 'ground';
}
/** One frame of the move; angles in degrees beside the first frame, null where they can't be told. */
export interface CameraMoveFrame {
  readonly frame: number;
  /** Maps pixels of this frame to pixels of the first frame. */
  readonly homographyToFirst: Mat3;
  readonly panDeg: number | null;
  readonly tiltDeg: number | null;
  readonly rollDeg: number | null;
  /** Share of matched set features that agree, 0..1. */
  readonly support: number;
}

/**
 * 5.2 travel: where a camera that comes nearer or goes aside stands on each frame, told from the ground
 * that it moves over. A point X of the camera of `atFrame` (x right, y down, z forward) is seen by
 * frame n's camera at `rotation` X + `translation`.
 */
export interface Travel {
  readonly atFrame: number;
  readonly unit: 'm' | 'camera heights';
  readonly focalPx: number;
  /** The ground in the camera of `atFrame`: unit normal pointing down, and the camera's height over it, in `unit`. */
  readonly groundNormal: readonly [number, number, number];
  readonly height: number;
  readonly frames: readonly TravelFrame[];
  /** Longest way from the camera of `atFrame`, and how sure it is (picture, view and height together). */
  readonly way: Measure;
  /** rms of what the solved camera leaves over at the ground's points, px. */
  readonly residualPx: number;
}
export interface TravelFrame {
  readonly frame: number;
  readonly rotation: Mat3;
  readonly translation: readonly [number, number, number];
  /** Share of the points sought on the ground that agree, 0..1. */
  readonly support: number;
}

/** 5.2 view: the camera as it looks at the ground plane at one frame. */
export interface View {
  readonly frame: number;
  readonly widthPx: number;
  readonly heightPx: number;
  readonly focalPx: Measure;
  readonly tiltDeg: Measure;
  readonly rollDeg: Measure;
  readonly cameraHeight: Measure;
  /** Covariance of (ln focalPx, tilt rad, roll rad, ln cameraHeight), row-major 4 × 4. */
  readonly covariance: readonly number[];
  /** Weighted residual rms of the marks in pixels; above 2 the marks disagree. */
  readonly residualPx: number;
  readonly notes: readonly string[];
}

/** 5.2 turn. */
export interface Turn {
  readonly frames: readonly { readonly frame: number; readonly yawDeg: number; readonly sd: number }[];
  readonly peakDegPerSecond: number;
  readonly startFrame: number | null;
  readonly stopFrame: number | null;
}

/** 5.2 stir. */
export interface Stir {
  readonly directionDeg: Measure;
  readonly amplitudePx: Measure;
  readonly shareOfHeight: Measure;
  readonly rateHz: Measure;
}

/** 5.2 light. */
export interface Light {
  readonly azimuthDeg: Measure;
  readonly elevationDeg: Measure;
  readonly keyFillStops: Measure;
  /** Penumbra: apparent angular diameter of the key. The sun is 0.53 degrees. */
  readonly softnessDeg: Measure;
  readonly temperatureK: Measure;
  readonly tintDuv: Measure;
  /**
   * Stops by which a perfect white that faces the key lies over (positive) or under 1 in the picture's linear light;
   * only a known white tells it (a take's floor card).
   */
  readonly exposureStops?: Measure;
  readonly overcast: boolean;
  readonly notes: readonly string[];
}

/** Grain of one channel at one brightness: sd of the coded value (0..1) at coded mean `level`. */
export interface GrainRow {
  readonly channel: 'r' | 'g' | 'b' | 'luma';
  readonly level: number;
  readonly sigma: number;
  readonly samples: number;
}

/** 5.2 look. Coded values are the file's display-encoded R'G'B' in 0..1. */
export interface Look {
  readonly blackCoded: readonly [number, number, number];
  readonly whiteCoded: readonly [number, number, number];
  /** Luma percentiles 1, 5, 25, 50, 75, 95, 99 of the coded picture. */
  readonly percentiles: readonly number[];
  readonly meanLinear: readonly [number, number, number];
  /** Up to six colours (coded R'G'B') with the share of the picture each holds. */
  readonly palette: readonly { readonly coded: readonly [number, number, number]; readonly share: number }[];
  readonly grain: {
    readonly table: readonly GrainRow[];
    /** Radius (px) at which the autocorrelation falls to half, luma; 0 for white noise. */
    readonly correlationPx: Measure;
    /** Normalised autocorrelation at lags 0..7, horizontal then vertical, luma. */
    readonly autocorrelation: { readonly x: readonly number[]; readonly y: readonly number[] };
    /** Correlation between channels r-g, r-b, g-b. */
    readonly channelCorrelation: readonly [number, number, number];
  };
  readonly edgeSpreadPx: Measure;
  readonly mtf50: Measure;
  /** Edge spread (px) of what is out of focus, where that is most of the picture; absent elsewhere. */
  readonly outOfFocusPx?: number;
  readonly motionBlur: { readonly lengthPx: Measure; readonly directionDeg: Measure; readonly shutterDeg: Measure };
  /** Airlight share at the far distance 0..1 and its coded colour. */
  readonly haze: { readonly amount: Measure; readonly coded: readonly [number, number, number] };
  /**
   * Black bars round the picture, px; absent where there are none. Everything else here is of the picture within them.
   */
  readonly bars?: Bars;
  /** A film without colours of its own; absent where it has them. */
  readonly toning?: FilmToning;
}

/** What colour a film without colours of its own has. */
export interface FilmToning {
  /** Its colours from dark to bright, coded R'G'B'; none where it is black and white. */
  readonly colours: readonly (readonly [number, number, number])[];
}

/** 5.2 room: where the performer may stand. */
export interface Room {
  readonly ground: Measure;
  readonly performerHeightPx: Measure;
  readonly metresPerPx: Measure;
  /** Share of the picture to be erased, and how much of that other frames supply. */
  readonly eraseShare: Measure;
  readonly suppliedShare: Measure;
  readonly widenPx: { readonly left: number; readonly right: number; readonly top: number; readonly bottom: number };
  readonly effort: { readonly minutes: number; readonly reasons: readonly string[] };
}

/** Everything measured on one plate. Absent = not yet measured. */
export interface PlateMeasures {
  readonly file: string;
  readonly span: { readonly in: number; readonly out: number };
  readonly rate: string;
  readonly widthPx: number;
  readonly heightPx: number;
  readonly camera?: CameraMove;
  readonly view?: View;
  readonly travel?: Travel;
  readonly ride?: RideTrack;
  /** The ground about the marked stand, followed through a shot whose camera travels. */
  readonly footing?: RideTrack;
  readonly turn?: Turn;
  readonly stir?: Stir;
  readonly light?: Light;
  /** Shadows that nobody marked, found at the feet of marked uprights: the light rests on them. */
  readonly foundShadows?: readonly FoundShadow[];
  /** A lamp near by that one marked shadow tells together with others that nobody marked. */
  readonly foundLamp?: FoundLamp;
  readonly look?: Look;
  readonly room?: Room;
  /** How the whole light changes over the shot; absent where it stays. */
  readonly lightOverShot?: LightOverShot;
  /** Frames on which the film only shows the picture before again; absent where there are none. */
  readonly repeats?: Repeats;
  /** Why a part is absent or less sure than it might be, in sentences. */
  readonly notes?: readonly string[];
}
