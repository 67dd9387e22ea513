/**
 * What is measured on one take: the counterparts of a plate's measures, and what only a
 * take has (screen, spill, frame edges).
 */
import type { Measure } from '../core/measure.js';
import type { Pose } from '../plate/turn/turn-poses.js';
import type { CameraMove, Light, Stir, Turn, View } from '../plate/types.js';
import type { SubjectView } from '../plate/view/view-derived.js';
import type { Repeats } from '../film/repeated-frames.js';
import type { ScreenColour } from './screen/screen.js';

export interface TakeFrame {
  readonly frame: number;
  /** Performer's box in pixels of the take, or null where none was found. */
  readonly box: { readonly x0: number; readonly y0: number; readonly x1: number; readonly y1: number } | null;
  readonly touches: readonly ('left' | 'right' | 'top' | 'bottom')[];
  /** Share of the ring round the performer that is not screen, 0..1. */
  readonly offScreen: number;
  /** Edge σ in pixels where it was read. */
  readonly sigmaPx: number | null;
}

/** All that is measured of a take, as it is kept and judged; sizes and places in take pixels. */
export interface TakeMeasures {
  readonly file: string;
  readonly rate: string;
  readonly frameCount: number;
  readonly widthPx: number;
  readonly heightPx: number;
  /** How the performer is told from what is behind it. */
  readonly behind:
    | { readonly kind: 'screen'; readonly colour: ScreenColour; readonly share: number }
    | { readonly kind: 'alpha' | 'outline' | 'difference' | 'none' };
  readonly frames: readonly TakeFrame[];
  /** Performer at the marks' frame: marked, or found on the screen. */
  readonly performer: {
    readonly ground: readonly [number, number];
    readonly top: readonly [number, number];
    readonly heightM: number | null;
    readonly marked: boolean;
  } | null;
  /** Performer's height in the picture, px: at the marks' frame. */
  readonly performerHeightPx: Measure;
  readonly view: View | null;
  readonly subject: SubjectView | null;
  /** True where the metres of view and subject are performer heights, as nothing on the take has a known length. */
  readonly inHeights?: boolean;
  readonly light: Light;
  readonly turn: Turn | null;
  /** The poses that the turn rests on, where it rests on poses alone. */
  readonly poses?: readonly Pose[];
  /** The take's own camera; absent where it was not asked for or could not be followed. */
  readonly camera?: CameraMove;
  /** The take's own stir, where it was asked for; `marked`: on a marked part, not over the whole performer. */
  readonly stir?: { readonly stir: Stir; readonly marked: boolean };
  /** Frames that are damaged or lost in the file, rising; absent where there are none. */
  readonly damaged?: readonly number[];
  /** Frames that only repeat the one before, where a file of constant rate has such. */
  readonly repeats?: Repeats;
  readonly evennessStops: Measure;
  readonly screenNoise: Measure;
  readonly screenClipped: Measure;
  readonly spill: Measure;
  /** Share of the performer's pixels at the top of the range. */
  readonly clipped: Measure;
  /** Edge σ of the sharpest places of the performer, px, median over the sampled frames. */
  readonly sharpness: Measure;
  /** Blur that motion adds over the sharpest frames: 90th percentile, as a full length in px. */
  readonly motionBlur: Measure;
  readonly eyelineDeg: Measure;
  readonly notes: readonly string[];
}
