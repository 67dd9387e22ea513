/** How a take is measured: how closely, and what is known of it from elsewhere. */
import type { Light, View } from '../plate/types.js';

export interface TakeOptions {
  /** Frames looked at closely. Default 32. */
  readonly samples?: number;
  readonly onProgress?: (done: number, total: number) => void;
  /** A view of the take known from elsewhere (the card). Replaces the one from marks. */
  readonly view?: View;
  /**
   * The performer's height in metres as the plate's marks or the production tell it;
   * used where the take has no length of its own.
   */
  readonly performerHeightM?: number;
  /** A light known from elsewhere (the card's peg or ball). */
  readonly light?: Light;
  /**
   * Follow the take's own camera too (a second pass over all frames): what a join
   * needs, a verdict does not. Default false.
   */
  readonly camera?: boolean;
  /**
   * Measure how fur and cloth stir (a second pass over three seconds at most): where
   * the plate asks for it. Default false.
   */
  readonly stir?: boolean;
  /** Look for the floor card where no mark settles the view. Default true. */
  readonly card?: boolean;
}
