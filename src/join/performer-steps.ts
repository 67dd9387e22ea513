/**
 * The steps of a recipe that make the performer's pictures of a take: off its background, with another's part laid in,
 * which take frame when, and without the take's own shake.
 */
import type { StepBase } from './types.js';
import type { RegionFile } from '../plate/marks/marks.js';
import type { TakeStart } from './pace/take-start.js';

/** How the performer is taken off its background. Lengths in take pixels. */
export interface PeelStep extends StepBase<'peel'> {
  readonly method: 'screen' | 'outline' | 'difference' | 'alpha' | 'none';
  readonly screen: 'green' | 'blue';
  /** Hue of the screen as it was found, in scene-linear light: red 0, green 120, blue 240. */
  readonly screenHueDeg?: number;
  readonly quality: 'fast' | 'fine';
  /** Strength of spill removal 0..1. */
  readonly spill: number;
  /** Take pixels outside this polygon never belong to the performer. */
  readonly garbage?: RegionFile;
  /**
   * Parts of the matte that reach in from the picture's edge apart from the performer never belong to it
   * (edge-room.ts).
   */
  readonly dropEdges?: boolean;
  readonly outline?: RegionFile;
  /**
   * How far from the outline its edge may lie on either side, take pixels; a share of the picture's height unless told.
   */
  readonly softPx?: number;
  /**
   * Take frame, in the span or not, that shows the set without the performer: needed for the method `difference`, a
   * help for `screen`.
   */
  readonly cleanFrame?: number;
  /** Where screen-like colour belongs to the performer: one thing, followed over its frames. */
  readonly keep?: RegionFile;
  /** Further such things (a cat's other eye). */
  readonly alsoKeep?: readonly RegionFile[];
  /**
   * The take's own shadow on its screen is laid on the plate, in place of the ground step's cast shadow and contact.
   * Off unless set.
   */
  readonly keepShadow?: boolean;
}
/**
 * Laid onto the take before the peel, or (`onto: 'plate'`) onto the plate itself after erase and before widen, with the
 * plate at another time as the source (`source` is then empty). Pixels of the file on both sides: `source` is the file
 * of another take (or this one's); frame n gets the source's frame n + offsetFrames. With `onto: 'join'` a part of the
 * plate (as filmed) comes last, onto the joined picture: `targetRegion` is in take pixels and goes where the performer
 * goes.
 */
export interface PatchStep extends StepBase<'patch'> {
  readonly source: string;
  readonly sourceRegion: RegionFile;
  /** What of the source's region is the part itself, one outline a frame: a head without the set beside it. */
  readonly sourceShape?: RegionFile;
  /** The target's region is a head mark's: the double's own head is taken away under the other, down to its chin. */
  readonly hood?: boolean;
  readonly targetRegion: RegionFile;
  readonly offsetFrames: number;
  readonly onto?: 'take' | 'plate' | 'join';
}
/**
 * `curve`: plate frame → take frame (fractional), one entry a plate frame of the span. `held`: take frames that only
 * repeat the one before (a phone left one out in the dark); what they would show is drawn between their neighbours.
 */
export interface PaceStep extends StepBase<'pace'> {
  readonly curve: readonly number[];
  readonly method: 'nearest' | 'blend' | 'flow';
  readonly held?: readonly number[];
  /** Where a hand has the take begin and how fast it has it go: the next recipe is proposed so too. */
  readonly start?: TakeStart;
}
/** The take's own shake taken out: its similarity by take frame. */
export interface SteadyStep extends StepBase<'steady'> {
  readonly anchor: readonly {
    readonly frame: number;
    readonly x: number;
    readonly y: number;
    readonly angleDeg: number;
    readonly scale: number;
  }[];
}
