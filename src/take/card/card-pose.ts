/**
 * The camera from the floor card: focal length, tilt, roll, height over the floor, and where the card lies. Start from
 * the homography of the plane (Zhang, "A Flexible New Technique for Camera Calibration", PAMI 2000: the two constraints
 * of one view give the focal length where the plane is seen aslant) and its corners, then direct alignment of the print
 * over seven parameters, with a weak prior on the lens that decides only where the view is too square-on to tell.
 */
import { CARD_HEIGHT_MM, CARD_WIDTH_MM, markerCorners } from '../../brief/card-layout.js';
import { DEG_PER_RAD, RAD_PER_DEG } from '../../core/angles.js';
import { homographyFromQuad } from '../../geometry/homography.js';
import { apply, multiply, type Mat3, type Point2 } from '../../geometry/mat3.js';
import { alignCard } from './card-align.js';
import type { Alignment } from './card-align-state.js';
import { cutOut } from './card-map.js';
import { PRIOR_FOCAL_WIDTHS, PRIOR_LN_SD, homographyOf, startPose } from './card-pose-start.js';

export interface CardPose {
  readonly focalPx: number;
  readonly tiltDeg: number;
  readonly rollDeg: number;
  /** Over the floor, metres. */
  readonly cameraHeight: number;
  /**
   * Card's middle on the floor, metres: x to camera right, z away from the point below
   * the lens; its turn in the map view.
   */
  readonly card: { readonly x: number; readonly z: number; readonly turnDeg: number };
  readonly sd: {
    readonly focalPx: number;
    readonly tiltDeg: number;
    readonly rollDeg: number;
    readonly cameraHeight: number;
  };
  readonly residualPx: number;
  /** Fiducials that were found, of four. */
  readonly markers: number;
  /** True where the usual lens decides more than the picture. */
  readonly priorLed: boolean;
}

/** World (x, z) in metres of a card point (mm) under a pose. */
export function cardToGround(p: { x: number; z: number; turnDeg: number }, xMm: number, yMm: number): [number, number] {
  const c = Math.cos(p.turnDeg * RAD_PER_DEG);
  const s = Math.sin(p.turnDeg * RAD_PER_DEG);
  const u = xMm / 1000;
  const v = yMm / 1000;
  return [p.x + u * c + v * s, p.z + u * s - v * c];
}

/** Card millimetres → pixels under a pose. */
function poseHomography(p: CardPose, widthPx: number, heightPx: number): Mat3 {
  return homographyOf(
    [
      Math.log(p.focalPx),
      p.tiltDeg * RAD_PER_DEG,
      p.rollDeg * RAD_PER_DEG,
      Math.log(p.cameraHeight),
      p.card.x,
      p.card.z,
      p.card.turnDeg * RAD_PER_DEG,
    ],
    widthPx,
    heightPx,
  );
}

/** What is compared at most, pixels along the card's longer side: beyond that nothing is gained and time is lost. */
const FINE_SIDE = 300;
const COARSE_SIDE = 110;
const LEAST_EXPLAINED_COARSE = 0.45;
/** A card explains nearly all that is seen on its fiducials; a thing that looks a little like one does not. */
export const LEAST_EXPLAINED = 0.75;
/** Neighbouring pixels share noise (codec, demosaicing): the fit's own deviations are too small by about this. */
const SHARED_NOISE = 2;
/** What no fit knows: print size and flatness (0.2 %), lens distortion, the optical centre off the middle. */
const FLOOR = { lnFocal: 0.003, tilt: 0.05 * RAD_PER_DEG, roll: 0.05 * RAD_PER_DEG, lnHeight: 0.003 };

export interface AlignedCard {
  readonly pose: CardPose;
  readonly toPixel: Mat3;
  readonly alignment: Alignment;
  /** Standard deviation of the blur in the picture's own pixels. */
  readonly sigmaPx: number;
}

/**
 * Solves the pose by direct alignment from a guess of the card's homography (within a fiducial's cell or so).
 * @param luma linear, height × width. `focalPx` fixes the focal length where it is known.
 * @returns null where the picture does not show the card there
 */
export function alignPose(
  luma: Float32Array,
  widthPx: number,
  heightPx: number,
  guess: Mat3,
  focalPx?: number,
): AlignedCard | null {
  const coarse = alignPlane(luma, widthPx, heightPx, guess);
  if (coarse === null) return null;
  const points = [0, 1, 2, 3].flatMap((id): Point2[] => [...markerCorners(id)]);
  const seen = points.map((c): Point2 => apply(coarse, c[0], c[1]));
  const start = startPose(points, seen, widthPx, heightPx, focalPx);
  if (start === null) return null;
  const cut = cutOut(luma, widthPx, heightPx, coarse, FINE_SIDE, 0);
  if (cut === null) return null;
  const fixed = focalPx !== undefined;
  const full = (p: ArrayLike<number>): ArrayLike<number> => (fixed ? [start[0]!, ...Array.from(p)] : p);
  const distance = Math.hypot(Math.exp(start[3]!), start[4]!, start[5]!);
  const steps = [1e-3, 1e-4, 1e-4, 1e-3, 1e-3 * distance, 1e-3 * distance, 1e-3];
  const a = alignCard({
    luma: cut.luma,
    width: cut.width,
    height: cut.height,
    start: fixed ? start.slice(1) : start,
    steps: fixed ? steps.slice(1) : steps,
    sigmaPx: 1,
    leastSigmaPx: 0.25,
    loss: 'tukey',
    maxIterations: 25,
    toPixel: (p) => multiply(cut.fromFull, homographyOf(full(p), widthPx, heightPx)),
    // The alignment counts every pixel; the prior is set against them as if their noise were shared.
    ...(fixed
      ? {}
      : { prior: { index: 0, mean: Math.log(widthPx * PRIOR_FOCAL_WIDTHS), sd: PRIOR_LN_SD / SHARED_NOISE } }),
  });
  if (a === null || a.explained < LEAST_EXPLAINED || a.paper < 1.6 * Math.max(0, a.ink)) return null;
  const pose = poseOf(a, full(a.parameters), fixed, cut.factor);
  if (pose === null || !holdsBits(a.bitCorrelation) || !couldStand(pose)) return null;
  return { pose, toPixel: poseHomography(pose, widthPx, heightPx), alignment: a, sigmaPx: a.sigmaPx * cut.factor };
}

