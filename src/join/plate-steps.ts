/** The steps of a recipe that change the plate itself: what goes from it, and what is added round it. */
import type { StepBase } from './types.js';
import type { RegionFile } from '../plate/marks/marks.js';

/** What is to go from the plate. Lengths in plate pixels. */
export interface EraseStep extends StepBase<'erase'> {
  readonly region: RegionFile;
  readonly growPx: number;
  readonly shadowToo: boolean;
  /** Further things to go, each with its own polygons over time. */
  readonly also?: readonly RegionFile[];
  /** Their shadows, where no frame shows the ground lit: relit. */
  readonly shadows?: readonly RegionFile[];
  /** Where the measured key throws their shadows on the ground: one that no frame shows lit is looked for there. */
  readonly cast?: readonly RegionFile[];
  /** Things marked as standing for themselves: never copied into what no frame shows. */
  readonly apart?: readonly RegionFile[];
  /** Share of what goes that no frame shows, by the measure of room: made up. Left out where that is none, or unknown. */
  readonly madeUp?: number;
}
/**
 * Plate pixels added on each side; the canvas is then scaled back to the plate's size (reframe.ts). All other steps
 * keep the plate's own pixels.
 */
export interface WidenStep extends StepBase<'widen'> {
  readonly left: number;
  readonly right: number;
  readonly top: number;
  readonly bottom: number;
}
