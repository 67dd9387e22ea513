/** What a scan of the film finds. */
export type ShotEntry = 'start' | 'cut' | 'dissolve' | 'fade';

/** One shot of a film, in its frames. */
export interface Shot {
  /** First frame, inclusive. For a gradual entry: the frame where the new shot outweighs the old. */
  readonly in: number;
  /** Exclusive. */
  readonly out: number;
  readonly entry: ShotEntry;
  /** Gradual entries: first and last frame of the change. */
  readonly over?: readonly [number, number];
}

/** The shots of a film, in order; `rate` as a fraction, in frames a second. */
export interface CutList {
  readonly rate: string;
  readonly frames: number;
  readonly shots: readonly Shot[];
  /** Frames that are damaged or lost in the file, rising; absent where there are none. */
  readonly damaged?: readonly number[];
  readonly letterbox?: { readonly top: number; readonly bottom: number; readonly left: number; readonly right: number };
}

/** What a person sees of a shot when skimming the film. */
export interface ShotSummary extends Shot {
  readonly index: number;
  /** Mean apparent motion in pixels a frame as a share of the width, and whether the camera moves. */
  readonly motion: number;
  readonly cameraMoves: boolean;
  /** Mean coded luma, 0..1. */
  readonly brightness: number;
  readonly palette: readonly { readonly coded: readonly [number, number, number]; readonly share: number }[];
  readonly thumbFrames: readonly [number, number, number];
  /** What using it would take, plain sentences, and an estimate of effort in minutes. */
  readonly takes: readonly string[];
  readonly effortMinutes: number;
}
