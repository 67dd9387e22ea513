/**
 * What one frame of a take says before any matte is made: where surely screen is, where surely performer, and the local
 * unmixing model between. All of it on the small picture (`smallLinear`).
 *
 * The performer's clouds come from pixels deep inside (far from any screen pixel); shallower ones join where the model
 * itself calls them solid, and the clouds are estimated anew: expectation and maximisation in turn (Dempster, Laird and
 * Rubin 1977), started from geometry and not from a colour guess, because spill greens exactly the rim where seeds are
 * scarce.
 */
import { kernels } from '../../image/kernels.js';
import { cellMoments, unmixingModel, type CellGrid, type Moments } from './local-unmix.js';
import { chamferPair } from './chamfer-distance.js';
import { columnTaps, resampleCellsPlain, type ColumnTaps } from './resample-cells.js';
import type { ScreenField } from './screen-field.js';
import { blockMeans, type SmallLinear } from './small-linear.js';
import { ownFloats, type Floats } from './work-space.js';

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
  /** 1 where screen is, whether its colour tells or not. */
  readonly screen: Uint8Array;
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

/**
 * Reads one frame.
 * @param small the take, small, scene-linear
 * @param field its screen: colour and where it is sure
 */
export function analyseFrame(
  small: SmallLinear,
  field: ScreenField,
  tuning: Tuning = TUNING,
  floats: Floats = ownFloats,
): FrameAnalysis {
  const { width: w, height: h, data } = small;
  const { cell, prior, share } = tuning;
  const n = w * h;
  const fromScreen = floats(n);
  const fromPerformer = floats(n);
  const screen = screenOf(field, w, h, floats);
  chamferPair(screen, w, h, fromScreen, fromPerformer);
  // Where nothing lies deep (a thin or far performer), half of the greatest depth has to do.
  const deep = Math.max(1.01, Math.min(tuning.deep, 0.5 * deepest(fromScreen)));
  const difference = floats(3 * n);
  const weightF = floats(n);
  const weightB = floats(n);
  const onScreen = floats(n);
  seeds(data, field.colour, field.sure, fromScreen, w, h, deep, difference, onScreen, weightF);
  const matte = floats(n);
  const grid: CellGrid = { width: Math.ceil(w / cell), height: Math.ceil(h / cell) };
  const cells = grid.width * grid.height;
  const ofPerformer = (): Moments | null => cellMoments(data, weightF, w, h, cell, prior, 9, floats);
  const ofScreen = (weight: Float32Array): Moments | null =>
    cellMoments(difference, weight, w, h, cell, 4 * prior, 9, floats);
  let performer = ofPerformer();
  let residual = ofScreen(onScreen);
  const weights = floats(3 * cells);
  const found = { small, field, screen, fromScreen, fromPerformer, grid, cell, weights, matte };
  if (performer === null || residual === null) {
    const none = (): Float32Array => new Float32Array(9 * cells);
    return { ...found, performer: none(), residual: none(), occupied: false };
  }
  const noise = 1e-5 + field.noise;
  const screenMean = floats(3 * cells);
  blockMeans(field.colour, w, h, cell, screenMean);
  const taps = columnTaps(w, cell, grid.width, floats);
  for (let turn = 0; turn < tuning.turns; turn += 1) {
    unmixingModel(performer.moments, screenMean, residual.moments, cells, noise, share, weights);
    matteTurn(
      weights,
      grid,
      cell,
      w,
      h,
      taps,
      difference,
      fromScreen,
      onScreen,
      deep,
      tuning.from,
      matte,
      weightF,
      weightB,
    );
    performer = ofPerformer() ?? performer;
    residual = ofScreen(weightB) ?? residual;
  }
  unmixingModel(performer.moments, screenMean, residual.moments, cells, noise, share, weights);
  return { ...found, performer: performer.moments, residual: residual.moments, occupied: true };
}

/** The sure pixels and the tinged ones together, by the kernel. */
function screenOf({ sure, tinged }: ScreenField, w: number, h: number, floats: Floats): Uint8Array {
  if (tinged === undefined) return sure;
  const room = floats((w * h + 3) >> 2);
  const screen = new Uint8Array(room.buffer, room.byteOffset, w * h);
  const door = kernels();
  const scope = door.scope();
  try {
    door.run('eitherMask', [scope.input(sure), scope.input(tinged), scope.changed(screen), w], h, w);
    scope.finish();
  } finally {
    scope.close();
  }
  return screen;
}

function deepest(depth: Float32Array): number {
  let most = 0;
  for (let i = 0; i < depth.length; i += 1) if (depth[i]! > most) most = depth[i]!;
  return most;
}

