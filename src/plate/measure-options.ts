/** What measuring a plate is told beside its marks, and how it says how far it is. */
import type { FileLens } from '../media/types.js';

export interface MeasureOptions {
  /** Use upright edges found in the picture beside the marks. Default true. */
  readonly lines?: boolean;
  /** Look for the camera's own move (a pan gives the focal length). Default true. */
  readonly camera?: boolean;
  /** The lens by the metadata of the film that the plate was taken from, where the plate's own file has none. */
  readonly fileLens?: FileLens;
}

export interface PlateOptions extends MeasureOptions {
  /** Frames of the plate; default the whole file. */
  readonly span?: { readonly in: number; readonly out: number };
  readonly onProgress?: (done: number, total: number) => void;
  readonly signal?: AbortSignal;
  /** Follow the carried region; a verdict does not need it. Default true. */
  readonly ride?: boolean;
  /** Solve the way of a camera that travels; a verdict does not need it. Default true. */
  readonly travel?: boolean;
}
