/**
 * The view of a plate or a take: focal length, tilt, roll and camera height over the ground plane from marks, with the
 * covariance of (ln focal, tilt, roll, ln height) carried to every number derived from it (delta method).
 *
 * Maximum likelihood by Levenberg-Marquardt from several starts (view-problem.ts); covariance from the inverse of JᵀJ.
 * Marks that disagree with each other by more than their own noise are taken to be noisier (view-noise.ts). A number
 * is called prior-led where the typical lens, tilt or height decides more than the marks: were all those guesses three
 * times looser, its standard deviation would grow by half and more.
 */
import { RAD_PER_DEG } from '../../core/angles.js';
import { PlatewrightError } from '../../core/errors.js';
import { levenbergMarquardt, type LeastSquaresResult } from '../../geometry/levenberg-marquardt.js';
import { invertSymmetric } from '../../geometry/linear-solve.js';
import { invert, multiply, type Mat3 } from '../../geometry/mat3.js';
import type { FileLens } from '../../media/types.js';
import type { MarksFile } from '../marks/marks.js';
import type { CameraMove, View } from '../types.js';
import { doubtOfFileLens, focalKnown } from './known-focal.js';
import type { GroundLooks } from './ground-looks.js';
import { viewMeasures, type Theta } from './view-measures.js';
import { observationsFromMarks, type ViewObservation } from './view-observations.js';
import { solveWithinNoise, type WithinNoise } from './view-noise.js';
import { solveWithPlaces } from './view-places.js';
import { DEFAULT_PRIORS, viewProblem, type ViewPriors } from './view-problem.js';

export interface ViewOptions {
  readonly widthPx: number;
  readonly heightPx: number;
  /** The camera's move over the clip: brings marks of other frames, and a self-calibrated focal length. */
  readonly camera?: CameraMove | undefined;
  readonly priors?: Partial<ViewPriors>;
  /** The lens that the file itself tells: used where neither the marks file nor the camera's turning does. */
  readonly fileLens?: FileLens | undefined;
  /** Further observations beside the marks (lines found in the picture). */
  readonly extra?: readonly ViewObservation[];
  /** What the way of a travelling camera tells: brings marks of other frames, and what parallax says of the lens. */
  readonly looks?: GroundLooks | undefined;
  /** The view that the marks of its own frame told: where a solution with `looks` begins. */
  readonly from?: View | undefined;
  /** Standard deviation of a marked point in pixels; default by picture width. */
  readonly pointSdPx?: number;
  /** Extra relative sd of the focal length for a prior lens said in the marks file. Default 1 %. */
  readonly focalRelativeSd?: number;
}

/** Maps pixels of `frame` to pixels of `target` where the camera stands still or only turns; null where it travels. */
function rotationBetween(camera: CameraMove | undefined, target: number): (frame: number) => Mat3 | null {
  return (frame) => {
    if (frame === target) return [1, 0, 0, 0, 1, 0, 0, 0, 1];
    if (camera === undefined) return null;
    if (!['static', 'drift', 'pan', 'tilt', 'roll'].includes(camera.move)) return null;
    const a = camera.frames.find((f) => f.frame === frame);
    const b = camera.frames.find((f) => f.frame === target);
    if (a === undefined || b === undefined) return null;
    return multiply(invert(b.homographyToFirst), a.homographyToFirst);
  };
}

/**
 * Solves the view at `marks.frame`.
 * Throws `PW-VIEW-NO-MARKS` where no mark tells anything of the view, `PW-VIEW-SINGULAR` where they don't settle it.
 */
export function solveView(marks: MarksFile, options: ViewOptions): View {
  const { fileLens } = options;
  const solved = solveOnce(marks, options);
  if (fileLens === undefined || !solved.byFile) return solved.view;
  // The marks by themselves: together with a wrong lens they would only seem noisier.
  const { view } = solveOnce(marks, { ...options, fileLens: undefined });
  const doubt = doubtOfFileLens(view.focalPx, fileLens);
  return doubt === null ? solved.view : { ...view, notes: [...view.notes, doubt] };
}

