/**
 * The solved view as measures: focal length, tilt, roll and camera height, each with its doubt, what it rests on, and
 * which mark would make it surer where it is not sure enough.
 */
import { DEG_PER_RAD } from '../../core/angles.js';
import { measured, notMeasurable, type Measure } from '../../core/measure.js';
import type { View } from '../types.js';
import type { ViewObservation } from './view-observations.js';
import type { ViewPriors } from './view-problem.js';

/** ln focal length (px), tilt and roll (rad), ln camera height (m). */
export type Theta = readonly [number, number, number, number];

/** The solved view before it is put into measures. */
export interface SolvedView {
  readonly frame: number;
  readonly theta: Theta;
  /** Standard deviations of θ. */
  readonly sd: readonly number[];
  /** Which rest on what is usual rather than on the marks. */
  readonly led: { readonly focal: boolean; readonly tilt: boolean; readonly roll: boolean; readonly height: boolean };
  readonly observations: readonly ViewObservation[];
  readonly priors: ViewPriors;
}

/** A number is said to want a further mark where its sd passes these: share of the value, degrees. */
const SURE_SHARE = 0.03;
const SURE_DEG = 0.5;

/** θ as measures, each with what would make it surer where it is not sure enough. */
export function viewMeasures(view: SolvedView): Pick<View, 'focalPx' | 'tiltDeg' | 'rollDeg' | 'cameraHeight'> {
  const { frame, theta, sd, led, observations, priors } = view;
  const how = `least squares over ${observations.length} mark${observations.length === 1 ? '' : 's'}`;
  const lensHow = priors.focal
    ? `${how}, with the focal length ${priors.focal.saidByFile === undefined ? 'known beforehand' : `that the file tells (${priors.focal.saidByFile})`}`
    : how;
  const help = whatWouldHelp(observations, priors);
  const measure = (
    value: number,
    unit: Measure['unit'],
    valueSd: number,
    { why = how, isLed, wouldHelp }: { why?: string; isLed: boolean; wouldHelp: string | false },
  ): Measure =>
    measured(value, unit, valueSd, isLed ? `${why}; led by what is usual, not by the marks` : why, [frame, frame], {
      ...(isLed ? { priorLed: true } : {}),
      ...(wouldHelp === false ? {} : { wouldHelp }),
    });
  const angle = (k: 1 | 2, isLed: boolean, wouldHelp: string): Measure => {
    const sdDeg = sd[k]! * DEG_PER_RAD;
    return measure(theta[k] * DEG_PER_RAD, 'deg', sdDeg, { isLed, wouldHelp: sdDeg > SURE_DEG && wouldHelp });
  };
  const f = Math.exp(theta[0]);
  const height = Math.exp(theta[3]);
  return {
    focalPx: measure(f, 'px', f * sd[0]!, {
      why: lensHow,
      isLed: led.focal,
      wouldHelp: sd[0]! > SURE_SHARE && help.focal,
    }),
    tiltDeg: angle(1, led.tilt, help.tilt),
    rollDeg: angle(2, led.roll, help.roll),
    cameraHeight: isMetric(observations, priors)
      ? measure(height, 'm', height * sd[3]!, {
          isLed: led.height,
          wouldHelp: sd[3]! > SURE_SHARE && help.height,
        })
      : notMeasurable(
          'm',
          'no mark has a known length, so the picture could be a model of itself at any scale',
          'an upright of known height, or a rectangle on the ground of known side',
        ),
  };
}

/** Is any length in the scene known? */
function isMetric(observations: readonly ViewObservation[], priors: ViewPriors): boolean {
  return (
    priors.height !== undefined ||
    observations.some(
      (o) =>
        (o.kind === 'upright' && o.height !== null) ||
        (o.kind === 'rectangle' && o.plane === 'ground' && (o.width !== null || o.depth !== null)),
    )
  );
}

interface Help {
  focal: string;
  tilt: string;
  roll: string;
  height: string;
}

/** Which mark would improve what most, from what is there already. */
function whatWouldHelp(observations: readonly ViewObservation[], priors: ViewPriors): Help {
  const uprights = observations.filter((o) => o.kind === 'upright' && o.height !== null).length;
  const lines = observations.some((o) => o.kind === 'groundLine');
  const focal =
    'a rectangle of known shape lying on the ground, or the lens itself; a pan of the same camera gives it too';
  const tilt =
    uprights >= 1 && !lines
      ? 'two parallel lines that run away on the ground, the horizon, or an upright of known height at another distance'
      : lines
        ? 'a second upright of known height, far from the first'
        : 'the horizon, or two parallel lines that run away on the ground';
  const roll = 'two upright posts or house edges far apart in the picture, or the horizon';
  const height = priors.height
    ? 'a second tape measure'
    : uprights === 0
      ? 'an upright of known height standing on the ground'
      : 'another upright of known height, at another distance';
  return { focal, tilt, roll, height };
}
