/**
 * What a take's frames say together of its screen and of the performer's picture: medians and quantiles of readings.
 */
import { measured, notMeasurable, type Measure } from '../core/measure.js';
import type { TakeFrame, TakeMeasures } from './measures.js';
import type { TakePass } from './take-pass.js';

const HELP_SCREEN = 'a take before a green or blue screen';
/** What tells the performer of a take without a screen. */
const HELP_BARE = 'an outline round the performer, or a frame of the empty set named';
const MARKED = "the performer's ground and top in one frame";

type Figures = Pick<
  TakeMeasures,
  'evennessStops' | 'screenNoise' | 'screenClipped' | 'spill' | 'clipped' | 'sharpness' | 'motionBlur'
>;

/** How readings of one kind are brought together. */
interface Figure {
  readonly unit: Measure['unit'];
  readonly how: string;
  /** Why there are no readings, where there are none, and what would give them. */
  readonly none: string;
  readonly wouldHelp: string;
  /** Which quantile stands for all: the middle, or 0.9 where the worst counts but for outliers. */
  readonly quantile: number;
  /** Least standard deviation that is stated: what one reading can't tell better. */
  readonly leastSd: number;
}

/**
 * Medians and quantiles over the frames looked at.
 * @param carded frames on which what was taken for the performer is the floor card
 */
export function takeFigures(
  { readings, clipped }: Pick<TakePass, 'readings' | 'clipped'>,
  frames: readonly TakeFrame[],
  carded: ReadonlySet<number>,
  behind: TakeMeasures['behind'],
): Figures {
  const span: [number, number] = [frames[0]?.frame ?? 0, frames[frames.length - 1]?.frame ?? 0];
  const ofScreen = { none: whyNoScreen(behind), wouldHelp: HELP_SCREEN };
  const uncarded = readings.filter((r) => !carded.has(r.frame));
  const blur = frames.map((f) => f.sigmaPx).filter((v): v is number => v !== null);
  const screenFigure = (values: readonly number[], figure: Omit<Figure, 'none' | 'wouldHelp'>): Measure =>
    figureOf(values, span, { ...figure, ...ofScreen });
  return {
    evennessStops: screenFigure(
      readings.map((r) => r.evenness),
      { unit: 'stop', how: "5 to 95 % of the screen's luminance over a grid", quantile: 0.5, leastSd: 0.03 },
    ),
    screenNoise: screenFigure(
      readings.map((r) => r.noise),
      {
        unit: 'ratio',
        how: 'neighbouring screen pixels, share of the coded range',
        quantile: 0.5,
        leastSd: 0.0005,
      },
    ),
    screenClipped: screenFigure(
      readings.map((r) => r.clipped),
      { unit: 'ratio', how: 'screen pixels at the top of the range', quantile: 0.9, leastSd: 0.001 },
    ),
    spill: screenFigure(
      uncarded.map((r) => r.spill).filter((v): v is number => v !== null),
      {
        unit: 'ratio',
        how: 'screen colour in excess on the performer, relative to brightness',
        quantile: 0.5,
        leastSd: 0.005,
      },
    ),
    clipped: figureOf(
      clipped.filter((r) => !carded.has(r.frame)).map((r) => r.share),
      span,
      {
        unit: 'ratio',
        how: 'performer pixels at the top of the range',
        none: behind.kind === 'none' ? "the performer can't be told from what is behind it" : 'no performer was found',
        wouldHelp: behind.kind === 'none' ? HELP_BARE : MARKED,
        quantile: 0.9,
        leastSd: 0.001,
      },
    ),
    sharpness: figureOf(blur, span, {
      unit: 'px',
      how: 'sharpest edges of the performer, by re-blurring',
      none:
        behind.kind === 'none'
          ? "the performer can't be told from what is behind it"
          : 'no performer with enough detail was found',
      wouldHelp: behind.kind === 'none' ? HELP_BARE : MARKED,
      quantile: 0.5,
      leastSd: 0.05,
    }),
    motionBlur: motionBlurOf(blur, span, behind),
  };
}

function whyNoScreen(behind: TakeMeasures['behind']): string {
  switch (behind.kind) {
    case 'none':
      return 'no screen was found';
    case 'alpha':
      return 'the take has its own matte and needs no screen';
    case 'screen':
      return 'too little plain screen is seen';
    default:
      return 'the take needs no screen';
  }
}

/** Blur (standard deviations, pixels) beyond the sharpest tenth of the frames, as the length of an even smear. */
function motionBlurOf(blur: readonly number[], span: [number, number], behind: TakeMeasures['behind']): Measure {
  if (blur.length === 0 && behind.kind === 'none')
    return notMeasurable('px', "the performer can't be told from what is behind it", HELP_BARE);
  if (blur.length < 5) return notMeasurable('px', 'too few frames to tell motion from focus', 'a longer take');
  const sharpest = [...blur].sort((a, b) => a - b)[Math.floor(0.1 * (blur.length - 1))]!;
  return figureOf(
    // An even smear of length L has the variance L² / 12.
    blur.map((s) => Math.sqrt(Math.max(0, 12 * (s * s - sharpest * sharpest)))),
    span,
    { unit: 'px', how: 'blur beyond the sharpest frames', none: '', wouldHelp: '', quantile: 0.9, leastSd: 0.2 },
  );
}

/** A quantile of readings, with the uncertainty of a median (1.25 σ / √n, σ from the median deviation). */
function figureOf(values: readonly number[], span: [number, number], figure: Figure): Measure {
  const { unit, how, none, wouldHelp, quantile, leastSd } = figure;
  if (values.length === 0) return notMeasurable(unit, none, wouldHelp);
  const s = [...values].sort((a, b) => a - b);
  const middle = s[s.length >> 1]!;
  const spread = 1.4826 * [...values].map((q) => Math.abs(q - middle)).sort((a, b) => a - b)[s.length >> 1]!;
  const sd = Math.max(leastSd, (1.25 * spread) / Math.sqrt(values.length));
  return measured(s[Math.round(quantile * (s.length - 1))]!, unit, sd, how, span);
}