/** Where the clouds start, by the kernel: I − B, and what each pixel counts for the screen's and the performer's. */
export function seeds(
  data: Float32Array,
  back: Float32Array,
  sure: Uint8Array,
  fromScreen: Float32Array,
  w: number,
  h: number,
  deep: number,
  difference: Float32Array,
  onScreen: Float32Array,
  weightF: Float32Array,
): void {
  const door = kernels();
  const scope = door.scope();
  try {
    door.run(
      'peelSeeds',
      [
        scope.input(data),
        scope.input(back),
        scope.input(sure),
        scope.input(fromScreen),
        w,
        h,
        deep,
        scope.output(difference),
        scope.output(onScreen),
        scope.output(weightF),
      ],
      h,
      w * 6,
    );
    scope.finish();
  } finally {
    scope.close();
  }
}

/** Plain twin of the kernel. */
export function seedsPlain(
  data: Float32Array,
  back: Float32Array,
  sure: Uint8Array,
  fromScreen: Float32Array,
  w: number,
  h: number,
  deep: number,
  difference: Float32Array,
  onScreen: Float32Array,
  weightF: Float32Array,
): void {
  const n = w * h;
  for (let i = 0; i < 3 * n; i += 1) difference[i] = data[i]! - back[i]!;
  for (let i = 0; i < n; i += 1) {
    onScreen[i] = sure[i]!;
    const d = fromScreen[i]!;
    weightF[i] = d >= deep ? 1 : d > 1.5 && screenness(data, back, n, i) < 0.1 ? 0.3 : 0;
  }
}

/** The small matte from the model, and from it how much each pixel counts for the two clouds, by the kernel. */
export function matteTurn(
  weights: Float32Array,
  grid: CellGrid,
  cell: number,
  w: number,
  h: number,
  taps: ColumnTaps,
  difference: Float32Array,
  fromScreen: Float32Array,
  onScreen: Float32Array,
  deep: number,
  from: number,
  matte: Float32Array,
  weightF: Float32Array,
  weightB: Float32Array,
): void {
  const door = kernels();
  const scope = door.scope();
  try {
    door.run(
      'matteTurn',
      [
        scope.input(weights),
        grid.width,
        grid.height,
        cell,
        w,
        h,
        scope.input(taps.first),
        scope.input(taps.share),
        scope.input(difference),
        scope.input(fromScreen),
        scope.input(onScreen),
        deep,
        from,
        scope.output(matte),
        scope.output(weightF),
        scope.output(weightB),
      ],
      h,
      w * 8,
      12 * (grid.width + 8) + 64,
    );
    scope.finish();
  } finally {
    scope.close();
  }
}

/** Plain twin of the kernel. */
export function matteTurnPlain(
  weights: Float32Array,
  grid: CellGrid,
  cell: number,
  w: number,
  h: number,
  difference: Float32Array,
  fromScreen: Float32Array,
  onScreen: Float32Array,
  deep: number,
  from: number,
  matte: Float32Array,
  weightF: Float32Array,
  weightB: Float32Array,
): void {
  const n = w * h;
  const k = resampleCellsPlain(weights, grid, cell, w, h, 3);
  for (let i = 0; i < n; i += 1) {
    const a = k[i]! * difference[i]! + k[n + i]! * difference[n + i]! + k[2 * n + i]! * difference[2 * n + i]!;
    matte[i] = a;
    weightF[i] = fromScreen[i]! >= deep ? 1 : fromScreen[i]! > 1 ? smoothStep(from, 1, a) : 0;
    weightB[i] = onScreen[i]! * (1 - smoothStep(0.15, 0.4, a));
  }
}

/**
 * Share of screen colour by colour difference: chroma along the screen's own hue less the chroma across it, 1 on the
 * screen.
 */
function screenness(data: Float32Array, screen: Float32Array, n: number, i: number): number {
  const r = data[i]!;
  const g = data[n + i]!;
  const b = data[2 * n + i]!;
  const sr = screen[i]!;
  const sg = screen[n + i]!;
  const sb = screen[2 * n + i]!;
  const su = sr - 0.5 * (sg + sb);
  const sv = 0.8660254 * (sg - sb);
  const u = r - 0.5 * (g + b);
  const v = 0.8660254 * (g - b);
  const power = su * su + sv * sv;
  return (u * su + v * sv - 0.577 * Math.abs(v * su - u * sv)) / Math.max(power, 1e-9);
}

function smoothStep(a: number, b: number, x: number): number {
  const t = Math.min(1, Math.max(0, (x - a) / (b - a)));
  return t * t * (3 - 2 * t);
}
