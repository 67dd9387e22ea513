/** The light step of a performer in a film whose own light changes over the shot (light-of-frame.ts applies it). */
import { lightOverShotInWords } from '../../plate/light/light-over-shot.js';
import type { PlateMeasures } from '../../plate/types.js';
import type { LightStep } from '../types.js';

/** Where the film's whole light changes over the shot the performer goes along. */
export function alongWithFilm(step: LightStep, { lightOverShot }: PlateMeasures): LightStep {
  return lightOverShot === undefined
    ? step
    : {
        ...step,
        overShot: lightOverShot,
        why: `${step.why}; ${lightOverShotInWords(lightOverShot)}: the performer goes along`,
      };
}