/**
 * An alignment's parameters in words, with their deviations; null where it has none.
 * @param parameters ln focal px, tilt, roll (rad), ln height, the card's x and z, m, and its turn, rad
 * @param fixed the focal length is known and was no parameter
 * @param factor picture pixels a pixel that was compared
 */
function poseOf(a: Alignment, parameters: ArrayLike<number>, fixed: boolean, factor: number): CardPose | null {
  const { covariance } = a;
  if (covariance === null) return null;
  const [lnFocal, tilt, roll, lnHeight, x, z, turn] = Array.from(parameters) as [
    number,
    number,
    number,
    number,
    number,
    number,
    number,
  ];
  const size = fixed ? 6 : 7;
  const sd = (parameter: number, least: number): number => {
    const k = parameter - (fixed ? 1 : 0);
    return k < 0 ? 0 : Math.hypot(SHARED_NOISE * Math.sqrt(Math.max(0, covariance[k * size + k]!)), least);
  };
  const focal = Math.exp(lnFocal);
  const height = Math.exp(lnHeight);
  return {
    focalPx: focal,
    tiltDeg: tilt * DEG_PER_RAD,
    rollDeg: roll * DEG_PER_RAD,
    cameraHeight: height,
    card: { x, z, turnDeg: turn * DEG_PER_RAD },
    sd: {
      focalPx: sd(0, FLOOR.lnFocal) * focal,
      tiltDeg: sd(1, FLOOR.tilt) * DEG_PER_RAD,
      rollDeg: sd(2, FLOOR.roll) * DEG_PER_RAD,
      cameraHeight: sd(3, FLOOR.lnHeight) * height,
    },
    residualPx: (a.noise / Math.max(1e-3, a.paper - a.ink)) * Math.sqrt(2 * Math.PI) * a.sigmaPx * factor,
    markers: a.markerCorrelation.filter((c) => c > 0.6).length,
    priorLed: !fixed && sd(0, 0) > PRIOR_LN_SD * 0.6,
  };
}

/** Whether somebody could hold a camera so over a card on the floor. */
function couldStand({ cameraHeight, tiltDeg }: CardPose): boolean {
  return cameraHeight >= 0.02 && cameraHeight <= 30 && tiltDeg <= 20 && tiltDeg >= -100;
}

/**
 * True where the cells tell that these are the card's fiducials. Of made cards all that are not hidden correlate by
 * 0.98 and more even where blur closes the cells; films and plates without a card, aligned with the print as well as
 * they can be, bring no three of four above 0.94.
 */
function holdsBits(bits: readonly number[]): boolean {
  const seen = bits.filter((b) => !Number.isNaN(b)).sort((p, q) => q - p);
  return seen.length >= 2 && seen[1]! > 0.95 && (seen.length < 3 || seen[2]! > 0.94);
}

/** First alignment: a free homography by its four corners, on a small and softened picture, then at the size it has. */
function alignPlane(luma: Float32Array, widthPx: number, heightPx: number, guess: Mat3): Mat3 | null {
  const hw = CARD_WIDTH_MM / 2;
  const hh = CARD_HEIGHT_MM / 2;
  const corners: Point2[] = [
    [-hw, -hh],
    [hw, -hh],
    [hw, hh],
    [-hw, hh],
  ];
  let now = guess;
  for (const soft of [1.5, 0]) {
    const cut = cutOut(luma, widthPx, heightPx, now, COARSE_SIDE * (soft > 0 ? 1 : 2), soft);
    if (cut === null) return null;
    const inCut = multiply(cut.fromFull, now);
    const a = alignCard({
      luma: cut.luma,
      width: cut.width,
      height: cut.height,
      start: corners.flatMap((c) => apply(inCut, c[0], c[1])),
      steps: new Array<number>(8).fill(0.05),
      sigmaPx: Math.hypot(soft, 0.8),
      leastSigmaPx: Math.max(0.25, soft),
      loss: 'huber',
      maxIterations: 20,
      toPixel: (p) =>
        homographyFromQuad(corners, [
          [p[0]!, p[1]!],
          [p[2]!, p[3]!],
          [p[4]!, p[5]!],
          [p[6]!, p[7]!],
        ]),
    });
    if (a === null || a.explained < LEAST_EXPLAINED_COARSE) return null;
    now = multiply([cut.factor, 0, cut.x0, 0, cut.factor, cut.y0, 0, 0, 1], a.toPixel);
  }
  return now;
}