/** One solution; `byFile` tells whether its lens began with what the file says. */
function solveOnce(marks: MarksFile, options: ViewOptions): { view: View; byFile: boolean } {
  const { widthPx, heightPx } = options;
  const set = observationsFromMarks(marks, {
    widthPx,
    toViewFrame: rotationBetween(options.camera, marks.frame),
    ...(options.looks === undefined ? {} : { looks: new Set(options.looks.looks.map((l) => l.frame)) }),
    ...(options.pointSdPx === undefined ? {} : { pointSdPx: options.pointSdPx }),
  });
  const observations = [...set.observations, ...(options.extra ?? [])];
  if (observations.length === 0) {
    throw new PlatewrightError(
      'PW-VIEW-NO-MARKS',
      `no mark on frame ${marks.frame} tells how the camera looks; ` +
        "mark an upright of known height (a person's feet and head), two parallel lines on the ground, " +
        'or the horizon',
    );
  }
  const notes = [...set.notes];
  const priors: ViewPriors = {
    ...DEFAULT_PRIORS,
    ...options.priors,
    ...focalKnown(marks, options, notes),
    ...(marks.cameraHeight === undefined ? {} : { height: { m: marks.cameraHeight, relativeSd: 0.02 } }),
  };
  const solve = (some: readonly ViewObservation[]): WithinNoise =>
    solveWithinNoise(
      some,
      (of) => viewProblem(of, priors, widthPx, heightPx, options.looks),
      (of) => bestOfStarts(of, startsOf(options, priors)),
    );
  const { solved, walking } = solveWithPlaces(observations, solve, options.looks?.lensTold === true);
  const { problem, best, times } = solved;
  if (walking.length > 0)
    notes.push(`${walking.map((name) => `the ${name} m high`).join(', ')}: not in one place on its frames`);
  const covariance = best.covariance;
  if (covariance === null)
    throw new PlatewrightError(
      'PW-VIEW-SINGULAR',
      'the marks leave the view undetermined in a way that even usual lenses do not settle; ' +
        'check that feet lie below heads and that lines are not points',
      { kind: 'input' },
    );

  const n = problem.parameterCount;
  // Redundancy: with residuals beyond their own noise the stated sd must grow; they never shrink it.
  const spare = problem.residualCount - n;
  const inflate = spare > 0 ? Math.max(1, best.cost / spare) : 1;
  const disagree = times * Math.sqrt(inflate);
  if (disagree > 2)
    notes.push(
      `the marks disagree with each other by ${disagree.toFixed(1)} times their own noise; ` +
        'look for one that is misplaced or a height that is wrong',
    );
  const viewCovariance: number[] = [];
  for (let i = 0; i < 4; i++) for (let j = 0; j < 4; j++) viewCovariance.push(covariance[i * n + j]! * inflate);
  const theta: Theta = [best.parameters[0]!, best.parameters[1]!, best.parameters[2]!, best.parameters[3]!];
  const [ledFocal, ledTilt, ledRoll, ledHeight] = priorLed(covariance, n, priorSds(priors, theta, widthPx));
  let squares = 0;
  for (let i = 0; i < problem.dataResiduals; i++) squares += best.residuals[i]! * best.residuals[i]!;
  const pointSd = options.pointSdPx ?? observations.find((o) => 'sdPx' in o)?.sdPx ?? 1;
  const view: View = {
    frame: marks.frame,
    widthPx,
    heightPx,
    ...viewMeasures({
      frame: marks.frame,
      theta,
      sd: [0, 1, 2, 3].map((i) => Math.sqrt(viewCovariance[i * 5]!)),
      led: { focal: !priors.focal && ledFocal!, tilt: ledTilt!, roll: ledRoll!, height: !priors.height && ledHeight! },
      observations,
      priors,
    }),
    covariance: viewCovariance,
    residualPx: Math.sqrt(squares / Math.max(1, problem.dataResiduals)) * pointSd * times,
    notes,
  };
  return { view, byFile: priors.focal?.saidByFile !== undefined };
}

