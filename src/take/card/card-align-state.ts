/** What the direct alignment of the card is asked, what it answers, and what it holds at one set of parameters. */
import type { Mat3 } from '../../geometry/mat3.js';

/** A card to be laid onto a picture. */
export interface AlignProblem {
  /** Linear luma, height × width. */
  readonly luma: Float32Array;
  readonly width: number;
  readonly height: number;
  /** Parameters to start from, as `toPixel` reads them. */
  readonly start: ArrayLike<number>;
  /** Card millimetres → pixels at some parameters; null where they make no sense. */
  readonly toPixel: (p: Float64Array) => Mat3 | null;
  /** Step of each parameter for the differences: about what moves the card by a hundredth of a pixel to a tenth. */
  readonly steps: ArrayLike<number>;
  /** Start of the blur, pixels, standard deviation. */
  readonly sigmaPx: number;
  /** Known blur that was put on `luma` beside: no smaller blur is fitted. */
  readonly leastSigmaPx: number;
  readonly loss: 'huber' | 'tukey';
  readonly maxIterations: number;
  /** Weak knowledge of parameters: (p − mean) / sd joins the residuals. */
  readonly prior?: { readonly index: number; readonly mean: number; readonly sd: number };
}

/** The card as it lies in the picture. */
export interface Alignment {
  /** As found, and the blur (sd, px) that the picture has there. */
  readonly parameters: Float64Array;
  readonly toPixel: Mat3;
  readonly sigmaPx: number;
  /** Of the parameters (without the blur), from the fit's own scatter; row-major. Null where they are not held. */
  readonly covariance: Float64Array | null;
  /** Share of the picture's variance on and round the fiducials that the prediction explains, 0..1. */
  readonly explained: number;
  /** Linear luma of paper and of ink. */
  readonly paper: number;
  readonly ink: number;
  /** Robust scale of the residuals, linear luma. */
  readonly noise: number;
  /** Pixels compared. */
  readonly pixels: number;
  /** Correlation of picture and prediction on each fiducial, NaN where it is out of the picture. */
  readonly markerCorrelation: readonly number[];
  /** The same within its border, on the 4 × 4 cells that tell it from any other dark square. */
  readonly bitCorrelation: readonly number[];
}

/** Picture and prediction over the window of the card; planes are h × w. */
export interface State {
  readonly x0: number;
  readonly y0: number;
  readonly w: number;
  readonly h: number;
  /** Predicted linear luma, and the residual (NaN where not compared). */
  readonly model: Float32Array;
  readonly residual: Float32Array;
  /** What each pixel shows of the card, as `CardShares` (card-levels.ts). */
  readonly ink: Float32Array;
  readonly outside: Float32Array;
  readonly unknown: Float32Array;
  readonly quarter: Int8Array;
  readonly u: Float32Array;
  readonly v: Float32Array;
  readonly levels: Float64Array;
  readonly toPixel: Mat3;
  /** Pixels of the window that were compared. */
  readonly used: number;
}
