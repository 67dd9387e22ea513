/**
 * What one frame of a take says before any matte is made: where surely screen is, where surely performer, and the local
 * unmixing model between. All of it on the small picture (`smallLinear`).
 *
 * The performer's clouds come from pixels deep inside (far from any screen pixel); shallower ones join where the model
 * itself calls them solid, and the clouds are estimated anew: expectation and maximisation in turn (Dempster, Laird and
 * Rubin 1977), started from geometry and not from a colour guess, because spill greens exactly the rim where seeds are scarce.
 */
import { cellMoments, unmixingModel, type CellGrid } from './local-unmix.js';
import { chamferDistance } from './distance.js';
import { resampleCells } from './resample-cells.js';
import type { ScreenField } from './screen-field.js';
import type { SmallLinear } from './small-linear.js';

export interface Tuning {
  /** Small pixels a cell of the unmixing model. */
  readonly cell: number;
  /** Small pixels from the screen at which a pixel counts as deep inside. */
  readonly deep: number;
  /** Observations that the coarser level counts for. */
  readonly prior: number;
  /** Matte from which a shallow pixel begins to count as performer. */
  readonly from: number;
  readonly turns: number;
  readonly share: number;
}

/** Chosen on four practice subjects on screens of four grades; the figures change slowly around them. */
export const TUNING: Tuning = { cell: 2, deep: 10, prior: 8, from: 0.85, turns: 3, share: 1 / 3 };

export interface FrameAnalysis {
  readonly small: SmallLinear;
  readonly field: ScreenField;
  /** Small pixels to the nearest sure screen pixel. */
  readonly fromScreen: Float32Array;
  /** Small pixels to the nearest pixel that is not sure screen. */
  readonly fromPerformer: Float32Array;
  readonly grid: CellGrid;
  readonly cell: number;
  /** Weights of the unmixing model, 3 × grid. */
  readonly weights: Float32Array;
  /** Moments of the performer, 9 × grid. */
  readonly performer: Float32Array;
  /** Moments of I − B on the screen, 9 × grid. */
  readonly residual: Float32Array;
  /** Matte on the small picture. */
  readonly matte: Float32Array;
  /** False where the frame has no performer. */
  readonly occupied: boolean;
}

export function analyseFrame(small: SmallLinear, field: ScreenField, tuning: Tuning = TUNING): FrameAnalysis {
  const { width: w, height: h, data } = small;
  const n = w * h;
  const other = new Uint8Array(n);
  for (let i = 0; i < n; i += 1) other[i] = field.sure[i] === 1 ? 0 : 1;
  const fromScreen = chamferDistance(field.sure, w, h);
  const fromPerformer = chamferDistance(other, w, h);
  const difference = new Float32Array(3 * n);
  for (let i = 0; i < 3 * n; i += 1) difference[i] = data[i]! - field.colour[i]!;
  const weightF = new Float32Array(n);
  const weightB = new Float32Array(n);
  const screenness = screenAxis(field.colour, n);
  let deepest = 0;
  for (let i = 0; i < n; i += 1) {
    deepest = Math.max(deepest, Math.min(fromScreen[i]!, 1e5));
    weightB[i] = field.sure[i]!;
  }
  // Where nothing lies deep (a thin or far performer), half of the greatest depth has to do.
  const deep = Math.max(1.01, Math.min(tuning.deep, 0.5 * deepest));
  for (let i = 0; i < n; i += 1) {
    if (fromScreen[i]! >= deep) weightF[i] = 1;
    else if (fromScreen[i]! > 1.5 && screenness(data[i]!, data[n + i]!, data[2 * n + i]!, i) < 0.1) weightF[i] = 0.3;
  }
  const matte = new Float32Array(n);
  const cell = tuning.cell;
  const gw = Math.ceil(w / cell);
  const gh = Math.ceil(h / cell);
  const cells = gw * gh;
  const grid: CellGrid = { width: gw, height: gh };
  const screenMean = meanInCells(field.colour, w, h, cell, gw, gh);
  let performer = cellMoments(data, weightF, w, h, cell, tuning.prior);
  let residual = cellMoments(difference, weightB, w, h, cell, 4 * tuning.prior);
  const noise = 1e-5 + field.noise;
  const weights = new Float32Array(3 * cells);
  if (performer === null || residual === null) {
    return { small, field, fromScreen, fromPerformer, grid, cell, weights, performer: new Float32Array(9 * cells), residual: new Float32Array(9 * cells), matte, occupied: false };
  }
  const interpolated = new Float32Array(3 * n);
  for (let turn = 0; turn < tuning.turns; turn += 1) {
    unmixingModel(performer.moments, screenMean, residual.moments, cells, noise, tuning.share, weights);
    resampleCells(weights, grid, cell, w, h, 3, interpolated);
    for (let i = 0; i < n; i += 1) {
      const a = interpolated[i]! * difference[i]! + interpolated[n + i]! * difference[n + i]! + interpolated[2 * n + i]! * difference[2 * n + i]!;
      matte[i] = a;
      weightF[i] = fromScreen[i]! >= deep ? 1 : fromScreen[i]! > 1 ? smoothStep(tuning.from, 1, a) : 0;
      weightB[i] = field.sure[i]! * (1 - smoothStep(0.15, 0.4, a));
    }
    performer = cellMoments(data, weightF, w, h, cell, tuning.prior) ?? performer;
    residual = cellMoments(difference, weightB, w, h, cell, 4 * tuning.prior) ?? residual;
  }
  unmixingModel(performer.moments, screenMean, residual.moments, cells, noise, tuning.share, weights);
  return { small, field, fromScreen, fromPerformer, grid, cell, weights, performer: performer.moments, residual: residual.moments, matte, occupied: true };
}

/** Share of screen colour by colour difference: chroma along the screen's own hue less the chroma across it, 1 on the screen. */
function screenAxis(screen: Float32Array, n: number): (r: number, g: number, b: number, i: number) => number {
  return (r, g, b, i) => {
    const sr = screen[i]!;
    const sg = screen[n + i]!;
    const sb = screen[2 * n + i]!;
    const su = sr - 0.5 * (sg + sb);
    const sv = 0.8660254 * (sg - sb);
    const u = r - 0.5 * (g + b);
    const v = 0.8660254 * (g - b);
    const power = su * su + sv * sv;
    return (u * su + v * sv - 0.577 * Math.abs(v * su - u * sv)) / Math.max(power, 1e-9);
  };
}

function meanInCells(planes: Float32Array, w: number, h: number, cell: number, gw: number, gh: number): Float32Array {
  const out = new Float32Array(3 * gw * gh);
  for (let p = 0; p < 3; p += 1) {
    for (let y = 0; y < gh; y += 1) {
      for (let x = 0; x < gw; x += 1) {
        let sum = 0;
        let count = 0;
        for (let j = y * cell; j < Math.min((y + 1) * cell, h); j += 1) {
          for (let i = x * cell; i < Math.min((x + 1) * cell, w); i += 1) {
            sum += planes[p * w * h + j * w + i]!;
            count += 1;
          }
        }
        out[p * gw * gh + y * gw + x] = sum / count;
      }
    }
  }
  return out;
}

function smoothStep(a: number, b: number, x: number): number {
  const t = Math.min(1, Math.max(0, (x - a) / (b - a)));
  return t * t * (3 - 2 * t);
}