/** Standard deviations of what is usual for each of θ; null where it is known beforehand. */
function priorSds(priors: ViewPriors, theta: Theta, widthPx: number): (number | null)[] {
  return [
    priors.focal ? null : lensPriorLnSd(priors, Math.exp(theta[0]), widthPx),
    priors.tilt.sdDeg * RAD_PER_DEG,
    priors.roll.sdDeg * RAD_PER_DEG,
    priors.height ? null : priors.cameraHeight.lnSd,
  ];
}

/**
 * Which of θ rest on the priors: their sd with all priors (null = none) made three
 * times looser against the sd as it is.
 */
function priorLed(covariance: Float64Array, n: number, priorSds: readonly (number | null)[]): boolean[] {
  const information = invertSymmetric(covariance, n);
  if (information === null) return [true, true, true, true];
  priorSds.forEach((sd, i) => {
    if (sd !== null) information[i * n + i] = information[i * n + i]! - 8 / 9 / (sd * sd);
  });
  const loose = invertSymmetric(information, n);
  return [0, 1, 2, 3].map((i) => loose === null || !(loose[i * n + i]! < 2.25 * covariance[i * n + i]!));
}

/** The field-of-view prior as a sd of ln focal at focal `f`. */
function lensPriorLnSd(priors: ViewPriors, f: number, widthPx: number): number {
  const half = Math.atan(widthPx / (2 * f));
  // d ln f / d ln fov = −fov / sin(fov).
  return (priors.fieldOfView.lnSd * 2 * half) / Math.sin(2 * half);
}

type Start = readonly [number, number, number, number];

/** Where solutions begin, by focal length: lens upon lens until one leaves nothing to explain. */
function startsOf({ widthPx, looks, from }: ViewOptions, priors: ViewPriors): Start[][] {
  if (looks !== undefined && from !== undefined) {
    const lnHeight = Math.log(from.cameraHeight.value ?? priors.cameraHeight.medianM);
    const roll = from.rollDeg.value! * RAD_PER_DEG;
    return [
      [
        [Math.log(from.focalPx.value!), from.tiltDeg.value! * RAD_PER_DEG, roll, lnHeight],
        [looks.lnFocal, looks.tilt, looks.roll, lnHeight],
      ],
    ];
  }
  const mid = priors.focal
    ? priors.focal.px
    : widthPx / (2 * Math.tan((priors.fieldOfView.medianDeg * RAD_PER_DEG) / 2));
  const focals = priors.focal ? [mid] : [mid, mid * 0.6, mid * 1.8];
  const heights = priors.height ? [priors.height.m] : [priors.cameraHeight.medianM, priors.cameraHeight.medianM * 0.4];
  return focals.map((f) =>
    [-4, -14, 4, -30].flatMap((tilt) => heights.map((h): Start => [Math.log(f), tilt * RAD_PER_DEG, 0, Math.log(h)])),
  );
}

function bestOfStarts(
  problem: ReturnType<typeof viewProblem>,
  starts: readonly (readonly Start[])[],
): LeastSquaresResult {
  let best: LeastSquaresResult | undefined;
  for (const lens of starts) {
    for (const theta of lens) {
      const r = levenbergMarquardt({
        start: problem.start(theta),
        residualCount: problem.residualCount,
        residuals: problem.residuals,
        loss: { kind: 'huber', scale: 3 },
        maxIterations: 120,
      });
      if (!Number.isFinite(r.cost)) continue;
      if (best === undefined || r.cost < best.cost - 1e-9 || (best.covariance === null && r.covariance !== null))
        best = r;
    }
    // The starts differ only to escape false valleys: a fit that leaves nothing to explain needs no further lens.
    if (best !== undefined && best.covariance !== null && best.cost < 0.5 * problem.dataResiduals) break;
  }
  if (best === undefined)
    throw new PlatewrightError(
      'PW-VIEW-SINGULAR',
      'no camera agrees with these marks; check that feet lie below heads and that lines are not points',
    );
  return best;
}
