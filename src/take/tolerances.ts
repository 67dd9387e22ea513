/**
 * How far a take may stray: fits, mendable; beyond that shoot again. The program's own choice (common practice, no source),
 * to be changed in the book. Units stand beside each.
 */
export interface Tolerance { readonly fits: number; readonly mendable: number }

export interface Tolerances {
  /** Degrees. */
  readonly viewElevation: Tolerance;
  /** How much more (or less) the near end of the performer is magnified over the far end than the plate's distance would: a share. */
  readonly perspective: Tolerance;
  readonly lightAzimuth: Tolerance;
  readonly lightElevation: Tolerance;
  /** Stops. */
  readonly keyFill: Tolerance;
  /** Share by which the rate may differ, and the factor within which pacing can save it. */
  readonly turnRate: Tolerance;
  /** Factor by which stir may differ. */
  readonly stir: Tolerance;
  /** Take pixels a plate pixel, at least. */
  readonly size: Tolerance;
  /** Stops over the screen. */
  readonly screenEvenness: Tolerance;
  /** Share of brightness. */
  readonly spill: Tolerance;
  /** Share of the performer's pixels. */
  readonly clipping: Tolerance;
  /** Edge σ in plate pixels beyond what the plate needs. */
  readonly focus: Tolerance;
  /** Length of motion blur in plate pixels beyond the plate's own. */
  readonly blur: Tolerance;
  /** Share of the span's frames in which the performer is cut by the picture or leaves the screen. */
  readonly inFrame: Tolerance;
  /** Degrees. */
  readonly eyeline: Tolerance;
  /** Frames of the plate kept before and after: whole with them fits, whole without them is mendable. */
  readonly handleFrames: number;
}

export const DEFAULT_TOLERANCES: Tolerances = {
  viewElevation: { fits: 4, mendable: 8 },
  perspective: { fits: 0.25, mendable: 0.5 },
  lightAzimuth: { fits: 15, mendable: 30 },
  lightElevation: { fits: 10, mendable: 20 },
  keyFill: { fits: 0.5, mendable: 1.5 },
  turnRate: { fits: 0.05, mendable: 2 },
  stir: { fits: 1.4, mendable: 2.5 },
  size: { fits: 1, mendable: 0.6 },
  screenEvenness: { fits: 0.9, mendable: 1.8 },
  spill: { fits: 0.05, mendable: 0.2 },
  clipping: { fits: 0.015, mendable: 0.06 },
  focus: { fits: 0.3, mendable: 0.8 },
  blur: { fits: 2, mendable: 5 },
  inFrame: { fits: 0.02, mendable: 0.12 },
  eyeline: { fits: 12, mendable: 25 },
  handleFrames: 6,
};
