/**
 * What a take's frames say together of its screen and of the performer's picture: medians and quantiles of readings.
 */
import { measured, notMeasurable, type Measure } from '../core/measure.js';
import type { TakeFrame, TakeMeasures } from './measures.js';
import type { ScreenReading } from './take-pass.js';

const HELP_SCREEN = 'a take before a green or blue screen';

type Figures = Pick<
  TakeMeasures,
  'evennessStops' | 'screenNoise' | 'screenClipped' | 'spill' | 'clipped' | 'sharpness' | 'motionBlur'
>;

/** @param carded frames on which what was taken for the performer is the floor card */
export function takeFigures(
  readings: readonly ScreenReading[],
  frames: readonly TakeFrame[],
  carded: ReadonlySet<number>,
  behind: TakeMeasures['behind'],
): Figures {
  const span: [number, number] = [frames[0]?.frame ?? 0, frames[frames.length - 1]?.frame ?? 0];
  const noScreen =
    behind.kind === 'none'
      ? 'no screen was found'
      : behind.kind === 'alpha'
        ? 'the take has its own matte and needs no screen'
        : behind.kind !== 'screen'
          ? 'the take needs no screen'
          : 'too little plain screen is seen';
  const sig = frames.map((f) => f.sigmaPx).filter((v): v is number => v !== null);
  const sortedSig = [...sig].sort((a, b) => a - b);
  const sharpest = sortedSig.length > 0 ? sortedSig[Math.floor(0.1 * (sortedSig.length - 1))]! : 0;
  return {
    evennessStops: over(
      span,
      readings.map((r) => r.evenness),
      'stop',
      "5 to 95 % of the screen's luminance over a grid",
      noScreen,
      HELP_SCREEN,
      0.5,
      0.03,
    ),
    screenNoise: over(
      span,
      readings.map((r) => r.noise),
      'ratio',
      'neighbouring screen pixels, share of the coded range',
      noScreen,
      HELP_SCREEN,
      0.5,
      0.0005,
    ),
    screenClipped: over(
      span,
      readings.map((r) => r.clipped),
      'ratio',
      'screen pixels at the top of the range',
      noScreen,
      HELP_SCREEN,
      0.9,
      0.001,
    ),
    spill: over(
      span,
      readings
        .filter((r) => !carded.has(r.frame))
        .map((r) => r.spill)
        .filter((v): v is number => v !== null),
      'ratio',
      'screen colour in excess on the performer, relative to brightness',
      noScreen,
      HELP_SCREEN,
      0.5,
      0.005,
    ),
    clipped: over(
      span,
      readings.filter((r) => !carded.has(r.frame)).map((r) => r.performerClipped),
      'ratio',
      'performer pixels at the top of the range',
      noScreen,
      HELP_SCREEN,
      0.9,
      0.001,
    ),
    sharpness: over(
      span,
      sig,
      'px',
      'sharpest edges of the performer, by re-blurring',
      'no performer with enough detail was found',
      "the performer's ground and top in one frame",
      0.5,
      0.05,
    ),
    motionBlur:
      sig.length < 5
        ? notMeasurable('px', 'too few frames to tell motion from focus', 'a longer take')
        : over(
            span,
            sig.map((s) => Math.sqrt(Math.max(0, 12 * (s * s - sharpest * sharpest)))),
            'px',
            'blur beyond the sharpest frames',
            '',
            '',
            0.9,
            0.2,
          ),
  };
}

/** The middle of readings (or their `p` quantile), with the uncertainty of a median; at least `floor`. */
function over(
  span: [number, number],
  values: readonly number[],
  unit: Measure['unit'],
  how: string,
  none: string,
  help: string,
  p = 0.5,
  floor = 0,
): Measure {
  if (values.length === 0) return notMeasurable(unit, none, help);
  const s = [...values].sort((a, b) => a - b);
  const v = s[Math.round(p * (s.length - 1))]!;
  const spread = 1.4826 * [...values].map((q) => Math.abs(q - s[s.length >> 1]!)).sort((a, b) => a - b)[s.length >> 1]!;
  return measured(v, unit, Math.max(floor, (1.25 * spread) / Math.sqrt(values.length)), how, span);
}
